"""Parallel lines through a closed surface, wherever they are wanted: where each enters and leaves the solid.

mm. Lines are nudged off the surface's edges by far less than anything printed; one that still meets an edge so that
it does not leave as often as it enters is left out. Winding is counted, so overlapping shells do not turn hollow."""

from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.tolerances import CLOSE, LEAST_SIZE
from blockfit.measure.columns import spread
from blockfit.measure.views import View

__all__ = ["Stretches", "nudged", "stretches"]

_NUDGE = 1e-8  # of the surface's size
_PAIRS = 4_000_000  # pairs of a face and a line that are looked at together
_ABOVE = 1e-300  # stands for a value above 0 that is smaller than any other


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """What lies inside, sorted by line, then depth: ``line`` (q,), depths ``enter`` and ``leave`` (q,).

    ``broken`` (k,) are lines that met an edge and say nothing.
    """

    line: Ints
    enter: Array
    leave: Array
    broken: Ints


def nudged(places: Array, size: float, seed: int = 0) -> Array:
    """Return (n, 2) places moved aside at random by a share of ``size``, so that they miss edges and corners."""
    move = np.random.default_rng(seed).uniform(-1, 1, size=places.shape)
    return np.asarray(places + _NUDGE * max(size, 1.0) * move)


def stretches(vertices: Array, faces: Ints, view: View, places: Array) -> Stretches:
    """Return what lines through (n, 2) ``places`` of a view share with the solid inside a closed surface.

    >>> import numpy as np
    >>> from blockfit.measure.lines import stretches
    >>> from blockfit.measure.views import face_view
    >>> corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> found = stretches(corners, faces, face_view("front"), np.array([[1.0, 1.5], [9.0, 9.0]]))
    >>> found.line.tolist(), found.enter.tolist(), found.leave.tolist()
    ([0], [0.0], [1.5])
    """
    seen, depth = view.seen(vertices)
    line, face = _pairs(seen, faces, places)
    hit, at, enters = _hits(seen, depth, faces, places, line, face)
    order = np.lexsort((at, line[hit]))
    line, at, enters = line[hit][order], at[order], enters[order]
    total = np.zeros(len(places), np.int64)
    np.add.at(total, line, enters)
    whole = total[line] == 0
    line, at, enters = line[whole], at[whole], enters[whole]
    winding = np.cumsum(enters)  # back to 0 at the end of every line
    inside = winding > 0
    before = np.concatenate([[False], inside[:-1]])[: len(inside)]
    begins, ends = np.flatnonzero(inside & ~before), np.flatnonzero(before & ~inside)
    return Stretches(line[begins], at[begins], at[ends], np.flatnonzero(total != 0))


def _pairs(seen: Array, faces: Ints, places: Array) -> tuple[Ints, Ints]:
    """Return (line, face) pairs of which the line passes through the rectangle around the face."""
    corners = seen[faces]
    low, high = corners.min(axis=1), corners.max(axis=1)
    start, span = (places.min(axis=0), np.ptp(places, axis=0)) if len(places) else (np.zeros(2), np.zeros(2))
    count = max(1, int(np.sqrt(len(places)) / 1.5))
    cell = np.maximum(span / count, LEAST_SIZE) * (1 + CLOSE)
    of_line = np.minimum(((places - start) / cell).astype(np.int64), count - 1)
    key = of_line[:, 1] * count + of_line[:, 0]
    order = np.argsort(key, kind="stable")
    first = np.searchsorted(key[order], np.arange(count * count + 1))
    a = np.clip(np.floor((low - start) / cell), -1, count).astype(np.int64)
    b = np.clip(np.floor((high - start) / cell), -1, count).astype(np.int64)
    some = np.flatnonzero(((b >= 0) & (a < count)).all(axis=1))
    a, b = np.maximum(a[some], 0), np.minimum(b[some], count - 1)
    found_line, found_face = [], []
    per = np.maximum(1, (b - a + 1).prod(axis=1))
    for part in np.array_split(
        np.arange(len(some)), max(1, int(per.sum() * max(1.0, len(places) / count**2) / _PAIRS))
    ):
        item, row = spread(part, a[part, 1], b[part, 1] + 1)
        again, column = spread(np.arange(len(item)), a[item, 0], b[item, 0] + 1)
        item, box = item[again], row[again] * count + column
        which, at = spread(np.arange(len(item)), first[box], first[box + 1])
        line, face = order[at], some[item[which]]
        near = ((places[line] >= low[face]) & (places[line] <= high[face])).all(axis=1)
        found_line.append(line[near])
        found_face.append(face[near])
    return np.concatenate(found_line or [np.zeros(0, np.int64)]), np.concatenate(found_face or [np.zeros(0, np.int64)])


def _hits(seen: Array, depth: Array, faces: Ints, places: Array, line: Ints, face: Ints) -> tuple[Ints, Array, Ints]:
    """Return which pairs meet, at what depth, and whether the line then enters (+1) or leaves (−1).

    Each side is looked at from its lower-numbered corner, so that two faces that share it always agree.
    """
    corners = faces[face]
    place = places[line]
    values = []
    for k in range(3):
        start, end = corners[:, k], corners[:, (k + 1) % 3]
        low, high = np.minimum(start, end), np.maximum(start, end)
        along, to = seen[high] - seen[low], place - seen[low]
        value = along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0]
        values.append(np.where(start < end, value, -value))
        # On the line itself: to the left of it, by its lower-numbered corner.
        values[-1] = np.where(value == 0, np.where(start < end, _ABOVE, -_ABOVE), values[-1])
    sides = np.stack(values, axis=1)
    left: Flags = np.asarray((sides > 0).all(axis=1))
    right: Flags = np.asarray((sides < 0).all(axis=1))
    hit = np.flatnonzero(left | right)
    weight = sides[hit]
    share = weight[:, [1, 2, 0]] / weight.sum(axis=1, keepdims=True)
    at = (share * depth[corners[hit]]).sum(axis=1)
    # Seen with x to the right and z up, y is depth: a face that faces the viewer runs counter-clockwise.
    return hit, np.asarray(at), np.where(left[hit], 1, -1)

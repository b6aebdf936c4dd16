"""What reminds the carver where the nose, knee and hand lie: inner contours of a face sheet, and depths at high points.

Contours are the mesh's own sides at which the surface turns away from the viewer, or is sharp, and that are seen; exact
except for hiding, which is asked at the middle of each side."""

from collections.abc import Iterator

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.tolerances import NOT_ZERO
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.views import View

__all__ = ["high_points", "inner_contours"]

_SHARP = 0.72  # cosine between faces at whose side the surface is sharp (44°)
_SHORTEST = 0.012  # of the figure's size: shorter contours are specks
_APART = 0.09  # of the figure's size: how far apart depths are written
_MOST = 14
_BEHIND = 1e-4  # of the size: what lies so far behind a surface is hidden by it


def inner_contours(vertices: Array, faces: Ints, view: View) -> list[Array]:
    """Return (n, 2) lines as seen along the view, on its own axes: where the surface turns away, and sharp edges.

    >>> import numpy as np
    >>> from blockfit.measure.views import face_view
    >>> from blockfit.sheets.templates.contours import inner_contours
    >>> corners = np.array([[0.0, 0, 0], [9, 0, 0], [4, 7, 0], [4, 3, 6]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    >>> len(inner_contours(corners, faces, face_view("top")))  # three sides of the base, three that meet at the tip
    6
    """
    sides, pairs = _sides(faces)
    corners = vertices[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), NOT_ZERO)
    towards = normals @ view.into < 0
    one, other = towards[pairs[:, 0]], towards[pairs[:, 1]]
    sharp = (normals[pairs[:, 0]] * normals[pairs[:, 1]]).sum(axis=1) < _SHARP
    drawn = sides[(one != other) | (one & other & sharp)]
    if len(drawn) == 0:
        return []
    size = float(np.ptp(vertices, axis=0).max())
    seen = drawn[_is_seen(vertices, faces, vertices[drawn].mean(axis=1), view, _BEHIND * size)]
    flat, _ = view.seen(vertices)
    lines = [flat[chain] for chain in _chains(seen)]
    return [line for line in lines if _length(line) >= _SHORTEST * size]


def high_points(vertices: Array, faces: Ints, view: View) -> list[tuple[Array, float]]:
    """Return places (2,) on the view's axes and their depth along it: high points towards the viewer, well apart."""
    flat, depth = view.seen(vertices)
    sides, _ = _sides(faces)
    nearest = np.full(len(vertices), np.inf)
    np.minimum.at(nearest, sides[:, 0], depth[sides[:, 1]])
    np.minimum.at(nearest, sides[:, 1], depth[sides[:, 0]])
    tops = np.flatnonzero(depth <= nearest)
    size = float(np.ptp(vertices, axis=0).max())
    tops = tops[_is_seen(vertices, faces, vertices[tops], view, _BEHIND * size)]
    kept: list[int] = []
    for k in tops[np.argsort(depth[tops], kind="stable")].tolist():
        if all(np.linalg.norm(flat[k] - flat[j]) >= _APART * size for j in kept):
            kept.append(k)
        if len(kept) == _MOST:
            break
    return [(flat[k], float(depth[k])) for k in kept]


def _sides(faces: Ints) -> tuple[Ints, Ints]:
    """Return (k, 2) sides that two faces share, and the two faces of each."""
    sides = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.lexsort((sides[:, 1], sides[:, 0]))
    sides, owner = sides[order], owner[order]
    first = np.flatnonzero((sides[1:] == sides[:-1]).all(axis=1))
    return sides[first], np.stack([owner[first], owner[first + 1]], axis=1)


def _is_seen(vertices: Array, faces: Ints, points: Array, view: View, off_mm: float) -> Flags:
    """Return which points nothing hides: from just before them, no ray back to the viewer meets the surface."""
    back = np.broadcast_to(-view.into, points.shape)
    met, _ = SurfaceDistance(vertices, faces).first_met(points + off_mm * back, back)
    return np.asarray(met < 0)


def _chains(sides: Ints) -> Iterator[list[int]]:
    """Yield the vertices of sides that hang together, end to end, each side once."""
    meets: dict[int, list[int]] = {}
    for k, (a, b) in enumerate(sides.tolist()):
        meets.setdefault(a, []).append(k)
        meets.setdefault(b, []).append(k)
    used = np.zeros(len(sides), bool)
    ends = [v for v, those in meets.items() if len(those) != 2]
    for start in [*ends, *meets]:  # open lines from their ends, then what is left: closed ones
        for first in meets[start]:
            if used[first]:
                continue
            chain, at, k = [start], start, first
            while k >= 0:
                used[k] = True
                at = int(sides[k, 1]) if int(sides[k, 0]) == at else int(sides[k, 0])
                chain.append(at)
                k = next((n for n in meets[at] if not used[n]), -1) if len(meets[at]) == 2 else -1
            yield chain


def _length(line: Array) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())

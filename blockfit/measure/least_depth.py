"""How near a surface comes to a face, over areas instead of at samples: exact least depths over squares.

mm, along a view. Nothing falls between samples: an apex, a thin rod and a single edge all count. Every face is cut by
the square and its least depth taken at the corners of what is left, so the least over a square is exact for few places
(`least_over`); over a whole lattice (`least_cells`) faces smaller than two cells count as near as their nearest corner
in every cell that they touch, which is never too deep."""

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.tolerances import CLOSE, NOT_ZERO, ROUNDING
from blockfit.measure.columns import spread
from blockfit.measure.views import Lattice, View

__all__ = ["cells_touched", "least_cells", "least_over", "least_within"]

_CHUNK = 150_000
_SLACK = 1e-9  # of a lattice's cell, or of a square in mm: closed squares, whatever rounding does


def least_cells(vertices: Array, faces: Ints, view: View, lattice: Lattice) -> Array:
    """Return (rows, columns) the least depth of the surface over every closed cell of a plain lattice; inf where none.

    Never more than the true least; for faces larger than two cells exactly that.
    """
    seen, depth = view.seen(vertices)
    facing = faces[_may_face(seen, faces)]
    flat, deep = lattice.flatten(seen)[facing], depth[facing]
    least = np.full(lattice.rows * lattice.columns, np.inf)
    small = np.ptp(flat, axis=1).max(axis=1) <= 2
    for some, exact in ((np.flatnonzero(small), False), (np.flatnonzero(~small), True)):
        for part in _parts(flat[some]):
            face, cell = cells_touched(flat[some][part], lattice)
            corners, depths = flat[some][part][face], deep[some][part][face]
            if exact:
                row, column = np.divmod(cell, lattice.columns)
                low = np.stack([column, row], axis=1).astype(np.float64)
                value = least_within(corners, depths, low, low + 1)[0]
            else:
                value = depths.min(axis=1)
            np.minimum.at(least, cell, value)
    return least.reshape(lattice.rows, lattice.columns)


def least_over(vertices: Array, faces: Ints, view: View, places: Array, half_mm: float) -> tuple[Array, Array]:
    """Return for squares of half side ``half_mm`` around (n, 2) places the least depth (inf: none) and where (n, 2).

    >>> import numpy as np
    >>> from blockfit.measure.least_depth import least_over
    >>> from blockfit.measure.views import face_view
    >>> corners = np.array([[0.0, 9, 0], [4, 9, 0], [0, 9, 4], [1, 5, 1]])  # its apex comes within 5
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> depth, where = least_over(corners, faces, face_view("front"), np.array([[2.0, 1.0], [9.0, 9.0]]), 1.5)
    >>> depth.tolist(), where[0].tolist()
    ([5.0, inf], [1.0, 1.0])
    """
    seen, depth = view.seen(vertices)
    facing = faces[_may_face(seen, faces)]
    flat, deep = seen[facing], depth[facing]
    low, high = flat.min(axis=1), flat.max(axis=1)
    least, where = np.full(len(places), np.inf), np.array(places, np.float64)
    for k, place in enumerate(places):
        near = np.flatnonzero(((low <= place + half_mm + _SLACK) & (high >= place - half_mm - _SLACK)).all(axis=1))
        if len(near):
            ends = np.tile(place, (len(near), 1))
            value, at = least_within(flat[near], deep[near], ends - half_mm, ends + half_mm)
            best = int(value.argmin())
            if value[best] < np.inf:
                least[k], where[k] = value[best], at[best]
    return least, where


def least_within(corners: Array, depths: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """Return the least depth of each triangle (p, 3, 2) with depths (p, 3) over its rectangle, and where (p, 2).

    Rectangles are closed, from ``low`` to ``high`` (p, 2); inf where triangle and rectangle do not meet.
    """
    value, at = np.full(len(corners), np.inf), np.array(low, np.float64)
    for start in range(0, len(corners), _CHUNK):
        some = slice(start, start + _CHUNK)
        value[some], at[some] = _least_within(corners[some], depths[some], low[some] - _SLACK, high[some] + _SLACK)
    return value, at


def _least_within(corners: Array, depths: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """Return the same for rectangles as they are; whole cells within a large triangle, and beside it, are quick."""
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    thin = np.abs(twice) <= CLOSE * (u * u + v * v).sum(axis=1)
    safe = np.where(thin, 1.0, twice)
    ends = ((low[:, 0], low[:, 1]), (low[:, 0], high[:, 1]), (high[:, 0], low[:, 1]), (high[:, 0], high[:, 1]))
    shares = []
    for right, up in ends:
        x, y = right - corners[:, 0, 0], up - corners[:, 0, 1]
        s, t = (x * v[:, 1] - y * v[:, 0]) / safe, (u[:, 0] * y - u[:, 1] * x) / safe
        shares.append(np.stack([1 - s - t, s, t]))
    share = np.stack(shares)  # (4, 3, p)
    within = ~thin & (share >= 0).all(axis=(0, 1))
    beside = ~thin & (share < 0).all(axis=0).any(axis=0)
    value, at = np.full(len(corners), np.inf), low.copy()
    if within.any():
        plane = (share[:, :, within] * depths[within].T).sum(axis=1)  # (4, w)
        best = plane.argmin(axis=0)
        value[within] = plane.min(axis=0)
        places = np.stack([np.stack(end, axis=1) for end in ends])[:, within]
        at[within] = places[best, np.arange(len(best))]
    rest = np.flatnonzero(~within & ~beside)
    value[rest], at[rest] = _clipped(corners[rest], depths[rest], low[rest], high[rest])
    return value, at


def _clipped(corners: Array, depths: Array, low: Array, high: Array) -> tuple[Array, Array]:
    spots, values = [], []

    def offer(spot: Array, value: Array, valid: Flags) -> None:
        spots.append(spot)
        values.append(np.where(valid, value, np.inf))

    def inside(spot: Array) -> Flags:
        return np.asarray(((spot >= low) & (spot <= high)).all(axis=1))

    for k in range(3):
        offer(corners[:, k], depths[:, k], inside(corners[:, k]))
        a, b = corners[:, k], corners[:, (k + 1) % 3]
        first, second = depths[:, k], depths[:, (k + 1) % 3]
        for axis in (0, 1):
            run = b[:, axis] - a[:, axis]
            for bound in (low[:, axis], high[:, axis]):
                share = np.where(run != 0, (bound - a[:, axis]) / np.where(run != 0, run, 1.0), -1.0)
                spot = a + share[:, None] * (b - a)
                spot[:, axis] = bound
                offer(spot, first + share * (second - first), (share >= 0) & (share <= 1) & inside(spot))
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    flat = twice == 0
    safe = np.where(flat, 1.0, twice)
    for right in (low, high):
        for up in (low, high):
            spot = np.stack([right[:, 0], up[:, 1]], axis=1)
            to = spot - corners[:, 0]
            s = (to[:, 0] * v[:, 1] - to[:, 1] * v[:, 0]) / safe
            t = (u[:, 0] * to[:, 1] - u[:, 1] * to[:, 0]) / safe
            value = depths[:, 0] + s * (depths[:, 1] - depths[:, 0]) + t * (depths[:, 2] - depths[:, 0])
            # Of a face seen nearly edge on the plane's depth is not to be trusted beyond its own corners.
            value = np.clip(value, depths.min(axis=1), depths.max(axis=1))
            offer(spot, value, ~flat & (s >= -ROUNDING) & (t >= -ROUNDING) & (s + t <= 1 + ROUNDING))
    every = np.stack(values)
    best = every.argmin(axis=0)
    rows = np.arange(len(corners))
    return every[best, rows], np.stack(spots)[best, rows]


def cells_touched(corners: Array, lattice: Lattice) -> tuple[Ints, Ints]:
    """Return (triangle, cell) for every closed cell of a lattice that the box around each triangle touches.

    ``corners`` (m, 3, 2) are in cells from the lattice's origin.
    """
    most = np.array([lattice.columns, lattice.rows]) - 1
    low = np.clip(np.floor(corners.min(axis=1) - _SLACK), 0, most + 1).astype(np.int64)
    high = np.clip(np.floor(corners.max(axis=1) + _SLACK), -1, most).astype(np.int64)
    face, row = spread(np.arange(len(corners)), low[:, 1], high[:, 1] + 1)
    again, column = spread(np.arange(len(face)), low[face, 0], high[face, 0] + 1)
    return face[again], row[again] * lattice.columns + column


def _parts(flat: Array) -> list[Ints]:
    """Return the triangles in parts that touch no more than a bounded number of cells together."""
    size = (np.ptp(flat, axis=1) + 2).prod(axis=1)
    total = np.cumsum(size)
    count = max(1, int(total[-1] / 2_000_000) if len(total) else 1)
    return np.array_split(np.arange(len(flat)), count)


def _may_face(seen: Array, faces: Ints) -> Flags:
    """Return which faces look towards the viewer or lie edge on: what looks away is always behind another."""
    a, b, c = (seen[faces[:, k]] for k in range(3))
    u, v = b - a, c - a
    twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return np.asarray(twice >= -ROUNDING * np.abs(u).max(axis=1) * np.abs(v).max(axis=1) - NOT_ZERO)

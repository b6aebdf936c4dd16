"""How far a surface reaches beyond some planes: exact, triangle by triangle. Any length unit."""

from itertools import combinations

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.surface import any_corner
from blockfit.geometry.tolerances import CLOSE, NOT_ZERO, ROUNDING

_EQUAL = 1e-9  # two heights so near each other are alike

__all__ = ["deepest_beyond", "reach_beyond"]


def reach_beyond(vertices: Array, faces: Ints, normals: Array, bounds: Array, along: Array) -> float:
    """Return the most of ``along · x`` over the surface where ``normals @ x > bounds``; −inf where nothing is.

    A linear function is greatest at a corner of what the planes leave of a triangle: a corner of its own, a side
    cut by a plane, or a point where two planes meet on it. All are tried.

    >>> import numpy as np
    >>> from blockfit.waste.cuts.clipping import reach_beyond
    >>> corners = np.array([[0.0, 0, 0], [2, 0, 0], [0, 2, 0]])
    >>> x, y = np.eye(3)[:2]
    >>> reach_beyond(corners, np.array([[0, 1, 2]]), x[None], np.array([0.5]), y)
    1.5
    """
    values = vertices @ along
    heights = (normals @ vertices.T).T - bounds  # (n, p) above 0 is beyond; each plane's in one row
    inside = np.ones(len(vertices), bool)
    for k in range(len(bounds)):
        inside &= heights[:, k] > 0
    most = float(values[inside].max(initial=-np.inf))
    # Triangles that could still beat the most, reach past every plane but do not lie past all.
    some = faces[any_corner(values > most, faces)]
    for k in range(len(bounds)):
        some = some[any_corner(heights[:, k] > 0, some)]
    cut = some[any_corner(~inside, some)]
    if len(cut) == 0:
        return most
    beyond, value = heights[cut], values[cut]  # (m, 3, p), (m, 3)
    spots = [_side_cuts(beyond, j) for j in range(len(bounds))]
    spots += [_meetings(beyond, j, k) for j, k in combinations(range(len(bounds)), 2)]
    for shares in spots:  # (m, s, 3) barycentric
        reached = np.einsum("msc,mcp->msp", shares, beyond)
        tolerance = CLOSE * np.abs(beyond).max()
        valid = (reached > -tolerance).all(axis=2) & (shares >= -ROUNDING).all(axis=2)
        at = np.einsum("msc,mc->ms", shares, value)
        most = max(most, float(at[valid].max(initial=-np.inf)))
    return most


def deepest_beyond(vertices: Array, faces: Ints, normals: Array, bounds: Array, moving: int) -> float:
    """Return how far the surface reaches beyond all the planes at once: by how much the first ``moving`` of them must
    give way alike until nothing of it is beyond all; −inf where nothing is beyond the others.

    >>> import numpy as np
    >>> from blockfit.waste.cuts.clipping import deepest_beyond
    >>> corners = np.array([[0.0, 0, 0], [4, 4, 0], [4, 0, 0]])
    >>> deepest_beyond(corners, np.array([[0, 1, 2]]), np.eye(3)[:2], np.array([1.0, 2.0]), 2)
    2.0
    """
    most = -np.inf
    for k in range(moving):
        # Where plane k is the one that is least far away, its own height is the depth.
        others = [j for j in range(moving) if j != k]
        ways = np.vstack([normals[others] - normals[k], normals[moving:]])
        at = np.append(bounds[others] - bounds[k] - _EQUAL, bounds[moving:])
        most = max(most, reach_beyond(vertices, faces, ways, at, normals[k]) - float(bounds[k]))
    return most


def _side_cuts(beyond: Array, plane: int) -> Array:
    """Return (m, 3, 3) barycentric points where a plane cuts the sides; outside the triangle where it does not."""
    shares = np.full((len(beyond), 3, 3), -1.0)
    for side in range(3):
        a, b = side, (side + 1) % 3
        start, end = beyond[:, a, plane], beyond[:, b, plane]
        crosses = (start > 0) != (end > 0)
        part = np.where(crosses, start / np.where(crosses, start - end, 1.0), -1.0)
        shares[:, side] = 0.0
        shares[:, side, a], shares[:, side, b] = 1 - part, part
    return shares


def _meetings(beyond: Array, first: int, second: int) -> Array:
    """Return (m, 1, 3) barycentric points where two planes meet on the triangle's plane."""
    u, v = beyond[:, :, first], beyond[:, :, second]
    point = np.cross(u, v)  # λ with λ·u = λ·v = 0
    total = point.sum(axis=1, keepdims=True)
    safe = np.abs(total) > NOT_ZERO
    return np.where(safe, point / np.where(safe, total, 1.0), -1.0)[:, None, :]

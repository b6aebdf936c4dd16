"""The figure's hull as a set of points, and how far it reaches in a direction.

Only the hull counts in a convex block. Points are centred, because second-order terms of the bounds grow
with the distance from the origin."""

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.polytope import hull_corners, inner_reach
from blockfit.geometry.turns import spread_directions
from blockfit.solids.figure import Figure

__all__ = ["Hull", "hull_of", "reach", "spread_points"]


_HULLS: "WeakKeyDictionary[Figure, Hull]" = WeakKeyDictionary()  # one figure is asked about against many blocks


@dataclass(frozen=True, eq=False)
class Hull:
    """Corners (n, 3) of the figure's convex hull in mm, relative to ``centre`` (3,), and their largest radius.

    ``corners`` (n,) are the figure's vertices that they are.
    ``inner_radius`` is that of a ball around the centre that the hull holds: it reaches at least so far in every
    direction, which alone settles figures that are nearly round.
    """

    points: Array
    centre: Array
    radius: float
    inner_radius: float
    corners: Ints


def hull_of(figure: Figure) -> Hull:
    """Return the hull of a figure, centred on the middle of its corners' box; flat figures too."""
    if figure not in _HULLS:
        _HULLS[figure] = _hull_of(figure)
    return _HULLS[figure]


def _hull_of(figure: Figure) -> Hull:
    vertices = figure.vertices
    which = hull_corners(vertices)
    corners = vertices[which]
    centre = (corners.min(axis=0) + corners.max(axis=0)) / 2
    points = corners - centre
    return Hull(points, centre, float(np.linalg.norm(points, axis=1).max()), inner_reach(points), which)


def reach(points: Array, directions: Array) -> Array:
    """Return (...,) how far (n, 3) points reach along (..., 3) directions."""
    flat = directions.reshape(-1, 3)
    step = max(1, 4_000_000 // max(1, len(points)))  # 32 MB at a time
    parts = [(flat[k : k + step] @ points.T).max(axis=1) for k in range(0, len(flat), step)]
    return np.concatenate(parts).reshape(directions.shape[:-1]) if parts else np.zeros(directions.shape[:-1])


def spread_points(points: Array, count: int) -> Ints:
    """Return indices of points that reach furthest in ``count`` directions: a subset whose hull is near theirs."""
    directions = spread_directions(count)
    step = max(1, 4_000_000 // max(1, len(points)))
    parts = [(directions[k : k + step] @ points.T).argmax(axis=1) for k in range(0, count, step)]
    return np.unique(np.concatenate(parts)).astype(np.int64)

"""Points that stand for the stone of a block and for a figure's surface, where a search only needs to look. mm."""

from functools import reduce

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.measure.booleans import refined
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure

__all__ = ["FAR_MM", "grid_points", "settled", "spread_points", "surface_points", "thinned"]

# By the root of x⁴ = x + 1: steps that fill a cube evenly (from memory).
_STEPS = 1 / 1.2207440846057596 ** np.arange(1, 4)

_MOST_DRAWN = 200.0  # times as many as are wanted: a thin block that lies askew gets fewer

FAR_MM = 1e6
"""Further than any block reaches."""


def grid_points(block: Block, count: int) -> Array:
    """Return about ``count`` points in a regular grid inside the block."""
    low, high = block.corners_mm.min(axis=0), block.corners_mm.max(axis=0)
    spacing = (block.volume_m3 * 1e9 / count) ** (1 / 3)
    lines = [np.linspace(a, b, max(2, round((b - a) / spacing)) + 1) for a, b in zip(low, high, strict=True)]
    middles = [(line[1:] + line[:-1]) / 2 for line in lines]
    points = np.stack(np.meshgrid(*middles, indexing="ij"), axis=-1).reshape(-1, 3)
    return points[(points @ block.normals.T <= block.offsets_mm).all(axis=1)]


def spread_points(block: Block, count: int) -> Array:
    """Return about ``count`` points (n, 3) spread evenly inside the block, but in no rows that a plane could follow.

    An additive recurrence: each point lies the same steps on from the last, round and round the box about the block.
    """
    low, high = block.corners_mm.min(axis=0), block.corners_mm.max(axis=0)
    drawn = round(count * min(_MOST_DRAWN, float(np.prod(high - low)) / (block.volume_m3 * 1e9)))
    points = low + (high - low) * ((0.5 + np.arange(drawn)[:, None] * _STEPS) % 1)
    return np.asarray(points[(points @ block.normals.T <= block.offsets_mm).all(axis=1)])


def surface_points(figure: Figure, spacing: float) -> Array:
    """Return points on the surface, none further than about ``spacing`` from the next."""
    vertices, faces = refined(figure.vertices, figure.faces, 1.5 * spacing)
    return np.concatenate([vertices, vertices[faces].mean(axis=1)])


def thinned(points: Array, spacing: float) -> Array:
    """Return one of the points for each cell of ``spacing``: enough to see what a plane would meet."""
    _, first = np.unique(np.floor(points / spacing).astype(np.int64), axis=0, return_index=True)
    return points[np.sort(first)]


def settled(heights: Array, bounds: Array, moving: int) -> Array:
    """Return bounds (k,) with none of the points, at ``heights`` (k, m) over the planes, beyond all of them.

    The first ``moving`` planes give way, all alike: were one to give way alone, it would lose most of a piece. Then
    each in turn comes as far in as it may. Samples that others keep away do not stop it.
    """
    if moving < len(bounds):
        heights = heights[:, reduce(np.logical_and, heights[moving:] > bounds[moving:, None])]
    bounds = bounds.astype(heights.dtype)
    deepest = reduce(np.minimum, heights[:moving] - bounds[:moving, None])
    bounds[:moving] += max(0.0, float(deepest.max(initial=0.0)))
    beyond = list(heights[:moving] > bounds[:moving, None])
    for k in range(moving):
        others = beyond[:k] + beyond[k + 1 :]
        ahead = heights[k][reduce(np.logical_and, others)] if others else heights[k]
        bounds[k] = ahead.max(initial=-FAR_MM)
        beyond[k] = heights[k] > bounds[k]
    return bounds

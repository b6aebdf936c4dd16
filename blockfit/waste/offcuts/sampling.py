"""Points that stand for the stone of a block and for a figure's surface, where a search only needs to look. mm."""

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.measure.booleans import refined
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure

__all__ = ["grid_points", "seen_reach", "surface_points", "thinned"]


def grid_points(block: Block, count: int) -> Array:
    """Return about ``count`` points in a regular grid inside the block."""
    low, high = block.corners_mm.min(axis=0), block.corners_mm.max(axis=0)
    spacing = (block.volume_m3 * 1e9 / count) ** (1 / 3)
    lines = [np.linspace(a, b, max(2, round((b - a) / spacing)) + 1) for a, b in zip(low, high, strict=True)]
    middles = [(line[1:] + line[:-1]) / 2 for line in lines]
    points = np.stack(np.meshgrid(*middles, indexing="ij"), axis=-1).reshape(-1, 3)
    return points[(points @ block.normals.T <= block.offsets_mm).all(axis=1)]


def surface_points(figure: Figure, spacing: float) -> Array:
    """Return points on the surface, none further than about ``spacing`` from the next."""
    vertices, faces = refined(figure.vertices, figure.faces, 1.5 * spacing)
    return np.concatenate([vertices, vertices[faces].mean(axis=1)])


def thinned(points: Array, spacing: float) -> Array:
    """Return one of the points for each cell of ``spacing``: enough to see what a plane would meet."""
    _, first = np.unique(np.floor(points / spacing).astype(np.int64), axis=0, return_index=True)
    return points[np.sort(first)]


def seen_reach(heights: Array, bounds: Array, k: int) -> float:
    """Return how far sampled points, whose ``heights`` (planes, points) are given, reach along plane k's normal."""
    beyond = np.ones(heights.shape[1], bool)
    for j in range(len(bounds)):
        if j != k:
            beyond &= heights[j] > bounds[j]
    return float(heights[k][beyond].max(initial=-np.inf))

"""The last rung: a new solid at a stated pitch, from inside/outside votes along columns in three directions.

Along each axis a sample is inside if the surface, counted from one end, has been entered more often than left;
six counts vote, so that a hole spoils only the columns that pass through it."""

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.surface import area_vectors
from blockfit.measure.booleans import level_surface
from blockfit.measure.columns import crossings
from blockfit.measure.nearest import tree_of
from blockfit.measure.views import Lattice, view_along
from blockfit.solids.figure import Repair

__all__ = ["rebuilt"]

_PARTS = 150  # samples along the longest side, if no pitch is given
_MOST_MM = 1e9
_MOST_SAMPLES = 8e6
_BAND = 2.5  # pitches: beyond this only inside or outside matters


def rebuilt(vertices: Array, faces: Ints, pitch_mm: float | None) -> tuple[Array, Ints, list[Repair]]:
    """Return a closed surface near the given one, and what it cost: pitch and measured deviation."""
    low, high = vertices[faces].min(axis=(0, 1)), vertices[faces].max(axis=(0, 1))
    span = float((high - low).max())
    if not span < _MOST_MM:
        raise BadValueError(f"the figure is {span / 1e6:.3g} km long, too much to rebuild; check the unit")
    pitch = pitch_mm or span / _PARTS
    if float(np.prod((high - low) / pitch + 7)) > _MOST_SAMPLES:
        raise BadValueError(f"pitch={pitch:g} mm needs too many samples for {span:,.0f} mm; take a coarser one")
    counts = np.ceil((high - low) / pitch).astype(np.int64) + 6
    origin = (low + high) / 2 - pitch * (counts - 1) / 2
    votes = sum(_votes(vertices, faces, axis, origin, counts, pitch) for axis in range(3))
    inside = np.asarray(votes) > 3
    samples = _surface_samples(vertices, faces, pitch / 2)
    distance = _near_distance(samples, origin, counts, pitch)
    field = np.where(inside, distance, -distance)
    surface, triangles = level_surface(field, origin, pitch, tolerance_mm=pitch / 8)
    if len(triangles) == 0:
        return vertices, faces, []
    away = tree_of(_surface_samples(surface, triangles, pitch / 2)).query(samples[:: max(1, len(samples) // 20_000)])[0]
    common, most, worst = float(np.median(away)), float(np.quantile(away, 0.99)), float(away.max())
    text = (
        f"rebuilt the solid at a pitch of {pitch:.3g} mm from votes along columns; it lies {common:.2g} mm from the "
        f"scan in the middle, {most:.2g} mm at 99 % of it, {worst:.2g} mm at worst: details finer than the pitch are "
        "lost, thin tips may be shorter, and what is called exact is exact for the rebuilt surface"
    )
    measures = (
        ("pitch_mm", pitch),
        ("median_deviation_mm", common),
        ("deviation_99_percent_mm", most),
        ("worst_deviation_mm", worst),
    )
    return surface, triangles, [Repair("rebuilt", text, measures)]


def _votes(vertices: Array, faces: Ints, axis: int, origin: Array, counts: Ints, pitch: float) -> Array:
    """Return how many of the two counts along one axis (from either end) say inside, at every sample."""
    view = view_along(np.eye(3)[axis])
    shape = counts.copy()
    # The lattice's samples are the grid's own lines: half a pitch in from its corner.
    right, up = (int(np.abs(v).argmax()) for v in (view.right, view.up))
    signs = np.array([view.right[right], view.up[up]])
    start = np.array([origin[right], origin[up]])
    end = start + pitch * (np.array([counts[right], counts[up]]) - 1)
    corner = np.where(signs > 0, start, -end) - pitch / 2
    lattice = Lattice(corner, pitch, int(counts[up]), int(counts[right]), 0.0, staggered=False)
    found = crossings(vertices, faces, view, lattice)
    at = np.clip(np.ceil((found.depth - origin[axis]) / pitch).astype(np.int64), 0, shape[axis])
    layers = np.zeros((int(counts[up]) * int(counts[right]), int(counts[axis]) + 1), np.int32)
    np.add.at(layers, (found.cell, at), found.enters.astype(np.int32))
    forward = np.cumsum(layers, axis=1)
    votes = (forward[:, :-1] > 0).astype(np.int8) + ((forward[:, :-1] - forward[:, -1:]) > 0)
    grid = votes.reshape(int(counts[up]), int(counts[right]), int(counts[axis]))
    grid = grid[:: 1 if signs[1] > 0 else -1, :: 1 if signs[0] > 0 else -1]
    return np.asarray(np.moveaxis(grid, (0, 1, 2), (up, right, axis)), np.int8)


def _surface_samples(vertices: Array, faces: Ints, spacing: float) -> Array:
    """Return points on the surface, about ``spacing`` apart, at fixed places on every face."""
    area = np.linalg.norm(area_vectors(vertices, faces), axis=1)
    each = np.clip(np.ceil(area / spacing**2), 1, 400).astype(np.int64)
    face = np.repeat(np.arange(len(faces)), each)
    k = np.arange(len(face)) - np.repeat(np.cumsum(each) - each, each)
    u, v = (k + 0.5) / each[face], (0.5 + k * 0.6180339887498949) % 1.0
    root = np.sqrt(u)
    a, b, c = (vertices[faces[face, j]] for j in range(3))
    return np.asarray((1 - root)[:, None] * a + (root * (1 - v))[:, None] * b + (root * v)[:, None] * c)


def _near_distance(samples: Array, origin: Array, counts: Ints, pitch: float) -> Array:
    """Return the grid's distance from the surface in mm, exact near it and capped beyond a few pitches."""
    cells = np.unique(np.rint((samples - origin) / pitch).astype(np.int64), axis=0)
    steps = np.arange(-3, 4)
    block = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    block = block[(block**2).sum(axis=1) <= 9]
    near = np.zeros(tuple(counts), bool)
    for step in block:
        i, j, k = np.clip(cells + step, 0, counts - 1).T
        near[i, j, k] = True
    where = np.argwhere(near)
    distance = np.full(tuple(counts), _BAND * pitch)
    distance[near] = np.minimum(tree_of(samples).query(origin + pitch * where)[0], _BAND * pitch)
    return distance

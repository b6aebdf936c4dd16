"""Where lines along a view enter and leave stone, convex or rough, and how it divides about the figure. mm and m³."""

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.tolerances import ROUNDING
from blockfit.measure.columns import columns_of
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.views import FACE_DIRECTIONS, View, lattice_over
from blockfit.solids.block import Block
from blockfit.units import M3_PER_MM3
from blockfit.waste.reach.sight import Elements

__all__ = ["block_chords", "divided", "end_of_stone", "into_face"]


def block_chords(normals: Array, offsets: Array, view: View, places: Array) -> tuple[Array, Array]:
    """Return the depths (q,) at which lines along the view, at (q, 2) places, enter and leave a convex solid.

    Where a line misses it, the end lies before the start.
    """
    across = places @ np.stack([view.right, view.up])  # (q, 3)
    along = normals @ view.into  # (f,)
    rest = offsets - across @ normals.T  # (q, f)
    tilted = np.abs(along) > ROUNDING
    at = rest / np.where(tilted, along, 1.0)
    start = np.where(tilted & (along < 0), at, -np.inf).max(axis=1)
    end = np.where(tilted & (along > 0), at, np.inf).min(axis=1)
    outside = (rest[:, ~tilted] < 0).any(axis=1)
    return np.where(outside, end, start), end


def into_face(block: Block, face: str) -> Array:
    """Return the direction (3,) into a face: a block's own, or of the box around a rough one."""
    if face in block.names:
        return np.asarray(-block.normals[block.names.index(face)])
    return np.array(FACE_DIRECTIONS[face])


def end_of_stone(block: Block, view: View, places: Array, depths: Array) -> Array:
    """Return the depths (q,) at which lines along the view first leave the block's stone, from ``depths`` (q,) on."""
    if block.surface is None:
        return block_chords(block.normals, block.offsets_mm, view, places)[1]
    start = places @ np.stack([view.right, view.up]) + depths[:, None] * view.into
    field = SurfaceDistance(block.surface.vertices, block.surface.faces)
    face, far = field.first_met(start, np.broadcast_to(view.into, start.shape))
    return np.asarray(depths + np.where(face >= 0, far, 0.0))


def divided(
    view: View, pitch_mm: float, elements: Elements, vertices: Array, faces: Ints, *, holds: bool = True
) -> tuple[Array, Array]:
    """Return how a solid divides: volumes (4,) in m³ before the figure, beside it, between its surfaces and behind it,
    and first moments (4, 3), m³ mm. The figure's own stone is left out of a solid that ``holds`` it.
    """
    lattice = lattice_over(view, vertices, pitch_mm)
    stone = columns_of(vertices, faces, view, lattice)
    own = columns_of(elements.vertices, elements.faces, view, lattice)
    cells = lattice.rows * lattice.columns
    enter, leave = np.full(cells, np.inf), np.full(cells, -np.inf)
    np.minimum.at(enter, own.cell, own.enter)
    np.maximum.at(leave, own.cell, own.leave)
    first, last = enter[stone.cell], leave[stone.cell]
    met = np.asarray(last > first)
    volumes, moments = np.zeros(4), np.zeros((4, 3))
    unit = pitch_mm**2 * M3_PER_MM3
    across = stone.places() @ np.stack([view.right, view.up])

    def add(part: int, low: Array, high: Array, where: Flags, sign: float = 1.0) -> None:
        low, high, place = low[where], np.maximum(low, high)[where], across[where]
        length = (high - low) * sign
        volumes[part] += float(length.sum()) * unit
        moments[part] += (length @ place + float(((high**2 - low**2) / 2).sum()) * sign * view.into) * unit

    start, end = stone.enter, stone.leave
    add(0, start, np.minimum(end, first), met)
    add(1, start, end, np.asarray(~met))
    add(2, np.maximum(start, first), np.minimum(end, last), met)
    add(3, np.maximum(start, last), end, met)
    if not holds:
        return volumes, moments
    across = own.places() @ np.stack([view.right, view.up])
    add(2, own.enter, own.leave, np.asarray(own.cell >= 0), -1.0)
    return volumes, moments

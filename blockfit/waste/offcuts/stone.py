"""The stone that pieces are planned in: all between a sawn block's planes, or what a rough block's own surface holds.

mm and m³, block frame. Of a rough block pieces are planned between planes that stand around it, and are what those hold
of its stone: exact for the surface as it was read, or within `LIGHT_MM` of it where that is finer than can matter."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import least_width
from blockfit.measure.booleans import Solid, arrays_of, hull_solid, lighter, solid_from
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.sections import section_near
from blockfit.solids.block import Block
from blockfit.waste.cuts.division import outline
from blockfit.waste.offcuts.sampling import grid_points

__all__ = ["LIGHT_MM", "PlannedStone", "stone_for_pieces"]

LIGHT_MM = 0.5
"""How far the surface of a very finely scanned block may be moved to plan pieces in it."""

_MANY = 40_000  # faces of a rough block: finer ones are made lighter
_ONE_BODY = 0.99  # of a piece's stone: what else comes off is crumbs
_NARROWED = 12  # halvings of the depth of what is rough
_NOTHING_MM3 = 1.0
_UNDER_MM = 1e-3  # a section so far within a piece has the outline of its cut


@dataclass(frozen=True, slots=True, eq=False)
class PlannedStone:
    """A block's stone as a solid; ``is_rough`` where it has a surface of its own."""

    block: Block
    solid: Solid
    is_rough: bool

    def points(self, count: int) -> Array:
        """Return about ``count`` points (n, 3) in a regular grid inside the stone."""
        if not self.is_rough:
            return grid_points(self.block, count)
        points = grid_points(self.block, count)  # the grid is as fine as the stone's own volume asks
        return points[SurfaceDistance(*arrays_of(self.solid)).signed(points)[0] <= 0]

    def piece(self, corners: Array) -> Solid:
        """Return the stone within the hull of corners (n, 3)."""
        return hull_solid(corners) ^ self.solid if self.is_rough else hull_solid(corners)

    def volume_m3(self, corners: Array | None) -> float:
        """Return the stone within the hull of corners (n, 3); 0 for none."""
        return 0.0 if corners is None else float(self.piece(corners).volume()) * 1e-9

    def outline(self, corners: Array, normal: Array, offset: float) -> Array:
        """Return the corners (k, 3) of a piece's stone on a plane, in order around it."""
        around = outline(corners, normal, offset)
        if not self.is_rough or len(around) < 3:
            return around
        vertices, faces = arrays_of(self.piece(corners))
        found = section_near(vertices, faces, normal, around.mean(axis=0) + _UNDER_MM * normal)
        return np.zeros((0, 3)) if found is None else np.asarray(found.outline - _UNDER_MM * normal)

    def sound(self, corners: Array, inset: Callable[[float], Array | None]) -> Array | None:
        """Return the corners of a convex body of sound stone within a piece: all of it in a sawn block.

        Of a rough one it is what is left when the planes around the block are moved in by as little as makes it lie in
        the stone, and by the skin: ``inset`` returns the piece's corners then. ``None`` where nothing is left, or where
        the piece would come off as several.
        """
        if not self.is_rough:
            return corners
        stone = self.piece(corners)
        if max((part.volume() for part in stone.decompose()), default=0.0) < _ONE_BODY * stone.volume():
            return None
        low, high = 0.0, least_width(corners)
        best: Array | None = None
        deep = 0.0
        for _ in range(_NARROWED):
            middle = (low + high) / 2
            trial = inset(middle)
            if trial is not None and (hull_solid(trial) - stone).volume() > _NOTHING_MM3:
                low = middle
            else:
                high, best, deep = middle, trial, middle
        skin = float(self.block.skin_mm.max(initial=0.0))
        return inset(deep + skin) if best is not None and skin > 0 else best


def stone_for_pieces(block: Block) -> PlannedStone:
    """Return the stone of a block, as pieces are planned in it."""
    if block.surface is None:
        return PlannedStone(block, hull_solid(block.corners_mm), False)
    vertices, faces = block.surface.vertices, block.surface.faces
    if len(faces) > _MANY:
        vertices, faces = lighter(vertices, faces, LIGHT_MM)
    return PlannedStone(block, solid_from(vertices, faces), True)

"""The stone that pieces are planned in: all between a sawn block's planes, or what a rough block's own surface holds.

mm and m³, block frame. Of a rough block pieces are planned between planes that stand around it, and are what those hold
of its stone: resolved to a cubic millimetre, and for a surface of very many faces to `LIGHT_MM` of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.polytope import box_corners, corners_or_none, least_width
from blockfit.geometry.surface import area_vectors
from blockfit.geometry.tolerances import ALMOST_PARALLEL, NOT_ZERO, PARALLEL, TOUCHING, UNDER_MM
from blockfit.measure.booleans import Solid, arrays_of, body_of, hull_solid, lighter, solid_from
from blockfit.measure.cross_sections import section_near
from blockfit.measure.distance import SurfaceDistance
from blockfit.solids.block import AROUND, Block
from blockfit.units import M3_PER_MM3
from blockfit.waste.cuts.division import outline
from blockfit.waste.sampling import grid_points, spread_points

__all__ = ["LIGHT_MM", "PlannedStone", "stone_for_pieces"]

LIGHT_MM = 0.5
"""How far the surface of a very finely scanned block may be moved to plan pieces in it."""

_MANY = 40_000  # faces of a rough block: finer ones are made lighter
_ONE_BODY = 0.99  # of a piece's stone: what else comes off is crumbs
_NARROWED = 9  # halvings of the way to the planes around a piece
_BACK = (1.0, 0.8, 0.6, 0.4, 0.2)  # of the way left: how far a plane may be moved back out
_FEW = (1.0, 0.5)
_MOVED_MM = 0.5  # what a plane was drawn in by less is left so
_PLACES = 2000
_OWN_FACES = 12  # of a piece, by area, whose directions are tried
_NOTHING_MM3 = 1.0


@dataclass(frozen=True, eq=False)
class PlannedStone:
    """A block's stone as a solid; ``is_rough`` where it has a surface of its own."""

    block: Block
    solid: Solid
    is_rough: bool

    def points(self, count: int) -> Array:
        """Return about ``count`` points (n, 3) in a regular grid inside the stone."""
        if not self.is_rough:
            return grid_points(self.block, count)
        return self._within(grid_points(self.block, count))  # the grid is as fine as the stone's own volume asks

    def spread_points(self, count: int) -> Array:
        """Return about ``count`` points (n, 3) spread evenly inside the stone, but in no rows."""
        points = spread_points(self.block, count)
        return self._within(points) if self.is_rough else points

    def _within(self, points: Array) -> Array:
        return points[SurfaceDistance(*arrays_of(self.solid)).signed(points)[0] <= 0]

    def piece(self, corners: Array) -> Solid:
        """Return the stone within the hull of corners (n, 3)."""
        return hull_solid(corners) ^ self.solid if self.is_rough else hull_solid(corners)

    def volume_m3(self, corners: Array | None) -> float:
        """Return the stone within the hull of corners (n, 3); 0 for none."""
        return 0.0 if corners is None else float(self.piece(corners).volume()) * M3_PER_MM3

    def outline(self, corners: Array, normal: Array, offset: float) -> Array:
        """Return the corners (k, 3) of a piece's stone on a plane, in order around it."""
        around = outline(corners, normal, offset)
        if not self.is_rough or len(around) < 3:
            return around
        vertices, faces = arrays_of(self.piece(corners))
        found = section_near(vertices, faces, normal, around.mean(axis=0) + UNDER_MM * normal)
        return np.zeros((0, 3)) if found is None else np.asarray(found.outline - UNDER_MM * normal)

    def sound(self, corners: Array, cuts: Array, least_mm: float, *, closely: bool = False) -> Array | None:
        """Return the corners of a convex body of sound stone within a piece: all of it in a sawn block.

        Of a rough one it lies between planes around the piece's stone, along its own large faces and twenty-six
        directions. They are drawn in towards a place deep in it until all between them lies in the stone, and the skin
        away from the block's surface; then each is moved back out as far as it can: ``closely``, or until the body is
        ``least_mm`` wide. The planes of ``cuts`` (c, 3), outward normals, stay where they are. ``None`` where nothing
        so wide is left, or where the piece would come off as several.
        """
        if not self.is_rough:
            return corners
        stone = self.piece(corners)
        if stone.volume() <= _NOTHING_MM3:  # what lies outside the stone, of a piece that is divided
            return None
        if max((part.volume() for part in stone.decompose()), default=0.0) < _ONE_BODY * stone.volume():
            return None
        vertices, faces = arrays_of(stone)
        normals = _planes_about(vertices, faces)
        outer = (vertices @ normals.T).max(axis=0)
        moving = (normals @ cuts.T).max(axis=1, initial=-1.0) < PARALLEL
        inner = np.where(moving, normals @ _deep_place(vertices, faces), outer)
        found = self._drawn_in(stone, normals, outer, inner)
        if found is None:
            return None
        share, body = found
        if closely or least_width(body) < least_mm:
            at = inner + share * (outer - inner)
            body = self._let_out(stone, normals, outer, at, body, _BACK if closely else _FEW)
        return body if least_width(body) >= least_mm else None

    def _is_sound(self, body: Array, stone: Solid) -> bool:
        inner, skin_mm = hull_solid(body), float(self.block.skin_mm.max(initial=0.0))
        if (inner - stone).volume() > _NOTHING_MM3:
            return False
        return skin_mm == 0 or bool(inner.min_gap(self.around, skin_mm) >= skin_mm * (1 - TOUCHING))

    def _drawn_in(self, stone: Solid, normals: Array, outer: Array, inner: Array) -> tuple[float, Array] | None:
        """Return the largest share of the way from inner to outer planes that leaves a sound body, and its corners."""
        low, high, best = 0.0, 1.0, None
        for turn in range(_NARROWED):
            middle = high if turn == 0 else (low + high) / 2  # first all of it: it may be convex
            body = corners_or_none(normals, inner + middle * (outer - inner))
            if body is None:
                low = middle
            elif self._is_sound(body, stone):
                low, best = middle, (middle, body)
                if turn == 0:
                    break
            else:
                high = middle
        return best

    def _let_out(
        self, stone: Solid, normals: Array, outer: Array, at: Array, body: Array, shares: Sequence[float]
    ) -> Array:
        """Return the body once each of its planes was moved back out as far as one of the shares allows."""
        for k in np.argsort(at - outer, kind="stable"):  # what was drawn in furthest first
            for share in shares if outer[k] - at[k] > _MOVED_MM else ():
                freer = at.copy()
                freer[k] += share * (outer[k] - at[k])
                wider = corners_or_none(normals, freer)
                if wider is not None and self._is_sound(wider, stone):
                    at, body = freer, wider
                    break
        return body

    @cached_property
    def around(self) -> Solid:
        """All about the stone, as far as a skin could matter."""
        low, high = self.block.corners_mm.min(axis=0), self.block.corners_mm.max(axis=0)
        far = 10 + float(self.block.skin_mm.max(initial=0.0))
        return hull_solid(box_corners(low - far, high + far)) - self.solid


def _deep_place(vertices: Array, faces: Ints) -> Array:
    """Return a place (3,) deep in a solid: of a few thousand, the one furthest from its surface."""
    places = np.random.default_rng(0).uniform(vertices.min(axis=0), vertices.max(axis=0), (_PLACES, 3))
    return np.asarray(places[SurfaceDistance(vertices, faces).signed(places)[0].argmin()])


def _planes_about(vertices: Array, faces: Ints) -> Array:
    """Return unit normals (n, 3) of planes about a solid: of its largest faces, of a box, its edges and corners."""
    outward = area_vectors(vertices, faces)
    sizes = np.linalg.norm(outward, axis=1)
    keys = np.round(outward / np.maximum(sizes, NOT_ZERO)[:, None], 3)
    ways, which = np.unique(keys[sizes > 0], axis=0, return_inverse=True)
    together = np.zeros((len(ways), 3))
    np.add.at(together, which.ravel(), outward[sizes > 0])
    areas = np.linalg.norm(together, axis=1)
    large = np.argsort(-areas, kind="stable")[:_OWN_FACES]
    own = together[large] / areas[large][:, None]
    normals = [*own]
    for way in AROUND:
        if all(float(way @ other) < ALMOST_PARALLEL for other in normals):
            normals.append(way)
    return np.array(normals)


def stone_for_pieces(block: Block) -> PlannedStone:
    """Return the stone of a block, as pieces are planned in it."""
    if block.surface is None:
        return PlannedStone(block, hull_solid(block.corners_mm), False)
    if len(block.surface.faces) > _MANY:
        return PlannedStone(block, solid_from(*lighter(block.surface, LIGHT_MM)), True)
    return PlannedStone(block, body_of(block.surface), True)

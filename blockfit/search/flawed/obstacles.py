"""What a figure keeps clear of that no plane tells: flaws, and the outside of a rough block.

mm, block frame. Distances are exact for surfaces and balls; a figure's own distances are taken in its own frame."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.geometry.turns import spread_directions
from blockfit.measure.booleans import (
    Solid,
    arrays_of,
    ball_solid,
    block_solid,
    gap_between,
    hull_solid,
    inflated,
    refined,
    solid_from,
)
from blockfit.measure.distance import DistanceGrid, SurfaceDistance, gridded
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.flaw import Flaw

__all__ = ["Obstacle", "box_around", "grown_body", "kept_clear_mm", "obstacles_of", "stone_obstacle", "stone_of"]

_FAR_MM = 1e4
_GRID = 41  # nodes along the block's longest side


@dataclass(frozen=True, slots=True, eq=False)
class Obstacle:
    """One thing to keep ``margin_mm`` clear of.

    ``body`` is its solid; ``field`` tells distances from its surface (``None`` for a ball, told by ``centre`` and
    ``radius_mm``); ``samples`` (k, 3) are places of it, against which the figure's own distance is held.
    """

    name: str
    margin_mm: float
    body: Solid
    field: SurfaceDistance | None
    centre: Array
    radius_mm: float
    samples: Array
    is_outside: bool = False
    is_flat: bool = False  # a half space: grown by its margin it is exact
    grid: DistanceGrid | None = None

    def about(self, points: Array) -> Array:
        """Return (n,) distances, resolved to the grid: for a first look at many places."""
        if self.grid is None:
            return self.away(points)[0]
        return self.grid.about(points)

    def away(self, points: Array) -> tuple[Array, Array]:
        """Return (n,) exact distances of points from it, below 0 inside, and (n, 3) unit vectors in which they grow."""
        if self.field is None:
            to = points - self.centre
            far = np.linalg.norm(to, axis=1)
            return far - self.radius_mm, to / np.maximum(far, 1e-12)[:, None]
        signed, nearest = self.field.signed(points)
        to = points - nearest
        length = np.linalg.norm(to, axis=1)
        ways = to / np.maximum(length, 1e-12)[:, None] * np.sign(signed)[:, None]
        return (-signed, -ways) if self.is_outside else (signed, ways)


def obstacles_of(block: Block, cover_mm: float) -> list[Obstacle]:
    """Return a block's flaws, and for a rough block all that is outside its stone, kept clear of by the cover."""
    found = [_flaw(flaw, block) for flaw in block.flaws]
    if block.surface is not None:
        margin = cover_mm + float(block.skin_mm.max())
        found.append(stone_obstacle("the block's surface", block.surface, margin))
    low, high = block.corners_mm.min(axis=0), block.corners_mm.max(axis=0)
    return [o if o.field is None else replace(o, grid=gridded(_distances(o), low, high, _GRID)) for o in found]


def _distances(obstacle: Obstacle) -> Callable[[Array], Array]:
    return lambda points: obstacle.away(points)[0]


def stone_obstacle(name: str, stone: Figure, margin_mm: float) -> Obstacle:
    """Return all that is outside a closed surface of stone as what a figure keeps clear of."""
    vertices, _ = refined(stone.vertices, stone.faces, max(stone.size_mm) / 40)
    return Obstacle(
        name=name,
        margin_mm=margin_mm,
        body=solid_from(stone.vertices, stone.faces),
        field=SurfaceDistance(stone.vertices, stone.faces),
        centre=np.zeros(3),
        radius_mm=0.0,
        samples=vertices[:: max(1, len(vertices) // 1500)],
        is_outside=True,
    )


def _flaw(flaw: Flaw, block: Block) -> Obstacle:
    if flaw.kind == "ball":
        samples = flaw.centre + flaw.radius_mm * spread_directions(120)
        body = ball_solid(flaw.centre, max(flaw.radius_mm, 1e-3))
        samples = np.vstack([samples, flaw.centre])
        return Obstacle(flaw.name, flaw.margin_mm, body, None, flaw.centre, flaw.radius_mm, samples)
    size = max(block.size_mm)
    if flaw.kind == "beyond":
        solid = _half_space(flaw, block)
    elif flaw.surface is not None:
        whole = len(flaw.surface.faces) > 0
        solid = solid_from(flaw.surface.vertices, flaw.surface.faces) if whole else hull_solid(flaw.surface.vertices)
    else:
        raise BadValueError(f"{flaw.name} has no shape")
    if not solid.volume() > 0:
        raise BadValueError(f"{flaw.name} holds no space: its corners lie in a plane")
    vertices, faces = arrays_of(solid)
    vertices, faces = refined(vertices, faces, size / 40)
    samples = vertices[:: max(1, len(vertices) // 400)]
    field = SurfaceDistance(vertices, faces)
    return Obstacle(flaw.name, flaw.margin_mm, solid, field, np.zeros(3), 0.0, samples, is_flat=flaw.kind == "beyond")


def _half_space(flaw: Flaw, block: Block) -> Solid:
    """Return as much of a zone as could ever matter: a large box trimmed by its plane."""
    low, high = block.corners_mm.min(axis=0), block.corners_mm.max(axis=0)
    reach = 0.5 * float(np.linalg.norm(high - low))
    corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * reach
    around = hull_solid((low + high) / 2 + corners + (high - low) / 2 * np.sign(corners))
    return around.trim_by_plane(flaw.normal.tolist(), flaw.offset_mm)


def kept_clear_mm(placed: Figure, obstacle: Obstacle) -> float:
    """Return the least distance between a placed figure and an obstacle, exact; below 0 if they meet.

    For figures and bodies as solids by manifold3d; where they meet, the depth is that of the vertices within.
    """
    if obstacle.field is None:
        field = SurfaceDistance(placed.vertices, placed.faces)
        return float(field.signed(obstacle.centre[None])[0][0]) - obstacle.radius_mm
    figure = solid_from(placed.vertices, placed.faces)
    if obstacle.is_outside:
        if (figure - obstacle.body).volume() > 1e-9 * figure.volume():
            return min(-1e-2, _deepest(placed, obstacle))
        corners, _ = arrays_of(obstacle.body)
        room = hull_solid(box_around(corners))
        return gap_between(figure, room - obstacle.body, _FAR_MM)
    if (figure ^ obstacle.body).volume() > 1e-9 * figure.volume():
        return min(-1e-2, _deepest(placed, obstacle))
    return gap_between(figure, obstacle.body, _FAR_MM)


def _deepest(placed: Figure, obstacle: Obstacle) -> float:
    """Return the least distance of the vertices of both from the other, below 0."""
    ours = float(obstacle.away(placed.vertices)[0].min())
    theirs = float(SurfaceDistance(placed.vertices, placed.faces).signed(obstacle.samples)[0].min())
    return min(ours, theirs)


def grown_body(obstacle: Obstacle) -> Solid:
    """Return all within the margin of an obstacle as a solid: never less, and more by a fiftieth of the margin at most.

    Square to the flaw's own faces and to the axes it is exact.
    """
    return obstacle.body if obstacle.margin_mm <= 0 else inflated(obstacle.body, obstacle.margin_mm)


def box_around(corners: Array) -> Array:
    """Return the corners (8, 3) of a box with room to spare around (n, 3) corners."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    side = 0.05 * (high - low) + 1
    ends = np.stack([low - side, high + side])
    return np.array([[ends[i, 0], ends[j, 1], ends[k, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)])


def stone_of(block: Block) -> Solid:
    """Return the block's stone as a solid."""
    return block_solid(block.corners_mm, block.surface)

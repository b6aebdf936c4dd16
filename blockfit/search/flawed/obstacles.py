"""What a figure keeps clear of beside the planes: flaws, and the outside of a rough block.

mm, block frame. Distances are exact for surfaces and balls; a figure's own distances are taken in its own frame."""

from dataclasses import dataclass, field

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import box_corners
from blockfit.measure.booleans import Solid, arrays_of, block_solid, body_of, hull_solid, inflated, refined, solid_from
from blockfit.solids.block import SURFACE, Block
from blockfit.solids.figure import Figure
from blockfit.solids.flaw import Flaw
from blockfit.solids.sawn import may_reach

__all__ = ["Obstacle", "grown_body", "obstacles_of", "stone_obstacle", "stone_of"]

_SPARE_MM = 2e-3  # asked beyond the cover of a rough surface, so that what is found keeps all of it


@dataclass(frozen=True, slots=True, eq=False)
class Obstacle:
    """One thing to keep ``margin_mm`` clear of.

    ``body`` is its solid; a ball has none, and is its ``centre`` and ``radius_mm``. ``corners`` (n, 3) are those of its
    surface, ``samples`` (k, 3) places of it, whose distances from the figure are looked at.
    """

    name: str
    margin_mm: float
    body: Solid
    corners: Array
    samples: Array
    is_ball: bool = False
    centre: Array = field(default_factory=lambda: np.zeros(3))
    radius_mm: float = 0.0
    is_outside: bool = False
    is_flat: bool = False  # a half space: grown by its margin it is exact
    is_scan: bool = False  # its surface was given, and may fold
    beyond: Solid = None  # what lies around stone, as far as it matters


def obstacles_of(block: Block, cover_mm: float) -> list[Obstacle]:
    """Return a block's flaws, and for a rough block all that is outside its stone, kept clear of by the cover."""
    # A zone that begins beyond the block is in nobody's way, and has no solid there.
    found = [_flaw(flaw, block) for flaw in block.flaws if flaw.kind != "beyond" or may_reach(flaw, block)]
    if block.surface is not None:
        margin = cover_mm + float(block.skin_mm.max()) + _SPARE_MM  # so that what is found keeps all that was asked
        found.append(stone_obstacle(SURFACE, block.surface, margin))
    return found


def stone_obstacle(name: str, stone: Figure, margin_mm: float) -> Obstacle:
    """Return all that is outside a closed surface of stone as what a figure keeps clear of."""
    vertices, _ = refined(stone.vertices, stone.faces, max(stone.size_mm) / 40)
    body = body_of(stone)
    return Obstacle(
        name=name,
        margin_mm=margin_mm,
        body=body,
        beyond=hull_solid(_box_around(stone.vertices)) - body,
        corners=stone.vertices,
        samples=vertices[:: max(1, len(vertices) // 1500)],
        is_outside=True,
        is_scan=True,
    )


def _flaw(flaw: Flaw, block: Block) -> Obstacle:
    if flaw.kind == "ball":
        at = flaw.centre[None]
        return Obstacle(flaw.name, flaw.margin_mm, None, at, at, True, flaw.centre, flaw.radius_mm)
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
    corners, faces = arrays_of(solid)
    vertices, _ = refined(corners, faces, size / 40)
    samples = vertices[:: max(1, len(vertices) // 400)]
    given = flaw.surface is not None and len(flaw.surface.faces) > 0
    is_flat = flaw.kind == "beyond"
    return Obstacle(flaw.name, flaw.margin_mm, solid, corners, samples, is_flat=is_flat, is_scan=given)


def _half_space(flaw: Flaw, block: Block) -> Solid:
    """Return as much of a zone as could ever matter: a large box trimmed by its plane."""
    low, high = block.corners_mm.min(axis=0), block.corners_mm.max(axis=0)
    reach = 0.5 * float(np.linalg.norm(high - low))
    corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * reach
    around = hull_solid((low + high) / 2 + corners + (high - low) / 2 * np.sign(corners))
    return around.trim_by_plane(flaw.normal.tolist(), flaw.offset_mm)


def grown_body(obstacle: Obstacle) -> Solid:
    """Return all within the margin of an obstacle as a solid: never less, and more by a fiftieth of the margin at most.

    Square to the flaw's own faces and to the axes it is exact.
    """
    return obstacle.body if obstacle.margin_mm <= 0 else inflated(obstacle.body, obstacle.margin_mm)


def _box_around(corners: Array) -> Array:
    """Return the corners (8, 3) of a box with room to spare around (n, 3) corners."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    side = 0.05 * (high - low) + 1
    return box_corners(low - side, high + side)


def stone_of(block: Block) -> Solid:
    """Return the block's stone as a solid."""
    return block_solid(block.corners_mm, block.surface)

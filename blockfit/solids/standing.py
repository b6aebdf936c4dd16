"""A block stood on another of its faces, and what its bed then does.

Standing on a face turns the block: the stone is the same, its faces take the names of where they come to lie,
and its skin and bed go with them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import ALMOST_PARALLEL, CLOSE, ROUNDING
from blockfit.geometry.turns import about, from_quaternions
from blockfit.solids.block import BOX_FACES, Block, named_faces
from blockfit.solids.figure import Figure
from blockfit.solids.flaw import Flaw

__all__ = ["LAYERS", "Standing", "standings"]

LAYERS = ("any", "level", "upright")
_STRAIGHT = 1e-2  # how far the bed's axis may lean and still count as level or upright
_NO_ZERO = 1e-15  # left by turning: what is so small in a normal is 0


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """The face of the block as given that is down, the re-axed block, and the rotation (3, 3) that turned it."""

    face: str
    block: Block
    rotation: Array


def standings(block: Block, stands_on: str | Sequence[str] = "bottom", layers: str = "any") -> list[Standing]:
    """Return the ways to stand a block: on the faces named (or ``"any"``), its layers ``level``, ``upright`` or any.

    Unless only the bottom is named, a box is also turned by quarters, so that any of its sides may be the front; ways
    that are the same block in every respect are given once. Raises
    `BadValueError` for a face it does not have, a bed asked of a block without one, or if no way is left.

    >>> from blockfit import Block
    >>> from blockfit.solids.standing import standings
    >>> [way.block.size_mm for way in standings(Block.box(900, 700, 1600), "left")]
    [(1600.0, 700.0, 900.0), (700.0, 1600.0, 900.0)]
    """
    if stands_on == "bottom" and layers == "any":
        return [Standing("bottom", block, np.eye(3))]  # as given, also if no face is level
    faces = block.names if stands_on == "any" else (stands_on,) if isinstance(stands_on, str) else tuple(stands_on)
    unknown = [face for face in faces if face not in block.names]
    if unknown or not faces:
        raise BadValueError(f'stands_on={stands_on!r} must be "any" or among {", ".join(block.names)}')
    if layers not in LAYERS:
        raise BadValueError(f"layers={layers!r} must be one of {', '.join(LAYERS)}")
    if layers != "any" and block.bed is None:
        unknown_bed = f"layers={layers!r} is asked of {block.name}, whose bed is not known"
        raise BadValueError(f"{unknown_bed}; give Block(bed=) x, y or z")
    ways = [way for face in faces for way in _on(block, face, plain=faces == ("bottom",))]
    ways = [way for way in ways if layers == "any" or _bed_lies(block, way.rotation, layers)]
    if not ways:
        raise BadValueError(f"no way to stand {block.name} on {', '.join(faces)} leaves its layers {layers}")
    return _distinct(ways)


def _on(block: Block, face: str, *, plain: bool) -> list[Standing]:
    normal = block.normals[block.names.index(face)]
    down = np.eye(3) if np.array_equal(normal, [0, 0, -1]) else _to_bottom(normal)
    quarters = (0, 90, 180, 270) if block.kind == "box" and not plain else (0,)
    turns = [about(2, quarter) @ down for quarter in quarters]
    return [Standing(face, block if np.array_equal(q, np.eye(3)) else _re_axed(block, q), q) for q in turns]


def _to_bottom(normal: Array) -> Array:
    """Return the least turn that takes a face's normal to −z, exact for faces square to an axis."""
    for axis in range(2):
        for quarter in (90, -90):
            turn = about(axis, quarter)
            if np.abs(turn @ normal - [0, 0, -1]).max() < ROUNDING:
                return turn
    if normal[2] > 1 - ROUNDING:
        return about(1, 180)
    return from_quaternions(np.array([1 - normal[2], *np.cross(normal, [0.0, 0.0, -1.0])]))


def _re_axed(block: Block, rotation: Array) -> Block:
    """Return the block turned by ``rotation``, its least corner (of the box around it) where it was."""
    normals = block.normals @ rotation.T
    normals = np.where(np.abs(normals) < _NO_ZERO, 0.0, normals)
    corners = block.corners_mm @ rotation.T
    move = block.corners_mm.min(axis=0) - corners.min(axis=0)
    offsets = block.offsets_mm + normals @ move
    if block.kind == "box":
        order = [int(np.abs(normals - axis).sum(axis=1).argmin()) for axis in Block.box(1, 1, 1).normals]
        names: tuple[str, ...] = BOX_FACES
    else:
        order, names = named_faces(normals)
    axis = rotation[:, "xyz".index(block.bed)] if block.bed else np.zeros(3)
    along = int(np.abs(axis).argmax())
    bed = "xyz"[along] if abs(axis[along]) > ALMOST_PARALLEL else None
    body = block.surface
    return replace(
        block,
        normals=normals[order],
        offsets_mm=offsets[order],
        names=names,
        skin_mm=block.skin_mm[order],
        bed=bed,
        flaws=tuple(flaw.moved(rotation, move) for flaw in block.flaws),
        surface=None if body is None else Figure(body.vertices @ rotation.T + move, body.faces, name=body.name),
    )


def _bed_lies(block: Block, rotation: Array, layers: str) -> bool:
    """Tell whether the layers lie level (their axis upright) or stand upright (their axis level)."""
    if block.bed is None:
        return False
    up = abs(float(rotation[2, "xyz".index(block.bed)]))
    return up > 1 - _STRAIGHT if layers == "level" else up < _STRAIGHT


def _distinct(ways: list[Standing]) -> list[Standing]:
    """Drop boxes that repeat an earlier one: in size, skin, bed and flaws, whatever could tell them apart."""
    kept: list[Standing] = []
    for way in ways:
        if not any(_same(other.block, way.block) for other in kept):
            kept.append(way)
    return kept


def _same(one: Block, other: Block) -> bool:
    """Tell whether two ways to stand a block are the same for every figure."""
    if one.kind != "box" or one.surface is not None or other.surface is not None or one.bed != other.bed:
        return False
    near = np.allclose(one.offsets_mm, other.offsets_mm, rtol=ROUNDING) and np.allclose(
        one.skin_mm, other.skin_mm, rtol=ROUNDING
    )
    return near and all(_same_flaw(a, b) for a, b in zip(one.flaws, other.flaws, strict=True))


def _same_flaw(one: Flaw, other: Flaw) -> bool:
    numbers = [
        (
            np.r_[flaw.centre, flaw.normal, flaw.offset_mm],
            np.zeros((0, 3)) if (body := flaw.surface) is None else body.vertices,
        )
        for flaw in (one, other)
    ]
    (plane, points), (other_plane, other_points) = numbers
    return np.allclose(plane, other_plane, atol=CLOSE) and np.allclose(points, other_points, atol=CLOSE)

"""The block: a convex solid bounded by named faces, its stone, skin, bed and price.

Block frame: x width to the right, y depth from the front face into the stone, z height; a box has its
origin at the front lower left corner. A point x lies in the block where ``normals @ x <= offsets_mm``."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, frozen
from blockfit.geometry.polytope import corners_of, hull_planes, polytope_centre, polytope_volume
from blockfit.geometry.tolerances import ROUNDING
from blockfit.kinds import kinds_checked
from blockfit.solids.figure import Figure, require_solid
from blockfit.solids.flaw import Flaw
from blockfit.solids.stone import Stone, find_stone
from blockfit.units import M3_PER_MM3, Length, length_mm, unit_mm

__all__ = ["AROUND", "BOX_FACES", "SURFACE", "Block", "CoverAsked", "cover_by_face", "named_faces", "reads_surfaces"]

SURFACE = "the block's surface"
"""What a rough block's own surface is called among what a figure keeps clear of."""

BOX_FACES = ("front", "back", "left", "right", "bottom", "top")
_BOX_NORMALS = np.array([[0, -1, 0], [0, 1, 0], [-1, 0, 0], [1, 0, 0], [0, 0, -1], [0, 0, 1]], dtype=np.float64)

_SIDES = np.array([[x, y, z] for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if x or y or z], np.float64)
AROUND = _SIDES / np.linalg.norm(_SIDES, axis=1, keepdims=True)  # planes around a rough block, its box's among them
_SAME_NORMAL = 1e-6  # a face so nearly square to an axis has its name from it

_readers: list[Callable[[Any, str | None], Figure]] = []


def reads_surfaces(reader: Callable[[Any, str | None], Figure]) -> Callable[[Any, str | None], Figure]:
    """Let `Block.scanned` read files by a function that lives in a storey above."""
    _readers[:] = [reader]
    return reader


def _read_surface(source: Any, unit: str | None) -> Figure:
    if not _readers:
        raise BadValueError("import blockfit, which knows how to read mesh files; or give a Figure")
    return _readers[0](source, unit)


CoverAsked = Length | Mapping[str, Length]
"""Stone asked for: one length for every face, or a mapping from face names (and ``"other"``)."""


@dataclass(frozen=True, eq=False, repr=False)
class Block:
    """A block. Build it with `Block.box`, `Block.convex`, `Block.from_planes` or `Block.scanned`.

    ``normals`` (f, 3) of length 1 and ``offsets_mm`` (f,) bound the whole stone, skin included;
    ``skin_mm`` (f,) is the weathered outside to be discarded on each face. ``flaws`` are places that the figure
    keeps clear of; a rough block's ``surface`` is its stone, and the planes then only stand around it.

    Lengths are mm. ``volume_m3`` is exact for the planes, or for the surface as it was read; ``mass_kg`` is an estimate
    at the stone's typical density. ``price`` is in your own money, for the whole block. Raises `BadValueError` for a
    price or a bed that is none.

    >>> import blockfit as bf
    >>> block = bf.Block.box("36 in", "30 in", "60 in", stone="marble", skin=15, name="A-3")
    >>> block.names
    ('front', 'back', 'left', 'right', 'bottom', 'top')
    >>> block.size_mm, round(block.volume_m3, 3), round(block.mass_kg)
    ((914.4, 762.0, 1524.0), 1.062, 2867)
    >>> block.offsets_mm.tolist()[3], block.sound_mm.tolist()[3]  # of the right face: the stone, and the sound stone
    (914.4, 899.4)
    """

    normals: Array
    offsets_mm: Array
    names: tuple[str, ...]
    kind: str = "convex"
    stone: Stone | None = None
    name: str = "block"
    skin_mm: Array = field(default_factory=lambda: np.zeros(0))
    price: float | None = None
    bed: str | None = None
    flaws: tuple[Flaw, ...] = ()
    surface: Figure | None = None

    def __post_init__(self) -> None:
        """Freeze the arrays and check what can be checked without geometry."""
        normals = frozen(self.normals, (None, 3), "normals")
        object.__setattr__(self, "normals", normals)
        object.__setattr__(self, "offsets_mm", frozen(self.offsets_mm, (len(normals),), "offsets"))
        skin = self.skin_mm if len(self.skin_mm) else np.zeros(len(normals))
        object.__setattr__(self, "skin_mm", frozen(skin, (len(normals),), "skin"))
        if self.price is not None and not (math.isfinite(self.price) and self.price >= 0):
            raise BadValueError(f"price={self.price!r} must be 0 or more")
        if self.bed not in (None, "x", "y", "z"):
            raise BadValueError(f"bed={self.bed!r} must be x, y or z: the axis square to the layers")

    @classmethod
    @kinds_checked
    def box(  # noqa: PLR0913
        cls,
        width: Length,
        depth: Length,
        height: Length,
        *,
        stone: Stone | str | None = None,
        name: str | None = None,
        skin: CoverAsked = 0,
        price: float | None = None,
        bed: str | None = None,
    ) -> "Block":
        """Return a sawn block; lengths are mm or text with a unit, ``bed`` the axis square to the layers.

        >>> from blockfit import Block
        >>> block = Block.box("36 in", "30 in", "60 in", stone="marble")
        >>> round(block.volume_m3, 4), round(block.mass_kg)
        (1.0619, 2867)
        """
        sizes = {"width": width, "depth": depth, "height": height}
        x, y, z = (_size_mm(value, which) for which, value in sizes.items())
        bare = cls(
            _BOX_NORMALS,
            np.array([0, y, 0, x, 0, z], dtype=np.float64),
            BOX_FACES,
            kind="box",
            stone=find_stone(stone),
            name=name or f"{x:g} x {y:g} x {z:g} mm",
            price=price,
            bed=bed,
        )
        return _with_skin(bare, skin)

    @classmethod
    @kinds_checked
    def convex(
        cls,
        points: Any,
        *,
        stone: Stone | str | None = None,
        name: str = "block",
        skin: CoverAsked = 0,
        price: float | None = None,
        bed: str | None = None,
    ) -> "Block":
        """Return the convex block whose corners are among ``points`` (n, 3), in mm, block frame.

        Faces square to an axis take a box's names; the rest are ``face 1``, ``face 2``, … by azimuth, then
        elevation. Raises `BadValueError` for points that span no volume.

        >>> from blockfit import Block
        >>> wedge = Block.convex([[0, 0, 0], [6, 0, 0], [0, 4, 0], [6, 4, 0], [0, 0, 5], [6, 0, 5]])
        >>> wedge.names
        ('front', 'left', 'right', 'bottom', 'face 1')
        """
        corners = frozen(points, (None, 3), "points")
        normals, offsets = hull_planes(corners)
        return cls._from_bounds(normals, offsets, None, stone, name, skin, price, bed)

    @classmethod
    @kinds_checked
    def from_planes(  # noqa: PLR0913
        cls,
        normals: Any,
        offsets: Any,
        names: Sequence[str] | None = None,
        *,
        stone: Stone | str | None = None,
        name: str = "block",
        skin: CoverAsked = 0,
        price: float | None = None,
        bed: str | None = None,
    ) -> "Block":
        """Return the block ``{x : normals @ x <= offsets}`` (mm), redundant planes dropped.

        Raises `BadValueError` for planes that leave nothing or do not close.
        """
        outward = frozen(normals, (None, 3), "normals")
        lengths = np.linalg.norm(outward, axis=1)
        if (lengths < ROUNDING).any():
            raise BadValueError("normals has a row of length 0, which bounds nothing")
        if names is not None and len(names) != len(outward):
            raise BadValueError(f"names has {len(names)} entries for {len(outward)} planes")
        at = frozen(offsets, (len(outward),), "offsets") / lengths
        return cls._from_bounds(outward / lengths[:, None], at, names, stone, name, skin, price, bed)

    @classmethod
    @kinds_checked
    def scanned(
        cls,
        source: Any,
        *,
        unit: str | None = None,
        stone: Stone | str | None = None,
        name: str | None = None,
        skin: Length = 0,
        price: float | None = None,
        flaws: Sequence[Flaw] = (),
    ) -> "Block":
        """Return a rough block from the quarry: any closed solid, hollows included, in its own coordinates.

        ``source`` is a mesh file (with its ``unit``) or a `Figure` in mm; ``skin`` counts everywhere. Its named faces
        stand around it at its furthest points. Answers for it are the best found, with a bound that is proved.

        >>> from blockfit import Block, Figure
        >>> corners = [[0, 0, 0], [600, 0, 0], [0, 900, 0], [0, 0, 1000]]
        >>> round(Block.scanned(Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])).volume_m3, 6)
        0.09
        """
        if not isinstance(source, Figure | str | Path):
            raise BadValueError(f"source={source!r} must be a mesh file or a Figure")
        if unit is not None:
            unit_mm(unit)
        surface = source if isinstance(source, Figure) else _read_surface(source, unit)
        require_solid(surface, "a rough block")
        offsets = (surface.vertices @ AROUND.T).max(axis=0)
        kept = corners_of(AROUND, offsets)[1]
        normals, offsets = AROUND[kept], offsets[kept]
        order, called = named_faces(normals)
        bare = cls(
            normals[order],
            offsets[order],
            called,
            kind="scanned",
            stone=find_stone(stone),
            name=name or surface.name,
            skin_mm=np.full(len(order), length_mm(skin, "skin", least=0)),
            price=price,
            flaws=tuple(flaws),
            surface=surface,
        )
        return bare

    @kinds_checked
    def with_flaws(self, *flaws: Flaw) -> "Block":
        """Return the same block with more flaws."""
        return replace(self, flaws=(*self.flaws, *flaws))

    @property
    def is_plain(self) -> bool:
        """Whether its planes tell all: a convex block without flaws, whose answers are proved."""
        return self.surface is None and not self.flaws

    @classmethod
    def _from_bounds(  # noqa: PLR0913
        cls,
        normals: Array,
        offsets: Array,
        names: Sequence[str] | None,
        stone: Stone | str | None,
        name: str,
        skin: CoverAsked,
        price: float | None,
        bed: str | None,
    ) -> "Block":
        kept = corners_of(normals, offsets)[1]
        normals, offsets = normals[kept], offsets[kept]
        if names is None:
            order, called = named_faces(normals)
            normals, offsets = normals[order], offsets[order]
        else:
            called = tuple(str(names[k]) for k in kept)
            if len(set(called)) != len(called):
                raise BadValueError(f"names must differ from each other: {', '.join(called)}")
        bare = cls(normals, offsets, called, stone=find_stone(stone), name=name, price=price, bed=bed)
        return _with_skin(bare, skin)

    def __repr__(self) -> str:
        """Return name, kind, size and stone."""
        size = " x ".join(f"{side:g}" for side in self.size_mm)
        return f"Block({self.name!r}, {self.kind}, {size} mm, {self.stone.name if self.stone else 'no stone named'})"

    @cached_property
    def corners_mm(self) -> Array:
        """The (n, 3) corners of the whole stone."""
        if self.kind == "box":
            (low_x, high_x), (low_y, high_y), (low_z, high_z) = (
                (0.0 - float(self.offsets_mm[k]), float(self.offsets_mm[k + 1])) for k in (2, 0, 4)
            )
            return np.array([[x, y, z] for x in (low_x, high_x) for y in (low_y, high_y) for z in (low_z, high_z)])
        return corners_of(self.normals, self.offsets_mm)[0]

    @cached_property
    def sound_mm(self) -> Array:
        """Offsets (f,) of the sound stone: the faces less their skin."""
        return self.offsets_mm - self.skin_mm

    @cached_property
    def volume_m3(self) -> float:
        """Volume of the whole stone, skin included."""
        if self.surface is not None:
            return self.surface.volume_m3 or 0.0
        if self.kind == "box":
            return float(np.prod(self.size_mm)) * M3_PER_MM3
        return polytope_volume(self.corners_mm) * M3_PER_MM3

    @cached_property
    def centroid_mm(self) -> Array:
        """Centre of gravity (3,) of the whole stone."""
        if self.surface is not None:
            return self.surface.centroid_mm
        if self.kind == "box":
            return np.asarray(self.corners_mm.mean(axis=0))
        return polytope_centre(self.corners_mm)

    @property
    def size_mm(self) -> tuple[float, float, float]:
        """Width, depth and height of the least upright box around it."""
        width, depth, height = (self.corners_mm.max(axis=0) - self.corners_mm.min(axis=0)).tolist()
        return width, depth, height

    @property
    def mass_kg(self) -> float | None:
        """Weight at the stone's typical density, skin included; ``None`` without a stone."""
        return None if self.stone is None else self.volume_m3 * self.stone.density_kg_m3


def cover_by_face(block: Block, cover: CoverAsked, name: str = "cover") -> Array:
    """Return the (f,) mm of stone asked on each face.

    Raises `BadValueError` for a negative length or a face that the block does not have.

    >>> from blockfit import Block
    >>> from blockfit.solids.block import cover_by_face
    >>> cover_by_face(Block.box(9, 9, 9), {"bottom": 0, "other": "1 cm"}).tolist()
    [10.0, 10.0, 10.0, 10.0, 0.0, 10.0]
    """
    if not isinstance(cover, Mapping):
        return np.full(len(block.names), length_mm(cover, name, least=0))
    unknown = [face for face in cover if face not in (*block.names, "other")]
    if unknown:
        raise BadValueError(f"{name} names {unknown[0]!r}; this block has the faces {', '.join(block.names)}")
    other = cover.get("other", 0)
    return np.array([length_mm(cover.get(face, other), f"{name} of {face}", least=0) for face in block.names])


def _size_mm(value: Length, name: str) -> float:
    size = length_mm(value, name)
    if size <= 0:
        raise BadValueError(f"{name}={value!r} must be more than 0")
    if size > 1e6:
        raise BadValueError(f"{name}={value!r} is over a kilometre; check the unit")
    return size


def _with_skin(block: Block, skin: CoverAsked) -> Block:
    skinned = replace(block, skin_mm=cover_by_face(block, skin, "skin"))
    if skinned.skin_mm.any():
        try:
            corners_of(skinned.normals, skinned.sound_mm)
        except BadValueError as error:
            raise BadValueError(f"skin={skin!r} leaves no sound stone in {block.name}") from error
    return skinned


def named_faces(normals: Array) -> tuple[list[int], tuple[str, ...]]:
    """Return the order of faces and their names: a box's first, then by azimuth and elevation."""
    square = {}
    for face, normal in zip(BOX_FACES, _BOX_NORMALS, strict=True):
        near = np.flatnonzero(np.linalg.norm(normals - normal, axis=1) < _SAME_NORMAL)
        if len(near):
            square[int(near[0])] = face
    rest = [k for k in range(len(normals)) if k not in square]
    azimuth = np.round(np.degrees(np.arctan2(normals[:, 1], normals[:, 0])) % 360, 6) % 360
    elevation = np.degrees(np.arcsin(np.clip(normals[:, 2], -1, 1)))
    rest.sort(key=lambda k: (azimuth[k], elevation[k]))
    first = sorted(square, key=lambda k: BOX_FACES.index(square[k]))
    return first + rest, tuple(square[k] for k in first) + tuple(f"face {i + 1}" for i in range(len(rest)))

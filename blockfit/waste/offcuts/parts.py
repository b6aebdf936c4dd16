"""A piece as it is planned: the wedge it comes from, the parts that it is divided into, what is taken in the end."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.measure.booleans import Solid
from blockfit.units import M2_PER_MM2
from blockfit.waste.cuts.division import spans
from blockfit.waste.cuts.methods import Method, capable
from blockfit.waste.offcuts.wedges import SampledWedge

__all__ = [
    "AIR_M2",
    "Part",
    "Planes",
    "SetWedge",
    "Span",
    "beyond",
    "dividing_saw",
    "has_a_nick",
    "parted",
    "sawn_m2",
]

AIR_M2 = 1e-5
"""Ten square millimetres: a plane that parts no more is no cut."""

Planes = tuple[Array, Array]
"""The normals (k, 3) and offsets (k,) of a wedge: it is where all ``normals @ x >= offsets`` hold."""

_SLIGHT = 0.05  # of the greatest cut of a piece: a lesser one is too small to set out
_SLICE_MM = 0.05  # a slice this thin tells the area of stone that a cut passes through


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A piece to take off: where ``normals @ x >= offsets`` within the corners (n, 3); its solid, the corners (m, 3) of
    a convex body of ``sound`` stone in it, volume, way out, and for every cut its sawn area (m²), outline (k, 3) and
    method."""

    normals: Array
    offsets: Array
    corners: Array
    solid: Solid
    sound: Array
    volume_m3: float
    areas_m2: tuple[float, ...]
    outlines: tuple[Array, ...]
    methods: tuple[Method, ...]
    draw_out: Array
    divided: bool
    left: Solid  # the stone then left
    before: int  # how many of `Planner.hollows` were there when it was begun


@dataclass(frozen=True, slots=True, eq=False)
class SetWedge:
    """A wedge set exactly, and what makes each of its cuts."""

    wedge: SampledWedge
    methods: tuple[Method, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Span:
    """One part of a wedge that is divided: beyond ``normals`` and ``offsets``, and before each of ``ends``."""

    normals: Array
    offsets: Array
    methods: tuple[Method, ...]
    ends: tuple[tuple[Array, float], ...]
    divided: bool


def parted(
    wedge: SampledWedge, methods: tuple[Method, ...], ways: tuple[Array, Array, Array, Array], saw: Method
) -> list[Span]:
    """Return a wedge's parts, the far ones first, as they are divided along two axes; a cut is a kerf wide."""
    first, along, second, across = ways
    parts: list[Span] = []
    for bounds in product(spans(along), spans(across)):
        sides = list(zip((first, second), bounds, strict=True))
        starts = [(axis, start) for axis, (start, _) in sides if np.isfinite(start)]
        ends = tuple((axis, end - saw.kerf_mm) for axis, (_, end) in sides if np.isfinite(end))
        normals = np.vstack([wedge.normals, *[axis for axis, _ in starts]])
        offsets = np.append(wedge.offsets, [start for _, start in starts])
        parts.append(Span(normals, offsets, (*methods, *[saw for _ in starts]), ends, bool(starts or ends)))
    return parts


def beyond(solid: Solid, normals: Array, offsets: Array) -> Solid:
    """Return what of a solid lies beyond all planes ``normals @ x >= offsets``."""
    for normal, offset in zip(normals, offsets, strict=True):
        solid = solid.trim_by_plane(normal.tolist(), float(offset))
    return solid


def sawn_m2(left: Solid, normals: Array, offsets: Array, k: int, ends: Sequence[tuple[Array, float]]) -> float:
    """Return the area in m² of the stone ``left`` that cut k passes through: what earlier cuts took is air.

    ``ends`` bound a part of a divided piece: directions, and how far it goes along them.
    """
    others = [j for j in range(len(normals)) if j != k]
    slab = beyond(left, normals[others], offsets[others])
    for axis, end in ends:
        slab = slab.trim_by_plane((-axis).tolist(), -end)
    slab = slab.trim_by_plane(normals[k].tolist(), float(offsets[k]) - _SLICE_MM)
    return float(slab.trim_by_plane((-normals[k]).tolist(), -float(offsets[k])).volume()) / _SLICE_MM * M2_PER_MM2


def has_a_nick(areas_m2: Sequence[float]) -> bool:
    """Whether one of a piece's planes passes through stone, but through too little beside the others to be set out.

    >>> from blockfit.waste.offcuts.parts import has_a_nick
    >>> has_a_nick([0.4, 0.3, 0.0]), has_a_nick([0.4, 0.003])  # the third of the first passes through air
    (False, True)
    """
    cuts = [area for area in areas_m2 if area > AIR_M2]
    return min(cuts, default=0.0) < _SLIGHT * max(cuts, default=0.0)


def dividing_saw(plan: SetWedge, methods: Sequence[Method], corners: Array, is_light: bool) -> Method | None:
    """Return what divides a piece with these corners: its cut stops at the piece's own, and runs on no further.

    ``None`` where nothing can; what is light enough to be lifted is not divided, and any will do.
    """
    allowed = max(method.overrun_mm for method in plan.methods)
    fitting = [method for method in methods if method.overrun_mm <= allowed]
    saw = capable(fitting, len(plan.methods) + 1, float(np.ptp(corners, axis=0).min()))
    return methods[0] if saw is None and is_light else saw

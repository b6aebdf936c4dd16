"""Which pieces of waste come off whole, by which flat cuts, in what order.

mm, block frame. Every piece is convex, lies in the stone then left, keeps clear of the figure by the clearance
plus the kerf (exact: each plane is set by cutting the figure itself), and can be drawn straight out. The choice
of pieces is greedy over sampled stone: good, not proved best."""

import math
from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.measure.booleans import arrays_of, hull_solid
from blockfit.search.result import Fit
from blockfit.solids.arrays import Array
from blockfit.solids.figure import Figure
from blockfit.solids.polytope import least_width
from blockfit.solids.stone import Stone
from blockfit.units import Length, length_mm
from blockfit.waste.placed import placed_solid
from blockfit.waste.planner import Limits, Part, Planner

__all__ = ["Cut", "Offcut", "OffcutPlan", "offcuts"]

_KINDS = {1: "through cut", 2: "rebate", 3: "corner"}


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """A flat cut: the piece lies where ``normal · x >= offset_mm``; ``area_m2`` is what is sawn."""

    normal: Array
    offset_mm: float
    area_m2: float
    method: str


@dataclass(frozen=True, slots=True, eq=False)
class Offcut:
    """One piece taken off whole: its cuts, size along the block's axes, centre of gravity and way out (3,).

    ``weight_kg`` is at the stone's typical density, ``weight_range_kg`` at the ends of its range; ``None``
    without a stone. ``kind`` is through cut, rebate, corner, or part of one that was divided to be lifted.
    """

    kind: str
    volume_m3: float
    weight_kg: float | None
    weight_range_kg: tuple[float, float] | None
    size_mm: tuple[float, float, float]
    least_thickness_mm: float
    centre_mm: Array
    cuts: tuple[Cut, ...]
    draw_out: Array
    solid: Figure
    stage: str


@dataclass(frozen=True, slots=True, eq=False)
class OffcutPlan:
    """The pieces in order of removal, the stone left after all of them, and the share of the waste they save.

    Kerfs, and parts of a divided piece that are too light to keep, are in neither: they go with the chips.
    """

    pieces: tuple[Offcut, ...]
    left: Figure
    recovered: float
    volume_m3: float
    clearance_mm: float
    kerf_mm: float
    lift_limit_kg: float | None

    @property
    def sawn_m2(self) -> float:
        """Area of all cuts."""
        return sum(cut.area_m2 for piece in self.pieces for cut in piece.cuts)


def offcuts(
    fit: Fit,
    *,
    clearance: Length = 20,
    kerf: Length | None = None,
    least_thickness: Length = 80,
    least_weight_kg: float = 20,
    lift_limit_kg: float | None = None,
    most_pieces: int | None = None,
    most_cuts: int = 2,
) -> OffcutPlan:
    """Return a plan of pieces to take off whole, greatest first.

    ``clearance`` is the stone kept over the figure, ``kerf`` the width of a cut (default 12 mm; take your
    saw's), ``least_thickness`` and ``least_weight_kg`` what is worth keeping. Pieces over ``lift_limit_kg`` at
    the heaviest the stone may be are divided, within the least thickness and weight, or left. ``most_cuts`` is 1
    (through cuts), 2 (and rebates) or 3 (and corners). Without a stone, weights count 2700 kg/m³ for the limits only.
    """
    figure = placed_solid(fit, "offcuts")
    clearance_mm = length_mm(clearance, "clearance", least=0)
    kerf_mm = 12.0 if kerf is None else length_mm(kerf, "kerf", least=0)
    thick_mm = length_mm(least_thickness, "least_thickness", least=1)
    if most_cuts not in (1, 2, 3):
        raise BadValueError(f"most_cuts={most_cuts!r} must be 1, 2 or 3")
    for limit, value in (("least_weight_kg", least_weight_kg), ("lift_limit_kg", lift_limit_kg)):
        if value is not None and not (isinstance(value, int | float) and 0 <= value < math.inf):
            raise BadValueError(f"{limit}={value!r} must be a number of kg, 0 or more")
    if lift_limit_kg is not None and not lift_limit_kg > least_weight_kg:
        raise BadValueError(
            f"the lift limit of {lift_limit_kg:g} kg must be more than the least weight, {least_weight_kg:g} kg"
        )
    if most_pieces is not None and most_pieces < 0:
        raise BadValueError(f"most_pieces={most_pieces!r} must be 0 or more")
    stone = fit.block.stone
    heavy = stone.high_kg_m3 if stone else 2700.0
    density = stone.density_kg_m3 if stone else 2700.0
    limits = Limits(
        clear_mm=clearance_mm + kerf_mm,
        kerf_mm=kerf_mm,
        least_thickness_mm=thick_mm,
        least_volume_m3=least_weight_kg / density,
        most_volume_m3=math.inf if lift_limit_kg is None else lift_limit_kg / heavy,
    )
    planner = Planner(fit.block, figure, limits)
    pieces: list[Offcut] = []
    while most_pieces is None or len(pieces) < most_pieces:
        wedge = planner.next_wedge(most_cuts)
        if wedge is None:
            break
        room = None if most_pieces is None else most_pieces - len(pieces)
        parts = planner.take(wedge, room)
        pieces += [_offcut(part, stone, len(pieces) + k + 1) for k, part in enumerate(parts)]
    vertices, faces = arrays_of(planner.left)
    left = Figure(vertices, faces, name="stone left")
    volume = sum(piece.volume_m3 for piece in pieces)
    waste = fit.block.volume_m3 - (figure.volume_m3 or 0.0)
    return OffcutPlan(
        tuple(pieces), left, volume / waste if waste > 0 else 0.0, volume, clearance_mm, kerf_mm, lift_limit_kg
    )


def _offcut(part: Part, stone: Stone | None, number: int) -> Offcut:
    vertices, faces = arrays_of(hull_solid(part.corners))
    solid = Figure(vertices, faces, name=f"offcut {number}")
    volume = solid.volume_m3 or 0.0
    kind = _KINDS[min(3, max(1, len(part.normals)))]
    width, depth, height = np.ptp(part.corners, axis=0).tolist()
    return Offcut(
        kind=f"{kind}, divided" if part.divided else kind,
        volume_m3=volume,
        weight_kg=None if stone is None else volume * stone.density_kg_m3,
        weight_range_kg=None if stone is None else (volume * stone.low_kg_m3, volume * stone.high_kg_m3),
        size_mm=(width, depth, height),
        least_thickness_mm=least_width(part.corners),
        centre_mm=solid.centroid_mm,
        cuts=tuple(
            Cut(normal, float(offset), area, kind)
            for normal, offset, area in zip(part.normals, part.offsets, part.areas_m2, strict=True)
        ),
        draw_out=part.draw_out,
        solid=solid,
        stage="before carving",
    )

"""What the block, the figure and the waste weigh, and how the block grows lighter stage by stage.

kg at the stone's typical density; multiply by ``low`` or ``high`` for the ends of its range. Volumes of block,
figure and offcuts are exact; how the waste divides into stages is resolved to the columns' pitch."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result, record_of
from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import corners_of, hull_planes, inner_ball, polytope_volume
from blockfit.geometry.tolerances import NOTHING_MM
from blockfit.kinds import above_0, kinds_checked, number_in
from blockfit.measure.distance import SurfaceDistance
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.units import M3_PER_MM3, M_PER_MM, Length, length_mm
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.placed import placed_solid
from blockfit.waste.reach.shares import PARTS, Planes, shares_of, shares_of_piece
from blockfit.waste.reach.undercut import Undercuts, undercuts
from blockfit.waste.sampling import grid_points

__all__ = ["ALLOWANCES", "Allowance", "WeightStage", "Weights", "hours", "weights"]


@dataclass(frozen=True, slots=True, repr=False)
class WeightStage(Result):
    """What one stage of the work takes out and leaves on the banker; kg are ``None`` without a stone.

    Volumes are m³, resolved to the pitch; weights are estimates at the typical density.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> weighed = bf.weights(fit, undercut=bf.undercuts(fit, pitch=20))
    >>> [(stage.name, round(stage.removed_m3, 3), round(stage.left_kg)) for stage in weighed.stages][1::2]
    [('beside it', 0.126, 97), ('behind it', 0.024, 32)]
    """

    name: str = field(metadata=fact("stage", Sure.GIVEN))
    removed_m3: float = field(metadata=fact("out", Sure.RESOLVED))
    left_m3: float = field(metadata=fact("left", Sure.RESOLVED))
    removed_kg: float | None = field(metadata=fact("out, weight", Sure.ESTIMATE, Rounding.UP))
    left_kg: float | None = field(metadata=fact("left, weight", Sure.ESTIMATE, Rounding.UP))


@dataclass(frozen=True, slots=True, repr=False)
class Allowance(Result):
    """Stone left over the finished surface after a tool: an estimate, area times thickness.

    A point bruises the stone under it, so it stops short of the surface.
    """

    tool: str = field(metadata=fact("tool", Sure.GIVEN))
    thickness_mm: float = field(metadata=fact("leaves", Sure.GIVEN))
    over_m3: float = field(metadata=fact("in all", Sure.ESTIMATE))
    over_kg: float | None = field(metadata=fact("in all, weight", Sure.ESTIMATE, Rounding.UP))


@dataclass(frozen=True, slots=True, repr=False)
class Weights(Result):
    """Weights in kg (``None`` without a stone) and volumes in m³; ``low`` and ``high`` scale to the range's ends.

    ``parts_m3`` sum to the block: skin, offcuts, the sound stone before, beside, between and behind the figure, and
    the figure. ``wet`` multiplies a weight for stone that has absorbed its fill; 1 where no absorption is known.

    The volumes of block, figure and waste are exact, the stages and parts resolved to the pitch; every weight is an
    estimate.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> weighed = bf.weights(fit, undercut=bf.undercuts(fit, pitch=20))
    >>> round(weighed.block_m3, 3), round(weighed.figure_m3, 3), round(weighed.block_kg), round(weighed.figure_kg)
    (0.162, 0.012, 437, 32)
    >>> weighed.low < 1 < weighed.high, round(sum(volume for _, volume in weighed.parts_m3), 3)
    (True, 0.162)
    """

    block_kg: float | None = field(metadata=fact("block", Sure.ESTIMATE, Rounding.UP))
    figure_kg: float | None = field(metadata=fact("figure", Sure.ESTIMATE, Rounding.UP))
    removed_kg: float | None = field(metadata=fact("waste", Sure.ESTIMATE, Rounding.UP))
    offcuts_kg: float | None = field(metadata=fact("of it offcuts", Sure.ESTIMATE, Rounding.UP))
    chips_kg: float | None = field(metadata=fact("of it chips", Sure.ESTIMATE, Rounding.UP))
    skin_kg: float | None = field(metadata=fact("of it skin", Sure.ESTIMATE, Rounding.UP))
    block_m3: float = field(metadata=fact("block, volume", Sure.EXACT, shown=False))
    figure_m3: float = field(metadata=fact("figure, volume", Sure.EXACT, shown=False))
    removed_m3: float = field(metadata=fact("waste, volume", Sure.EXACT, shown=False))
    offcuts_m3: float = field(metadata=fact("offcuts, volume", Sure.EXACT, shown=False))
    chips_m3: float = field(metadata=fact("chips, volume", Sure.EXACT, shown=False))
    skin_m3: float = field(metadata=fact("skin, volume", Sure.RESOLVED, shown=False))
    low: float = field(metadata=fact("least", Sure.GIVEN, key="range_low_factor", shown=False))
    high: float = field(metadata=fact("most", Sure.GIVEN, key="range_high_factor", shown=False))
    wet: float = field(metadata=fact("soaked", Sure.GIVEN, key="wet_factor", shown=False))
    parts_m3: tuple[tuple[str, float], ...] = field(metadata=fact("parts", Sure.RESOLVED, shown=False))
    stages: tuple[WeightStage, ...] = field(metadata=fact("stages", Sure.RESOLVED))
    allowances: tuple[Allowance, ...] = field(metadata=fact("left over the surface", Sure.ESTIMATE))

    def record(self) -> dict[str, Any]:
        """Return everything as plain data, the parts by name."""
        return {**record_of(self), "parts_m3": dict(self.parts_m3)}

    @property
    def parts_kg(self) -> tuple[tuple[str, float | None], ...]:
        """The parts' weights; they sum to the block's."""
        density = None if self.block_kg is None else self.block_kg / self.block_m3
        return tuple((name, _times(volume, density)) for name, volume in self.parts_m3)


_SAMPLES = 40_000  # of a rough block, by which its skin is measured

ALLOWANCES: Mapping[str, float] = {"point": 15.0, "claw": 5.0, "flat": 1.0}
"""Stone in mm that a tool leaves over the finished surface; common practice, no source: give your own."""


@kinds_checked
def weights(
    fit: Fit,
    offcuts: OffcutPlan | None = None,
    undercut: Undercuts | None = None,
    *,
    allowances: Mapping[str, Length] = ALLOWANCES,
    water_absorption: float | None = None,
) -> Weights:
    """Return the weights of a fit, with the pieces of an offcut plan counted apart from the chips.

    Stages run in the order of work: offcuts, the skin, then the stone before the figure, beside it, between its
    surfaces and behind it. ``allowances`` is what each tool leaves over the surface; ``water_absorption`` the share
    of its dry weight that the stone absorbs (default: the stone's own, if it has one). Raises `OpenSurfaceError` for
    a figure that is no solid.

    ``allowances`` map a tool to mm or text (15, 5 and 1 mm for point, claw and flat: common practice, no source). An
    undercut answer that is at hand saves finding it again. Volumes are exact or resolved to its pitch, weights
    estimates at the typical density, and ``None`` without a stone. Raises `BadValueError` as well: for a figure that
    does not fit, an allowance below 0, or an absorption that is no share.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> weighed = bf.weights(fit, undercut=bf.undercuts(fit, pitch=20))
    >>> round(weighed.removed_kg), round(weighed.removed_kg * weighed.high), [one.tool for one in weighed.allowances]
    (405, 429, ['point', 'claw', 'flat'])
    """
    solid = placed_solid(fit, "weights")
    cut = undercut or undercuts(fit)
    stone = fit.block.stone
    block, figure = fit.block.volume_m3, solid.volume_m3 or 0.0
    pieces = [] if offcuts is None else [piece.solid for piece in offcuts.pieces]
    taken = 0.0 if offcuts is None else offcuts.volume_m3
    if fit.block.surface is None:
        planes = [hull_planes(piece.vertices) for piece in pieces]
        skin, parts = _sound_parts(fit.block, figure, cut, planes, taken)
    else:
        skin, parts = _rough_parts(fit.block, cut, pieces)
    parts[3] += block - figure - taken - skin - parts.sum()  # what the pitch misses leaves with the last stage
    names = ["offcuts taken off whole", "skin", *PARTS]
    removed = [taken, skin, *parts.tolist()]
    kg = None if stone is None else stone.density_kg_m3
    stages, left = [], block
    for name, volume in zip(names, removed, strict=True):
        left -= volume
        if volume or name not in names[:2]:
            stages.append(WeightStage(name, volume, left, _times(volume, kg), _times(left, kg)))
    waste = block - figure
    area = solid.area_m2
    over = {tool: length_mm(thick, f"allowance of {tool}", least=0) for tool, thick in allowances.items()}
    absorbed = water_absorption if water_absorption is not None else (stone.water_absorption if stone else None)
    if absorbed is not None and not 0 <= absorbed < 1:
        raise BadValueError(f"water_absorption={absorbed!r} must be a share of the dry weight, such as 0.02")
    return Weights(
        block_kg=_times(block, kg),
        figure_kg=_times(figure, kg),
        removed_kg=_times(waste, kg),
        offcuts_kg=_times(taken, kg),
        chips_kg=_times(waste - taken, kg),
        skin_kg=_times(skin, kg),
        block_m3=block,
        figure_m3=figure,
        removed_m3=waste,
        offcuts_m3=taken,
        chips_m3=waste - taken,
        skin_m3=skin,
        low=1.0 if stone is None else stone.low_kg_m3 / stone.density_kg_m3,
        high=1.0 if stone is None else stone.high_kg_m3 / stone.density_kg_m3,
        wet=1.0 + (absorbed or 0.0),
        parts_m3=tuple(zip((*names, "figure"), (*removed, figure), strict=True)),
        stages=tuple(stages),
        allowances=tuple(
            Allowance(tool, thick, area * thick * M_PER_MM, _times(area * thick * M_PER_MM, kg))
            for tool, thick in over.items()
        ),
    )


@kinds_checked
def hours(
    weight: Weights,
    kg_per_hour: Mapping[str, float],
    *,
    finishing_m2_per_hour: float | None = None,
    area_m2: float = 0.0,
) -> tuple[tuple[str, float], ...]:
    """Return the hours of each stage that the user has a rate for, and of finishing the surface.

    Only the user's own rates count: nobody else's hold for their stone, tools and hands. Keys are stage names, and
    ``"other"`` for the rest.

    ``kg_per_hour`` is kg of stone an hour, ``area_m2`` m². An estimate, as good as your own rates. Raises
    `BadValueError` for a stage that is not among them, a rate that is not above 0, and weights without a stone.

    >>> import blockfit as bf
    >>> from blockfit.waste.standing.weight import hours
    >>> corners = [[0, 0, 0], [60, 0, 0], [0, 100, 0], [0, 0, 1000]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.largest(figure, bf.Block.box(60, 100, 1000, stone="marble"), stance=bf.Stance.fixed())
    >>> [round(h, 1) for _, h in hours(bf.weights(fit), {"beside it": 2, "behind it": 1})]
    [4.1, 5.4]
    """
    told = []
    number_in(area_m2, "area_m2", 0)
    unknown = set(kg_per_hour) - {stage.name for stage in weight.stages} - {"other"}
    if unknown:
        names = ", ".join(stage.name for stage in weight.stages)
        raise BadValueError(f"kg_per_hour names {sorted(unknown, key=str)[0]!r}; the stages are {names}, or other")
    for stage in weight.stages:
        rate = kg_per_hour.get(stage.name, kg_per_hour.get("other"))
        if rate is None:
            continue
        if stage.removed_kg is None:
            raise BadValueError("hours by weight need a stone: name it in the block")
        told.append((stage.name, stage.removed_kg / _rate(rate, stage.name)))
    if finishing_m2_per_hour is not None:
        told.append(("finishing", area_m2 / above_0(finishing_m2_per_hour, "finishing_m2_per_hour", "m² an hour")))
    return tuple(told)


def _rate(value: float, name: str) -> float:
    if not (isinstance(value, int | float) and 0 < value < math.inf):
        raise BadValueError(f"the rate of {name}, {value!r}, must be more than 0 per hour")
    return float(value)


def _times(volume: float, density: float | None) -> float | None:
    return None if density is None else volume * density


def _rough_parts(block: Block, cut: Undercuts, pieces: Sequence[Figure]) -> tuple[float, Array]:
    """Return a rough block's skin outside the pieces in m³, by samples, and (4,) the rest outside them, by place."""
    whole = np.array([cut.front_m3, cut.beside_m3, cut.trapped_m3, cut.rear_m3])
    outside = whole - sum((shares_of_piece(cut, piece.vertices, piece.faces) for piece in pieces), np.zeros(4))
    skin_mm = float(block.skin_mm.max(initial=0.0))
    if block.surface is None or skin_mm == 0:
        return 0.0, outside
    points = grid_points(block, _SAMPLES)
    within = SurfaceDistance(block.surface.vertices, block.surface.faces).signed(points)[0]
    skin = (within <= 0) & (within > -skin_mm)
    for piece in pieces:
        skin &= SurfaceDistance(piece.vertices, piece.faces).signed(points)[0] > 0
    skin_m3 = float(skin.sum() / max(1, int((within <= 0).sum()))) * block.volume_m3
    left = max(0.0, float(outside.sum()))
    return min(skin_m3, left), outside * (1 - min(1.0, skin_m3 / left) if left > 0 else 1.0)


def _sound_parts(
    block: Block, figure_m3: float, cut: Undercuts, pieces: Sequence[Planes], taken: float
) -> tuple[float, Array]:
    """Return the skin outside the pieces in m³, and (4,) the sound stone outside them, by where it lies."""
    whole = np.array([cut.front_m3, cut.beside_m3, cut.trapped_m3, cut.rear_m3])
    sound = (block.normals, block.sound_mm)
    if not block.skin_mm.any():
        return 0.0, whole - shares_of(cut, pieces, taken)
    sound_m3 = polytope_volume(corners_of(*sound)[0]) * M3_PER_MM3
    inside = []
    for normals, offsets in pieces:
        planes = np.concatenate([normals, block.normals]), np.concatenate([offsets, block.sound_mm])
        if inner_ball(*planes)[1] > NOTHING_MM:
            inside.append((planes, polytope_volume(corners_of(*planes)[0]) * M3_PER_MM3))
    in_pieces = sum(volume for _, volume in inside)
    all_sound = shares_of(cut, [sound], sound_m3 - figure_m3)
    skin = block.volume_m3 - sound_m3 - (taken - in_pieces)
    return skin, all_sound - shares_of(cut, [planes for planes, _ in inside], in_pieces)

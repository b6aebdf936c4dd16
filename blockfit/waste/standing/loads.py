"""The stone at every moment of the work, each a solid: its weight, its centre of gravity, and what it stands on.

mm, kg, block frame. As delivered, after every offcut, and finished, the stone is an exact solid. Between those, as the
waste before, beside, between and behind the figure goes, volume and centre come from columns and are known to a part of
their pitch; the worse end is answered. What it then rests on is exact: the floor of the stone that is left."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result, plain, record_of
from blockfit.facts.systems import UnitSystem
from blockfit.geometry.arrays import Array
from blockfit.geometry.surface import centroid
from blockfit.geometry.tolerances import LEVEL, NOTHING_MM, TOUCHING
from blockfit.measure.booleans import arrays_of, block_solid, body_of, level_rings
from blockfit.measure.sections import area_of, footprint, only_areas, rings_of, swept_area, united, within
from blockfit.search.result import Fit
from blockfit.solids.figure import Figure
from blockfit.units import M2_PER_MM2, rounded_down
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.placed import light_solid
from blockfit.waste.reach.shares import stage_bodies
from blockfit.waste.reach.undercut import Undercuts
from blockfit.waste.standing.turning import Turning, turnings
from blockfit.waste.statics import Balance, balance, base_of, standing

__all__ = ["LevelCut", "Load", "Stuff", "loads_of"]

_NEAR_MM = 1.0  # a support this far beside the base still bears
_KNOWN = 0.25  # of a column's pitch: how well a centre of gravity by columns is known
LEVELS = 60  # heights up to a tenth of the figure's at which its base is tried cut level


@dataclass(frozen=True, slots=True, eq=False)
class Stuff:
    """What weights count: kg per m³, typical and at the ends of its range."""

    typical: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False)
class LevelCut:
    """The least height looked at at which cutting the base level lets a body stand, and how it then stands."""

    height_mm: float
    stands: Balance


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Load(Result):
    """The stone at one moment: weight with its range, centre of gravity (3,), and how it stands.

    ``on_supports`` is how it stands on the rollers, wedges or battens given instead of its base. ``size_mm`` is its own
    at that moment. ``turns`` are over the edges of its base, where it is an exact solid; ``level`` is what cutting the
    finished figure's base level would do, where it does not stand; ``contact_m2`` is the stone that really touches the
    floor, where it is an exact solid.
    """

    name: str = field(metadata=fact("load", Sure.GIVEN))
    volume_m3: float = field(metadata=fact("volume", Sure.EXACT))
    weight_kg: float = field(metadata=fact("weight", Sure.ESTIMATE, Rounding.UP))
    weight_range_kg: tuple[float, float] = field(metadata=fact("weight range", Sure.ESTIMATE, Rounding.UP))
    centre_mm: Array = field(metadata=fact("centre of gravity", Sure.EXACT))
    stands: Balance
    on_supports: Balance | None
    size_mm: tuple[float, float, float] = field(metadata=fact("size", Sure.EXACT, Rounding.UP))
    turns: tuple[Turning, ...] = ()
    level: LevelCut | None = None
    contact_m2: float | None = None

    def _shown(self, units: UnitSystem) -> list[tuple[str, str, str]]:
        """Return the facts that are shown, and whether it stands."""
        stands = f"NO: {self.stands.falls}"
        if self.stands.stands:
            stands = f"yes, tips over the {self.stands.weakest} at {rounded_down(self.stands.weakest_deg, 0):.0f}°"
        return [*Result._shown(self, units), ("stands by itself", stands, Sure.ESTIMATE.value)]

    def record(self) -> dict[str, Any]:
        """Return the load as plain data, how it stands beside it."""
        held, level = self.on_supports, self.level
        standing = {
            "stands": self.stands.stands,
            "margin_mm": self.stands.margin_mm,
            "tips_over": self.stands.weakest,
            "tips_at_deg": self.stands.weakest_deg,
            "centre_within_mm": self.stands.within_mm,
            "base_mm": plain(self.stands.base),
            "joined_to_nothing": plain(self.stands.loose),
            "stands_on_supports": None if held is None else held.stands,
            "stands_cut_level_at_mm": None if level is None else level.height_mm,
        }
        return {**record_of(self), **standing}


def loads_of(
    fit: Fit,
    figure: Figure,
    offcuts: OffcutPlan | None,
    cut: Undercuts | None,
    stuff: Stuff,
    supports: Array | None,
    flat_mm: float,
) -> tuple[Load, ...]:
    """Return the stone as delivered, after each offcut and each part of the waste, and the finished figure."""

    def exact(name: str, body: Figure) -> Load:
        volume = body.volume_m3 or 0.0
        stands = standing(body.vertices, body.faces, flat_mm, body.centroid_mm)
        # Of very many corners fewer serve, within a fifth of a millimetre: what turning asks is an estimate.
        rolled = light_solid(body)[0].vertices
        turns = turnings(rolled, stands.centre_mm, volume * stuff.high, stands.base, flat_mm)
        low = float(body.vertices[:, 2].min())
        touch = area_of(level_rings(body_of(body), low + max(flat_mm, NOTHING_MM)))
        held, touch_m2 = _under(supports, touch, low), float(touch.area) * M2_PER_MM2
        return _load(name, volume, stands.centre_mm, stands, body.size_mm, stuff, held, turns, touch_m2)

    bought = Figure(*arrays_of(block_solid(fit.block.corners_mm, fit.block.surface)))
    loads = [exact("as delivered", bought)]
    for number, piece in enumerate(() if offcuts is None else offcuts.pieces, 1):
        loads.append(exact(f"after offcut {number}", piece.left))
    if cut is not None:
        start = bought if offcuts is None else offcuts.left
        loads += _between(fit, figure, start, cut, stuff, supports, flat_mm)
    finished = exact("the finished figure", figure)
    if not finished.stands.stands and not finished.stands.loose:
        finished = replace(finished, level=_level_cut(figure))
    return (*loads, finished)


def _between(
    fit: Fit, figure: Figure, start: Figure, cut: Undercuts, stuff: Stuff, supports: Array | None, flat_mm: float
) -> list[Load]:
    """Return the stone as the waste before, beside and between the figure goes: by columns, the worse end answered."""
    loads: list[Load] = []
    bases = _stage_bases(figure, start, cut.view.into, flat_mm)
    within = _KNOWN * cut.pitch_mm
    most = start.volume_m3 or 0.0  # columns sum it to a part of their pitch
    stages = stage_bodies(fit, cut, start.vertices, start.faces)[:-1]
    for (name, volume, centre), (base, area) in zip(stages, bases, strict=True):
        whole = start.vertices if name == "before the figure" else np.concatenate([figure.vertices, base])
        loads.append(
            _load(
                f"once the stone {name} is gone",
                min(volume, most),
                centre,
                balance(centre, base, within),
                _size(whole),
                stuff,
                _under(supports, area, float(base[:, 2].min())),
            )
        )
    return loads


def _load(  # noqa: PLR0913
    name: str,
    volume: float,
    centre: Array,
    stands: Balance,
    size: tuple[float, float, float],
    stuff: Stuff,
    supports: Array | None,
    turns: Sequence[Turning] = (),
    contact_m2: float | None = None,
) -> Load:
    held = None if supports is None else balance(centre, supports)
    return Load(
        name=name,
        volume_m3=volume,
        weight_kg=volume * stuff.typical,
        weight_range_kg=(volume * stuff.low, volume * stuff.high),
        centre_mm=centre,
        stands=stands,
        on_supports=held,
        size_mm=size,
        turns=tuple(turns),
        contact_m2=contact_m2,
    )


def _under(supports: Array | None, touches: Any, floor: float) -> Array | None:
    """Return those of (n, 2) supports that lie under the area that would touch the floor, as places (k, 3)."""
    if supports is None:
        return None
    held = supports[within(touches, supports, _NEAR_MM)]
    return np.column_stack([held, np.full(len(held), floor)])


def _size(vertices: Array) -> tuple[float, float, float]:
    width, depth, height = np.ptp(vertices, axis=0).tolist()
    return width, depth, height


def _stage_bases(figure: Figure, stone: Figure, into: Array, flat_mm: float) -> list[tuple[Array, Any]]:
    """Return what is stood on once the stone before the figure, beside it, and between its surfaces is gone.

    As corners (n, 3) and as an area.
    Working along ``into``. Before the figure: the stone's floor less all that lies before the figure's own section
    there. After that, the figure's feet and the stone behind them.
    """
    body, vertices = body_of(stone), stone.vertices
    floor, low = float(vertices[:, 2].min()), float(figure.vertices[:, 2].min())
    level = into - into[2] * np.array([0.0, 0.0, 1.0])
    feet = base_of(figure.vertices, flat_mm)
    ground = area_of(level_rings(body, floor + flat_mm / 2))
    own = body_of(figure)
    stood = area_of(level_rings(own, low + flat_mm / 2))
    if np.linalg.norm(level) < LEVEL:  # worked from above: what is before the figure lies over it, not under it
        return [(base_of(vertices, flat_mm), ground), (feet, stood), (feet, stood)]
    way = level[:2] / np.linalg.norm(level) * 2 * float(np.ptp(vertices, axis=0).max())
    here = area_of(level_rings(own, floor + flat_mm / 2))
    before = only_areas(swept_area(here, -way).difference(swept_area(here, way)))
    kept = only_areas(ground.difference(before))
    first = _corners(kept, floor)
    under = only_areas(swept_area(stood, way).intersection(area_of(level_rings(body, low + flat_mm / 2))))
    later = np.concatenate([feet, _corners(under, low)]), united([stood, under])
    return [(first, kept) if len(first) >= 3 else (feet, stood), later, later]


def _corners(area: object, height: float) -> Array:
    """Return the corners (n, 3) of the hull of a level area."""
    rings = rings_of(area)
    if not rings:
        return np.zeros((0, 3))
    ring = footprint(np.concatenate(rings))
    return np.column_stack([ring, np.full(len(ring), height)])


def _level_cut(figure: Figure) -> LevelCut | None:
    """Return the least height looked at, up to a tenth of the figure's, at which its base cut level lets it stand."""
    solid = body_of(figure)
    low, tall = float(figure.vertices[:, 2].min()), figure.size_mm[2]
    for height in (tall / 10 * np.arange(1, LEVELS + 1) / LEVELS).tolist():
        vertices, faces = arrays_of(solid.trim_by_plane([0.0, 0.0, 1.0], low + height))
        if len(faces) == 0:
            return None
        stands = balance(centroid(vertices, faces), base_of(vertices, TOUCHING * tall))
        if stands.stands:
            return LevelCut(height, stands)
    return None

"""Standing, tipping, turning, lifting and moving: the block as delivered, after every stage, and the finished figure.

kg, mm, degrees, block frame. Estimates for planning; nothing here permits a lift or a prop. Lifting checks count the
upper end of the density."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Sure, fact
from blockfit.facts.results import Result, record_of
from blockfit.facts.systems import UnitSystem
from blockfit.geometry.arrays import Array
from blockfit.kinds import counted, kinds_checked
from blockfit.search.result import Fit
from blockfit.units import Length, Mass, length_mm
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.placed import placed_solid
from blockfit.waste.reach.undercut import Undercuts, undercuts
from blockfit.waste.standing.lifting import Lift, RollerPull, lift, roller_pull
from blockfit.waste.standing.limits import GearLimits, Hung, LimitCheck, checks_of, limits_of
from blockfit.waste.standing.loads import Load, Stuff, loads_of
from blockfit.waste.standing.turning import Turning
from blockfit.waste.statics import FLAT_MM, flat_within

__all__ = ["LimitCheck", "Handling", "Load", "handling"]

_DENSITY = 2700.0  # where no stone is named; it says so


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Handling(Result):
    """Every load in the order of work, turning the block as delivered, and what the user's limits say.

    ``flat_mm`` is how near the floor surface counts as touching it. ``stone_named`` tells whether weights rest on the
    block's own stone or on 2700 kg/m³.

    Masses are kg, lengths mm, angles degrees. All that is said of weight, tipping and lifting is an estimate for
    planning. ``lifts`` pair the name of what hangs with the pull in its slings.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> moved = bf.handling(fit, undercut=bf.undercuts(fit, pitch=20), hoist_kg=300)
    >>> moved.loads[0].name, moved.loads[0].stands.stands, moved.stone_named
    ('as delivered', True, True)
    >>> [(check.about, check.kept) for check in moved.checks]
    [('lifting gear', False), ('lifting gear', True)]
    >>> moved.lifts[0][1].tension_kg is None  # heavier than the gear carries: no figure that could be taken for leave
    True
    """

    loads: tuple[Load, ...] = field(metadata=fact("loads", Sure.ESTIMATE))
    turns: tuple[Turning, ...] = field(metadata=fact("turns", Sure.ESTIMATE))
    lifts: tuple[tuple[str, Lift], ...]
    rollers: RollerPull = field(metadata=fact("rollers", Sure.ESTIMATE, shown=False))
    checks: tuple[LimitCheck, ...] = field(metadata=fact("limits", Sure.ESTIMATE, key="limits", shown=False))
    stone_named: bool = field(metadata=fact("the stone is named", Sure.GIVEN))
    flat_mm: float = field(metadata=fact("floor counts within", Sure.GIVEN))

    def _lines(self, units: UnitSystem) -> list[str]:
        """Return the facts, then each limit with what is known of it."""
        kept = [("kept" if check.kept else "NOT KEPT", check.named.text(units), check.words) for check in self.checks]
        return Result._lines(self, units) + [f"  {how}: {about}; {words.text(units)}" for how, about, words in kept]

    def record(self) -> dict[str, Any]:
        """Return everything as plain data, the lifts by name."""
        return {**record_of(self), "lifts": [{"name": name, **lift.record()} for name, lift in self.lifts]}


@kinds_checked
def handling(  # noqa: PLR0913
    fit: Fit,
    offcuts: OffcutPlan | None = None,
    undercut: Undercuts | None = None,
    *,
    supports: Sequence[Sequence[float]] | None = None,
    flat: Length = FLAT_MM,
    openings: Sequence[tuple[Length, Length]] = (),
    hook_height: Length | None = None,
    hook_clearance: Length = 0,
    floor_kg_m2: Mass | None = None,
    table_kg: Mass | None = None,
    hoist_kg: Mass | None = None,
    gantry_kg: Mass | None = None,
    slings_kg: Mass | None = None,
    rigging_kg: Mass = 0,
    legs: int = 2,
    sling_angle: float = 60,
    friction: float | None = None,
) -> Handling:
    """Return how the stone stands, turns, lifts and rolls, from the block as delivered to the finished figure.

    What it rests on is what lies within ``flat`` of its lowest point (a twentieth of the figure's height at most), of
    the solid that is there at that stage.
    ``supports`` are (x, y) points of rollers, wedges or battens under it, in mm, block frame (the ends of each
    roller); ``openings`` are doors to pass as (width, height). Limits left out are not checked; each one given is
    checked for every load that it concerns. ``hook_height`` must hold the load, its legs and ``hook_clearance``. With
    ``friction``, the slope at which the block slides is compared with that at which it tips. ``slings_kg`` is what the
    slings carry as used; ``rigging_kg`` hangs on the hook with the load. Raises `BadValueError` for limits that are
    none.

    Lengths are mm or text, masses kg or text, ``sling_angle`` degrees from the horizontal, ``floor_kg_m2`` kg/m². An
    estimate for planning, which permits nothing: lifting checks count the upper end of the density, 2700 kg/m³ where no
    stone is named. The limits are your own; the warning about slings flatter than 30° is after ASME B30.9, read in a
    secondary copy. Raises `OpenSurfaceError` for a figure that is no solid, and `BadValueError` for one that does not
    fit as well.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> moved = bf.handling(fit, undercut=bf.undercuts(fit, pitch=20), openings=[("80 cm", "2 m")], table_kg="1 t")
    >>> [(check.about, check.kept) for check in moved.checks][:2]
    [('opening 800 mm x 2,000 mm', True), ('table', True)]
    """
    figure = placed_solid(fit, "handling")
    counted(legs, "legs", least=1)
    if not 0 < sling_angle <= 90:
        raise BadValueError(f"sling_angle={sling_angle!r} must be above 0° and up to 90° from the horizontal")
    limits = limits_of(
        openings=openings,
        hook_height=hook_height,
        hook_clearance=hook_clearance,
        floor_kg_m2=floor_kg_m2,
        table_kg=table_kg,
        hoist_kg=hoist_kg,
        gantry_kg=gantry_kg,
        slings_kg=slings_kg,
        rigging_kg=rigging_kg,
        legs=legs,
        sling_angle=sling_angle,
        friction=friction,
    )
    stone = fit.block.stone
    stuff = Stuff(_DENSITY, _DENSITY, _DENSITY)
    if stone is not None:
        stuff = Stuff(stone.density_kg_m3, stone.low_kg_m3, stone.high_kg_m3)
    points = None if supports is None else _points(supports)
    flat_mm = flat_within(length_mm(flat, "flat", least=0), figure.size_mm[2])
    cut = undercut or undercuts(fit)
    loads = loads_of(fit, figure, offcuts, cut, stuff, points, flat_mm)
    hung = [Hung(load.name, load.weight_range_kg[1], load.size_mm) for load in (loads[0], loads[-1])]
    for number, piece in enumerate(() if offcuts is None else offcuts.pieces, 1):
        hung.append(Hung(f"offcut {number}", piece.volume_m3 * stuff.high, piece.size_mm))
    return Handling(
        loads=loads,
        turns=loads[0].turns,
        lifts=tuple((thing.name, _lift(thing, limits)) for thing in hung),
        rollers=roller_pull(loads[0].weight_range_kg[1]),
        checks=checks_of(limits, loads, hung, on_supports=points is not None),
        stone_named=stone is not None,
        flat_mm=flat_mm,
    )


def _lift(thing: Hung, limits: GearLimits) -> Lift:
    return lift(thing.most_kg, legs=limits.legs, angle_deg=limits.sling_angle, limit_kg=limits.weakest_kg)


def _points(supports: Sequence[Sequence[float]]) -> Array:
    points = np.array(supports, np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or not np.isfinite(points).all():
        raise BadValueError("supports must be (x, y) points in mm, such as [(100, 50), (100, 650), (800, 350)]")
    return points

"""What the user's gear, floor and doors carry or let pass, and every load that they concern. kg, mm; for planning.

Nothing here permits a lift: have gear and supports checked by a qualified person and follow local codes."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.phrases import Phrase, down, up
from blockfit.measure.sections import polygon_area
from blockfit.units import M2_PER_MM2, Length, Mass, floor_load_kg_m2, length_mm, mass_kg
from blockfit.waste.standing.lifting import sling_rise_mm
from blockfit.waste.standing.loads import Load
from blockfit.waste.statics import slides_at_deg

__all__ = ["Hung", "LimitCheck", "GearLimits", "checks_of", "limits_of"]


@dataclass(frozen=True, slots=True)
class LimitCheck:
    """One limit and one load: what it is about, whether it is kept, the numbers, and by how much it is too much.

    ``over`` is in kg, kg/m², mm or degrees, as the words say; 0 where the limit is kept. ``text`` is in metric units.
    """

    named: Phrase = field(metadata=fact("limit", Sure.GIVEN, key="about"))
    kept: bool = field(metadata=fact("kept", Sure.ESTIMATE))
    words: Phrase = field(metadata=fact("what is known", Sure.ESTIMATE, key="text"))
    over: float = field(default=0.0, metadata=fact("over by", Sure.ESTIMATE, Rounding.UP, measure=Measure.PLAIN))

    @property
    def about(self) -> str:
        """What the limit is about, in metric units."""
        return self.named.text()

    @property
    def text(self) -> str:
        """What is known, in metric units."""
        return self.words.text()


@dataclass(frozen=True, slots=True, eq=False)
class Hung:
    """A thing to be lifted: its name, the most it may weigh, and its size as it hangs."""

    name: str
    most_kg: float
    size_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class GearLimits:
    """The user's limits, in mm and kg; ``None`` where none was given."""

    openings: tuple[tuple[float, float], ...]
    hook_mm: float | None
    hook_clearance_mm: float
    floor_kg_m2: float | None
    table_kg: float | None
    hoist_kg: float | None
    gantry_kg: float | None
    slings_kg: float | None
    rigging_kg: float
    legs: int
    sling_angle: float
    friction: float | None

    @property
    def weakest_kg(self) -> float | None:
        """What the weakest part of the gear carries besides the rigging."""
        gear = [value for value in (self.hoist_kg, self.gantry_kg, self.slings_kg) if value is not None]
        return min(gear) - self.rigging_kg if gear else None


def limits_of(  # noqa: PLR0913
    *,
    openings: Sequence[tuple[Length, Length]],
    hook_height: Length | None,
    hook_clearance: Length,
    floor_kg_m2: Mass | None,
    table_kg: Mass | None,
    hoist_kg: Mass | None,
    gantry_kg: Mass | None,
    slings_kg: Mass | None,
    rigging_kg: Mass,
    legs: int,
    sling_angle: float,
    friction: float | None,
) -> GearLimits:
    """Return checked limits; weights and lengths are numbers or text with a unit (``"600 lb"``, ``"100 psf"``).

    Raises `BadValueError` for limits that are none.
    """
    if friction is not None and not (isinstance(friction, int | float) and 0 < friction < 10):
        raise BadValueError(f"friction={friction!r} must be a coefficient, such as 0.6")
    doors = []
    for opening in openings:
        wide, tall = (length_mm(side, "openings", least=0) for side in opening)
        doors.append((wide, tall))
    carried = {"table_kg": table_kg, "hoist_kg": hoist_kg, "gantry_kg": gantry_kg, "slings_kg": slings_kg}
    return GearLimits(
        openings=tuple(doors),
        hook_mm=None if hook_height is None else length_mm(hook_height, "hook_height", least=0),
        hook_clearance_mm=length_mm(hook_clearance, "hook_clearance", least=0),
        floor_kg_m2=None if floor_kg_m2 is None else floor_load_kg_m2(floor_kg_m2, "floor_kg_m2"),
        rigging_kg=mass_kg(rigging_kg, "rigging_kg"),
        legs=legs,
        sling_angle=sling_angle,
        friction=friction,
        **{name: None if value is None else mass_kg(value, name) for name, value in carried.items()},
    )


def checks_of(
    limits: GearLimits, loads: Sequence[Load], hung: Sequence[Hung], *, on_supports: bool = False
) -> tuple[LimitCheck, ...]:
    """Return a check for every limit and every load that it concerns."""
    checks = [_passes(loads[0], opening) for opening in limits.openings]
    if limits.hook_mm is not None:
        checks += [_hook(thing, limits, limits.hook_mm) for thing in hung]
    weakest = limits.weakest_kg
    if weakest is not None:
        checks += [_carried("lifting gear", thing.name, thing.most_kg, weakest) for thing in hung]
    if limits.floor_kg_m2 is not None:
        checks += [_UNKNOWN_FLOOR] if on_supports else [_floor(load, limits.floor_kg_m2) for load in loads]
    if limits.table_kg is not None:
        checks += [_carried("table", load.name, load.weight_range_kg[1], limits.table_kg) for load in loads]
    if limits.friction is not None:
        checks.append(_slope(loads[0], limits.friction))
    return tuple(checks)


def _carried(about: str, name: str, most_kg: float, limit_kg: float) -> LimitCheck:
    over = max(0.0, most_kg - limit_kg)
    words = Phrase.of(
        "{name}: up to {most}, it carries {limit}{much}",
        name=name,
        most=up(most_kg, Measure.MASS),
        limit=down(max(0.0, limit_kg), Measure.MASS),
        much=_too_much(over, Measure.MASS),
    )
    return LimitCheck(Phrase(about), over == 0, words, over)


def _too_much(over: float, measure: Measure) -> Phrase:
    return Phrase.of(": TOO MUCH by {over}", over=up(over, measure)) if over else Phrase("")


def _passes(load: Load, opening: tuple[float, float]) -> LimitCheck:
    wide, tall = opening
    width, depth, height = load.size_mm
    name = Phrase.of("opening {wide} x {tall}", wide=down(wide, Measure.LENGTH), tall=down(tall, Measure.LENGTH))
    if height <= tall and min(width, depth) <= wide:
        passes = Phrase("the block passes as it stands, before rollers and packing are added under it")
        return LimitCheck(name, True, passes)
    least, middle, _ = sorted(load.size_mm)
    if (least <= wide and middle <= tall) or (least <= tall and middle <= wide):
        return LimitCheck(name, True, Phrase("the block passes only laid on another side"))
    over = min(max(least - wide, middle - tall), max(least - tall, middle - wide))
    words = Phrase.of(
        "the block does not pass: its least sides are {least} and {middle}, TOO MUCH by {over}",
        least=up(least, Measure.LENGTH),
        middle=up(middle, Measure.LENGTH),
        over=up(over, Measure.LENGTH),
    )
    return LimitCheck(name, False, words, over)


def _hook(thing: Hung, limits: GearLimits, hook_mm: float) -> LimitCheck:
    rise = sling_rise_mm(thing.size_mm, limits.legs, limits.sling_angle)
    need = thing.size_mm[2] + rise + limits.hook_clearance_mm
    over = max(0.0, need - hook_mm)
    spread = " under a spreader, whose height comes on top," if limits.sling_angle >= 90 and limits.legs > 1 else ""
    words = Phrase.of(
        "{name}: needs {need} under the hook (its height {height}, legs{spread} at {angle:g}° {rise}, clearance "
        "{clearance}), there are {hook}{much}",
        name=thing.name,
        need=up(need, Measure.LENGTH),
        height=up(thing.size_mm[2], Measure.LENGTH),
        spread=spread,
        angle=limits.sling_angle,
        rise=up(rise, Measure.LENGTH),
        clearance=up(limits.hook_clearance_mm, Measure.LENGTH),
        hook=down(hook_mm, Measure.LENGTH),
        much=_too_much(over, Measure.LENGTH),
    )
    return LimitCheck(Phrase("hook height"), over == 0, words, over)


def _slope(load: Load, friction: float) -> LimitCheck:
    """Return whether the block, on a slope, would slide before it tips."""
    slides, tips = slides_at_deg(friction), load.stands.weakest_deg
    if not load.stands.stands:
        return LimitCheck(
            Phrase("slope"), False, Phrase("the block does not stand by itself even on the level"), slides
        )
    template = "on a slope the block slides at {slides:.0f}°, before it tips at {tips:.0f}° (friction {friction:g})"
    if tips < slides:
        template = (
            "on a slope the block tips over the {side} at {tips:.0f}°, before it slides at {slides:.0f}° "
            "(friction {friction:g})"
        )
    words = Phrase.of(template, slides=slides, tips=tips, side=load.stands.weakest, friction=friction)
    return LimitCheck(Phrase("slope"), slides <= tips, words, max(0.0, slides - tips))


def _floor(load: Load, limit: float) -> LimitCheck:
    """Return what a load presses on the stone that touches the floor; or on the base's hull."""
    area = load.contact_m2
    where = "on what touches the floor"
    if area is None:
        area = polygon_area(load.stands.base) * M2_PER_MM2 if len(load.stands.base) >= 3 else 0.0
        where = "if spread over the whole of its base"
    each = load.weight_range_kg[1] / area if area > 0 else math.inf
    over = max(0.0, each - limit)
    presses = Phrase.of(
        "presses {each} {where}, {area}",
        each=up(each, Measure.FLOOR_LOAD),
        where=where,
        area=down(area * 1e6, Measure.AREA),
    )
    words = Phrase.of(
        "{name}: {presses}; the floor carries {limit}{much}",
        name=load.name,
        presses=presses if area > 0 else "rests on no area at all",
        limit=down(limit, Measure.FLOOR_LOAD),
        much=": TOO MUCH" if over == math.inf else _too_much(over, Measure.FLOOR_LOAD),
    )
    return LimitCheck(Phrase("floor"), over == 0, words, over)


_UNKNOWN_FLOOR = LimitCheck(
    Phrase("floor"),
    False,
    Phrase("not checked: the load stands on the supports given, and what they press depends on their own area"),
)

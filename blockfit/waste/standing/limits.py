"""What the user's gear, floor and doors carry or let pass, and every load that they concern. kg, mm; for planning.

Nothing here permits a lift: have gear and supports checked by a qualified person and follow local codes."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from blockfit.errors import BadValueError
from blockfit.measure.sections import polygon_area
from blockfit.units import Length, length_mm
from blockfit.waste.standing.lifting import sling_rise_mm
from blockfit.waste.standing.loads import Load
from blockfit.waste.statics import slides_at_deg

__all__ = ["Check", "Hung", "Limits", "checks_of", "limits_of"]


@dataclass(frozen=True, slots=True)
class Check:
    """One limit and one load: what it is about, whether it is kept, the numbers, and by how much it is too much.

    ``over`` is in kg, kg/m², mm or degrees, as the words say; 0 where the limit is kept.
    """

    about: str
    kept: bool
    text: str
    over: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Hung:
    """A thing to be lifted: its name, the most it may weigh, and its size as it hangs."""

    name: str
    most_kg: float
    size_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
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


def limits_of(
    *,
    openings: Sequence[tuple[Length, Length]] = (),
    hook_height: Length | None = None,
    hook_clearance: Length = 0,
    floor_kg_m2: float | None = None,
    table_kg: float | None = None,
    hoist_kg: float | None = None,
    gantry_kg: float | None = None,
    slings_kg: float | None = None,
    rigging_kg: float = 0,
    legs: int = 2,
    sling_angle: float = 60,
    friction: float | None = None,
) -> Limits:
    """Return checked limits. Raises `BadValueError` for limits that are none."""
    numbers = {"floor_kg_m2": floor_kg_m2, "table_kg": table_kg, "hoist_kg": hoist_kg, "gantry_kg": gantry_kg}
    for name, value in {**numbers, "slings_kg": slings_kg, "rigging_kg": rigging_kg}.items():
        if value is not None and not (isinstance(value, int | float) and 0 <= value < math.inf):
            raise BadValueError(f"{name}={value!r} must be a number of kg, 0 or more")
    if friction is not None and not (isinstance(friction, int | float) and 0 < friction < 10):
        raise BadValueError(f"friction={friction!r} must be a coefficient, such as 0.6")
    doors = []
    for opening in openings:
        wide, tall = (length_mm(side, "opening", least=0) for side in opening)
        doors.append((wide, tall))
    return Limits(
        openings=tuple(doors),
        hook_mm=None if hook_height is None else length_mm(hook_height, "hook_height", least=0),
        hook_clearance_mm=length_mm(hook_clearance, "hook_clearance", least=0),
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


def checks_of(
    limits: Limits, loads: Sequence[Load], hung: Sequence[Hung], *, on_supports: bool = False
) -> tuple[Check, ...]:
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


def _carried(about: str, name: str, most_kg: float, limit_kg: float) -> Check:
    over = max(0.0, most_kg - limit_kg)
    text = f"{name}: up to {math.ceil(most_kg):,} kg, it carries {math.floor(max(0.0, limit_kg)):,} kg"
    return Check(about, over == 0, text + (f": TOO MUCH by {math.ceil(over):,} kg" if over else ""), over)


def _passes(load: Load, opening: tuple[float, float]) -> Check:
    wide, tall = opening
    width, depth, height = load.size_mm
    name = f"opening {wide:,.0f} x {tall:,.0f} mm"
    if height <= tall and min(width, depth) <= wide:
        return Check(name, True, "the block passes as it stands, before rollers and packing are added under it")
    least, middle, _ = sorted(load.size_mm)
    if (least <= wide and middle <= tall) or (least <= tall and middle <= wide):
        return Check(name, True, "the block passes only laid on another side")
    ways = [max(least - wide, middle - tall), max(least - tall, middle - wide)]
    over = min(ways)
    return Check(
        name,
        False,
        f"the block does not pass: its least sides are {least:,.0f} and {middle:,.0f} mm, TOO MUCH by "
        f"{math.ceil(over):,} mm",
        over,
    )


def _hook(thing: Hung, limits: Limits, hook_mm: float) -> Check:
    rise = sling_rise_mm(thing.size_mm, limits.legs, limits.sling_angle)
    need = thing.size_mm[2] + rise + limits.hook_clearance_mm
    over = max(0.0, need - hook_mm)
    spread = " under a spreader, whose height comes on top," if limits.sling_angle >= 90 and limits.legs > 1 else ""
    parts = f"its height {math.ceil(thing.size_mm[2]):,}, legs{spread} at {limits.sling_angle:g}° {math.ceil(rise):,}"
    parts += f", clearance {math.ceil(limits.hook_clearance_mm):,}"
    text = f"{thing.name}: needs {math.ceil(need):,} mm under the hook ({parts}), there are {math.floor(hook_mm):,} mm"
    return Check("hook height", over == 0, text + (f": TOO MUCH by {math.ceil(over):,} mm" if over else ""), over)


def _slope(load: Load, friction: float) -> Check:
    """Return whether the block, on a slope, would slide before it tips."""
    slides, tips = slides_at_deg(friction), load.stands.weakest_deg
    if not load.stands.stands:
        return Check("slope", False, "the block does not stand by itself even on the level", slides)
    first = f"slides at {slides:.0f}°, before it tips at {tips:.0f}°"
    if tips < slides:
        first = f"tips over the {load.stands.weakest} at {tips:.0f}°, before it slides at {slides:.0f}°"
    return Check(
        "slope", slides <= tips, f"on a slope the block {first} (friction {friction:g})", max(0.0, slides - tips)
    )


def _floor(load: Load, limit: float) -> Check:
    """Return what a load presses on the stone that touches the floor; or on the base's hull."""
    area = load.contact_m2
    where = "on what touches the floor"
    if area is None:
        area = polygon_area(load.stands.base) * 1e-6 if len(load.stands.base) >= 3 else 0.0
        where = "if spread over the whole of its base"
    each = load.weight_range_kg[1] / area if area > 0 else math.inf
    over = max(0.0, each - limit)
    much = f": TOO MUCH by {math.ceil(over):,} kg/m²" if 0 < over < math.inf else ": TOO MUCH" if over else ""
    presses = f"presses {math.ceil(each):,} kg/m² {where}, {area:.4g} m²" if area > 0 else "rests on no area at all"
    return Check("floor", over == 0, f"{load.name}: {presses}; the floor carries {limit:,.0f} kg/m²{much}", over)


_UNKNOWN_FLOOR = Check(
    "floor", False, "not checked: the load stands on the supports given, and what they press depends on their own area"
)

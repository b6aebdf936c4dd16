"""Standing, tipping, turning, lifting and moving: the block as delivered, after every stage, and the finished figure.

kg, mm, degrees, block frame. Estimates for planning; nothing here permits a lift or a prop. Lifting checks count the
upper end of the density."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.measure.booleans import arrays_of, hull_solid
from blockfit.search.result import Fit
from blockfit.solids.arrays import Array
from blockfit.solids.surface import centroid
from blockfit.units import Length, length_mm
from blockfit.waste.lifting import Lift, RollerPull, Turning, lift, roller_pull, turnings
from blockfit.waste.offcut import OffcutPlan
from blockfit.waste.placed import placed_solid
from blockfit.waste.shares import stage_bodies
from blockfit.waste.statics import Balance, balance, base_of, slides_at_deg
from blockfit.waste.undercut import Undercuts, undercuts

__all__ = ["Check", "Handling", "Load", "handling"]

_DENSITY = 2700.0  # where no stone is named; it says so


@dataclass(frozen=True, slots=True, eq=False)
class Load:
    """The stone at one moment: weight with its range, centre of gravity (3,), and how it stands.

    ``on_supports`` is how it stands on the rollers, wedges or battens given instead of its base.
    """

    name: str
    volume_m3: float
    weight_kg: float
    weight_range_kg: tuple[float, float]
    centre_mm: Array
    stands: Balance
    on_supports: Balance | None
    size_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Check:
    """One limit that the user gave: what it is about, whether it is kept, and the numbers."""

    about: str
    kept: bool
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Handling:
    """Every load in the order of work, turning the block as delivered, and what the user's limits say.

    ``stone_named`` tells whether weights rest on the block's own stone or on 2700 kg/m³.
    """

    loads: tuple[Load, ...]
    turns: tuple[Turning, ...]
    lifts: tuple[tuple[str, Lift], ...]
    rollers: RollerPull
    checks: tuple[Check, ...]
    stone_named: bool


def handling(
    fit: Fit,
    offcuts: OffcutPlan | None = None,
    undercut: Undercuts | None = None,
    *,
    supports: Sequence[Sequence[float]] | None = None,
    openings: Sequence[tuple[Length, Length]] = (),
    hook_height: Length | None = None,
    floor_kg_m2: float | None = None,
    table_kg: float | None = None,
    hoist_kg: float | None = None,
    gantry_kg: float | None = None,
    slings_kg: float | None = None,
    rigging_kg: float = 0,
    legs: int = 2,
    sling_angle: float = 60,
    friction: float | None = None,
) -> Handling:
    """Return how the stone stands, turns, lifts and rolls, from the block as delivered to the finished figure.

    ``supports`` are (x, y) points of rollers, wedges or battens under it, in mm, block frame (the ends of each
    roller); ``openings`` are doors to pass as (width, height). Limits left out are not checked. With
    ``friction``, the slope at which the block slides is held against that at which it tips. ``slings_kg`` is what
    the slings carry as used; ``rigging_kg`` hangs on the hook with the load. Raises `BadValueError` for limits
    that are none.
    """
    figure = placed_solid(fit, "handling")
    limits = {"floor_kg_m2": floor_kg_m2, "table_kg": table_kg, "hoist_kg": hoist_kg, "gantry_kg": gantry_kg}
    for name, value in {**limits, "slings_kg": slings_kg, "rigging_kg": rigging_kg}.items():
        if value is not None and not (isinstance(value, int | float) and 0 <= value < math.inf):
            raise BadValueError(f"{name}={value!r} must be a number of kg, 0 or more")
    stone = fit.block.stone
    typical = _DENSITY if stone is None else stone.density_kg_m3
    low, high = (_DENSITY, _DENSITY) if stone is None else (stone.low_kg_m3, stone.high_kg_m3)
    points = None if supports is None else _points(supports)

    def load(name: str, volume: float, centre: Array, stands: Balance, size: tuple[float, float, float]) -> Load:
        ground = None if points is None else balance(centre, np.column_stack([points, np.zeros(len(points))]))
        ends = (volume * low, volume * high)
        return Load(name, volume, volume * typical, ends, centre, stands, ground, size)

    block = fit.block
    corners = block.corners_mm
    middle = block.centroid_mm
    size = block.size_mm
    loads = [load("as delivered", block.volume_m3, middle, balance(middle, base_of(corners)), size)]
    base = base_of(corners)
    for number, piece in enumerate(() if offcuts is None else offcuts.pieces, 1):
        stands = piece.left_stands
        loads.append(load(f"after offcut {number}", piece.left_m3, stands.centre_mm, stands, size))
        base = np.column_stack([stands.base, np.zeros(len(stands.base))])
    feet = base_of(figure.vertices, 0.01)
    own = figure.size_mm
    cut = undercut or undercuts(fit)
    start = arrays_of(hull_solid(corners)) if offcuts is None else (offcuts.left.vertices, offcuts.left.faces)
    for name, volume, centre in stage_bodies(fit, cut, *start)[:-1]:
        # Once the stone beside it is gone the figure rests on its own base alone.
        ground = base if name == "before the figure" else feet
        loads.append(load(f"once the stone {name} is gone", volume, centre, balance(centre, ground), own))
    middle = centroid(figure.vertices, figure.faces)
    finished = load("the finished figure", figure.volume_m3 or 0.0, middle, balance(middle, feet), own)
    loads.append(finished)
    gear = [value for value in (hoist_kg, gantry_kg, slings_kg) if value is not None]
    weakest = None if not gear else min(gear) - rigging_kg
    lifts = [(load.name, lift(load.weight_range_kg[1], legs=legs, angle_deg=sling_angle, limit_kg=weakest))
             for load in (loads[0], finished)]  # fmt: skip
    for number, piece in enumerate(() if offcuts is None else offcuts.pieces, 1):
        lifts.append(
            (f"offcut {number}", lift(piece.volume_m3 * high, legs=legs, angle_deg=sling_angle, limit_kg=weakest))
        )
    heaviest = loads[0].weight_range_kg[1]
    checks = [_passes(size, opening) for opening in openings]
    if hook_height is not None:
        checks.append(_hook(own, length_mm(hook_height, "hook_height", least=0), legs, sling_angle))
    if floor_kg_m2 is not None:
        checks.append(_floor(loads[0], floor_kg_m2))
    if table_kg is not None:
        kept = heaviest <= table_kg
        checks.append(
            Check("table", kept, f"the block weighs up to {heaviest:,.0f} kg, the table carries {table_kg:,.0f} kg")
        )
    if friction is not None:
        checks.append(_slope(loads[0], friction))
    return Handling(
        loads=tuple(loads),
        turns=turnings(size, loads[0].centre_mm - corners.min(axis=0), heaviest),
        lifts=tuple(lifts),
        rollers=roller_pull(heaviest),
        checks=tuple(checks),
        stone_named=stone is not None,
    )


def _points(supports: Sequence[Sequence[float]]) -> Array:
    points = np.array(supports, np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or not np.isfinite(points).all():
        raise BadValueError("supports must be (x, y) points in mm, such as [(100, 50), (100, 650), (800, 350)]")
    return points


def _passes(size: tuple[float, float, float], opening: tuple[Length, Length]) -> Check:
    wide, tall = (length_mm(side, "opening", least=0) for side in opening)
    width, depth, height = size
    name = f"opening {wide:,.0f} x {tall:,.0f} mm"
    if height <= tall and min(width, depth) <= wide:
        return Check(name, True, "the block passes as it stands, before rollers and packing are added under it")
    least, middle, _ = sorted(size)
    if (least <= wide and middle <= tall) or (least <= tall and middle <= wide):
        return Check(name, True, "the block passes only laid on another side")
    return Check(name, False, f"the block does not pass: its least sides are {least:,.0f} and {middle:,.0f} mm")


def _hook(size: tuple[float, float, float], hook_mm: float, legs: int, angle: float) -> Check:
    span = 0.0 if legs == 1 else max(size[:2])
    rise = span / 2 * math.tan(math.radians(min(angle, 89.0)))
    need = size[2] + rise
    text = f"the figure and legs at {angle:g}° need {need:,.0f} mm under the hook, there are {hook_mm:,.0f} mm"
    return Check("hook height", need <= hook_mm, text)


def _slope(load: Load, friction: float) -> Check:
    """Return whether the block, on a slope, would slide before it tips."""
    if not (isinstance(friction, int | float) and 0 < friction < 10):
        raise BadValueError(f"friction={friction!r} must be a coefficient, such as 0.6")
    slides, tips = slides_at_deg(friction), load.stands.weakest_deg
    first = f"slides at {slides:.0f}°, before it tips at {tips:.0f}°"
    if tips < slides:
        first = f"tips over the {load.stands.weakest} at {tips:.0f}°, before it slides at {slides:.0f}°"
    return Check("slope", slides <= tips, f"on a slope the block {first} (friction {friction:g})")


def _floor(load: Load, limit: float) -> Check:
    ring = load.stands.base
    x, y = ring.T
    area = float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2) * 1e-6
    each = load.weight_range_kg[1] / area if area > 0 else math.inf
    text = f"the block presses {each:,.0f} kg/m² on its base of {area:.2f} m², the floor carries {limit:,.0f} kg/m²"
    return Check("floor", each <= limit, text)

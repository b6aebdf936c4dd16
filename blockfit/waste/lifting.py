"""Slings, rollers and turning a block up over an edge: plain statics, for planning only.

kg, mm, degrees. Forces are told in kg of pull (1 kg of pull is 9.81 N). Nothing here permits a lift: have gear and
method checked by a qualified person and follow local codes."""

import math
from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.solids.arrays import Array

__all__ = ["Lift", "RollerPull", "Turning", "lift", "roller_pull", "sling_factor", "turning"]

LEAST_ANGLE_DEG = 30.0  # from the horizontal; ASME B30.9 (read in a secondary copy)


@dataclass(frozen=True, slots=True)
class Lift:
    """A load on slings: ``tension_kg`` in each leg that counts, ``None`` where no figure must be taken for leave.

    ``warnings`` say why, loudly.
    """

    load_kg: float
    legs: int
    counted_legs: int
    angle_deg: float
    tension_kg: float | None
    limit_kg: float | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RollerPull:
    """The pull on rollers, in kg of pull: to break out, and to keep rolling; ranges."""

    break_out_kg: tuple[float, float]
    rolling_kg: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Turning:
    """A block turned up over one edge of its base.

    ``pull_kg`` (angle in degrees, kg of pull) is what must be pulled at the far top edge, square to the line from
    the edge, through the turn; below 0 the block must be held back. ``balance_deg`` is where it stands on the edge,
    ``diagonal_mm`` the height that it sweeps.
    """

    edge: str
    pull_kg: tuple[tuple[float, float], ...]
    balance_deg: float
    diagonal_mm: float


def sling_factor(angle_deg: float) -> float:
    """Return by how much a leg's tension exceeds its share of the load: 1 / sin(angle from the horizontal).

    >>> from blockfit.waste.lifting import sling_factor
    >>> [round(sling_factor(angle), 3) for angle in (60, 45, 30)]
    [1.155, 1.414, 2.0]
    """
    if not 0 < angle_deg <= 90:
        raise BadValueError(f"angle={angle_deg!r} must be above 0° and up to 90° from the horizontal")
    return 1 / math.sin(math.radians(angle_deg))


def lift(load_kg: float, *, legs: int = 2, angle_deg: float = 60, limit_kg: float | None = None) -> Lift:
    """Return the tension in the legs of a sling; a rigid load hangs on two of them, however many there are.

    ``load_kg`` should be the upper end of what it may weigh, ``limit_kg`` the weakest of hoist, gantry and slings
    less the weight of the rigging itself.

    >>> from blockfit.waste.lifting import lift
    >>> round(lift(1000, legs=4, angle_deg=60).tension_kg), lift(1000, angle_deg=25).tension_kg
    (577, None)
    """
    if legs < 1 or not (math.isfinite(load_kg) and load_kg >= 0):
        raise BadValueError(f"a lift needs a weight and at least one leg, not {load_kg!r} kg on {legs!r}")
    counted = min(legs, 2)
    angle = 90.0 if legs == 1 else angle_deg
    factor = sling_factor(angle)
    warnings = []
    if angle < LEAST_ANGLE_DEG:
        warnings.append(
            f"DO NOT LIFT at {angle:g}° from the horizontal: below {LEAST_ANGLE_DEG:g}° the legs' tension runs away "
            "(ASME B30.9). Use longer slings or a spreader."
        )
    if limit_kg is not None and load_kg > limit_kg:
        warnings.append(
            f"DO NOT LIFT: up to {math.ceil(load_kg):,} kg, and the weakest part of the gear carries "
            f"{math.floor(limit_kg):,} kg."
        )
    tension = None if warnings else load_kg / counted * factor
    return Lift(load_kg, legs, counted, angle, tension, limit_kg, tuple(warnings))


def roller_pull(load_kg: float) -> RollerPull:
    """Return the pull on rollers over a hard level floor: 5-10 % of the load to break out, about half that to roll.

    Source: a vendor's guideline, read in a secondary copy.

    >>> from blockfit.waste.lifting import roller_pull
    >>> roller_pull(1000).break_out_kg
    (50.0, 100.0)
    """
    return RollerPull((0.05 * load_kg, 0.10 * load_kg), (0.025 * load_kg, 0.05 * load_kg))


def turning(edge: str, load_kg: float, across: float, high: float, centre_across: float, centre_high: float) -> Turning:
    """Return what turning a body up over an edge takes.

    Lengths in mm from the edge: its size ``across`` and ``high``, its centre of gravity likewise.

    >>> from blockfit.waste.lifting import turning
    >>> turn = turning("front", 1000, 1000, 500, 500, 250)
    >>> round(turn.pull_kg[0][1]), round(turn.balance_deg)
    (447, 63)
    """
    lever = math.hypot(across, high)
    arm = math.hypot(centre_across, centre_high)
    start = math.degrees(math.atan2(centre_high, centre_across))
    angles = [*range(0, 91, 15)]
    pulls = tuple((float(a), load_kg * arm * math.cos(math.radians(start + a)) / lever) for a in angles)
    return Turning(edge, pulls, 90 - start, lever)


def turnings(size: tuple[float, float, float], centre: Array, load_kg: float) -> tuple[Turning, ...]:
    """Return the turns over the four lower edges of an upright box that stands at the origin."""
    width, depth, height = size
    x, y, z = np.asarray(centre).tolist()
    ways = (("front", depth, y), ("back", depth, depth - y), ("left", width, x), ("right", width, width - x))
    return tuple(turning(edge, load_kg, across, height, at, z) for edge, across, at in ways)

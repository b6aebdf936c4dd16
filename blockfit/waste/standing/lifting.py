"""Slings and rollers: plain statics, for planning only.

kg, mm, degrees. Forces are told in kg of pull (1 kg of pull is 9.81 N). Nothing here permits a lift: have gear and
method checked by a qualified person and follow local codes."""

import math
from dataclasses import dataclass, field

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.phrases import Phrase, down, up
from blockfit.facts.results import Result

__all__ = ["LEAST_ANGLE_DEG", "Lift", "RollerPull", "lift", "roller_pull", "sling_factor", "sling_rise_mm"]

LEAST_ANGLE_DEG = 30.0  # from the horizontal; ASME B30.9 (read in a secondary copy)


@dataclass(frozen=True, slots=True, repr=False)
class Lift(Result):
    """A load on slings: ``tension_kg`` in each leg that counts, ``None`` where no figure must be taken for leave.

    ``warnings`` say why, loudly.
    """

    load_kg: float = field(metadata=fact("load", Sure.ESTIMATE, Rounding.UP))
    legs: int = field(metadata=fact("legs", Sure.GIVEN, measure=Measure.COUNT))
    counted_legs: int = field(metadata=fact("that count", Sure.GIVEN, measure=Measure.COUNT))
    angle_deg: float = field(metadata=fact("angle", Sure.GIVEN))
    tension_kg: float | None = field(metadata=fact("tension in each", Sure.ESTIMATE, Rounding.UP))
    limit_kg: float | None
    warnings: tuple[Phrase, ...] = field(metadata=fact("warnings", Sure.ESTIMATE))


@dataclass(frozen=True, slots=True, repr=False)
class RollerPull(Result):
    """The pull on rollers, in kg of pull: to break out, and to keep rolling; ranges."""

    break_out_kg: tuple[float, float] = field(metadata=fact("pull to break out", Sure.ESTIMATE, Rounding.UP))
    rolling_kg: tuple[float, float] = field(metadata=fact("pull to keep rolling", Sure.ESTIMATE, Rounding.UP))


def sling_factor(angle_deg: float) -> float:
    """Return by how much a leg's tension exceeds its share of the load: 1 / sin(angle from the horizontal).

    >>> from blockfit.waste.standing.lifting import sling_factor
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

    >>> from blockfit.waste.standing.lifting import lift
    >>> round(lift(1000, legs=4, angle_deg=60).tension_kg), lift(1000, angle_deg=25).tension_kg
    (577, None)
    """
    if legs < 1 or not (math.isfinite(load_kg) and load_kg >= 0):
        raise BadValueError(f"a lift needs a weight and at least one leg, not {load_kg!r} kg on {legs!r}")
    counted = min(legs, 2)
    angle = 90.0 if legs == 1 else angle_deg
    factor = sling_factor(angle)
    warnings: list[Phrase] = []
    if angle < LEAST_ANGLE_DEG:
        warnings.append(
            Phrase(
                f"DO NOT LIFT at {angle:g}° from the horizontal: below {LEAST_ANGLE_DEG:g}° the legs' tension runs "
                "away (ASME B30.9). Use longer slings or a spreader."
            )
        )
    if limit_kg is not None and load_kg > limit_kg:
        warnings.append(
            Phrase.of(
                "DO NOT LIFT: up to {load}, and the weakest part of the gear carries {limit}.",
                load=up(load_kg, Measure.MASS),
                limit=down(limit_kg, Measure.MASS),
            )
        )
    tension = None if warnings else load_kg / counted * factor
    return Lift(load_kg, legs, counted, angle, tension, limit_kg, tuple(warnings))


def sling_rise_mm(size_mm: tuple[float, float, float], legs: int, angle_deg: float) -> float:
    """Return how high the hook hangs over a load's top: two legs over its longer level side, more to its corners.

    Legs at 90° hang from a spreader, whose own height is not counted.

    >>> from blockfit.waste.standing.lifting import sling_rise_mm
    >>> [round(sling_rise_mm((1000, 600, 900), legs, 60)) for legs in (1, 2, 4)]
    [0, 866, 1010]
    """
    if legs == 1 or angle_deg >= 90:
        return 0.0
    span = max(size_mm[:2]) if legs == 2 else math.hypot(*size_mm[:2])
    return span / 2 * math.tan(math.radians(angle_deg))


def roller_pull(load_kg: float) -> RollerPull:
    """Return the pull on rollers over a hard level floor: 5-10 % of the load to break out, about half that to roll.

    Source: a vendor's guideline, read in a secondary copy.

    >>> from blockfit.waste.standing.lifting import roller_pull
    >>> roller_pull(1000).break_out_kg
    (50.0, 100.0)
    """
    return RollerPull((0.05 * load_kg, 0.10 * load_kg), (0.025 * load_kg, 0.05 * load_kg))

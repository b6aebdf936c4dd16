"""What kind of quantity a fact is, how sure it is, and which way its rounding leans."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

__all__ = ["Fact", "Measure", "Rounding", "Sure", "fact", "measure_of"]


class Measure(Enum):
    """A kind of quantity; the value is the unit that names end with."""

    LENGTH = "mm"
    AREA = "mm2"
    FLOOR_AREA = "m2"
    VOLUME = "m3"
    MASS = "kg"
    FLOOR_LOAD = "kg_m2"
    ANGLE = "deg"
    STRESS = "mpa"
    SHARE = "share"
    COUNT = "count"
    PLAIN = ""


class Sure(Enum):
    """How sure a fact is; printed beside it."""

    PROVED = "proved"
    EXACT = "exact"
    RESOLVED = "to the pitch"
    ESTIMATE = "estimate"
    GIVEN = "as given"


class Rounding(Enum):
    """Which way a printed number leans: a cover down, what is missing and what weighs up."""

    DOWN = "down"
    UP = "up"
    NEAREST = "nearest"


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact of a result: its label, its key in plain data, and all that is needed to print it honestly.

    ``measure`` is ``None`` where the field's name ends with its unit. What is not ``shown`` is in the data alone.
    """

    label: str
    sure: Sure = Sure.EXACT
    rounded: Rounding = Rounding.NEAREST
    key: str | None = None
    measure: Measure | None = None
    shown: bool = True


def fact(
    label: str,
    sure: Sure = Sure.EXACT,
    rounded: Rounding = Rounding.NEAREST,
    *,
    key: str | None = None,
    measure: Measure | None = None,
    shown: bool = True,
) -> Mapping[str, Any]:
    """Return the ``metadata=`` of a dataclass's field that states a fact.

    >>> from dataclasses import dataclass, field
    >>> from blockfit.facts.measures import Rounding, Sure, fact
    >>> from blockfit.facts.results import Result
    >>> @dataclass(frozen=True, repr=False)
    ... class Depth(Result):
    ...     least_mm: float = field(metadata=fact("least depth", Sure.EXACT, Rounding.DOWN))
    >>> print(Depth(34.58).text(), Depth(34.58).text(units="us"), Depth(34.58).record(), sep="")
    least depth: 34.5 mm (exact)
    least depth: 1 5/16 in (exact)
    {'least_mm': 34.58}
    """
    return {"fact": Fact(label, sure, rounded, key, measure, shown)}


def measure_of(name: str, stated: Measure | None = None) -> Measure:
    """Return the measure that a field's name ends with, the longest unit first."""
    if stated is not None:
        return stated
    for measure in sorted(Measure, key=lambda m: -len(m.value)):
        if measure.value and name.endswith(f"_{measure.value}"):
            return measure
    return Measure.PLAIN

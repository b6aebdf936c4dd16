"""Sentences with quantities in them, written in whatever units are asked for."""

from dataclasses import dataclass
from functools import partial
from typing import Any

from blockfit.facts.measures import Measure, Rounding
from blockfit.facts.systems import METRIC, UnitSystem, units_of

__all__ = ["Phrase", "Quantity", "down", "up"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with its measure and the way it is rounded; lengths and areas to the whole unit."""

    value: float
    measure: Measure
    rounded: Rounding

    def written(self, units: UnitSystem) -> str:
        """Return it as read."""
        if self.measure is Measure.LENGTH:
            return units.length(self.value, self.rounded)
        return units.show(self.value, self.measure, self.rounded)


up = partial(Quantity, rounded=Rounding.UP)
down = partial(Quantity, rounded=Rounding.DOWN)


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Phrase:
    """A sentence: ``template`` with named gaps, and what fills them: quantities, or words that are the same anywhere.

    >>> from blockfit.facts.measures import Measure
    >>> from blockfit.facts.phrases import Phrase, up
    >>> words = Phrase.of("the block weighs {most}", most=up(907.2, Measure.MASS))
    >>> str(words), words.text("us")
    ('the block weighs 908 kg', 'the block weighs 2,001 lb')
    """

    template: str
    gaps: tuple[tuple[str, Any], ...] = ()

    @classmethod
    def of(cls, template: str, **gaps: Any) -> "Phrase":
        """Return a phrase from its template and what fills it."""
        return cls(template, tuple(gaps.items()))

    def text(self, units: str | UnitSystem = METRIC) -> str:
        """Return the sentence."""
        system = units_of(units)
        return self.template.format(**{name: _written(gap, system) for name, gap in self.gaps})

    def __eq__(self, other: object) -> bool:
        """Tell whether another phrase, or a plain sentence in metric units, says the same."""
        if isinstance(other, Phrase):
            return (self.template, self.gaps) == (other.template, other.gaps)
        return self.text() == other

    def __hash__(self) -> int:
        """Return the hash of the plain sentence."""
        return hash(self.text())

    def __contains__(self, words: str) -> bool:
        """Tell whether the sentence, in metric units, holds these words."""
        return words in self.text()

    def __str__(self) -> str:
        """Return the sentence in metric units."""
        return self.text()

    __repr__ = __str__


def _written(gap: Any, units: UnitSystem) -> Any:
    if isinstance(gap, Quantity):
        return gap.written(units)
    return gap.text(units) if isinstance(gap, Phrase) else gap

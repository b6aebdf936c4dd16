"""How a sheet is laid out in plain text, and placements in plain words."""

import math
import os
import textwrap
from dataclasses import dataclass

from blockfit.errors import BadValueError
from blockfit.facts.phrases import Phrase
from blockfit.facts.systems import METRIC, UnitSystem, units_of
from blockfit.solids.placement import Placement
from blockfit.units import rounded_down, rounded_up

__all__ = ["DETAILS", "Layout", "layout_of", "rounded_down", "rounded_up", "standing_words"]

DETAILS = ("brief", "usual", "all")
_WIDTH, _NARROWEST, _WIDEST = 80, 48, 120
_LABEL = 16  # columns of a line's name


@dataclass(frozen=True, slots=True)
class Layout:
    """How a sheet is written: its units, its width in columns, and how much of it.

    >>> from blockfit.sheets.words import Layout
    >>> print(*Layout(width=48).item("Reserve", "it can be set back 120 mm before the back ends it"), sep="\\n")
      Reserve         it can be set back 120 mm
                      before the back ends it
    """

    units: UnitSystem = METRIC
    width: int = _WIDTH
    detail: str = "usual"

    @property
    def shows_all(self) -> bool:
        """Whether everything is listed, also what is small and far from any limit."""
        return self.detail == "all"

    def item(self, name: str, words: str | Phrase) -> list[str]:
        """Return a line with its name at the left, wrapped."""
        label = f"  {name:<{_LABEL}}"
        return self._wrapped(words, label, " " * len(label))

    def entry(self, words: str | Phrase) -> list[str]:
        """Return a line below an item, wrapped; what follows it lies a little deeper."""
        return self._wrapped(words, "    ", " " * 7)

    def below(self, words: str | Phrase) -> list[str]:
        """Return a line below an entry, wrapped."""
        return self._wrapped(words, " " * 7, " " * 9)

    def paragraph(self, words: str | Phrase, indent: str = "  ") -> list[str]:
        """Return sentences, wrapped."""
        return self._wrapped(words, indent, indent)

    def point_of(self, words: str | Phrase) -> list[str]:
        """Return one of several sentences, behind a dash."""
        return self._wrapped(words, "  - ", "    ")

    def _wrapped(self, words: str | Phrase, first: str, rest: str) -> list[str]:
        text = words.text(self.units) if isinstance(words, Phrase) else words
        return textwrap.wrap(
            text,
            self.width,
            initial_indent=first,
            subsequent_indent=rest,
            break_long_words=False,
            break_on_hyphens=False,
        ) or [first.rstrip()]


def layout_of(units: str = "metric", detail: str = "usual", width: int | None = None) -> Layout:
    """Return the layout asked for; the width is that of the terminal as ``COLUMNS`` states it, or 80 columns.

    Raises `BadValueError` for units or a detail that there are not.
    """
    if detail not in DETAILS:
        raise BadValueError(f"detail={detail!r} must be one of {', '.join(DETAILS)}")
    stated = os.environ.get("COLUMNS", "")
    wide = width or (int(stated) if stated.isdecimal() else _WIDTH)
    return Layout(units_of(units), min(max(wide, _NARROWEST), _WIDEST), detail)


def standing_words(placement: Placement) -> str:
    """Return how the figure is turned and leaned.

    >>> import numpy as np
    >>> from blockfit import Placement
    >>> from blockfit.sheets.words import standing_words
    >>> standing_words(Placement(1, np.eye(3), [0, 0, 0]))
    'upright, facing the front as read'
    """
    turn, tilt = placement.turn_deg, placement.tilt_deg
    lean = "upright" if tilt < 0.05 else f"leaned {tilt:.1f}° to the {_towards(placement)}"
    if tilt > 90:
        lean = f"lying beyond the level, {tilt:.1f}° from upright, its head towards the {_towards(placement)}"
    if abs(turn) < 0.05:
        return f"{lean}, {'facing the front as read' if tilt < 0.05 else 'not turned'}"
    side = "counter-clockwise" if turn > 0 else "clockwise"
    return f"{lean}, turned {abs(turn):.1f}° {side} seen from above"


def _towards(placement: Placement) -> str:
    """Return which way the figure's up leans: the carver's sides."""
    x, y = float(placement.rotation[0, 2]), float(placement.rotation[1, 2])
    sides = ["right", "right and back", "back", "left and back", "left", "left and front", "front", "right and front"]
    return sides[int(((math.degrees(math.atan2(y, x)) % 360) + 22.5) // 45) % 8]

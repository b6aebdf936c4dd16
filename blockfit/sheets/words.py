"""Numbers and placements in plain words. Roundings leave stone: cover is rounded down, scale down, weight up."""

import math

from blockfit.geometry.arrays import Array
from blockfit.solids.placement import Placement
from blockfit.units import rounded_down, rounded_up

__all__ = [
    "asked",
    "entry",
    "item",
    "kg",
    "length",
    "litres",
    "missing",
    "point",
    "rounded_down",
    "rounded_up",
    "standing_words",
    "wrapped",
]


def missing(millimetres: float) -> str:
    """Return how much is missing, rounded up.

    >>> from blockfit.sheets.words import missing
    >>> missing(12.1)
    '13 mm'
    """
    return f"{rounded_up(millimetres, 0):,.0f} mm"


def asked(millimetres: float) -> str:
    """Return a length that somebody gave, as given.

    >>> from blockfit.sheets.words import asked
    >>> asked(25.4), asked(900)
    ('25.4 mm', '900 mm')
    """
    return f"{millimetres:,.2f}".rstrip("0").rstrip(".") + " mm"


def length(millimetres: float) -> str:
    """Return a length in mm, to the millimetre and never more than there is.

    >>> from blockfit.sheets.words import length
    >>> length(1234.9), length(-0.2), length(19.9999999999)
    ('1,234 mm', '-1 mm', '20 mm')
    """
    if not math.isfinite(millimetres):
        return "no limit" if millimetres > 0 else "none"
    return f"{rounded_down(millimetres, 0):,.0f} mm"


def kg(kilograms: float | None, low: float = 1.0, high: float = 1.0) -> str:
    """Return a weight with its range, rounded up.

    >>> from blockfit.sheets.words import kg
    >>> kg(1000, 0.96, 1.06), kg(None)
    ('1,000 kg (960–1,060)', 'unknown (no stone given)')
    >>> kg(-1e-12, 0.9, 1.1), kg(3.2)
    ('0 kg (0–0)', '3.20 kg')
    """
    if kilograms is None:
        return "unknown (no stone given)"
    kilograms = 0.0 if abs(kilograms) < 0.005 else kilograms
    digits = 0 if kilograms >= 10 or kilograms == 0 else 2
    shown, least, most = (f"{rounded_up(kilograms * share, digits):,.{digits}f}" for share in (1.0, low, high))
    return f"{shown} kg" if low == high == 1.0 else f"{shown} kg ({least}–{most})"


def litres(cubic_metres: float) -> str:
    """Return a volume in litres, or in m³ from a cubic metre on."""
    if abs(cubic_metres) >= 1:
        return f"{cubic_metres:.3f} m³"
    value = cubic_metres * 1000
    return f"{value:,.0f} l" if abs(value) >= 100 else f"{value:.1f} l" if abs(value) >= 1 else f"{value:.2f} l"


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


def wrapped(text: str, indent: str, width: int = 100) -> list[str]:
    """Return ``text`` in lines of up to ``width``, the first as it is, the others behind ``indent``."""
    lines: list[str] = []
    line = ""
    for word in text.split(" "):
        room = width if not lines else width - len(indent)
        if line and len(line) + 1 + len(word) > room:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}" if line else word
    lines.append(line)
    return [lines[0], *(indent + rest for rest in lines[1:])]


def point(at: Array) -> str:
    """Return a place in the block as a carver measures it."""
    x, y, z = at.tolist()
    return f"{round(x) + 0:,} mm from the left, {round(y) + 0:,} mm in, {round(z) + 0:,} mm up"


def item(name: str, text: str) -> list[str]:
    """Return a line of a survey, its name at the left, wrapped."""
    label = f"  {name:<16}"
    first, *rest = wrapped(text, " " * len(label), 104 - len(label) + 18)
    return [label + first, *rest]


def entry(text: str) -> list[str]:
    """Return a line below an item, wrapped."""
    first, *rest = wrapped(text, " " * 23, 102)
    return [" " * 20 + first, *rest]


def _towards(placement: Placement) -> str:
    """Return which way the figure's up leans: the carver's sides."""
    x, y = float(placement.rotation[0, 2]), float(placement.rotation[1, 2])
    sides = ["right", "right and back", "back", "left and back", "left", "left and front", "front", "right and front"]
    return sides[int(((math.degrees(math.atan2(y, x)) % 360) + 22.5) // 45) % 8]

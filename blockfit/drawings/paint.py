"""What paint does to an outline: dark paint is stone, opaque light paint takes it away."""

import re

import numpy as np

from blockfit.drawings.strokes import numbers

__all__ = ["ink_of"]

_NAMED = {"white": 1.0, "none": 1.0, "transparent": 1.0, "black": 0.0, "red": 0.3, "blue": 0.11, "green": 0.3,
          "yellow": 0.89, "gray": 0.5, "grey": 0.5, "silver": 0.75}  # fmt: skip
_LIGHT = 0.9  # brightness from which paint counts as ground
_OPAQUE = 0.99  # light paint that lets more through takes nothing away


def _alpha(paint: str) -> float:
    """Return how much of what lies below a paint hides by itself, as ``rgba(…)`` and ``rgb(… / …)`` say."""
    shares = re.fullmatch(r"rgba?\(([^)]*)\)", paint)
    given = re.findall(r"[\d.]+(?:e-?\d+)?%?", shares.group(1)) if shares else []
    if len(given) < 4:
        return 1.0
    return min(1.0, float(given[3].rstrip("%")) / (100 if given[3].endswith("%") else 1))


def _brightness(paint: str) -> float:
    """Return how light a paint is, 0 to 1; what is not known (a gradient, a name) counts as dark."""
    if paint in _NAMED:
        return _NAMED[paint]
    hexes = re.fullmatch(r"#([0-9a-f]{3}|[0-9a-f]{6})", paint)
    if hexes:
        digits = hexes.group(1)
        digits = "".join(2 * d for d in digits) if len(digits) == 3 else digits
        values = [int(digits[k : k + 2], 16) / 255 for k in (0, 2, 4)]
    else:
        shares = re.fullmatch(r"rgba?\(([^)]*)\)", paint)
        if shares is None:
            return 0.0
        values = [n / (100 if "%" in shares.group(1) else 255) for n in numbers(shares.group(1))[:3]]
    return float(np.array([0.299, 0.587, 0.114])[: len(values)] @ values)  # ITU-R BT.601


def ink_of(paint: str, share: float) -> str:
    """Return what paint does that hides a ``share`` of what lies below: ``add`` dark, ``take`` it away, or nothing."""
    share *= _alpha(paint)
    if paint in ("none", "transparent") or share <= 0:
        return ""
    if 1 - share * (1 - _brightness(paint)) < _LIGHT:
        return "add"
    return "take" if _brightness(paint) >= _LIGHT and share >= _OPAQUE else ""

"""How readings are rounded and written, so that what is printed, read back, leaves stone. mm and inches."""

import math
from dataclasses import dataclass
from fractions import Fraction

from blockfit.errors import BadValueError
from blockfit.geometry.tolerances import CLOSE
from blockfit.units import Length, length_mm

__all__ = ["Grain", "grain_of"]

_FINEST = 256  # parts of an inch
_DIGITS = 9


@dataclass(frozen=True, slots=True)
class Grain:
    """What readings on the model are rounded to: ``mm``, and how they are written.

    ``parts`` of an inch for readings in inches; 0 for mm with ``digits`` behind the point.
    """

    mm: float
    parts: int
    digits: int

    @property
    def words(self) -> str:
        """The grain as it is written."""
        return f"1/{self.parts} in" if self.parts else f"{self.mm:.{self.digits}f} mm"

    def written(self, ticks: int) -> str:
        """Return so many grains as the carver's rule shows them: exactly.

        >>> from blockfit.marking.rounding import grain_of
        >>> grain_of("1/32 in", inches=True).written(75), grain_of(1.5).written(3)
        ('2 11/32', '4.5')
        """
        if not self.parts:
            return f"{ticks * self.mm:.{self.digits}f}"
        whole, part = divmod(abs(ticks), self.parts)
        sign = "-" if ticks < 0 else ""
        fraction = str(Fraction(part, self.parts)) if part else ""
        return sign + (f"{whole} {fraction}".strip() if whole or not fraction else fraction)


def grain_of(grain: Length | None = None, *, inches: bool = False) -> Grain:
    """Return how readings are rounded; a grain that cannot be written exactly becomes the next finer one that can.

    By default 1 mm, or 1/16 in. In inches a grain is one over a power of two. Raises `BadValueError` for none.
    """
    if grain is None:
        return Grain(25.4 / 16, 16, 0) if inches else Grain(1.0, 0, 0)
    asked = length_mm(grain, "grain")
    if asked <= 0:
        raise BadValueError(f"grain={grain!r} must be more than 0")
    if inches:
        parts = 1
        while parts < _FINEST and 25.4 / parts > asked * (1 + CLOSE):
            parts *= 2
        return Grain(25.4 / parts, parts, 0)
    for digits in range(_DIGITS + 1):
        ticks = asked * 10**digits
        if abs(ticks - round(ticks)) <= CLOSE * max(1.0, ticks) and round(ticks) > 0:
            return Grain(round(ticks) / 10**digits, 0, digits)
    digits = next(d for d in range(3, _DIGITS + 4) if math.floor(asked * 10**d) > 0)
    return Grain(math.floor(asked * 10**digits) / 10**digits, 0, digits)

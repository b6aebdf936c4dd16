"""What saved stone brings and what saving it costs, by the user's own figures alone.

m², m³, hours, and money in whatever currency the figures are in. No price nor rate is ours."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from blockfit.errors import BadValueError
from blockfit.kinds import take_fields

__all__ = ["Prices"]


@dataclass(frozen=True, slots=True)
class Prices:
    """Your own prices and rates.

    ``price_m3`` is what a cubic metre of saved stone is worth: one price, or (m³, price) pairs, from the least size on
    at which each price holds (nothing below the first). ``sawing_m2`` is the cost of a square metre sawn;
    ``rate_hour`` your own, for ``hours_piece`` of handling each and ``hours_m2`` of a square metre sawn.

    Raises `BadValueError` for prices and rates that are no numbers of 0 or more.

    >>> import blockfit as bf
    >>> mine = bf.Prices([(0.05, 400), (0.5, 900)], sawing_m2=60, rate_hour=45, hours_piece=0.5)
    >>> mine.brings(0.02), mine.brings(0.1), mine.brings(1), mine.costs(2), mine.net(1, 2)
    (0.0, 40.0, 900.0, (120, 22.5), 757.5)
    """

    price_m3: float | Sequence[tuple[float, float]]
    sawing_m2: float = 0.0
    rate_hour: float = 0.0
    hours_piece: float = 0.0
    hours_m2: float = 0.0

    def __post_init__(self) -> None:
        """Check that all are numbers of 0 or more; pairs are kept from the least size on."""
        take_fields(self)
        for name in ("sawing_m2", "rate_hour", "hours_piece", "hours_m2"):
            value = getattr(self, name)
            if not 0 <= value < math.inf:
                raise BadValueError(f"{name}={value!r} must be a number, 0 or more")
        given = self.price_m3
        if isinstance(given, int | float):
            pairs = [(0.0, float(given))]
        else:
            pairs = sorted((float(least), float(price)) for least, price in given)
            object.__setattr__(self, "price_m3", tuple(pairs))
        if not pairs or not all(0 <= a < math.inf and 0 <= b < math.inf for a, b in pairs):
            raise BadValueError(f"price_m3={given!r} must be prices of 0 or more, from sizes of 0 or more on")

    def brings(self, volume_m3: float) -> float:
        """Return what a piece of so much stone is worth."""
        if isinstance(self.price_m3, int | float):
            return volume_m3 * self.price_m3
        return volume_m3 * next((price for least, price in reversed(self.price_m3) if volume_m3 >= least), 0.0)

    def costs(self, sawn_m2: float) -> tuple[float, float]:
        """Return what sawing a piece off costs, and the work on it."""
        return self.sawing_m2 * sawn_m2, self.rate_hour * (self.hours_piece + self.hours_m2 * sawn_m2)

    def net(self, volume_m3: float, sawn_m2: float) -> float:
        """Return what a piece brings less what it costs."""
        return self.brings(volume_m3) - sum(self.costs(sawn_m2))

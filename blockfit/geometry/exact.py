"""Greatest values of linear functions over many points, to the last bit: rational arithmetic where it takes that."""

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from blockfit.geometry.arrays import Array

__all__ = ["greatest"]

_SPLIT = 2.0**27 + 1  # halves a double's digits (Dekker, Numerische Mathematik 18, 1971, from memory)
_DOUBT = 2.0**-96  # of the terms' sizes: far more than sums of pairs of doubles lose


def greatest(points: Array, factors: Sequence[Fraction], constant: Fraction) -> Fraction:
    """Return the exact maximum of ``factors · p + constant`` over points p (n, 3) with n > 0.

    Pairs of doubles leave few points in question; those that differ only where a factor is 0 count once.

    >>> from fractions import Fraction
    >>> import numpy as np
    >>> from blockfit.geometry.exact import greatest
    >>> tenth = Fraction(0.1)  # the double next to it
    >>> greatest(np.array([[3.0, 0, 7], [1, 0, 9]]), [tenth, Fraction(0), Fraction(0)], -3 * tenth)
    Fraction(0, 1)
    """
    high, low = np.zeros(len(points)), np.zeros(len(points))
    size = np.zeros(len(points))
    for k, factor in enumerate(factors):
        main = float(factor)
        rest = float(factor - Fraction(main))
        term, error = _product(main, points[:, k])
        high, slip = _sum(high, term)
        low += slip + error + rest * points[:, k]
        size += np.abs(term)
    best = int((high + low).argmax())  # or so near it that the greatest is among those kept
    behind = (high[best] - high) + (low[best] - low)
    near = points[behind <= 4 * _DOUBT * float(size.max())]
    used = [k for k, factor in enumerate(factors) if factor]
    told = np.unique(near[:, used], axis=0).tolist() if used else [[]]
    chosen = [factors[k] for k in used]
    return max(sum((f * Fraction(x) for f, x in zip(chosen, row, strict=True)), Fraction(0)) for row in told) + constant


def _sum(a: Array, b: Array) -> tuple[Array, Array]:
    """Return the sum of doubles and what it lost, exactly (Knuth)."""
    total = a + b
    part = total - a
    return total, (a - (total - part)) + (b - part)


def _product(a: float, b: Array) -> tuple[Array, Array]:
    """Return the product of doubles and what it lost, exactly (Dekker)."""
    total = a * b
    a_high = a * _SPLIT - (a * _SPLIT - a)
    b_high = b * _SPLIT - (b * _SPLIT - b)
    a_low, b_low = a - a_high, b - b_high
    return total, ((a_high * b_high - total) + a_high * b_low + a_low * b_high) + a_low * b_low

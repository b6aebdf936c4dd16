"""Greatest values to the last bit, against plain rational arithmetic on every point."""

from fractions import Fraction

import numpy as np
import pytest

from blockfit.geometry.exact import greatest


def _plainly(points, factors, constant):
    return max(sum(f * Fraction(x) for f, x in zip(factors, row, strict=True)) for row in points.tolist()) + constant


@pytest.mark.parametrize("seed", range(6))
def test_as_plain_fractions_say(seed):
    random = np.random.default_rng(seed)
    factors = [Fraction(x) * Fraction(0.37) for x in random.normal(size=3).tolist()]
    points = random.normal(size=(500, 3)) * 10.0 ** random.integers(-6, 6, size=(500, 1))
    assert greatest(points, factors, Fraction(-1, 3)) == _plainly(points, factors, Fraction(-1, 3))


@pytest.mark.parametrize("seed", range(6))
def test_points_that_doubles_cannot_tell_apart(seed):
    random = np.random.default_rng(seed)
    normal = random.normal(size=3)
    normal /= np.linalg.norm(normal)
    flat = random.normal(size=(400, 3)) * 700
    flat -= np.outer(flat @ normal - 100, normal)  # all 100 along the normal, to the rounding of a double
    factors = [Fraction(x) for x in normal.tolist()]
    assert greatest(flat, factors, Fraction(-100)) == _plainly(flat, factors, Fraction(-100))


def test_a_flat_side_of_very_many_points_is_one_value():
    random = np.random.default_rng(1)
    points = np.column_stack([random.uniform(0, 900, size=(300_000, 2)), np.full(300_000, 0.1)])
    assert greatest(points, [Fraction(0), Fraction(0), Fraction(3)], Fraction(0)) == 3 * Fraction(0.1)
    assert greatest(points[:5], [Fraction(0)] * 3, Fraction(7, 2)) == Fraction(7, 2)

"""Least widths, bounded from below: published values and random bodies."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from regular import SOLIDS

from blockfit.search.proof.widths import least_and_longest

# The distance between opposite faces, twice the inradius, for edge 1: E. W. Weisstein, "Octahedron", "Dodecahedron" and
# "Icosahedron", MathWorld (values from memory); between opposite edges of the tetrahedron by hand.
LEAST_WIDTHS = {
    "tetrahedron": 1 / 2**0.5,
    "cube": 1.0,
    "octahedron": 6**0.5 / 3,
    "dodecahedron": (250 + 110 * 5**0.5) ** 0.5 / 10,
    "icosahedron": (3 * 3**0.5 + 15**0.5) / 6,
}


@pytest.mark.parametrize("name", LEAST_WIDTHS)
def test_the_least_width_is_bounded_from_below_and_closely(name):
    least, longest = least_and_longest(SOLIDS[name] * 100)
    assert 0.95 * LEAST_WIDTHS[name] <= least / 100 <= LEAST_WIDTHS[name] * (1 + 1e-12)
    apart = np.linalg.norm(SOLIDS[name][:, None] - SOLIDS[name], axis=2).max() * 100
    assert 0.99 * apart <= longest <= apart * (1 + 1e-12)


@given(st.integers(0, 10_000))
@settings(max_examples=40)
def test_no_direction_is_narrower_than_the_bound(seed):
    random = np.random.default_rng(seed)
    points = random.normal(size=(15, 3)) * random.uniform(1, 50, 3)
    least, _ = least_and_longest(points)
    towards = random.normal(size=(3000, 3))
    towards /= np.linalg.norm(towards, axis=1)[:, None]
    # The narrowest of many, and down from there in ever smaller steps.
    best = towards[np.ptp(points @ towards.T, axis=0).argmin()]
    for size in (0.1, 0.03, 0.01, 0.003):
        near = best + random.normal(size=(300, 3)) * size
        near = np.vstack([best, near / np.linalg.norm(near, axis=1)[:, None]])
        best = near[np.ptp(points @ near.T, axis=0).argmin()]
    assert np.ptp(points @ best) >= least

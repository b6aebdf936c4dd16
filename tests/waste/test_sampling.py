"""Points that stand for stone and surfaces, and planes set by them."""

import numpy as np
import pytest
from conftest import examples
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf
from blockfit.waste.sampling import FAR_MM, settled, spread_points


def test_spread_points_fill_a_block_evenly():
    """Every tenth of a box along every axis holds a tenth of the points, and no plane holds a row of them."""
    points = spread_points(bf.Block.box(900, 700, 1600), 3000)
    assert len(points) == 3000
    for axis, side in enumerate((900, 700, 1600)):
        counts, _ = np.histogram(points[:, axis], bins=10, range=(0, side))
        assert counts == pytest.approx(300, abs=6)
        assert len(np.unique(np.round(points[:, axis], 6))) == 3000


@pytest.mark.parametrize("aside", [0, 3000])
def test_spread_points_lie_in_a_block_of_any_shape(aside):
    wedge = bf.Block.convex([[x + aside, y, z - aside] for y in (0, 400) for x, z in ((0, 0), (1000, 0), (0, 500))])
    points = spread_points(wedge, 2000)
    assert len(points) == pytest.approx(2000, rel=0.03)
    assert (points @ wedge.normals.T <= wedge.offsets_mm).all()


@examples(60, every=400)
@given(seed=st.integers(0, 10**6))
def test_planes_are_settled_as_far_in_as_points_allow(seed):
    random = np.random.default_rng(seed)
    count = int(random.integers(1, 5))
    moving = int(random.integers(1, count + 1))
    heights, bounds = random.normal(size=(count, 50)), random.normal(size=count)
    found = settled(heights, bounds, moving)
    assert (found[moving:] == bounds[moving:]).all()
    assert not (heights > found[:, None]).all(axis=0).any()
    for k in np.flatnonzero(found[:moving] > -FAR_MM):
        closer = found.copy()
        closer[k] -= 1e-9
        assert (heights > closer[:, None]).all(axis=0).any()  # a hair further in, and a point is beyond them all

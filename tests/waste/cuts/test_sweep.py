"""A figure swept along a way, and how far it may travel."""

import numpy as np
import pytest
from conftest import cuboid

from blockfit.waste.cuts.sweep import free_travel, swept


@pytest.mark.parametrize("by", [[0, 70, 0], [30, 40, -20]])
def test_the_swept_figure_reaches_as_far_as_its_copies(kneeling, by):
    by = np.array(by, float)
    vertices, _ = swept(kneeling.vertices, kneeling.faces, by)
    copies = np.concatenate([kneeling.vertices + t * by for t in np.linspace(0, 1, 5)])
    for direction in np.random.default_rng(1).normal(size=(20, 3)):
        assert (vertices @ direction).max() == pytest.approx((copies @ direction).max(), rel=1e-12)


def test_travel_towards_a_corner_that_was_taken():
    """A cube of 100 moving back under a hollow that begins at y = 300 and z = 60, and beside one it never meets."""
    cube = cuboid(100, 100, 100)
    normals, along = np.array([[0, 1.0, 0], [0, 0, 1]]), np.array([0, 1.0, 0])
    assert free_travel(cube.vertices, cube.faces, along, normals, np.array([300.0, 60]), 900) == pytest.approx(200)
    assert free_travel(cube.vertices, cube.faces, along, normals, np.array([300.0, 101]), 900) == 900

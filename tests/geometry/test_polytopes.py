"""Hulls, widths and corners of convex bodies, against known solids."""

import numpy as np
import pytest
from regular import SOLIDS

from blockfit.geometry.polytope import corners_of, hull_corners, least_width


def test_flat_and_thin_point_sets_have_hull_corners():
    square = np.array([[0, 0, 5], [4, 0, 5], [4, 4, 5], [0, 4, 5], [2, 2, 5]], float)
    assert hull_corners(square).tolist() == [0, 1, 2, 3]
    assert hull_corners(np.array([[0, 0, 0], [1, 1, 1], [3, 3, 3.0]])).tolist() == [0, 2]
    assert hull_corners(np.array([[7.0, 7, 7]])).tolist() == [0]


def test_least_width_of_regular_solids():
    # A cube is as wide as its edge; a tetrahedron of edge 1 is narrowest between opposite edges, 1/√2.
    assert least_width(SOLIDS["cube"]) == pytest.approx(1, rel=1e-9)
    assert least_width(SOLIDS["tetrahedron"]) == pytest.approx(2**-0.5, rel=1e-9)


def test_corners_of_a_cube_with_a_corner_off():
    normals = np.vstack([np.eye(3), -np.eye(3), np.ones((1, 3)) / 3**0.5])
    corners, touching = corners_of(normals, np.array([1, 1, 1, 0, 0, 0, 2.5 / 3**0.5]))
    assert len(corners) == 10
    assert len(touching) == 7

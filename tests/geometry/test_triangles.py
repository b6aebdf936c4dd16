"""Distances of triangles, against manifold3d's of the solids that they bound."""

import itertools

import manifold3d
import numpy as np
import pytest

from blockfit.geometry.triangles import triangle_gaps


def faces_of(solid):
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3])[np.array(mesh.tri_verts, np.int64)]


def random_solid(random, at):
    """A tetrahedron, a needle, a plate or a box, any way round."""
    size = 10 ** random.uniform(-1, 1, 3)
    kind = random.integers(3)
    points = random.normal(size=(4, 3)) if kind == 0 else np.array(list(itertools.product((0, 1), repeat=3)), float)
    turn, _ = np.linalg.qr(random.normal(size=(3, 3)))
    return manifold3d.Manifold.hull_points((points * size) @ turn + at)


@pytest.mark.parametrize("seed", range(40))
def test_the_least_gap_of_all_faces_is_that_of_the_solids(seed):
    random = np.random.default_rng(seed)
    first = random_solid(random, np.zeros(3))
    second = random_solid(random, random.normal(size=3) * random.choice([3, 30, 1000]))
    if not (first ^ second).is_empty():
        return
    ours, theirs = faces_of(first), faces_of(second)
    i, j = np.divmod(np.arange(len(ours) * len(theirs)), len(theirs))
    gaps, places = triangle_gaps(ours[i], theirs[j])
    assert gaps.min() == pytest.approx(first.min_gap(second, 1e5), rel=1e-7, abs=1e-9)
    k = int(gaps.argmin())
    assert triangle_gaps(np.tile(places[k], (1, 3, 1)), theirs[j[k]][None])[0][0] == pytest.approx(gaps[k], abs=1e-9)


def test_parallel_touching_and_flat_triangles():
    """By hand: side beside side, one above the other, corner on corner, and a triangle that is a line."""
    flat = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]])
    others = np.array(
        [
            [[0, -3, 0], [4, -3, 0], [2, -9, 0]],  # side beside side, 3 apart
            [[1, 1, 2], [0.5, 1, 9], [1, 0.5, 9]],  # a corner 2 above the face
            [[4, 0, 0], [9, 0, 0], [9, 9, 0]],  # corner on corner
            [[-5, 7, 0], [-5, 7, 0], [-5, -7, 0]],  # a line 5 beside it
        ]
    )
    assert triangle_gaps(np.tile(flat, (4, 1, 1)), others)[0] == pytest.approx([3, 2, 0, 5])

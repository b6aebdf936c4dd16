"""Signed distances from surfaces, against trimesh's."""

import numpy as np
import pytest
import trimesh

from blockfit.measure.distance import SurfaceDistance


def test_distances_agree_with_trimesh_on_edges_and_corners():
    """Signed distances of a solid with sharp inner and outer edges, against trimesh's proximity and containment."""
    mesh = trimesh.boolean.difference(
        [trimesh.creation.box(extents=[100, 80, 60]), trimesh.creation.box(extents=[50, 40, 80])]
    )
    points = np.random.default_rng(5).uniform(-70, 70, (600, 3))
    ours, nearest = SurfaceDistance(np.array(mesh.vertices), np.array(mesh.faces)).signed(points)
    theirs = trimesh.proximity.signed_distance(mesh, points)
    assert ours == pytest.approx(-theirs, abs=1e-9)
    assert np.linalg.norm(points - nearest, axis=1) == pytest.approx(np.abs(ours), abs=1e-9)


def test_signed_distances_against_trimesh(kneeling):
    from trimesh.proximity import closest_point

    random = np.random.default_rng(5)
    low, high = kneeling.vertices.min(axis=0) - 100, kneeling.vertices.max(axis=0) + 100
    points = random.uniform(low, high, size=(300, 3))
    mesh = trimesh.Trimesh(kneeling.vertices, kneeling.faces, process=False)
    ours, _ = SurfaceDistance(kneeling.vertices, kneeling.faces).signed(points)
    assert np.abs(ours) == pytest.approx(closest_point(mesh, points)[1], abs=1e-6)
    assert ((ours < 0) == mesh.contains(points)).mean() > 0.99

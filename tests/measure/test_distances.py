"""Signed distances from surfaces, against trimesh's."""

import manifold3d
import numpy as np
import pytest
import trimesh
from conftest import arrays

from blockfit.measure.distance import SurfaceDistance, _Winding


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


def long_slivers() -> trimesh.Trimesh:
    """A block roughed in steps whose outlines have many corners: all its faces are long and thin."""
    stone = manifold3d.Manifold.cube([900, 700, 1600])
    for k in range(5):
        hole = manifold3d.CrossSection.circle(330 - 55 * k, 500).translate([450, 800])
        stone = stone - hole.extrude(60).translate([0, 0, 0]).rotate([90, 0, 0]).translate([0, 60 * (k + 1) + 1e-3, 0])
    return trimesh.Trimesh(*arrays(stone), process=False)


def test_sides_of_a_surface_of_slivers_are_those_of_winding_numbers():
    import igl

    mesh = long_slivers()
    vertices, faces = np.array(mesh.vertices), np.array(mesh.faces, np.int64)
    points = np.random.default_rng(2).uniform(-30, 1630, (3000, 3))
    points = np.concatenate([points, vertices[::3] + np.random.default_rng(3).normal(size=vertices[::3].shape)])
    inside = np.asarray(igl.winding_number(vertices, faces, points)) > 0.5
    assert np.array_equal(SurfaceDistance(vertices, faces).signed(points)[0] < 0, inside)


def test_sides_of_an_open_surface_are_those_of_winding_numbers_far_from_it():
    import igl

    ball = trimesh.creation.icosphere(subdivisions=4, radius=100)
    faces = np.array(ball.faces, np.int64)[ball.triangles_center[:, 2] < 80]  # a cap is missing
    vertices = np.array(ball.vertices)
    points = np.random.default_rng(4).uniform(-110, 110, (2000, 3))
    signed, _ = SurfaceDistance(vertices, faces).signed(points)
    far = np.abs(signed) > 12
    winding = np.asarray(igl.winding_number(vertices, faces, points))
    sure = far & (np.abs(winding - 0.5) > 0.1)
    assert np.array_equal(signed[sure] < 0, winding[sure] > 0.5)


def test_winding_numbers_stay_right_when_the_tree_is_kept(monkeypatch):
    """Few points exactly, many from a tree that is built once, as by libigl before it could keep one."""
    mesh = trimesh.creation.icosphere(subdivisions=6, radius=50)
    surface = np.array(mesh.vertices), np.array(mesh.faces, np.int64)
    points = np.random.default_rng(2).uniform(-60, 60, (500, 3))
    within = np.linalg.norm(points, axis=1)
    points, within = points[np.abs(within - 50) > 1], within[np.abs(within - 50) > 1] < 50
    kept = _Winding(*surface)
    assert kept.numbers(points[:100]) == pytest.approx(within[:100].astype(float), abs=1e-6)  # summed one by one
    for _ in range(2):
        assert np.array_equal(kept.numbers(points) > 0.5, within)
    assert len(kept.numbers(points[:0])) == 0
    monkeypatch.delattr("igl.FastWindingNumberBVH", raising=False)
    again = _Winding(*surface)
    assert again.numbers(points) == pytest.approx(kept.numbers(points), abs=0.01)

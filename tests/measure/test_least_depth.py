"""Least depths over squares, against manifold3d's booleans."""

import itertools

import manifold3d
import numpy as np
import pytest
import trimesh

from blockfit.measure.least_depth import least_cells, least_over
from blockfit.measure.views import face_view, lattice_over


def prism_depth(mesh, face, place, half):
    """The least depth within a square prism along the way in, by manifold3d's boolean."""
    view = face_view(face)
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.array(mesh.vertices, float), np.array(mesh.faces, np.uint64)))
    corners = [
        place[0] * view.right + place[1] * view.up + a * half * view.right + b * half * view.up + c * 3000 * view.into
        for a, b, c in itertools.product((-1, 1), repeat=3)
    ]
    common = solid ^ manifold3d.Manifold.hull_points(np.array(corners))
    if common.is_empty():
        return np.inf
    return float((np.array(common.to_mesh64().vert_properties)[:, :3] @ view.into).min())


@pytest.mark.parametrize("face", ["front", "back", "left", "right", "top", "bottom"])
def test_least_over_squares_is_the_booleans(face):
    random = np.random.default_rng(3)
    mesh = trimesh.boolean.union(
        [
            trimesh.creation.box(bounds=[[0, 0, 0], [200, 150, 60]]),
            trimesh.creation.icosphere(3, 50).apply_translation([80, 60, 90]),
            trimesh.creation.cylinder(1.0, segment=[[150, 70, 0], [170, -60, 250]], sections=8),
        ]
    )
    view = face_view(face)
    seen, _ = view.seen(np.array(mesh.vertices))
    places = random.uniform(seen.min(axis=0) - 5, seen.max(axis=0) + 5, size=(40, 2))
    ours, where = least_over(np.array(mesh.vertices), np.array(mesh.faces), view, places, 4.0)
    for place, depth, at in zip(places, ours, where, strict=True):
        exact = prism_depth(mesh, face, place, 4.0)
        assert depth == pytest.approx(exact, abs=1e-5) or not np.isfinite([depth, exact]).any()
        if np.isfinite(depth):
            assert np.abs(at - place).max() <= 4.0 + 1e-6
    lattice = lattice_over(view, np.array(mesh.vertices), 3.0, plain=True)
    grid = least_cells(np.array(mesh.vertices), np.array(mesh.faces), view, lattice)
    rows, columns = random.integers(0, lattice.rows, 60), random.integers(0, lattice.columns, 60)
    for place, depth in zip(lattice.places(rows, columns), grid[rows, columns], strict=True):
        assert depth <= prism_depth(mesh, face, place, 1.5) + 1e-5  # never deeper than it is

"""Columns against formulas and against manifold3d's exact volumes."""

import numpy as np
import pytest
from conftest import ball, cuboid, joined, torus
from hypothesis import given
from hypothesis import strategies as st

from blockfit import Figure
from blockfit.geometry.turns import from_quaternions
from blockfit.measure.booleans import arrays_of, solid_from
from blockfit.measure.columns import columns_of, crossings
from blockfit.measure.views import FACE_DIRECTIONS, face_view, lattice_over, view_along


def volume(figure, face="front", pitch=4.0, plain=False):
    view = face_view(face)
    columns = columns_of(figure.vertices, figure.faces, view, lattice_over(view, figure.vertices, pitch, plain=plain))
    return float((columns.leave - columns.enter).sum()) * pitch**2


@pytest.mark.parametrize("face", FACE_DIRECTIONS)
def test_walls_along_the_columns_do_not_jump(face):
    box = cuboid(700, 500, 900)
    assert volume(box, face, 8) == pytest.approx(0.315e9, rel=5e-4)
    # A plain lattice, whose rows fall in step with the walls, is off by much more in some view.
    assert max(abs(volume(box, f, 8, plain=True) / 0.315e9 - 1) for f in FACE_DIRECTIONS) > 5e-3


@pytest.mark.parametrize("face", ["front", "left", "top"])
def test_ball_and_torus_by_formula(face):
    assert volume(ball(300, 5), face) == pytest.approx(4 / 3 * np.pi * 300**3, rel=2e-3)
    ring = torus(300, 100)
    assert volume(ring, face) == pytest.approx(ring.volume_m3 * 1e9, rel=5e-4)


def test_columns_agree_with_manifold3d(kneeling):
    exact = solid_from(kneeling.vertices, kneeling.faces).volume()
    for face in FACE_DIRECTIONS:
        assert volume(kneeling, face, 5) == pytest.approx(exact, rel=1e-3)


def test_overlapping_shells_do_not_turn_hollow():
    pair = joined(cuboid(300, 300, 300), cuboid(300, 300, 300, at=(150, 100, 50)))
    a, b = (solid_from(f.vertices, f.faces) for f in (cuboid(300, 300, 300), cuboid(300, 300, 300, at=(150, 100, 50))))
    assert volume(pair) == pytest.approx((a + b).volume(), rel=1e-3)


def test_a_closed_hollow_is_left_out():
    inner = ball(100)
    hollow = joined(ball(300), Figure(inner.vertices, inner.faces[:, ::-1]))
    assert volume(hollow) == pytest.approx(hollow.volume_m3 * 1e9, rel=2e-3)


@given(st.integers(0, 10_000), st.floats(3, 40))
def test_a_closed_surface_is_entered_as_often_as_left(seed, pitch):
    random = np.random.default_rng(seed)
    figure = torus(200, 80)
    vertices = figure.vertices @ from_quaternions(random.normal(size=4)).T + random.normal(size=3) * 1000
    view = view_along(random.normal(size=3))
    lattice = lattice_over(view, vertices, pitch)
    found = crossings(vertices, figure.faces, view, lattice)
    sums = np.bincount(found.cell, found.enters)
    assert not sums.any()
    columns = columns_of(vertices, figure.faces, view, lattice)
    assert (columns.enter <= columns.leave + 1e-6).all()


def test_samples_lie_in_their_cells():
    view = face_view("front")
    lattice = lattice_over(view, cuboid(100, 10, 200).vertices, 7)
    rows, columns = np.divmod(np.arange(lattice.rows * lattice.columns), lattice.columns)
    row, column = lattice.cells(lattice.places(rows, columns))
    assert (row == rows).all()
    assert (column == columns).all()


def test_views_are_right_handed_and_upright():
    for face, into in FACE_DIRECTIONS.items():
        view = face_view(face)
        assert view.into.tolist() == list(into)
        assert np.cross(view.right, view.up) == pytest.approx(-view.into)
        if into[2] == 0:
            assert view.up.tolist() == [0, 0, 1]


def test_arrays_survive_manifold3d():
    box = cuboid(10, 20, 30)
    vertices, faces = arrays_of(solid_from(box.vertices, box.faces))
    assert Figure(vertices, faces).volume_m3 == pytest.approx(6e-6, rel=1e-12)

"""Figures: volume, area and centroid by formula; frozen copies; what is refused."""

import numpy as np
import pytest
from conftest import assert_refused, ball, cuboid, torus

import blockfit as bf
from blockfit import BadValueError, Figure
from blockfit.measure.booleans import solid_from


def test_volume_area_and_centroid_by_formula():
    box = cuboid(200, 300, 500, at=(1e6, -40, 7))
    assert box.volume_m3 == pytest.approx(0.03, rel=1e-12)
    assert box.area_m2 == pytest.approx(0.62, rel=1e-12)
    assert box.centroid_mm == pytest.approx([1e6 + 100, 110, 257], rel=1e-12)
    # Pappus: a ring of radii R, r holds 2 π² R r²; the polygon inscribed in it a little less.
    ring = torus(300, 100)
    assert 0.995 < ring.volume_m3 / (2 * np.pi**2 * 300 * 100**2 * 1e-9) < 1


def test_volume_agrees_with_manifold3d():
    figure = ball(250)
    assert figure.volume_m3 == pytest.approx(solid_from(figure.vertices, figure.faces).volume() * 1e-9, rel=1e-12)


def test_figures_are_frozen_copies():
    corners = np.eye(3)
    figure = Figure(corners, [[0, 1, 2]])
    corners[0, 0] = 9
    assert figure.vertices[0, 0] == 1
    with pytest.raises(ValueError, match="read-only"):
        figure.vertices[0, 0] = 2
    assert not figure.is_solid
    assert figure.volume_m3 is None


@pytest.mark.parametrize(
    ("vertices", "faces"),
    [
        ([[0, 0, np.nan]], []),
        ([], []),
        ([[0, 0, 0]], [[0, 0, 1]]),
        ([[0, 0]], []),
        ([[0, 0, 0]] * 4, [[0, 1, 2, 3]]),
        ([[0, 0, 0]] * 3, [[0, 1, 1.5]]),
        ([[0, 0, 1e12]], []),
        ([["a", 0, 0]], []),
    ],
)
def test_bad_figures_raise(vertices, faces):
    with pytest.raises(BadValueError):
        Figure(vertices, faces)


def test_the_numbers_of_a_hostile_array():
    with pytest.raises(bf.BlockfitError):
        bf.Figure(np.full((3, 3), 1e308), [[0, 1, 2]])


REFUSED = {
    "a figure of nothing": (lambda: bf.Figure(np.zeros((0, 3)), np.zeros((0, 3), int)), "vertices is empty"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])

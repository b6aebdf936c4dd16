"""How thick the stone is, by formula."""

import math

import numpy as np
import pytest
import trimesh
from conftest import SHARED, around, ball, cuboid, needs_meshes, torus

import blockfit as bf
from blockfit.waste.reach.sight import elements_of
from blockfit.waste.strength.thickness import thickness_of


def thickness(figure, spacing):
    return thickness_of(elements_of(figure.vertices, figure.faces, spacing / 2), spacing)


def test_thickness_of_slab_ball_and_ring():
    slab = thickness(cuboid(300, 300, 24), 4)
    assert slab.diameter_mm[slab.least()] == pytest.approx(24, rel=0.02)
    inner = np.abs(slab.points[:, :2] - 150).max(axis=1) < 120
    assert slab.diameter_mm[inner] == pytest.approx(np.full(inner.sum(), 24), rel=0.01)
    round_one = thickness(ball(60, 4), 6)
    assert np.median(round_one.diameter_mm) == pytest.approx(120, rel=0.01)
    ring = thickness(torus(150, 30), 4)
    assert np.median(ring.diameter_mm) == pytest.approx(60, rel=0.02)


def test_thickness_of_a_tube():
    tube = trimesh.creation.annulus(r_min=80, r_max=95, height=300, sections=96)
    thin = thickness(bf.Figure(tube.vertices, tube.faces), 5)
    assert thin.diameter_mm[thin.least()] == pytest.approx(15, rel=0.05)


def test_thickness_of_a_wedge():
    """At distance x from the edge of a wedge of angle α, along a face, the ball that touches has 2 x tan(α/2)."""
    angle = math.radians(20)
    rise = 400 * math.tan(angle)
    vertices = [[0, 0, 0], [400, 0, 0], [400, 0, rise], [0, 300, 0], [400, 300, 0], [400, 300, rise]]
    faces = [[0, 1, 2], [3, 5, 4], [0, 3, 4], [0, 4, 1], [0, 2, 5], [0, 5, 3], [1, 4, 5], [1, 5, 2]]
    figure = bf.Figure(vertices, faces)
    assert figure.is_solid
    thin = thickness(figure, 5)
    base = (thin.points[:, 2] < 1e-6) & (np.abs(thin.points[:, 0] - 200) < 100) & (np.abs(thin.points[:, 1] - 150) < 80)
    assert base.sum() > 50
    assert thin.diameter_mm[base] == pytest.approx(2 * thin.points[base, 0] * math.tan(angle / 2), rel=0.03)


def test_scan_noise_makes_no_stone_thin():
    smooth = torus(150, 40)
    noise = np.random.default_rng(3).normal(scale=0.4, size=smooth.vertices.shape)
    thin = thickness(bf.Figure(smooth.vertices + noise, smooth.faces), 6)
    assert np.median(thin.diameter_mm) == pytest.approx(80, rel=0.03)
    assert thin.diameter_mm[thin.least()] > 80 * 0.8


def test_halving_the_sampling_of_a_ring_moves_its_thickness_little():
    fine, coarse = (thickness(torus(150, 30), spacing) for spacing in (4, 8))
    assert fine.diameter_mm[fine.least()] == pytest.approx(coarse.diameter_mm[coarse.least()], rel=0.03)


@pytest.mark.slow
def test_halving_the_sampling_moves_the_least_thickness_little(kneeling):
    fit = around(kneeling)
    coarse, fine = bf.thin_stone(fit, spacing=4), bf.thin_stone(fit, spacing=2)
    assert fine.least_mm == pytest.approx(coarse.least_mm, rel=0.03)


@needs_meshes
def test_halving_the_sampling_on_a_scan():
    figure = bf.read_figure(SHARED / "putto_scan.ply", unit="mm", ratio=5)
    fine, coarse = (thickness(figure, spacing) for spacing in (4, 8))
    assert fine.diameter_mm[fine.least()] == pytest.approx(coarse.diameter_mm[coarse.least()], rel=0.03)

"""Blocks that hold a figure exactly, lie far away, or have faces that are only nearly parallel."""

import numpy as np
import pytest
from conftest import corners

import blockfit as bf
from blockfit.geometry.turns import about, from_quaternions


@pytest.mark.parametrize("away", [0.0, 1e5])
def test_nearly_opposite_faces_are_not_opposite(away):
    lean = -1.3e-6
    normals = np.array(
        [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, np.sin(lean), np.cos(lean)], [0, 0, -1]], float
    )
    offsets = np.array([1000, 0, 1000, 0, 500, 0.0]) + normals @ [0, away, 0]
    block = bf.Block.from_planes(normals, offsets)
    fit = bf.largest(bf.Figure.from_points(corners(100, 100, 250)), block, stance=bf.Stance.fixed())
    # At the far end the block is 500 + 1000 sin(1.3e-6) high: a figure pushed there is that much larger.
    assert fit.scale_bound >= 2.000004
    assert fit.scale == pytest.approx((500 + 1.3e-6 * 1000) / (250 + 1.3e-6 * 100), rel=1e-9)


@pytest.mark.parametrize("angle", [1.5, 10, 12.3, 21.4])
def test_uncounted_faces_that_are_tight(angle):
    turned = bf.Figure.from_points(corners(300, 200, 250) @ about(2, angle).T)
    fit = bf.safest(turned, bf.Block.box(302, 202, 252), stance=bf.Stance.upright(), cover={"top": 1})
    assert fit.verdict is bf.Verdict.FITS
    none = bf.safest(turned, bf.Block.box(299, 199, 252), stance=bf.Stance.upright(), cover={"top": 1})
    assert none.verdict is bf.Verdict.CANNOT_FIT
    assert none.short_mm == pytest.approx(0.5, abs=1e-6)
    assert none.cover_mm < 0


def test_setback_where_other_faces_are_tight():
    random = np.random.default_rng(5)
    random.normal(size=(40, 3))
    flat = np.c_[random.normal(size=(20, 2)) * [100, 150], np.zeros(20)]
    fit = bf.safest(
        bf.Figure.from_points(flat), bf.Block.box(300, 250, 500), stance=bf.Stance(20, 135), scale=0.6, seek="setback"
    )
    assert fit.verdict is bf.Verdict.FITS
    assert fit.setback_mm <= fit.setback_bound_mm


@pytest.mark.parametrize("angle", [17, 33.3, 90])
def test_an_exact_fit_fits_whatever_is_sought(angle):
    turned = bf.Figure.from_points(corners(317, 211, 253) @ about(2, angle).T)
    for seek in ("cover", "setback"):
        fit = bf.safest(turned, bf.Block.box(317, 211, 253), seek=seek, max_cells=50_000)
        assert fit.verdict is bf.Verdict.FITS
        assert fit.short_mm == 0


@pytest.mark.thorough
def test_prisms_whose_sides_are_only_nearly_parallel():
    prism = np.array([[0, 0, 0], [300, 10, 0], [120, 250, 0]], float)
    prism = np.vstack([prism, prism + np.array([0, 0, 1000])])
    turn = from_quaternions(np.random.default_rng(0).normal(size=4))
    fits = []
    for digits in (4, 5, 6, 7, 8, 12):
        block = bf.Block.convex(np.round(prism @ turn.T, digits))
        fits.append(bf.largest(bf.Figure.from_points(corners(50, 60, 70)), block, stance=bf.Stance.upright(30)))
    # The same prism but for rounding, so the same answer; each placement has been checked with its vertices.
    assert [fit.scale for fit in fits] == pytest.approx([fits[0].scale] * len(fits), rel=1e-5)
    assert all(fit.scale <= fit.scale_bound <= fit.scale * (1 + 2e-3) for fit in fits)


@pytest.mark.parametrize("away", [1e6, 1e7])
def test_blocks_far_from_the_origin(away):
    wedge = np.array([[0, 0, 0], [1000, 0, 0], [0, 600, 0], [1000, 600, 0], [0, 0, 800], [1000, 0, 800]], float)
    near = bf.largest(bf.Figure.from_points(corners(50, 60, 70)), bf.Block.convex(wedge), stance=bf.Stance.upright(30))
    far = bf.largest(
        bf.Figure.from_points(corners(50, 60, 70)), bf.Block.convex(wedge + away), stance=bf.Stance.upright(30)
    )
    assert far.scale == pytest.approx(near.scale, rel=1e-6)

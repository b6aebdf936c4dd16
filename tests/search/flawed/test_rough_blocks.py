"""Rough blocks: an L in an L, exact covers, blocks from files."""

import math

import numpy as np
import pytest
import trimesh
from conftest import FIXED, SLOPING, ball, cuboid, solid_of, united

import blockfit as bf


def l_block():
    return united(cuboid(600, 300, 200), cuboid(200, 300, 600))


@pytest.mark.thorough
def test_an_l_in_an_l_where_only_its_hull_would_say_no():
    """An L-shaped figure goes as it is into an L-shaped block that is a little larger; its hull would not."""
    figure = united(cuboid(500, 200, 120), cuboid(120, 200, 500))
    block = bf.Block.scanned(l_block(), stone="marble")
    fit = bf.largest(figure, block, stance=FIXED)
    # Each arm: 120 s <= 200 and 500 s <= 600: s = 1.2, and 200 s <= 300.
    assert fit.scale == pytest.approx(1.2, rel=2e-3)
    assert fit.proof == "best found"
    assert (solid_of(fit.solid()) - solid_of(l_block())).volume() < 1
    box = bf.Figure(cuboid(500, 200, 500).vertices, cuboid(500, 200, 500).faces)
    assert bf.largest(box, block, stance=FIXED).scale < 0.6


@pytest.mark.thorough
def test_a_rough_blocks_cover_is_exact():
    figure = ball(60, 4)
    block = bf.Block.scanned(l_block(), stone="marble")
    fit = bf.safest(figure, block, stance=FIXED)
    assert fit.cover_mm == pytest.approx(bf.stone_cover(fit).least_mm, abs=1e-6)
    # The thickest place is where the arms meet: a ball of radius R there touches two outer sides at R and the inner
    # edge at (200, 200): R = (200 - R)√2 + ..., R√2 + R = 200√2; the depth of 300 allows 150. Less the ball's own 60.
    assert fit.cover_mm == pytest.approx(200 * math.sqrt(2) / (1 + math.sqrt(2)) - 60, rel=0.02)
    assert block.volume_m3 == pytest.approx((0.6 * 0.2 + 0.2 * 0.4) * 0.3)
    with pytest.raises(bf.BlockfitError):
        bf.safest(bf.Figure.from_points(figure.vertices), block)


@pytest.mark.thorough
def test_a_rough_block_from_a_file(tmp_path):
    body = l_block()
    trimesh.Trimesh(body.vertices, body.faces).export(tmp_path / "rough.stl")
    block = bf.Block.scanned(tmp_path / "rough.stl", unit="mm", stone="limestone", skin=10)
    assert block.surface.is_solid
    assert block.mass_kg == pytest.approx(0.06 * 2700, rel=1e-6)
    fit = bf.largest(cuboid(100, 100, 100), block, stance=FIXED)
    assert bf.stone_cover(fit).least_mm >= -1e-6
    told = str(bf.survey(fit, alternatives=False))
    assert "the best found" in told
    assert "NOT ANSWERED" not in told
    assert "Least squaring" in told


@pytest.mark.slow
def test_a_rough_block_among_leaning_stances():
    rough = bf.Block.scanned(ball(200, 3))
    fit = bf.largest(cuboid(100, 100, 100), rough, stance=bf.Stance.leaning(20, 20))
    # A cube in a ball of radius 200: edge 400/√3, turned any way; the ball's facets take away a little.
    assert 0.93 * 4 / 3**0.5 < fit.scale <= 4 / 3**0.5
    assert np.linalg.norm(rough.centroid_mm) < 1e-6
    assert np.allclose(SLOPING.centroid_mm, [300, 400 / 3, 500 / 3])  # a third of the triangle's sides

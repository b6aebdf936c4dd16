"""Another figure in the stone as it stands: verified by exact solids, with the bound of the stone's hull."""

import manifold3d as m3
import numpy as np
import pytest
from conftest import ball, cuboid

import blockfit as bf

FIXED = bf.Stance.fixed()
BLOCK = bf.Block.box(400, 400, 600, stone="marble")
FIT = bf.safest(cuboid(100, 100, 300), BLOCK, cover={"bottom": 0, "other": 10}, stance=FIXED)


def manifold_of(figure):
    return m3.Manifold(m3.Mesh64(np.array(figure.vertices, order="C"), np.array(figure.faces, np.uint64, order="C")))


def lies_in(fit, stage):
    """No more of the placed figure outside the stone than rounding makes."""
    left = (manifold_of(fit.solid()) - manifold_of(stage.stone)).volume()
    return left <= 1e-6 * fit.solid().volume_m3 * 1e9


@pytest.mark.thorough
def test_a_ball_in_the_larger_part_of_a_stone_by_formula():
    """An L: 400 wide and 200 high below, 200 wide above it on the left. The largest circle in it touches the left side,
    the bottom and the inner corner: sqrt 2 (200 - r) = r, so r = (2 - sqrt 2) 200; the L is 400 deep."""
    stage = bf.stage_of(FIT, gone=[("the upper right", cuboid(300, 500, 500, at=(200, -50, 200)))])
    fit = bf.largest(ball(1.0, 3), stage, stance=FIXED)
    radius = 200 * (2 - np.sqrt(2))
    assert radius * 0.995 <= fit.scale <= radius * 1.01  # the best found; the polyhedron lies within its ball
    assert lies_in(fit, stage)
    assert fit.scale <= fit.scale_bound
    assert fit.proof == "best found"
    assert fit.block.name == "the stone as it stands"


@pytest.mark.thorough
def test_the_bound_is_that_of_the_hull():
    """A block whose corner was sawn off: its hull is the stone, and the largest upright ball is known by its planes."""
    corner = m3.Manifold.cube((2000, 2000, 2000), True).trim_by_plane(
        (np.ones(3) / np.sqrt(3)).tolist(), float(np.ones(3) @ [400, 400, 600] / np.sqrt(3)) - 250
    )
    mesh = corner.to_mesh64()
    cut = bf.Figure(np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, np.int64))
    stage = bf.stage_of(FIT, gone=[("a corner", cut)])
    # The corner (s, s, k s) of a box of 1 : 1 : k from the lower left front one meets x + y + z = 1400 - 250 sqrt 3.
    for tall in (1.0, 1.5):
        fit = bf.largest(cuboid(1, 1, tall), stage, stance=FIXED)
        most = (1400 - 250 * np.sqrt(3)) / (2 + tall)
        assert fit.scale_bound == pytest.approx(most, rel=1e-6)
        assert fit.scale == pytest.approx(most, rel=1e-4)
        assert lies_in(fit, stage)


def test_safest_in_a_stage_keeps_its_cover_from_every_surface():
    stage = bf.stage_of(FIT, gone=[("a slot", cuboid(40, 500, 700, at=(-1, -50, -50)))])
    fit = bf.safest(cuboid(100, 100, 100), stage, scale=1, stance=FIXED)
    assert fit.cover_mm == pytest.approx((400 - 39 - 100) / 2, abs=0.1)
    assert lies_in(fit, stage)


@pytest.mark.thorough
def test_a_changed_design_is_turned_as_far_as_it_must_be_and_may_grow():
    """What points to the left can only go to the right, where the stone is: half a turn."""
    arm = m3.Manifold.cube((100, 80, 300)) + m3.Manifold.cube((130, 80, 80)).translate((-120, 0, 200))
    mesh = arm.to_mesh64()
    design = bf.Figure(np.array(mesh.vert_properties[:, :3]) - [50, 40, 0], np.array(mesh.tri_verts, np.int64))
    start = bf.safest(cuboid(100, 80, 300, at=(-50, -40, 0)), BLOCK, stance=FIXED, cover={"bottom": 0, "other": 5})
    stage = bf.stage_of(start, gone=[("the left", cuboid(140, 500, 700, at=(-1, -50, -50)))])
    for turn, found in ((10, False), (180, True)):
        told = bf.recover(start, stone=stage, design=design, turn=turn, lean=0, aside=60, least_scale=0.99)
        assert (told.turned.found and told.turned.scale >= 0.99) == found, turn
    assert abs(told.turned.turn_deg) > 45
    placed = design.placed(told.turned.placement)
    assert (manifold_of(placed) - manifold_of(stage.stone)).volume() <= 1e-3
    larger = bf.recover(start, stone=stage, design=design, turn=180, lean=0, aside=200, most_scale=1.5)
    assert larger.smaller.scale > 1.05
    assert larger.smaller.scale <= larger.scale_bound
    assert (manifold_of(design.placed(larger.smaller.placement)) - manifold_of(stage.stone)).volume() <= 1e-3
    assert "hull of the stone" in str(larger)


def test_limits_that_are_none():
    with pytest.raises(bf.BadValueError, match="0 to 180"):
        bf.recover(FIT, turn=200)
    with pytest.raises(bf.BadValueError, match="most_scale"):
        bf.recover(FIT, most_scale=0.5)

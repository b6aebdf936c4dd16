"""Courses of pieces searched together, on samples: what is counted, and what is found where the best is known."""

import numpy as np
import pytest
from conftest import FIXED, around, cuboid, united

import blockfit as bf
from blockfit.waste.cuts.methods import any_method
from blockfit.waste.offcuts.ground import Asked, Ground
from blockfit.waste.offcuts.parts import SetWedge
from blockfit.waste.offcuts.planner import _as_searched
from blockfit.waste.offcuts.remaining import Obstacle, Remaining
from blockfit.waste.offcuts.setting import _takes_other
from blockfit.waste.offcuts.together import _changed, searched_together
from blockfit.waste.offcuts.wedges import SampledWedge
from blockfit.waste.offcuts.wishes import Limits


def limits(kerf_mm=0.0, **more):
    usual = {"least_thickness_mm": 80, "least_volume_m3": 0.005, "most_volume_m3": np.inf}
    return Limits(clearance_mm=10, methods=any_method(kerf_mm), **(usual | more))


def remaining(figure, block, **more):
    left = Remaining(block, limits(**more))
    left.obstacle = Obstacle.of(figure, 0, left.spacing)
    return left


@pytest.fixture(scope="module")
def cross_in_a_box():
    """A cross of two bars, seen from above: four boxes of 290 x 290 x 600 at the corners are all its waste."""
    figure = united(cuboid(1000, 400, 600, at=(0, 300, 0)), cuboid(400, 1000, 600, at=(300, 0, 0)))
    return remaining(figure, bf.Block.box(1000, 1000, 600, stone="marble"))


def test_four_corners_of_a_cross_are_found(cross_in_a_box):
    ground = Ground.of(cross_in_a_box, 2, finely=False)
    found = searched_together(ground, [], 4, 0)
    assert len(found) == 4
    for searched in found:
        normals, offsets = searched.planes
        assert np.abs(normals).max(axis=1) == pytest.approx(1)  # square to the axes
        assert sorted(np.abs(normals).argmax(axis=1)) == [0, 1]
        for normal, offset in zip(normals, offsets, strict=True):
            assert offset * normal.sum() in (pytest.approx(290, abs=1), pytest.approx(710, abs=1))
        assert searched.stone_m3 == pytest.approx(0.29 * 0.29 * 0.6, rel=0.1)


def test_the_plan_of_a_cross_is_its_four_corners():
    figure = united(cuboid(1000, 400, 600, at=(0, 300, 0)), cuboid(400, 1000, 600, at=(300, 0, 0)))
    fit = bf.safest(figure, bf.Block.box(1000, 1000, 600, stone="marble"), stance=FIXED)
    plan = bf.offcuts(fit, clearance=10, kerf=0)
    assert [piece.volume_m3 for piece in plan.pieces] == pytest.approx([0.29 * 0.29 * 0.6] * 4, rel=1e-6)


def test_only_pieces_that_a_change_touches_are_looked_at_again(cross_in_a_box):
    """At the corners of a cross no piece touches another: three of four stay the very same, and what they count."""
    ground = Ground.of(cross_in_a_box, 2, finely=False)
    found = [searched.planes for searched in searched_together(ground, [], 4, 0)]
    course = ground.course([Asked(*planes) for planes in found])
    smaller = Asked(found[1][0], found[1][1] + 40.0, course.wedges[1].inside)
    changed = ground.course([course.wedges[0], smaller, *course.wedges[2:]])
    assert [a is b for a, b in zip(course.wedges, changed.wedges, strict=True)] == [True, False, True, True]


@pytest.mark.parametrize("kerf_mm", [0.0, 12.0])
@pytest.mark.parametrize("finely", [False, True])
def test_a_course_counts_what_it_takes(kneeling, kerf_mm, finely):
    """However often it was changed: what is left is what no piece takes, and no piece counts what another took."""
    fit = around(kneeling, 60)
    ground = Ground.of(remaining(fit.solid(), fit.block, kerf_mm=kerf_mm), 3, finely=finely)
    random = np.random.default_rng(0)
    middle = ground.stone.mean(axis=1)
    signs = [np.diag([x, y, z]).astype(float) for z in (1, -1) for y in (1, -1) for x in (1, -1)]
    course = ground.course([Asked(normals, normals @ middle) for normals in signs])
    for _ in range(40 if finely else 150):
        wedges = _changed(ground, course, random.random(), random)
        course = course if wedges is None else ground.course(wedges)
        taken = np.zeros(ground.stone.shape[1], bool)
        for wedge in (wedge for wedge in course.wedges if wedge.holds):
            beyond = (wedge.normals @ ground.stone >= wedge.offsets[:, None] - 1e-3).all(axis=0)
            assert 0 < wedge.stone <= (beyond & ~taken).sum()
            assert (wedge.inside & beyond == beyond).all() or kerf_mm == 0
            taken |= wedge.inside
        assert (course.left == ~taken).all()


def test_stone_is_counted_once(kneeling):
    """No two pieces of a course hold the same sample, and all of them no more than there is."""
    fit = around(kneeling, 60)
    ground = Ground.of(remaining(fit.solid(), fit.block, kerf_mm=8), 3, finely=False)
    found = searched_together(ground, [], 6, 3)
    course = ground.course([Asked(*searched.planes) for searched in found])
    taken = np.zeros(ground.stone.shape[1], int)
    for wedge in course.wedges:
        beyond = (wedge.normals @ ground.stone >= wedge.offsets[:, None]).all(axis=0)
        assert wedge.stone <= (beyond & (taken == 0)).sum()
        taken += wedge.inside
    assert sum(wedge.stone for wedge in course.wedges) <= (taken > 0).sum()
    assert sum(searched.stone_m3 for searched in found) < fit.block.volume_m3 - kneeling.volume_m3


@pytest.mark.parametrize(("up_mm", "stone_m3", "planes_kept"), [(300.0, 0.5 * 0.3, 2), (100.0, 0.5 * 0.7 * 0.35, 3)])
def test_a_wedge_ends_at_the_plane_of_a_hollow_that_leaves_it_most(up_mm, stone_m3, planes_kept):
    """Behind a slab, below 350: past a hollow at the right, all below it or all beside it, whichever is more."""
    figure = united(cuboid(1000, 490, 1000), cuboid(690, 510, 640, at=(0, 490, 360)))
    left = remaining(figure, bf.Block.box(1000, 1000, 1000, stone="marble"))
    (saw,) = left.limits.methods
    at_the_right = SampledWedge(np.array([[1.0, 0, 0], [0, 0, 1]]), np.array([700.0, up_mm]), 0.3 * (1 - up_mm / 1000))
    left.take(SetWedge(at_the_right, (saw, saw)), None)
    ground = Ground.of(left, 3, finely=True)
    planes = np.array([[0.0, 1, 0], [0, 0, -1]]), np.array([500.0, -350.0])
    (wedge,) = ground.course([Asked(*planes)]).wedges
    assert wedge.stone * ground.sample_m3 == pytest.approx(stone_m3, rel=0.02)
    exact = _as_searched(left, planes, 3)
    assert exact is not None
    assert exact.wedge.stone == pytest.approx(stone_m3, rel=1e-6)
    assert len(exact.wedge.normals) == planes_kept  # below the hollow the level cut meets nothing


@pytest.mark.parametrize(("second_mm", "takes"), [(159.5, True), (152.0, True), (170.0, False)])
def test_a_kerf_past_its_piece_is_seen(second_mm, takes):
    """Above a rebate at 166 mm in and 12 mm of saw, a cut in the same direction: to 154 it takes from what is left."""
    left = remaining(cuboid(20, 20, 20), bf.Block.box(300, 300, 300, stone="marble"), kerf_mm=12)
    (saw,) = left.limits.methods
    below = SampledWedge(np.array([[0.0, 1, 0], [0, 0, -1]]), np.array([166.5, -223.0]), 0.3 * 0.1335 * 0.077)
    below = SampledWedge(below.normals, below.offsets, left.rock.volume_m3(left.corners(below.normals, below.offsets)))
    left.take(SetWedge(below, (saw, saw)), None)
    # Beyond two cuts of its own, and ending above the hollow, a kerf's width over its upper cut.
    normals = np.array([[-1.0, 0, 0], [0, 1, 0], [0, 0, 1]])
    offsets = np.array([-40.0, second_mm, -(-223.0 - 12)])
    corners = left.corners(normals, offsets)
    wedge = SampledWedge(normals, offsets, left.rock.volume_m3(corners), 1)
    assert _takes_other(left, wedge, [saw] * 3, [0, 1]) == takes


@pytest.mark.in_full
@pytest.mark.thorough
def test_reruns_agree_and_seeds_differ(cross_in_a_box):
    ground = Ground.of(cross_in_a_box, 2, finely=False)
    first, again, other = (searched_together(ground, [], 3, seed) for seed in (5, 5, 6))
    assert all((a.planes[0] == b.planes[0]).all() for a, b in zip(first, again, strict=True))
    assert any(a.stone_m3 != b.stone_m3 for a, b in zip(first, other, strict=True))


def test_what_makes_the_rest_fall_is_seen():
    """With all gone on one side of a low foot the rest leans over its edge; with as much gone on both it stands."""
    left = remaining(cuboid(100, 100, 100, at=(450, 450, 800)), bf.Block.box(1000, 1000, 1000, stone="marble"))
    ground = Ground.of(left, 2, finely=False)
    low = np.array([[0.0, 0, -1], [-1, 0, 0]])  # below 300, left of 700: what is left hangs over a foot at the right
    high = np.array([[0.0, 0, 1]])
    falls = ground.course([Asked(low, np.array([-300.0, -700.0]))])
    stands = ground.course([Asked(high, np.array([905.0]))])
    assert falls.wedges[0].holds
    assert stands.wedges[0].holds
    assert ground.stays_steady(stands)
    assert not ground.stays_steady(falls)

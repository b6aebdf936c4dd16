"""What was once wrong, or nearly: cases found by attacking the search."""

import subprocess
import sys
import time

import numpy as np
import pytest
from scipy.spatial import ConvexHull

import blockfit as bf
from blockfit.geometry.programs import least
from blockfit.geometry.turns import about, from_quaternions
from blockfit.search.proof import bounds
from blockfit.search.proof.polish import polish
from blockfit.search.proof.questions import question_about

points = bf.Figure.from_points


def box(width, depth, height):
    return np.array([[x, y, z] for x in (0, width) for y in (0, depth) for z in (0, height)], float)


@pytest.mark.parametrize("away", [0.0, 1e5])
def test_nearly_opposite_faces_are_not_opposite(away):
    lean = -1.3e-6
    normals = np.array(
        [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, np.sin(lean), np.cos(lean)], [0, 0, -1]], float
    )
    offsets = np.array([1000, 0, 1000, 0, 500, 0.0]) + normals @ [0, away, 0]
    block = bf.Block.from_planes(normals, offsets)
    fit = bf.largest(points(box(100, 100, 250)), block, stance=bf.Stance.fixed())
    # At the far end the block is 500 + 1000 sin(1.3e-6) high: a figure pushed there is that much larger.
    assert fit.scale_bound >= 2.000004
    assert fit.scale == pytest.approx((500 + 1.3e-6 * 1000) / (250 + 1.3e-6 * 100), rel=1e-9)


def test_different_covers_bound_the_least_cover():
    fit = bf.safest(
        points(box(20, 20, 20)), bf.Block.box(100, 100, 100), cover={"top": 50, "bottom": 10}, stance=bf.Stance.fixed()
    )
    # Top 50, bottom 30: the least of the faces that count is 30, though each is asked for something else.
    assert fit.cover_mm == pytest.approx(30)
    assert fit.cover_bound_mm == pytest.approx(30)


def test_the_width_bound_keeps_its_digits():
    random = np.random.default_rng(1)
    angle, radius = 10.0 ** random.uniform(-9, -6, 2000), random.uniform(0.01, 0.5, 2000)
    least = bounds.least_width(np.cos(angle), np.sin(angle), radius)
    exact = np.cos(np.longdouble(angle) + np.longdouble(radius))
    assert (least <= exact * (1 + 1e-15)).all()
    assert np.abs(least / exact - 1).max() < 1e-14


@pytest.mark.parametrize("angle", [1.5, 10, 12.3, 21.4])
def test_uncounted_faces_that_are_tight(angle):
    turned = points(box(300, 200, 250) @ about(2, angle).T)
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
    fit = bf.safest(points(flat), bf.Block.box(300, 250, 500), stance=bf.Stance(20, 135), scale=0.6, seek="setback")
    assert fit.verdict is bf.Verdict.FITS
    assert fit.setback_mm <= fit.setback_bound_mm


@pytest.mark.parametrize("angle", [17, 33.3, 90])
def test_an_exact_fit_fits_whatever_is_sought(angle):
    turned = points(box(317, 211, 253) @ about(2, angle).T)
    for seek in ("cover", "setback"):
        fit = bf.safest(turned, bf.Block.box(317, 211, 253), seek=seek, max_cells=50_000)
        assert fit.verdict is bf.Verdict.FITS
        assert fit.short_mm == 0


def test_prisms_whose_sides_are_only_nearly_parallel():
    prism = np.array([[0, 0, 0], [300, 10, 0], [120, 250, 0]], float)
    prism = np.vstack([prism, prism + np.array([0, 0, 1000])])
    turn = from_quaternions(np.random.default_rng(0).normal(size=4))
    fits = []
    for digits in (4, 5, 6, 7, 8, 12):
        block = bf.Block.convex(np.round(prism @ turn.T, digits))
        fits.append(bf.largest(points(box(50, 60, 70)), block, stance=bf.Stance.upright(30)))
    # The same prism but for rounding, so the same answer; each placement has been checked with its vertices.
    assert [fit.scale for fit in fits] == pytest.approx([fits[0].scale] * len(fits), rel=1e-5)
    assert all(fit.scale <= fit.scale_bound <= fit.scale * (1 + 2e-3) for fit in fits)


@pytest.mark.parametrize("away", [1e6, 1e7])
def test_blocks_far_from_the_origin(away):
    wedge = np.array([[0, 0, 0], [1000, 0, 0], [0, 600, 0], [1000, 600, 0], [0, 0, 800], [1000, 0, 800]], float)
    near = bf.largest(points(box(50, 60, 70)), bf.Block.convex(wedge), stance=bf.Stance.upright(30))
    far = bf.largest(points(box(50, 60, 70)), bf.Block.convex(wedge + away), stance=bf.Stance.upright(30))
    assert far.scale == pytest.approx(near.scale, rel=1e-6)


def test_a_vertex_without_a_face_is_part_of_the_figure():
    loose = bf.Figure(np.vstack([box(100, 100, 100), [[1000, 0, 0]]]), [[0, 1, 2], [3, 4, 5], [5, 6, 7]])
    assert bf.largest(loose, bf.Block.box(300, 300, 300), stance=bf.Stance.fixed()).scale == pytest.approx(0.3)


def test_a_single_point_has_no_largest_scale():
    with pytest.raises(bf.BadValueError, match="single point"):
        bf.largest(points([[5, 5, 5]]), bf.Block.box(300, 200, 250))


def test_a_cover_that_fills_the_block_exactly():
    fit = bf.largest(points(box(9, 9, 9)), bf.Block.box(100, 100, 100), cover=50)
    assert fit.verdict is bf.Verdict.CANNOT_FIT
    assert str(fit.short_mm) == "0.0"


def test_a_round_column_and_a_round_ball_do_not_spend_the_budget():
    around = np.linspace(0, 2 * np.pi, 3600, endpoint=False)
    column = np.array([[100 * np.cos(a), 100 * np.sin(a), z] for a in around for z in (0, 300)])
    fit = bf.largest(points(column), bf.Block.box(250, 250, 400), stance=bf.Stance.upright())
    assert fit.cells < 100_000
    assert fit.gap <= 1e-3
    from blockfit.geometry.turns import spread_directions

    ball = bf.largest(points(spread_directions(10_000) * 100), bf.Block.box(250, 250, 250), gap=3e-3)
    assert ball.cells < 20_000
    assert ball.gap <= 3e-3


def test_blocks_of_many_faces_stay_within_memory():
    random = np.random.default_rng(3)
    sphere = random.normal(size=(14, 3))
    block = bf.Block.convex(sphere / np.linalg.norm(sphere, axis=1)[:, None] * 400)
    assert len(block.names) == len(ConvexHull(sphere / np.linalg.norm(sphere, axis=1)[:, None]).simplices)
    start = time.process_time()
    fit = bf.largest(points(box(100, 100, 100)), block, max_cells=20_000)
    assert fit.scale <= fit.scale_bound
    assert time.process_time() - start < 60  # a guard against blow-up, not a measure of speed


@pytest.mark.parametrize("away", [1e-2, 1e-3, 1e-4])
@pytest.mark.parametrize("gap", [1e-1, 1e-2, 1e-3])
def test_a_figure_that_nearly_stands_right_is_climbed_to_where_it_does(away, gap):
    # Once the figure as read was good enough for the gap, it was left as it was.
    corners = box(100, 150, 300) @ from_quaternions(np.array([1, away, away, away])).T
    fit = bf.largest(points(corners), bf.Block.box(300, 450, 900), gap=gap)
    assert fit.scale == pytest.approx(3, rel=1e-12)


@pytest.mark.parametrize("trust", [0.3, 0.05])
def test_a_climb_leaves_the_saddle_it_starts_on(trust):
    # A rod on end: to first order no turn gains, yet every turn does. The diagonal is the end of the climb.
    rod = np.array([[0, 0, -100.0], [0, 0, 100]])
    question = question_about(bf.Block.box(300, 300, 400), np.zeros(6), np.zeros(6))
    climbed = polish(question, rod, np.eye(3), trust, bf.Stance.free())
    assert climbed.value == pytest.approx(np.linalg.norm([300, 300, 400]) / 200, rel=1e-2)


def test_a_users_cost_is_never_asked_of_nothing():
    cloud = np.random.default_rng(0).normal(size=(40, 3)) * [100, 150, 400]
    cost = np.vectorize(lambda width, depth, height: width * depth * height * (1 if height < 2000 else 2))
    size = bf.smallest_block(points(cloud), by=cost, stance=bf.Stance.upright(30))
    assert size.cost == pytest.approx(
        size.width_mm * size.depth_mm * size.height_mm * (1 if size.height_mm < 2000 else 2)
    )


def test_a_leaning_least_block_is_climbed_along_its_limits():
    random = np.random.default_rng(4)
    cloud = random.normal(size=(30, 3)) * random.uniform(50, 400, 3)
    close, far = (bf.smallest_block(points(cloud), stance=bf.Stance.leaning(20, 40), gap=gap) for gap in (1e-5, 1e-3))
    assert far.volume_m3 == pytest.approx(close.volume_m3, rel=1e-9)


def test_other_users_of_the_solver_do_not_disturb():
    code = """
import highspy
user = highspy.Highs()
user.setOptionValue("output_flag", False)
user.setOptionValue("threads", 2)
x = user.addVariable(0, 1)
user.maximize(x)
import blockfit as bf
corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 400)]
print(bf.largest(bf.Figure.from_points(corners), bf.Block.box(200, 200, 500), stance=bf.Stance.leaning(5, 5)).scale)
user.maximize(x)
print(user.getModelStatus().name)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split()[-2:] == ["1.25", "kOptimal"]


def test_a_program_without_an_end_has_no_answer_and_one_that_is_none_is_a_fault():
    up = np.array([[1.0, 0.0]])
    assert least(np.array([0.0, 1.0]), up, np.array([1.0])) is None  # endless
    assert least(np.array([1.0, 1.0]), np.vstack([up, -up]), np.array([1.0, -2.0])) is None  # nowhere
    with pytest.raises(AssertionError, match="refuses"):
        least(np.array([1.0, 1.0]), np.array([[np.nan, 0.0]]), np.array([1.0]))

"""How many cells a proof takes, and what is left when the budget is spent."""

import resource

import numpy as np
import pytest
from conftest import BOX, corners
from scipy.spatial import ConvexHull

import blockfit as bf


def test_a_small_budget_leaves_both_bounds(kneeling):
    fit = bf.largest(kneeling, BOX, gap=1e-9, max_cells=500)
    assert fit.scale < fit.scale_bound
    full = bf.largest(kneeling, BOX)
    size = (fit.scale_bound + fit.scale) / 2
    undecided = bf.safest(kneeling, BOX, scale=max(size, full.scale * 1.0005), gap=1e-9, max_cells=300)
    assert undecided.verdict is bf.Verdict.UNDECIDED


def test_reruns_agree_to_the_last_digit(kneeling):
    first, second = (bf.largest(kneeling, BOX, stance=bf.Stance.leaning(20)) for _ in range(2))
    assert first.scale == second.scale
    assert first.scale_bound == second.scale_bound
    assert first.placement.rotation.tolist() == second.placement.rotation.tolist()


def test_one_pair_of_faces_decides():
    # A tall thin block: its height alone limits, so the best rotations form a circle. Proved to 1e-6 all the same.
    random = np.random.default_rng(5)
    points = random.normal(size=(60, 3)) * [1, 1, 3] * 100
    fit = bf.largest(bf.Figure.from_points(points), bf.Block.box(4000, 900, 5000), gap=1e-6)
    assert fit.scale_bound / fit.scale - 1 <= 1e-6
    assert fit.cells < 100_000


@pytest.mark.thorough
def test_a_round_column_does_not_spend_the_budget():
    around = np.linspace(0, 2 * np.pi, 3600, endpoint=False)
    column = np.array([[100 * np.cos(a), 100 * np.sin(a), z] for a in around for z in (0, 300)])
    fit = bf.largest(bf.Figure.from_points(column), bf.Block.box(250, 250, 400), stance=bf.Stance.upright())
    assert fit.cells < 100_000
    assert fit.gap <= 1e-3


@pytest.mark.slow
def test_a_round_ball_does_not_spend_the_budget():
    from blockfit.geometry.turns import spread_directions

    ball = bf.largest(bf.Figure.from_points(spread_directions(10_000) * 100), bf.Block.box(250, 250, 250), gap=3e-3)
    assert ball.cells < 20_000
    assert ball.gap <= 3e-3


def test_blocks_of_many_faces_stay_within_budget_and_memory():
    random = np.random.default_rng(3)
    sphere = random.normal(size=(14, 3))
    block = bf.Block.convex(sphere / np.linalg.norm(sphere, axis=1)[:, None] * 400)
    assert len(block.names) == len(ConvexHull(sphere / np.linalg.norm(sphere, axis=1)[:, None]).simplices)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    fit = bf.largest(bf.Figure.from_points(corners(100, 100, 100)), block, max_cells=20_000)
    assert fit.scale <= fit.scale_bound
    assert fit.cells <= 1.5 * 20_000  # the last round may go a little over
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 500_000  # kB


def test_the_trace_runs_down_to_the_answer(kneeling):
    fit = bf.largest(kneeling, BOX)
    cells, best, bound = fit.trace.T
    assert (np.diff(cells) > 0).all()
    assert (np.diff(best) >= 0).all()
    assert bound[-1] == pytest.approx(fit.scale_bound)
    assert (bound >= best).all()

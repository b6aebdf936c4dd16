"""Climbing from a rotation: to the last digit, off saddles, along limits."""

import numpy as np
import pytest
from conftest import SHARED, corners, needs_meshes

import blockfit as bf
from blockfit.geometry.turns import from_quaternions
from blockfit.search.proof.polish import polish
from blockfit.search.proof.questions import question_about
from blockfit.search.proof.support import hull_of


@needs_meshes
def test_the_best_rotation_is_climbed_to_the_last_digit():
    """What climbs from nearby, with steps of any size, must not find more than the answer.

    In the second box a climb once stopped 3e-8 short: its programs were solved to a tolerance in mm, not in steps.
    """
    figure = bf.read_figure(SHARED / "kneeling_arm_raised.stl", unit="m")
    points = hull_of(figure).points
    for size in ((900, 700, 1600), (1548.17872244, 604.19888124, 1472.67333673), (600, 600, 1200)):
        block = bf.Block.box(*size)
        fit = bf.largest(figure, block)
        question = question_about(block, np.zeros(6), np.zeros(6))
        for trust in (1e-2, 1e-3, 1e-4, 1e-5, 1e-6):
            again = polish(question, points, fit.placement.rotation, trust, bf.Stance.free())
            assert again.value <= fit.scale * (1 + 1e-12)


@pytest.mark.parametrize("away", [1e-2, 1e-3, 1e-4])
@pytest.mark.parametrize("gap", [1e-1, 1e-2, 1e-3])
def test_a_figure_that_nearly_stands_right_is_climbed_to_where_it_does(away, gap):
    # Once the figure as read was good enough for the gap, it was left as it was.
    leaned = corners(100, 150, 300) @ from_quaternions(np.array([1, away, away, away])).T
    fit = bf.largest(bf.Figure.from_points(leaned), bf.Block.box(300, 450, 900), gap=gap)
    assert fit.scale == pytest.approx(3, rel=1e-12)


@pytest.mark.parametrize("trust", [0.3, 0.05])
def test_a_climb_leaves_the_saddle_it_starts_on(trust):
    # A rod on end: to first order no turn gains, yet every turn does. The diagonal is the end of the climb.
    rod = np.array([[0, 0, -100.0], [0, 0, 100]])
    question = question_about(bf.Block.box(300, 300, 400), np.zeros(6), np.zeros(6))
    climbed = polish(question, rod, np.eye(3), trust, bf.Stance.free())
    assert climbed.value == pytest.approx(np.linalg.norm([300, 300, 400]) / 200, rel=1e-2)

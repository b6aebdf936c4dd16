"""Small linear programs: without an end, without an answer, and beside other users of the solver."""

import subprocess
import sys

import numpy as np
import pytest

from blockfit.geometry.programs import least


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

"""The dependencies of a block's faces are the dual of scipy's linear program."""

import numpy as np
import pytest
from regular import SOLIDS
from scipy.optimize import linprog

import blockfit as bf
from blockfit.geometry.turns import from_quaternions
from blockfit.search.proof.dependencies import dependencies
from blockfit.search.proof.questions import Question


@pytest.mark.parametrize("name", ["tetrahedron", "cube", "octahedron", "dodecahedron"])
def test_dependencies_are_the_dual_of_the_linear_program(name):
    """The closed form equals scipy's linear program for the largest scale at a rotation."""
    block = bf.Block.convex(SOLIDS[name] * 1000)
    question = Question(block.normals, block.offsets_mm, np.zeros(len(block.normals)))
    random = np.random.default_rng(1)
    points = random.normal(size=(20, 3)) * [60, 90, 140]
    weights, complete = dependencies(block.normals)
    assert complete
    assert np.abs(weights @ block.normals).max() < 1e-12
    for rotation in from_quaternions(random.normal(size=(20, 4))):
        heights = (points @ rotation.T @ block.normals.T).max(axis=0)
        rows = np.column_stack([heights, block.normals])
        program = linprog([-1, 0, 0, 0], A_ub=rows, b_ub=block.offsets_mm, bounds=[(None, None)] * 4)
        assert question.value(points, rotation) == pytest.approx(-program.fun, rel=1e-7)

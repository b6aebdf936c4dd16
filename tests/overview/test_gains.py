"""What another stance would gain."""

import numpy as np
import pytest
from conftest import BRICK, BRICK_BLOCK, cuboid

import blockfit as bf


@pytest.mark.slow
def test_what_a_leaning_and_a_free_fit_could_still_gain():
    leaned = bf.survey(bf.largest(BRICK, BRICK_BLOCK, stance=bf.Stance.leaning(20, 180)))
    assert [name for name, _ in leaned.gains] == ["any rotation at all"]
    assert bf.survey(bf.largest(BRICK, BRICK_BLOCK)).gains == ()


@pytest.mark.thorough
def test_after_asking_for_setback_other_stances_are_compared_by_setback():
    """A post leaned to the left as modelled: any turn brings its slant to the side and gains depth behind it."""
    leaning = bf.Figure(
        cuboid(100, 100, 600).vertices @ np.array([[1, 0, 0], [0, 1, 0], [0, 0.4, 1]]), cuboid(1, 1, 1).faces
    )
    block = bf.Block.box(500, 500, 650)
    fit = bf.safest(leaning, block, scale=1, stance=bf.Stance.fixed(), seek="setback")
    told = bf.survey(fit)
    (turned,) = [other for name, other in told.gains if name == "any turn"]
    alone = bf.safest(leaning, block, scale=1, stance=bf.Stance.upright(180), seek="setback")
    assert turned.setback_mm == pytest.approx(alone.setback_mm) == pytest.approx(400, abs=1)
    assert f"any turn gains {turned.setback_mm - fit.setback_mm:.0f} mm of setback" in str(told)
    assert told.record()["other_stances"][0]["setback_mm"] == turned.setback_mm

"""The survey as a whole: from Python, at a scale asked, and of points alone."""

import math

import pytest
from conftest import BRICK, BRICK_BLOCK, KNEELING, cuboid

import blockfit as bf
from blockfit.search.result import Verdict


@pytest.mark.slow
def test_the_same_from_python():
    figure = bf.read_figure(KNEELING, unit="m")
    block = bf.Block.box(900, 700, 1600, stone="marble")
    fit = bf.largest(figure, block, cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(30))
    survey = bf.survey(fit, lift_limit_kg=300)
    assert "FITS" in str(survey)
    assert {name for name, _ in survey.gains} == {"any turn", "leaning up to 15°", "any rotation at all"}
    assert all(gain.scale >= fit.scale - 1e-12 for _, gain in survey.gains)
    assert max(piece.weight_range_kg[1] for piece in survey.offcuts.pieces) <= 300


def test_points_alone_get_what_a_hull_can_tell():
    figure = bf.Figure.from_points(cuboid(100, 100, 300).vertices, tolerance=2)
    fit = bf.largest(figure, bf.Block.box(300, 300, 600), stance=bf.Stance.upright())
    survey = bf.survey(fit)
    assert survey.weights is None
    told = " ".join(str(survey).split())
    assert "good for fitting only" in told
    # Two millimetres of tolerance at the scale found, to a tenth.
    assert f"{2 * fit.scale:.1f} mm is taken off for the figure's margin" in told
    assert survey.record()["undercuts"] is None


@pytest.mark.thorough
def test_a_survey_at_a_scale_asked_names_the_cover_and_one_that_fails_says_so():
    deep = bf.safest(BRICK, BRICK_BLOCK, scale=1, stance=bf.Stance.fixed())
    assert "FITS" in str(bf.survey(deep))
    large = bf.safest(BRICK, BRICK_BLOCK, scale=1.8, stance=bf.Stance.upright(10))
    assert large.verdict is Verdict.CANNOT_FIT
    told = str(bf.survey(large))
    assert "CANNOT FIT (proved): at best" in told
    undecided = bf.largest(cuboid(100, 40, 30), bf.Block.box(300, 110, 90), scales=(2.9, math.inf), max_cells=1)
    assert undecided.verdict is Verdict.UNDECIDED
    assert "UNDECIDED: the budget of cells is spent" in str(bf.survey(undecided, alternatives=False))


def test_a_survey_says_at_once_that_a_limit_is_not_known(monkeypatch):
    import blockfit.overview as module

    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(300, 300, 300), stance=bf.Stance.fixed())
    monkeypatch.setattr(module, "stone_cover", lambda *_: pytest.fail("work was begun"))
    with pytest.raises(bf.BadValueError, match="hoist_kg"):
        bf.survey(fit, limits={"hoist": 5})

"""Standing and moving, in the words of the survey."""

import pytest
from conftest import cuboid

import blockfit as bf
from blockfit.sheets.survey.moving import handling_section
from blockfit.sheets.words import Layout


def test_the_survey_says_it_in_words(usual_survey):
    told = " ".join(str(usual_survey).split())
    for words in ("STANDING AND MOVING", "DO NOT LIFT", "TOO MUCH by", "THIN STONE", "a rigid load hangs on two"):
        assert words in told
    assert told.count("checked by a qualified person") == 1


@pytest.mark.thorough
def test_supports_are_told_in_words():
    fit = bf.largest(cuboid(400, 400, 600), bf.Block.box(400, 500, 700, stone="marble"), stance=bf.Stance.fixed())
    held = bf.handling(fit, supports=[(150, 0), (150, 500), (250, 0), (250, 500)])
    lost = bf.handling(fit, supports=[(0, 0), (0, 500), (100, 0)])
    told = [" ".join(" ".join(handling_section(given, Layout())).split()) for given in (held, lost)]
    assert "on the supports given it tips" in told[0]
    assert "ON THE SUPPORTS GIVEN IT DOES NOT STAND" in told[1]

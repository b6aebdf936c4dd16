"""What a tool of some thickness and length reaches."""

import numpy as np
import pytest

import blockfit as bf
from blockfit.measure.pictures import closed_picture
from blockfit.measure.views import view_along
from blockfit.waste.reach.sight import elements_of, reached
from blockfit.waste.reach.tools import tool_reached


@pytest.mark.parametrize("into", [(0, 1, 0), (1, 0, 0), (0.5, 0.4, -0.3)])
def test_a_thicker_or_shorter_tool_never_reaches_more(kneeling, into):
    elements = elements_of(kneeling.vertices, kneeling.faces, 8)
    view = view_along(into)
    bare = reached(elements, view, 8)
    areas = [elements.areas[bare].sum()]
    for tool in (
        bf.Tool(1),
        bf.Tool(20),
        bf.Tool(50),
        bf.Tool(90),
        bf.Tool(90, 400, hand=120),
        bf.Tool(90, 150, hand=120),
    ):
        hit = tool_reached(elements, view, 8, tool, bare)
        assert not (hit & ~bare).any()
        areas.append(elements.areas[hit].sum())
    assert (np.diff(areas) <= 1e-6).all()
    slim = tool_reached(elements, view, 8, bf.Tool(90, tip=20, tip_length=60), bare)
    assert elements.areas[slim].sum() <= areas[2] + 1e-6  # never more than its tip alone, Tool(20)


def test_a_closed_picture_by_hand():
    """A slot three cells wide and 50 deep: a tool of one cell radius reaches its floor, of two does not."""
    picture = np.full((21, 21), 10.0)
    picture[:, 9:12] = 60.0
    free = np.full(picture.shape, np.inf)
    assert closed_picture(picture, free, 1.0)[10, 10] == 60
    assert closed_picture(picture, free, 2.0)[10, 10] == 10
    assert closed_picture(picture, np.full(picture.shape, 40.0), 1.0)[10, 10] == 40  # too short


@pytest.mark.thorough
def test_a_thick_tool_leaves_more_for_slender_ones(usual_fit):
    fit = usual_fit
    thin, thick = bf.undercuts(fit, pitch=12), bf.undercuts(fit, pitch=12, tool=bf.Tool(60, 200, hand=100))
    assert thick.later_mm2 > thin.later_mm2
    assert sum(region.slender_mm2 for region in thick.regions) > 0
    assert sum(region.slender_mm2 for region in thin.regions) == 0

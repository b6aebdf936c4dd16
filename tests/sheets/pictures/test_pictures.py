"""Pictures to pin up: what they show."""

from dataclasses import replace

import numpy as np
import pytest
from conftest import BRICK, BRICK_BLOCK, HERE, assert_refused, brick_fit, cuboid

import blockfit as bf
from blockfit.sheets.pictures import drawings as views
from blockfit.sheets.pictures.relief import relief_of


def test_relief_of_a_step():
    """A step 100 deep: its front parts lie at their depths, and the picture covers the figure's outline."""
    relief = relief_of(*(getattr(cuboid(200, 100, 400), name) for name in ("vertices", "faces")), "front")
    met = np.isfinite(relief.shade)
    cell = (relief.extent[1] - relief.extent[0]) / relief.shade.shape[1]
    assert met.sum() * cell**2 == pytest.approx(200 * 400, rel=0.02)
    assert relief.depth[met] == pytest.approx(np.zeros(met.sum()), abs=1e-6)


def test_every_picture_is_drawn(page_survey, kneeling, tmp_path):
    fit = page_survey.fit
    table = bf.compare(
        kneeling, bf.read_blocks(HERE / "data" / "yard.csv"), scale=0.5, stance=bf.Stance.upright(30), jobs=1
    )
    drawings = {
        "drawing": views.measured_drawing(fit, undercut=page_survey.undercuts, offcuts=page_survey.offcuts),
        "cover": views.cover_map(fit),
        "thickness": views.thickness_map(page_survey.thin),
        "undercut": views.undercut_map(page_survey.undercuts),
        "check": views.check_picture(
            fit, bf.check(fit, {"a": (450, 100, 900), "b": fit.solid().vertices.mean(axis=0)})
        ),
        "weight": views.weight_picture(page_survey.weights),
        "trade": views.trade_picture(page_survey.offcuts),
        "bounds": views.bounds_picture(bf.largest(fit.figure, fit.block)),
        "yard": views.yard_picture(table, kneeling),
    }
    words = {text.get_text() for ax in drawings["drawing"].axes for text in ax.texts}
    assert {str(number) for number in range(1, len(page_survey.offcuts.pieces) + 1)} <= words
    assert [ax.get_title() for ax in drawings["drawing"].axes] == ["front", "left", "right", "back", "top"]
    left = [bar.get_width() for bar in drawings["weight"].axes[0].patches]
    assert left[1:] == pytest.approx([stage.left_kg for stage in page_survey.weights.stages])
    for name, drawing in drawings.items():
        views.save_picture(drawing, tmp_path / f"{name}.png", dots_per_inch=40)
        assert (tmp_path / f"{name}.png").stat().st_size > 3000
    with pytest.raises(bf.BadValueError):
        views.save_picture(views.cover_map(fit), tmp_path / "cover.bmp")


REFUSED = {
    "a search that kept no trace": (lambda: views.bounds_picture(replace(brick_fit(), trace=None)), "no trace"),
    "a yard that holds nothing": (
        lambda: views.yard_picture(bf.compare(BRICK, [BRICK_BLOCK], cover=400, jobs=1), BRICK),
        "nothing to draw",
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])

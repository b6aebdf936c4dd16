"""Pictures to pin up: what they show."""

from dataclasses import replace

import numpy as np
import pytest
from conftest import BRICK, BRICK_BLOCK, HERE, UPRIGHT, assert_refused, brick_fit, cuboid, inked_share

import blockfit as bf
from blockfit.sheets.pictures import drawings as views
from blockfit.sheets.pictures.relief import relief_of


def test_relief_of_a_step():
    """A step 100 deep: its front parts lie at their depths, and the picture covers the figure's outline."""
    slab = cuboid(200, 100, 400)
    relief = relief_of(slab.vertices, slab.faces, "front")
    met = np.isfinite(relief.shade)
    cell = (relief.extent[1] - relief.extent[0]) / relief.shade.shape[1]
    assert met.sum() * cell**2 == pytest.approx(200 * 400, rel=0.02)
    assert relief.depth[met] == pytest.approx(np.zeros(met.sum()), abs=1e-6)


SIDES = ["front", "left", "right", "back", "top"]


@pytest.fixture
def drawn(tmp_path):
    """Save a drawing, and see that the file holds neither a blank nor a black picture."""

    def save(drawing):
        views.save_picture(drawing, tmp_path / "picture.png", dots_per_inch=40)
        assert 0.002 < inked_share(tmp_path / "picture.png") < 0.7

    return save


def shown(drawing, layer=0):
    """The values painted on the five views, the longest row of pictures first."""
    return [np.ma.filled(ax.images[layer].get_array().astype(float), np.nan) for ax in drawing.axes if ax.images]


def test_the_measured_drawing_numbers_its_pieces_and_marks_the_least_cover(page_survey, drawn):
    fit = page_survey.fit
    drawing = views.measured_drawing(fit, undercut=page_survey.undercuts, offcuts=page_survey.offcuts)
    words = {text.get_text() for ax in drawing.axes for text in ax.texts}
    assert {str(number) for number in range(1, len(page_survey.offcuts.pieces) + 1)} <= words
    assert {f"u{region.number}" for region in page_survey.undercuts.regions[:8]} <= words
    assert [ax.get_title() for ax in drawing.axes] == SIDES
    block = drawing.axes[0].patches[0]
    assert (block.get_width(), block.get_height()) == pytest.approx((900, 1300))
    (mark,) = [line for line in drawing.axes[0].lines if line.get_marker() == "o"]
    assert mark.get_xydata()[0] == pytest.approx(bf.stone_cover(fit).at[[0, 2]])
    drawn(drawing)


def test_maps_paint_the_values_that_are_told(page_survey, drawn):
    fit, thin, cut = page_survey.fit, page_survey.thin, page_survey.undercuts
    of_faces = bf.stone_cover(fit).per_vertex_mm[fit.figure.faces].mean(axis=1)
    for drawing, least, most in (
        (views.cover_map(fit), of_faces.min(), of_faces.max()),
        (views.thickness_map(thin), thin.per_element_mm.min(), np.quantile(thin.per_element_mm, 0.8)),
    ):
        painted = np.concatenate([values[np.isfinite(values)] for values in shown(drawing)])
        assert least <= painted.min() <= least + 0.1 * (most - least)
        assert painted.max() <= most + 1e-9
        assert np.ptp(painted) > 0.3 * (most - least)
        drawn(drawing)
    drawing = views.undercut_map(cut)
    assert f"{len(cut.regions)} regions" in drawing.get_suptitle()
    front, back = shown(drawing)[SIDES.index("front")], shown(drawing)[SIDES.index("back")]
    grey = [(values > 0).sum() / np.isfinite(values).sum() for values in (front, back)]
    assert grey[0] < 0.1 < 0.5 < grey[1]  # what the front does not reach is seen from behind
    drawn(drawing)


def test_readings_are_drawn_where_they_were_taken(page_survey, drawn):
    fit = page_survey.fit
    middle = fit.solid().vertices.mean(axis=0)
    drawing = views.check_picture(fit, bf.check(fit, {"a": (450, 100, 900), "b": middle}))
    assert "2 readings, 1 too deep" in drawing.get_suptitle()
    lines = {line.get_marker(): line.get_xydata()[0] for line in drawing.axes[0].lines}
    assert lines["o"] == pytest.approx((450, 900))
    assert lines["x"] == pytest.approx(middle[[0, 2]])
    drawn(drawing)


def test_charts_draw_the_numbers_of_the_survey(page_survey, drawn):
    drawing = views.weight_picture(page_survey.weights)
    left = [bar.get_width() for bar in drawing.axes[0].patches]
    assert left == pytest.approx([page_survey.weights.block_kg, *[s.left_kg for s in page_survey.weights.stages]])
    drawn(drawing)
    drawing = views.trade_picture(page_survey.offcuts)
    steps = page_survey.offcuts.trade_off
    recovered, sawn = (ax.lines[0].get_ydata() for ax in drawing.axes)
    assert recovered == pytest.approx([0, *[100 * step.recovered for step in steps]])
    assert sawn == pytest.approx([0, *[step.sawn_m2 for step in steps]])
    drawn(drawing)


def test_the_search_is_drawn_as_it_closed_in(drawn):
    fit = bf.largest(BRICK, BRICK_BLOCK)
    drawing = views.bounds_picture(fit)
    best, bound = (line.get_ydata() for line in drawing.axes[0].lines)
    assert best[-1] == pytest.approx(fit.scale, rel=1e-2)
    assert bound[-1] == pytest.approx(fit.scale_bound)
    drawn(drawing)


def test_the_yard_is_drawn_in_its_order(kneeling, drawn):
    table = bf.compare(kneeling, bf.read_blocks(HERE / "data" / "yard.csv"), scale=0.5, stance=UPRIGHT, jobs=1)
    drawing = views.yard_picture(table, kneeling)
    standing = [row for row in table.rows if row.scale > 0]
    assert [ax.get_title().split("\n")[0] for ax in drawing.axes] == [row.block.name for row in standing][:6]
    frames = [ax.patches[0] for ax in drawing.axes]
    assert [frame.get_height() for frame in frames] == pytest.approx([row.block.size_mm[2] for row in standing][:6])
    drawn(drawing)


def test_a_picture_of_an_unknown_kind_is_refused(tmp_path):
    with pytest.raises(bf.BadValueError, match=r"\.png, \.svg or \.pdf"):
        views.save_picture(None, tmp_path / "cover.bmp")


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


@pytest.mark.thorough
def test_a_map_of_the_stone_left_marks_what_is_too_deep(kneeling):
    fit = bf.safest(kneeling, bf.Block.box(1400, 1600, 2400), stance=bf.Stance.fixed(), cover={"bottom": 0, "other": 5})
    head = fit.solid().vertices[fit.solid().vertices[:, 2].argmax()]
    stage = bf.stage_of(fit, scan=fit.solid(), lost=bf.Flaw.ball(head, 60))
    left = bf.stone_left(fit, stage)
    drawing = bf.pictures.left_map(left)
    notes = [text.get_text() for ax in drawing.axes for text in ax.texts]
    assert notes
    assert set(notes) == {f"{-region.least_mm:.0f}" for region in left.too_deep}
    assert len(bf.pictures.picture_bytes(drawing)) > 10_000

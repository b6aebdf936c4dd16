"""What a survey doubts, and what it does not."""

import pytest
from conftest import BRICK_BLOCK, ball, cuboid, joined, slow_after

import blockfit as bf
from blockfit.sheets.survey.doubts import doubts_of


def survey_of(figure, block, **options):
    fit = bf.largest(figure, block, stance=bf.Stance.fixed(), **options)
    return " ".join(str(bf.survey(fit, alternatives=False, pitch=max(block.size_mm) / 60)).split())


@pytest.mark.parametrize("size", slow_after(1, [1.7, 1.7e6]))
def test_a_figure_of_a_wrong_unit_is_doubted(size):
    side = 10 if size < 10 else 9e5
    told = survey_of(cuboid(0.3 * size, 0.2 * size, size), bf.Block.box(side, side, side))
    assert "is the unit, or the ratio, right" in told
    assert told.index("Is it so?") < told.index("Do first") < told.index("THE FIT")  # in the lines that decide


@pytest.mark.thorough
def test_a_block_that_no_truck_carries():
    assert "more than a truck" in survey_of(cuboid(300, 200, 500), bf.Block.box(3000, 3000, 3000, stone="granite"))


def test_a_maquette_without_detail_for_its_scale():
    fit = bf.largest(ball(10, 2), bf.Block.box(900, 900, 900), stance=bf.Stance.fixed(), scales=(0, 40), gap=0.05)
    assert any("no detail finer" in told for told in doubts_of(fit))


def test_a_hollow_shell_is_doubted():
    outer, inner = ball(100, 3), ball(99.99, 3)
    shell = joined(outer, bf.Figure(inner.vertices, inner.faces[:, ::-1]))
    fit = bf.largest(shell, bf.Block.box(300, 300, 300), stance=bf.Stance.fixed())
    assert any("less than a thousandth" in told for told in doubts_of(fit))


def test_nothing_is_doubted_without_reason(kneeling):
    fit = bf.largest(kneeling, bf.Block.box(900, 700, 1600, stone="marble"), stance=bf.Stance.upright(30))
    assert doubts_of(fit) == []


@pytest.mark.thorough
def test_a_face_stood_on_and_a_scale_out_of_reason_are_told():
    tall = bf.Block.box(200, 250, 1000, stone="marble", skin=1)
    fit = bf.largest(cuboid(900, 100, 100), tall, stands_on="any", stance=bf.Stance.fixed())
    assert fit.stands_on != "bottom"
    assert f"its {fit.stands_on}" in str(bf.survey(fit, alternatives=False))
    tiny = bf.largest(cuboid(1e5, 1e5, 1e5), BRICK_BLOCK, stance=bf.Stance.fixed())
    assert any("far from full size" in told for told in doubts_of(tiny))
    leaned = bf.largest(cuboid(100, 100, 600), bf.Block.box(400, 150, 520), stance=bf.Stance.leaning(30, 10))
    assert leaned.placement.tilt_deg > 1
    assert any("base is not level" in told for told in doubts_of(leaned))

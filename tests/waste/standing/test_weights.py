"""Weights: they add up, with ranges, allowances, wet stone and hours."""

import numpy as np
import pytest
from conftest import BRICK, FIXED, around, assert_refused, ball, cuboid

import blockfit as bf
from blockfit.waste.standing.weight import hours


@pytest.mark.thorough
def test_weights_add_up(usual_fit, usual_plan):
    plan, fit = usual_plan, usual_fit
    weight = bf.weights(fit, plan)
    assert weight.block_kg == pytest.approx(0.9 * 0.7 * 1.6 * 2700, rel=1e-12)
    assert weight.figure_kg + weight.offcuts_kg + weight.chips_kg == pytest.approx(weight.block_kg, rel=1e-9)
    assert weight.removed_kg == pytest.approx(weight.offcuts_kg + weight.chips_kg, rel=1e-12)
    assert sum(stage.removed_kg for stage in weight.stages) == pytest.approx(weight.removed_kg, rel=1e-9)
    assert weight.stages[-1].left_kg == pytest.approx(weight.figure_kg, rel=1e-9)
    assert all(stage.removed_m3 > -1e-6 for stage in weight.stages)
    assert weight.low == pytest.approx(2600 / 2700)
    assert weight.high == pytest.approx(2860 / 2700)


@pytest.mark.thorough
def test_a_ball_of_marble_is_a_little_too_light():
    radius = 500
    weight = bf.weights(around(ball(radius, 5)))
    exact = 2700 * 4 / 3 * np.pi * (radius / 1000) ** 3
    assert 0.995 * exact < weight.figure_kg < exact


def test_without_a_stone_there_are_volumes_only():
    weight = bf.weights(around(cuboid(100, 100, 100), stone=None))
    assert weight.block_kg is None
    assert weight.stages[0].removed_kg is None
    assert weight.figure_m3 == pytest.approx(1e-3)
    assert (weight.low, weight.high) == (1, 1)


@pytest.mark.thorough
def test_the_parts_sum_to_the_block_and_the_skin_is_counted_once(kneeling):
    block = bf.Block.box(900, 800, 1500, stone="marble", skin=30)
    fit = bf.safest(kneeling, block, scale=0.4, cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(30))
    bare, planned = bf.weights(fit), bf.weights(fit, bf.offcuts(fit, kerf=10, most_pieces=2))
    for weight in (bare, planned):
        assert sum(volume for _, volume in weight.parts_m3) == pytest.approx(block.volume_m3, rel=1e-9)
        assert sum(kg for _, kg in weight.parts_kg) == pytest.approx(weight.block_kg, rel=1e-9)
        assert all(volume >= 0 for _, volume in weight.parts_m3)
    skin = 0.9 * 0.8 * 1.5 - 0.84 * 0.74 * 1.44
    assert bare.skin_m3 == pytest.approx(skin, rel=1e-9)
    assert planned.skin_m3 < skin


@pytest.mark.thorough
def test_wet_stone_and_pounds():
    stone = bf.Stone("our sandstone", 2200, 2100, 2300, water_absorption=0.05)
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(200, 200, 200, stone=stone), stance=FIXED, scales=(0, 1))
    assert bf.weights(fit).wet == pytest.approx(1.05)
    assert bf.weights(fit, water_absorption=0.02).wet == pytest.approx(1.02)
    with pytest.raises(bf.BadValueError):
        bf.weights(fit, water_absorption=5)
    told = bf.survey(fit, alternatives=False).text(units="us")
    # 0.008 m3 x 2200 kg/m3 = 17.6 kg; 1 lb = 0.45359237 kg exactly (international pound, 1959)
    assert "39 lb" in told
    assert "Soaked" in told


def test_allowances_are_area_times_thickness():
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(200, 200, 200, stone="marble"), stance=FIXED, scales=(0, 1))
    (point,) = bf.weights(fit, allowances={"point": "12 mm"}).allowances
    assert point.over_m3 == pytest.approx(6 * 0.01 * 0.012)
    assert point.over_kg == pytest.approx(6 * 0.01 * 0.012 * 2700)


def test_hours_only_from_the_users_rates():
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(200, 200, 200, stone="marble"), stance=FIXED, scales=(0, 1))
    weight = bf.weights(fit)
    told = dict(hours(weight, {"beside it": 5, "other": 10}, finishing_m2_per_hour=0.02, area_m2=0.06))
    removed = {stage.name: stage.removed_kg for stage in weight.stages}
    assert told["beside it"] == pytest.approx(removed["beside it"] / 5)
    assert told["behind it"] == pytest.approx(removed["behind it"] / 10)
    assert told["finishing"] == pytest.approx(3)
    assert hours(weight, {}) == ()
    for wrong in ({"polishing": 1}, {"beside it": 0}):
        with pytest.raises(bf.BadValueError):
            hours(weight, wrong)


REFUSED = {
    "hours without a stone": (lambda: hours(bf.weights(around(BRICK, stone=None)), {"other": 2}), "need a stone"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])

"""The stone as it stands: block less all that is gone."""

from datetime import date

import pytest
from conftest import assert_refused, ball, brick_fit, cuboid

import blockfit as bf


@pytest.mark.thorough
def test_a_stage_of_the_first_pieces_and_of_a_scan():
    fit = bf.largest(ball(100, 2), bf.Block.box(400, 400, 400, stone="marble"), stance=bf.Stance.fixed(), scales=(0, 1))
    plan = bf.offcuts(fit, clearance=5, least_weight_kg=1)
    assert len(plan.pieces) > 1
    first = bf.stage_of(fit, offcuts=plan, pieces=1)
    assert first.stone.volume_m3 == pytest.approx(plan.pieces[0].left_m3, rel=1e-6)  # its kerf is gone with it
    assert fit.block.volume_m3 - first.stone.volume_m3 > plan.pieces[0].solid.volume_m3
    assert bf.stage_of(fit, offcuts=plan, pieces=0).stone.volume_m3 == pytest.approx(fit.block.volume_m3)
    scanned = bf.stage_of(fit, scan=fit.solid())
    assert scanned.gone == ("as scanned",)
    assert scanned.stone.volume_m3 == pytest.approx(fit.solid().volume_m3, rel=1e-6)


REFUSED = {
    "nothing left": (
        lambda: bf.stage_of(brick_fit(), gone=[("all", cuboid(900, 900, 900, (-9, -9, -9)))]),
        "nothing is left",
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])


def test_the_pace_from_two_stages_and_the_hours_between():
    fit = brick_fit()
    whole = bf.stone_left(fit, bf.stage_of(fit))
    planes = bf.roughing(fit, step=30, allowance=0, face="top")
    later = bf.stone_left(fit, bf.stage_of(fit, planes=planes, to=1))
    told = bf.pace(whole, later, ("2026-03-02", "2026-03-12"), hours=20)
    assert told.days == 10
    assert told.gone_m3 == pytest.approx(planes.planes[0].total_m3, rel=1e-6)
    assert told.hours_left == pytest.approx(later.volume_m3 / (told.gone_m3 / 20))
    assert bf.pace(whole, later, ("2026-03-02", "2026-03-12")).hours_left is None
    assert bf.pace(whole, later, (date(2026, 3, 2), date(2026, 3, 12))).days == 10
    for wrong, words in (
        (lambda: bf.pace(later, whole, ("2026-03-02", "2026-03-12")), "check the scans"),
        (lambda: bf.pace(whole, later, ("2026-03-12", "2026-03-02")), "earlier first"),
        (lambda: bf.pace(whole, later, ("spring", "summer")), "two days"),
        (lambda: bf.pace(whole, later, ("2026-03-02", "2026-03-12"), hours=0), "more than 0"),
    ):
        with pytest.raises(bf.BadValueError, match=words):
            wrong()

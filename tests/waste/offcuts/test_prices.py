"""Pieces chosen by the user's own prices: by hand, and beside the same choice by volume."""

import pytest
from conftest import KNEELING, run

import blockfit as bf
from blockfit import jobs
from blockfit.commands.sawing import _prices_of


def net(piece, prices) -> float:
    """What a piece brings less what it costs, by hand."""
    sawn = sum(cut.area_m2 for cut in piece.cuts)
    price = max((price for least, price in prices.price_m3 if piece.volume_m3 >= least), default=0.0)
    work = prices.rate_hour * (prices.hours_piece + prices.hours_m2 * sawn)
    return piece.volume_m3 * price - prices.sawing_m2 * sawn - work


def test_prices_by_hand():
    mine = bf.Prices([(0.5, 900), (0.05, 400)], sawing_m2=60, rate_hour=45, hours_piece=0.5, hours_m2=2)
    assert mine.price_m3 == ((0.05, 400.0), (0.5, 900.0))
    assert [mine.brings(m3) for m3 in (0.049, 0.05, 0.5)] == [0, 20, 450]
    assert mine.costs(0.8) == (48, 45 * (0.5 + 1.6))
    assert mine.net(0.5, 0.8) == pytest.approx(450 - 48 - 94.5)
    for wrong in ({"price_m3": -1}, {"price_m3": []}, {"price_m3": [(1, 2, 3)]}, {"price_m3": 1, "rate_hour": -2}):
        with pytest.raises(bf.BadValueError, match="price_m3|rate_hour"):
            bf.Prices(**wrong)


@pytest.fixture(scope="module")
def plain(usual_fit):
    return bf.offcuts(usual_fit)


@pytest.mark.thorough
def test_one_price_and_no_costs_change_nothing(usual_fit, plain):
    plan = bf.offcuts(usual_fit, prices=bf.Prices(400))
    assert [p.volume_m3 for p in plan.pieces] == [p.volume_m3 for p in plain.pieces]
    assert bf.worth(plan).net == pytest.approx(400 * plan.volume_m3)


@pytest.mark.thorough
def test_every_piece_pays_and_together_more_than_those_of_most_stone(usual_fit, plain):
    prices = bf.Prices([(0.01, 900), (0.1, 2000)], sawing_m2=80, rate_hour=45, hours_piece=0.25, hours_m2=0.5)
    plan = bf.offcuts(usual_fit, prices=prices)
    assert len(plan.pieces) > 1
    assert all(net(piece, prices) > 0 for piece in plan.pieces)
    by_volume = bf.worth(plain, price_m3=prices.price_m3, sawing_m2=80, rate_hour=45, hours_piece=0.25, hours_m2=0.5)
    assert len(plain.pieces) > len(plan.pieces)
    assert bf.worth(plan).net == pytest.approx(sum(net(piece, prices) for piece in plan.pieces))
    assert bf.worth(plan).net > by_volume.net


@pytest.mark.thorough
def test_nothing_pays(usual_fit):
    plan = bf.offcuts(usual_fit, prices=bf.Prices(400, sawing_m2=4000))
    assert (plan.pieces, bf.worth(plan).net) == ((), 0)
    with pytest.raises(bf.BadValueError, match="price_m3"):
        bf.worth(bf.offcuts(usual_fit, most_pieces=0))
    with pytest.raises(bf.BadValueError, match="price_m3"):
        bf.worth(plan, sawing_m2=5)


@pytest.mark.thorough
def test_more_courses_are_worth_no_less(usual_fit):
    prices = bf.Prices([(0.01, 900), (0.1, 2000)], sawing_m2=80)
    once, more = (bf.worth(bf.offcuts(usual_fit, prices=prices, effort=effort)).net for effort in (1, 2))
    assert more >= once


def test_prices_are_kept_with_a_plan(usual_fit, tmp_path):
    plan = bf.offcuts(usual_fit, prices=bf.Prices([(0.01, 900)], sawing_m2=80), most_pieces=1)
    usual_fit.save(tmp_path / "a.blockfit")
    jobs.planned(bf.open_job(tmp_path / "a.blockfit"), plan).save()
    assert bf.open_job(tmp_path / "a.blockfit").plan.prices == plan.prices


def test_prices_as_written():
    rates = {"sawing_cost": 60.0, "rate": None, "hours_piece": None, "hours_m2": None}
    assert _prices_of({"price": "400", **rates}) == bf.Prices(400, sawing_m2=60)
    assert _prices_of({"price": "0,05 m3: 400; 10 cu ft: 900", **rates}) == bf.Prices(
        [(0.05, 400), (10 * 0.3048**3, 900)], sawing_m2=60
    )


@pytest.mark.thorough
def test_prices_on_the_command_line(capsys):
    asked = ["survey", KNEELING, "--unit", "m", "--block", "900x700x1600", "--stone", "marble", "--all"]
    _, out, err = run(capsys, *asked, "--price", "0.01 m3: 900", "--sawing-cost", "80")
    assert not err
    assert "by your prices and rates" in out
    for wrong, words in (
        (["--rate", "5"], "--price"),
        (["--price", "2:3,4:3"], "by size"),
        (["--price", "x"], "number"),
    ):
        code, _, err = run(capsys, *asked, *wrong)
        assert code == 2, wrong
        assert words in err

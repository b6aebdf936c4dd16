"""Slings and rollers, by tables."""

import pytest

import blockfit as bf
from blockfit.waste.standing.lifting import lift, roller_pull, sling_factor


@pytest.mark.parametrize(("angle", "factor"), [(60, 1.155), (45, 1.414), (30, 2.000)])
def test_sling_factors(angle, factor):
    """Sling tables: 1/sin of the angle from the horizontal (VALUES.md, read and computed)."""
    assert round(sling_factor(angle), 3) == factor
    assert lift(1000, legs=2, angle_deg=angle).tension_kg == pytest.approx(500 * factor, abs=0.3)


def test_a_rigid_load_hangs_on_two_legs_and_refusals_give_no_figure():
    assert lift(1000, legs=4, angle_deg=60).tension_kg == lift(1000, legs=2, angle_deg=60).tension_kg
    assert lift(1000, legs=1).tension_kg == pytest.approx(1000)
    low = lift(1000, angle_deg=29)  # ASME B30.9 (secondary copy): not below 30°
    assert low.tension_kg is None
    assert "DO NOT LIFT" in low.warnings[0]
    heavy = lift(1000, limit_kg=999)
    assert heavy.tension_kg is None
    assert "DO NOT LIFT" in heavy.warnings[0]
    for wrong in ({"legs": 0}, {"angle_deg": 0}, {"angle_deg": 95}):
        with pytest.raises(bf.BadValueError):
            lift(1000, **wrong)


def test_rollers():
    """5-10 % of the load to break out, about half to roll: a vendor's guideline (VALUES.md, secondary copy)."""
    pull = roller_pull(2000)
    assert pull.break_out_kg == (100, 200)
    assert pull.rolling_kg == (50, 100)

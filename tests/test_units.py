"""Lengths, sizes and ratios as people write them."""

import math

import pytest

import blockfit as bf
from blockfit import BadValueError, BlockfitError, UnitNeededError
from blockfit.units import KG_PER_LB, feet_and_inches, length_mm, ratio_value, sizes_mm


def test_the_inch_is_exactly_25_4_mm():
    # International yard and pound agreement, 1959 (from memory).
    assert length_mm("1 in") == 25.4
    assert length_mm("3 ft") == length_mm("1 yd") == 914.4
    assert KG_PER_LB == 0.45359237


@pytest.mark.parametrize(
    ("text", "mm"),
    [("36 in", 914.4), ("2 ft 6 in", 762), ("0.9 m", 900), ("5' 3 1/2\"", 1612.9), ("1/16in", 1.5875), ("-2 cm", -20)],
)
def test_lengths_as_people_write_them(text, mm):
    assert length_mm(text) == pytest.approx(mm, abs=1e-12)


@pytest.mark.parametrize(
    "text", ["", "mm", "3", "3 parsecs", "1/0 in", "nan mm", "1e400 m", "two in", "3 in x", "--2 in"]
)
def test_what_is_no_length_raises_our_error(text):
    with pytest.raises(BlockfitError):
        length_mm(text)


@pytest.mark.parametrize("value", [math.inf, math.nan, None, [], 10**400])
def test_numbers_that_are_no_length(value):
    with pytest.raises(BadValueError):
        length_mm(value)


def test_text_without_unit_asks_for_one():
    with pytest.raises(UnitNeededError, match=r"36.*has no unit.*36 in"):
        length_mm("36", "width")


def test_sizes():
    assert sizes_mm("900x750x1500") == (900, 750, 1500)
    assert sizes_mm("36x30x60in") == pytest.approx((914.4, 762, 1524))
    assert sizes_mm("0.9m x 75cm × 1500mm") == pytest.approx((900, 750, 1500))
    with pytest.raises(UnitNeededError, match="some lengths only"):
        sizes_mm("36in x 30in x 72")
    with pytest.raises(BadValueError, match="width x depth x height"):
        sizes_mm("900x750")


@pytest.mark.parametrize("ratio", ["1:0", "0:4", "a:b", "", 0, -1, math.inf, "1:2:3", None])
def test_ratios_without_meaning(ratio):
    with pytest.raises(BadValueError):
        ratio_value(ratio)


def test_inches_to_the_sixteenth():
    assert feet_and_inches(25.4 * 0.5) == "1/2 in"
    assert feet_and_inches(0) == "0 in"
    assert feet_and_inches(-30) == "-1 3/16 in"


@pytest.mark.parametrize(
    "ratio", ["1:1e999999999", "1e999999999", "9" * 5000, "1:" + "9" * 5000, "1/3:" * 500, "1:1/0"]
)
def test_ratios_without_end(ratio):
    with pytest.raises(bf.BadValueError) as caught:
        ratio_value(ratio)
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1'500 mm", 1500),
        ("1’234’567.5 mm", 1_234_567.5),
        ("1 500,5 mm", 1500.5),
        ("1.500,5 mm", 1500.5),
        ("1.234.567 mm", 1_234_567),
        ("1.500 m", 1500),
        ("3'2\"", 965.2),
        ("6' 100 mm", 1928.8),
        ("2½ in", 63.5),
        ("1 1/2 in", 38.1),
    ],
)
def test_thousands_and_fractions_as_they_are_written(text, mm):
    assert length_mm(text) == pytest.approx(mm, abs=1e-9)


def test_sizes_with_apostrophes():
    assert sizes_mm("1'200 x 600 x 1'900 mm") == sizes_mm("1'200x600x1'900") == (1200, 600, 1900)
    assert sizes_mm("3' x 2' x 5'") == pytest.approx((914.4, 609.6, 1524))
    for text in ("1.500", "1.500 kg", "1,500"):
        with pytest.raises(BadValueError, match="can be read as"):
            bf.units.mass_kg(text)
    assert bf.units.mass_kg("1.500 t") == 1500


def test_thousandths_of_a_millimetre_may_be_thousands_of_them():
    for text in ("1.500 mm", "12.345 mm"):
        with pytest.raises(BadValueError, match="can be read as"):
            length_mm(text)
    with pytest.raises(BadValueError, match="can be read as"):
        bf.units.sizes_mm("1.500 x 900 x 700")
    with pytest.raises(UnitNeededError, match="900 m"):
        sizes_mm("900x750x1.5m")

"""Readings as printed, parsed back."""

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blockfit.marking.rounding import grain_of
from blockfit.units import length_mm


@given(
    st.integers(-4000, 4000),
    st.sampled_from(["1/32 in", "1/8 in", 1.5, 2.5, 0.5, 0.1, 1, "1/16 in", "3 mm", 0.3]),
    st.booleans(),
)
def test_readings_printed_and_parsed_back_are_the_rounded_ones(ticks, grain, inches):
    told = grain_of(grain, inches=inches)
    assert told.mm <= length_mm(grain) * (1 + 1e-9)
    words = told.written(ticks)
    if inches:
        match = re.fullmatch(r"(-?)(?:(\d+)(?: |$))?(\d+/\d+)?", words)
        value = (int(match.group(2) or 0) + Fraction(match.group(3) or 0)) * (-1 if match.group(1) else 1)
        assert float(value * Fraction("25.4")) == pytest.approx(ticks * told.mm, abs=1e-9)
    else:
        assert float(words) == pytest.approx(ticks * told.mm, abs=1e-9)

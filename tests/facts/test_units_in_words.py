"""Facts in both systems of units: the same values, rounded so that stone is left, by factors fixed by definition."""

import re
from dataclasses import fields
from fractions import Fraction

import pytest
from conftest import mushroom
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf
from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Rounding, measure_of
from blockfit.facts.phrases import Phrase, down, up
from blockfit.facts.results import Result, facts_of
from blockfit.facts.systems import METRIC, US, units_of
from blockfit.units import floor_load_kg_m2, inches_of, mass_kg


def inches(text):
    """Read feet, inches and sixteenths back, by hand: 12 inches a foot, 25.4 mm an inch (international yard, 1959)."""
    feet = re.search(r"(\d+) ft", text)
    rest = re.search(r"(?:(\d+) )?(\d+)/(\d+) in|(\d+) in", text)
    total = Fraction(0 if feet is None else 12 * int(feet[1]))
    if rest is not None:
        total += int(rest[4]) if rest[4] else int(rest[1] or 0) + Fraction(int(rest[2]), int(rest[3]))
    return -total if text.startswith("-") else total


@given(st.floats(0, 1e5))
def test_lengths_in_inches_lean_as_asked_by_a_sixteenth_at_most(mm):
    low, high = (inches(US.length(mm, lean)) * Fraction("25.4") for lean in (Rounding.DOWN, Rounding.UP))
    assert low <= Fraction(mm) + Fraction(1, 10**5)
    assert high >= Fraction(mm) - Fraction(1, 10**5)
    assert high - low <= Fraction("25.4") / 16
    assert inches(inches_of(mm, "down") + " in") * Fraction("25.4") == low


@given(st.floats(0.01, 1e6))
def test_weights_are_rounded_up_in_both(kg):
    for units, factor in ((METRIC, 1.0), (US, 0.45359237)):
        shown = float(units.mass(kg).split()[0].replace(",", "")) * factor
        assert kg * (1 - 1e-9) <= shown + 5e-3
        assert shown <= kg + factor * 1.01


def test_factors_fixed_by_definition():
    """The pound is 0.45359237 kg, the inch 25.4 mm (1959), standard gravity 9.80665 m/s² (3rd CGPM, 1901)."""
    assert US.mass(1000) == "2,205 lb"
    assert US.stress(6.894757293168, 4) == "1,000 psi"
    assert US.floor_area(9.290304) == "100.0 sq ft"
    assert US.volume(0.028316846592) == "1.00 cu ft"
    assert mass_kg("600 lb") == pytest.approx(272.155422)
    assert floor_load_kg_m2("100 psf") == pytest.approx(488.2427636)
    for wrong in ("10 stone", "-3 kg", "kg"):
        with pytest.raises(BadValueError, match="weight"):
            mass_kg(wrong)
    with pytest.raises(BadValueError, match='must be "metric" or "us"'):
        units_of("imperial")


def test_phrases_round_limits_down_and_loads_up():
    words = Phrase.of("{load} on {limit}", load=up(100.2, Measure.MASS), limit=down(99.8, Measure.MASS))
    assert words.text() == "101 kg on 99 kg"
    assert words.text("us") == "221 lb on 220 lb"
    assert "101 kg" in words


def results_of(value, seen):
    if isinstance(value, Result) and type(value) not in seen:
        seen[type(value)] = value
    if hasattr(value, "__dataclass_fields__"):
        for one in fields(value):
            results_of(getattr(value, one.name), seen)
    elif isinstance(value, tuple | list):
        for one in value:
            results_of(one, seen)
    return seen


@pytest.fixture(scope="module")
def results():
    """Every kind of result that a survey and the marks hold, one of each."""
    block = bf.Block.box(400, 440, 450, stone="marble")
    cover = {"bottom": 0, "other": 20}
    fit = bf.largest(mushroom(), block, cover=cover, stance=bf.Stance.upright(30), scales=(0, 1))
    seen = results_of(bf.survey(fit, alternatives=False, least_weight_kg=5), {})
    for made in (bf.setting(fit), bf.pointing(fit, count=12), bf.roughing(fit, step=100)):
        results_of(made, seen)
    return seen


def test_every_result_says_its_facts_in_both_systems_and_three_lines(results):
    assert len(results) >= 20
    for kind, value in results.items():
        assert facts_of(kind), kind
        assert len(repr(value)) <= 240, kind
        assert "\n" not in repr(value), kind
        data = value.record()
        for name, fact in facts_of(kind):
            key = fact.key or name
            assert key in data, (kind, key)
            if measure_of(key, fact.measure) is Measure.PLAIN and isinstance(getattr(value, name), float):
                assert key.endswith(("factor", "over", "scale")), (kind, key)
        if kind.text is Result.text:
            metric, us = value.text(), value.text(units="us")
            assert (" mm" in metric or " kg" in metric) <= (metric != us), kind
            assert not re.search(r"\d (mm|kg|m²|l)\b", us), kind
        assert "<table" in value._repr_html_()


def test_a_survey_in_us_units_holds_no_metric_number(usual_survey):
    told = usual_survey.text(units="us")
    body = told[told.index("READ FIRST") : told.index("CAUTIONS")]  # the block is named by what was typed
    loose = re.sub(r"\([^)]*\)", "", body)  # the other system beside the height, and what repairs measured
    assert not re.search(r"\d (mm|kg|m²|cm²|MPa|l)\b", loose.split("THE FIGURE AS READ")[0])
    assert "it carries 600 lb" in " ".join(told.split())


def test_ten_lines_decide(usual_survey):
    brief, usual, everything = (usual_survey.text(detail=detail, width=80) for detail in ("brief", "usual", "all"))
    named = [line[2:17].strip() for line in brief.splitlines() if re.match(r"  [A-Z]", line)]
    assert "Do first" in named
    assert len(set(named)) <= 10
    assert len(brief) < len(usual) < len(everything)
    assert max(map(len, usual.splitlines())) <= 80
    with pytest.raises(BadValueError, match="detail"):
        usual_survey.text(detail="some")


_NUMBER = re.compile(r"-?[0-9][0-9,]*[.]?[0-9]*(?:e[+-]?[0-9]+)?")
_UNITS = {  # mm, mm², m³, kg, kg/m² and MPa in one of each unit; the pound, the foot and standard gravity by definition
    "cm²": 100, "sq in": 25.4**2, "m²": 1, "sq ft": 0.3048**2, "l": 1e-3, "m³": 1, "cu in": 0.0254**3,
    "cu ft": 0.3048**3, "kg": 1, "lb": 0.45359237, "kg/m²": 1, "lb/sq ft": 0.45359237 / 0.3048**2, "MPa": 1,
    "psi": 0.45359237 * 9.80665 / 0.0254**2 * 1e-6, "mm": 1,
}  # fmt: skip


@given(
    st.sampled_from(
        [Measure.AREA, Measure.FLOOR_AREA, Measure.VOLUME, Measure.MASS, Measure.FLOOR_LOAD, Measure.STRESS]
    ),
    st.floats(1e-3, 1e5),
    st.sampled_from([METRIC, US]),
)
def test_a_number_is_printed_on_its_own_side(measure, value, units):
    """Whatever is rounded down is never more than there is, whatever is rounded up never less."""
    for rounded, side in ((Rounding.DOWN, 1), (Rounding.UP, -1)):
        text = units.show(value, measure, rounded)
        number = float(_NUMBER.match(text)[0].replace(",", ""))
        back = number * _UNITS[text[_NUMBER.match(text).end() :].strip()]
        step = 10.0 ** -len(_NUMBER.match(text)[0].partition(".")[2])  # the last digit shown, where none is left out
        assert side * (value - back) >= -1e-5 * max(step * _UNITS[text[_NUMBER.match(text).end() :].strip()], value)

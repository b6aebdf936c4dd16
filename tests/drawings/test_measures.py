"""Figures from a tape: fit and cover hold for every model within the errors."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe

import blockfit as bf
from blockfit.drawings.measured import _elliptic

POINTS = {
    "crown": (0, 0, 1700), "left hand": (-420, -50, 800), "right hand": (420, -50, 800), "heel": (0, 60, 0),
    "toe": (0, -190, 0), "seat": (0, 160, 900),
}  # fmt: skip


def test_the_integral_is_scipys():
    for m in (0.0, 0.2, 0.36, 0.8, 0.96):
        assert _elliptic(m) == pytest.approx(float(ellipe(m)), rel=1e-12)


def test_points_of_one_error_are_exact():
    figure = bf.figure_from_measures(points=POINTS, error="1 cm")
    assert figure.margin_mm == 10
    assert len(figure.vertices) == len(POINTS)
    fit = bf.largest(figure, bf.Block.box(900, 500, 1800), stance=bf.Stance.fixed())
    # s (w + 2 e) = W on the tightest pair of faces.
    assert fit.scale == pytest.approx(min(900 / 860, 500 / 370, 1800 / 1720), rel=1e-9)


@given(st.integers(0, 10_000))
@settings(max_examples=5)
def test_every_model_within_the_errors_keeps_its_cover(seed):
    """A second pair of hands: draw a model within the errors, its limbs as many ovals, and measure its cover."""
    random = np.random.default_rng(seed)
    points = {f"p{k}": (*random.uniform(-300, 300, 3), float(random.uniform(2, 20))) for k in range(6)}
    arm, head = (float(girth) for girth in random.uniform(100, 500, 2))
    girths = {("p0", "p1"): (arm, 8.0), "p2": head}
    figure = bf.figure_from_measures(points=points, lengths=girths, length_error=6, roundness=0.7)
    block = bf.Block.box(900, 1000, 1100)
    fit = bf.safest(figure, block, scale=1.0, stance=bf.Stance.upright(20), gap=0.01)
    told = bf.stone_cover(fit).by_face
    for _ in range(5):
        true = {name: np.array(p[:3]) + shaken(random, p[3]) for name, p in points.items()}
        model = list(true.values())
        for ends, girth in ((("p0", "p1"), arm + 8), (("p2", "p2"), head + 6)):
            flat = random.uniform(0.7, 1)
            long = girth / (4 * ellipe(1 - flat**2))
            for share in np.linspace(0, 1, 9):
                middle = (1 - share) * true[ends[0]] + share * true[ends[1]]
                ways = random.normal(size=(40, 3))
                model += list(middle + long * ways / np.linalg.norm(ways, axis=1)[:, None])
        placed = fit.placement.apply(np.array(model))
        kept = (block.sound_mm - placed @ block.normals.T).min(axis=0)
        assert all(kept[k] >= told[name] - 1e-6 for k, name in enumerate(block.names))


def shaken(random, error):
    way = random.normal(size=3)
    return error * way / np.linalg.norm(way)


def test_units_and_what_is_wrong():
    metres = {name: tuple(v / 1000 for v in place) for name, place in POINTS.items()}
    same = bf.figure_from_measures(points=metres, unit="m")
    assert same.size_mm == pytest.approx((840, 350, 1700))
    round_one = bf.figure_from_measures(points=POINTS, lengths={"crown": 570}, length_error=0, error=0, roundness=1)
    assert round_one.size_mm[2] == pytest.approx(1700 + 570 / (2 * math.pi))
    for wrong in (
        {"points": {}}, {"points": {"a": (1, 2)}}, {"points": {"a": 3}}, {"points": {"a": (1, 2, "x")}},
        {"points": POINTS, "lengths": {("crown", "knee"): 300}}, {"points": POINTS, "lengths": {"crown": 0}},
        {"points": POINTS, "roundness": 0}, {"points": POINTS, "unit": "span"}, {"points": {"a": (1, 2, math.inf)}},
    ):  # fmt: skip
        with pytest.raises(bf.BlockfitError):
            bf.figure_from_measures(**wrong)
    assert "measures" in str(bf.survey(bf.largest(same, bf.Block.box(900, 900, 2000)), alternatives=False)).lower()

"""What rounding may have done: exact arithmetic proves bounds as the search says them, and placements hold exactly."""

from fractions import Fraction

import numpy as np
import pytest
from certificate_cases import random_block, random_figure
from conftest import slow_after
from scipy.spatial.transform import Rotation

import blockfit as bf
from blockfit.search.proof.questions import question_about
from blockfit.search.proof.rounding import rounding_margin
from blockfit.search.proof.support import hull_of

UPRIGHT = [bf.Stance.fixed(), bf.Stance.upright(30), bf.Stance.upright()]


def beyond(fit) -> Fraction:
    """How far the worst vertex lies beyond its plane, cover and skin off, in plain fractions."""
    rows = [[Fraction(x) for x in row] for row in fit.placement.rotation.tolist()]
    scale, shift = Fraction(fit.placement.scale), [Fraction(x) for x in fit.placement.shift_mm.tolist()]
    worst = Fraction(-(10**9))
    for vertex in fit.figure.vertices.tolist():
        corner = [Fraction(x) for x in vertex]
        at = [
            scale * sum(a * b for a, b in zip(row, corner, strict=True)) + t for row, t in zip(rows, shift, strict=True)
        ]
        for normal, offset, asked in zip(fit.block.normals, fit.block.sound_mm, fit.asked_cover_mm, strict=True):
            reach = sum(Fraction(float(n)) * x for n, x in zip(normal, at, strict=True))
            room = Fraction(float(offset)) - Fraction(float(asked))
            worst = max(worst, reach - room + scale * Fraction(fit.figure.margin_mm))
    return worst


@pytest.mark.parametrize("seed", slow_after(10, range(24)))
def test_a_placement_holds_in_exact_arithmetic(seed):
    random = np.random.default_rng(seed)
    figure, block = random_figure(random), random_block(random)
    stance = [*UPRIGHT, bf.Stance.leaning(20, 20), bf.Stance.free()][seed % 5]
    fit = bf.largest(figure, block, stance=stance, cover=float(random.choice([0, 7.3])), gap=1e-2)
    if fit.placement is not None:
        assert beyond(fit) <= 0
        assert fit.scale == fit.placement.scale


@pytest.mark.parametrize("stance", UPRIGHT)
@pytest.mark.parametrize("seed", slow_after(1, range(10)))
def test_exact_arithmetic_proves_the_bound_that_the_search_says(seed, stance):
    """Upright answers are tight to their last digits: the margin for rounding is all that is left above them."""
    random = np.random.default_rng(100 + seed)
    figure, block = random_figure(random), random_block(random)
    plain = bf.largest(figure, block, stance=stance)
    proved = bf.largest(figure, block, stance=stance, certificate=True)
    if plain.placement is None or not np.isfinite(plain.scale_bound):
        return
    assert bf.verify(proved.certificate, figure, block).valid
    assert proved.certificate.bound <= plain.scale_bound
    assert plain.scale <= plain.scale_bound <= plain.scale * (1 + 1e-9)


def test_exact_fits_stay_exact():
    """Boxes in boxes: nothing is given away where nothing need be."""
    box = bf.Figure.from_points([[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 200)])
    fit = bf.largest(box, bf.Block.box(100, 100, 200), stance=bf.Stance.fixed())
    assert fit.scale == 1
    assert fit.verdict is bf.Verdict.FITS
    # Turned by awkward angles and set at its own size: it is moved by what rounding makes, and keeps its size.
    turned = Rotation.from_euler("xyz", [17, 31, 5], degrees=True).as_matrix()
    skew = bf.Figure.from_points(box.vertices @ turned.T)
    size = [side + 1e-3 for side in skew.size_mm]
    fit = bf.largest(skew, bf.Block.box(*size), stance=bf.Stance.fixed(), scales=(1, 1))
    assert fit.scale == 1
    assert beyond(fit) <= 0


def test_the_margin_grows_with_what_makes_it():
    figure = bf.Figure.from_points(np.random.default_rng(1).normal(0, 100, (40, 3)))
    block = bf.Block.box(900, 700, 1600)
    asked = question_about(block, np.zeros(6), np.zeros(6))
    near = rounding_margin(asked, hull_of(figure), 2.0)
    assert 0 < near < 1e-12 * 2
    far = bf.Figure.from_points(figure.vertices + 1e6)  # its corners are known less well
    assert rounding_margin(asked, hull_of(far), 2.0) > 100 * near
    assert rounding_margin(asked, hull_of(figure), np.inf) == 0
    some = question_about(block, np.zeros(6), np.array([1.0, 0, 0, 0, 0, 0]), scale=1.0)
    even = question_about(block, np.zeros(6), np.ones(6), scale=1.0)
    assert rounding_margin(some, hull_of(figure), 5.0) > 1e5 * rounding_margin(even, hull_of(figure), 5.0)


@pytest.mark.parametrize("count", slow_after(1, [3, 12]))
@pytest.mark.thorough
def test_what_is_pressed_to_the_front_stays_in_exactly(count):
    """Sought for the deepest setback it touches the front; it is moved until every vertex keeps its plane.

    Only what is wedged in between sides as well may miss them by a rounding.
    """
    missing = []
    for seed in range(count):
        random = np.random.default_rng(seed)
        figure, block = random_figure(random), random_block(random)
        largest = bf.largest(figure, block, scales=(0, 1), stance=UPRIGHT[seed % 3])
        fit = bf.safest(figure, block, scale=0.7 * largest.scale, stance=UPRIGHT[seed % 3], seek="setback")
        assert fit.verdict is bf.Verdict.FITS
        missing.append(float(beyond(fit)) / max(block.size_mm))
    assert min(missing) > -1e-9
    assert max(missing) < 1e-9
    assert sum(one > 0 for one in missing) <= 1

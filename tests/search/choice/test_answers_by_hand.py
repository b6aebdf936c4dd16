"""Answers that can be had by hand: right-angled cases, squares, shifts, covers, scales, and what is refused."""

import numpy as np
import pytest
from conftest import BOX, BRICK, BRICK_BLOCK, assert_refused, corners, cuboid, joined, no_room

import blockfit as bf
from blockfit.geometry.turns import angle_deg


def test_right_angled_cases_by_hand():
    brick = cuboid(200, 100, 50)
    free = bf.largest(brick, bf.Block.box(100, 180, 400))
    assert free.scale == pytest.approx(1.8, rel=1e-9)  # on end: 50 of 100, 100 of 180, 200 of 400
    upright = bf.largest(brick, bf.Block.box(300, 500, 200), stance=bf.Stance.upright())
    assert upright.scale == pytest.approx(2.5, rel=1e-12)  # turned by 90°, 200 along 500
    assert upright.placement.turn_deg == pytest.approx(90)
    fixed = bf.largest(brick, bf.Block.box(300, 500, 200), stance=bf.Stance.fixed())
    assert fixed.scale == 1.5
    assert 1.5 <= fixed.scale_bound <= 1.5 * (1 + 1e-12)  # rounded up by what rounding may have done


def test_a_square_turned_in_its_block():
    # A square of side a turned by t is a(cos t + sin t) wide: in a block 1 x 1.2 it is best unturned.
    plate = cuboid(100, 100, 10)
    fit = bf.largest(plate, bf.Block.box(100, 120, 10), stance=bf.Stance.upright(45))
    assert fit.scale == pytest.approx(1, rel=1e-12)
    assert fit.placement.turn_deg == 0
    # A rod of length L in a square block lies along the diagonal.
    rod = bf.Figure.from_points([[0, 0, 0], [100, 0, 0]])
    fit = bf.largest(rod, bf.Block.box(100, 100, 50), stance=bf.Stance.upright())
    assert fit.scale == pytest.approx(2**0.5, rel=1e-12)
    assert abs(fit.placement.turn_deg) == pytest.approx(45)


def test_shift_is_low_centred_and_forward():
    fit = bf.safest(
        cuboid(100, 100, 100),
        bf.Block.box(300, 400, 500),
        scale=1,
        stance=bf.Stance.upright(10),
        cover={"bottom": 0, "other": 20},
    )
    assert fit.cover_mm == pytest.approx(100)
    low, high = fit.solid().vertices.min(axis=0), fit.solid().vertices.max(axis=0)
    assert low == pytest.approx([100, 100, 0])
    assert high == pytest.approx([200, 200, 100])


def test_nearest_turn_among_equals():
    # Height decides: any turn up to 30° is as good, so the figure stays as read.
    fit = bf.largest(cuboid(100, 100, 400), bf.Block.box(900, 900, 800), stance=bf.Stance.upright(30))
    assert fit.placement.rotation.tolist() == np.eye(3).tolist()
    free = bf.largest(cuboid(100, 100, 400), bf.Block.box(200, 200, 800))
    assert angle_deg(free.placement.rotation) < 1e-6


@pytest.mark.parametrize(
    "stance",
    [bf.Stance.fixed(), bf.Stance.upright(30), bf.Stance.leaning(15, 40), bf.Stance.free()],
    ids=lambda s: s.words(),
)
def test_safest_agrees_with_largest(kneeling, stance):
    """At the largest scale for a cover the deepest cover is that cover."""
    fit = bf.largest(kneeling, BOX, cover=25, stance=stance, gap=1e-6)
    back = bf.safest(kneeling, BOX, scale=fit.scale * (1 - 1e-9), cover=25, stance=stance, gap=1e-6)
    assert back.verdict is bf.Verdict.FITS
    assert back.cover_mm == pytest.approx(25, abs=2e-3)
    assert stance.allows(fit.placement.rotation, 1e-6)
    over = bf.safest(kneeling, BOX, scale=fit.scale_bound * 1.002, cover=25, stance=stance)
    assert over.verdict is bf.Verdict.CANNOT_FIT
    assert over.short_mm > 0
    assert over.short_faces


def test_does_not_fit_is_an_answer():
    fit = bf.safest(cuboid(500, 100, 100), bf.Block.box(300, 300, 300), scale=1, stance=bf.Stance.fixed())
    assert fit.verdict is bf.Verdict.CANNOT_FIT
    assert fit.short_mm == pytest.approx(100)
    assert set(fit.short_faces) == {"left", "right"}
    roomless = bf.largest(cuboid(500, 100, 100), bf.Block.box(300, 300, 300), cover=160)
    assert roomless.verdict is bf.Verdict.CANNOT_FIT
    assert roomless.short_mm == pytest.approx(10)
    assert roomless.placement is None


def test_most_setback_beats_the_deepest_cover(kneeling):
    deep = bf.safest(kneeling, bf.Block.box(900, 1500, 1600), scale=0.6, cover=20, stance=bf.Stance.upright())
    back = bf.safest(
        kneeling, bf.Block.box(900, 1500, 1600), scale=0.6, cover=20, stance=bf.Stance.upright(), seek="setback"
    )
    assert back.setback_mm >= bf.setback(deep).back_mm
    assert bf.setback(back).back_mm == pytest.approx(back.setback_mm, abs=1e-6)


def test_bad_questions_raise(kneeling):
    for wrong in (
        {"gap": -1},
        {"gap": np.nan},
        {"max_cells": 0},
        {"cover": -5},
        {"cover": {"belly": 3}},
        {"scales": (2, 1)},
        {"scales": 3},
    ):
        with pytest.raises(bf.BadValueError):
            bf.largest(kneeling, BOX, **wrong)
    for wrong in ({"scale": 0}, {"scale": np.inf}, {"seek": "gold"}):
        with pytest.raises(bf.BadValueError):
            bf.safest(kneeling, BOX, **wrong)


def test_scales_of_use(kneeling):
    capped = bf.largest(kneeling, BOX, scales=(0.1, 0.4))
    assert capped.scale == capped.scale_bound == 0.4
    assert capped.placement.rotation.tolist() == np.eye(3).tolist()
    assert bf.largest(kneeling, BOX, scales=(0.9, 2)).verdict is bf.Verdict.CANNOT_FIT


def test_hand_taken_points_keep_their_tolerance():
    corners = cuboid(100, 100, 100).vertices
    loose = bf.Figure.from_points(corners, tolerance="3 mm")
    fit = bf.largest(loose, bf.Block.box(212, 300, 300), stance=bf.Stance.fixed())
    assert fit.scale == pytest.approx(212 / 106)
    assert bf.stone_cover(fit).least_mm == pytest.approx(0, abs=1e-9)
    with pytest.raises(bf.OpenSurfaceError, match="from_points|closed solid"):
        bf.undercuts(fit)


def test_two_parts_side_by_side_are_one_figure():
    fit = bf.largest(joined(BRICK, cuboid(50, 50, 50, (300, 0, 0))), BRICK_BLOCK, stance=bf.Stance.fixed())
    assert fit.scale == pytest.approx(300 / 350)


def test_different_covers_bound_the_least_cover():
    fit = bf.safest(
        bf.Figure.from_points(corners(20, 20, 20)),
        bf.Block.box(100, 100, 100),
        cover={"top": 50, "bottom": 10},
        stance=bf.Stance.fixed(),
    )
    # Top 50, bottom 30: the least of the faces that count is 30, though each is asked for something else.
    assert fit.cover_mm == pytest.approx(30)
    assert fit.cover_bound_mm == pytest.approx(30)


def test_a_cover_that_fills_the_block_exactly():
    fit = bf.largest(bf.Figure.from_points(corners(9, 9, 9)), bf.Block.box(100, 100, 100), cover=50)
    assert fit.verdict is bf.Verdict.CANNOT_FIT
    assert str(fit.short_mm) == "0.0"


REFUSED = {
    "the solid of nothing": (lambda: no_room().solid(), "no placement"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])

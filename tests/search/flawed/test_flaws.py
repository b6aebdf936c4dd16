"""Stone with flaws: closed forms, and manifold3d's exact distances."""

import math

import numpy as np
import pytest
from conftest import (
    BRICK,
    BRICK_BLOCK,
    CRACK,
    FIXED,
    assert_refused,
    ball,
    cuboid,
    examples,
    solid_of,
    united,
)
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf
from blockfit.measure.booleans import ball_solid, gap_between
from blockfit.search.result import Verdict

ANY = bf.Stance.free()


def test_a_ball_beside_a_round_cavity_by_formula():
    """A cavity of 50 + 10 in the middle of a cube of 400: the ball sits in a corner, where (200 - r)√3 = r + 60."""
    block = bf.Block.box(400, 400, 400).with_flaws(bf.Flaw.ball((200, 200, 200), 50, margin=10))
    fit = bf.largest(ball(100, 4), block, stance=FIXED)
    exact = (200 * math.sqrt(3) - 60) / (1 + math.sqrt(3)) / 100
    assert fit.scale == pytest.approx(exact, rel=1e-3)  # the ball's faces lie a little inside the true one
    assert fit.proof == "best found"
    assert fit.kept_mm[0][1] >= 10 - 1e-3
    assert fit.flaw_cost == pytest.approx(2 - exact, rel=2e-3)
    assert fit.scale_bound == pytest.approx(2, rel=2e-3)


@pytest.mark.thorough
def test_a_ball_in_a_box_with_a_corner_off():
    """A zone beyond x + y + z = 420 in the far corner of a cube of 200: told as a flaw, and as a plane."""
    normal, offset = np.ones(3) / math.sqrt(3), 420 / math.sqrt(3)
    cube = bf.Block.box(200, 200, 200)
    planes = bf.Block.from_planes(np.vstack([cube.normals, normal]), np.append(cube.offsets_mm, offset))
    proved = bf.largest(ball(50, 4), planes, stance=FIXED)
    found = bf.largest(ball(50, 4), cube.with_flaws(bf.Flaw.beyond(normal, offset)), stance=FIXED)
    assert proved.proof == "proved"
    assert found.scale == pytest.approx(proved.scale, rel=1e-4)


@pytest.mark.slow
def test_a_stick_past_a_crack():
    """A crack parts a cube at a third: the stick lies in the larger part, no longer than its diagonal."""
    stick = cuboid(10, 10, 300)
    crack = bf.Flaw.crack([[0, 0, 100], [300, 0, 100], [300, 300, 100], [0, 300, 100]], margin=5)
    fit = bf.largest(stick, bf.Block.box(300, 300, 300).with_flaws(crack), stance=ANY)
    above = bf.largest(stick, bf.Block.box(300, 300, 195), stance=ANY)
    assert above.scale * 0.99 <= fit.scale <= above.scale_bound * (1 + 1e-6)
    placed = fit.solid().vertices[:, 2]
    assert placed.min() > 104.9 or placed.max() < 95.1


def test_a_crack_may_pass_through_waste():
    figure = cuboid(100, 100, 400)
    disc = bf.Flaw.disc((300, 50, 200), (0, 0, 1), 80, margin=10)
    fit = bf.safest(figure, bf.Block.box(400, 120, 420).with_flaws(disc), stance=FIXED)
    assert fit.verdict is bf.Verdict.FITS
    assert fit.kept_mm[0][1] >= 10 - 1e-3
    assert fit.solid().vertices[:, 0].max() <= 300 - 80 - 10 + 0.1


def test_a_flaw_that_no_placement_avoids():
    block = bf.Block.box(110, 110, 410).with_flaws(bf.Flaw.ball((55, 55, 200), 20))
    fit = bf.safest(cuboid(100, 100, 400), block, stance=FIXED)
    assert fit.verdict is bf.Verdict.UNDECIDED  # only the relaxation is proved, and it fits
    assert fit.short_mm > 20
    smaller = bf.largest(cuboid(100, 100, 400), block, stance=FIXED)
    assert smaller.verdict is bf.Verdict.FITS
    assert smaller.scale < 0.6


def test_a_small_flaw_inside_the_figure_is_seen():
    """A ball of 3 mm deep within a thick figure, far from its surface."""
    block = bf.Block.box(500, 300, 500).with_flaws(bf.Flaw.ball((250, 150, 250), 3, margin=2))
    fit = bf.safest(cuboid(240, 240, 240), block, stance=FIXED)
    assert fit.verdict is bf.Verdict.FITS
    assert fit.kept_mm[0][1] >= 2 - 1e-3


@given(st.integers(0, 10_000))
@examples(2, 5)
@pytest.mark.thorough
def test_random_flaws_are_kept_clear_of(seed):
    random = np.random.default_rng(seed)
    figure = united(cuboid(200, 200, 80), cuboid(80, 80, 400, at=(60, 60, 0)))
    flaws = []
    for k in range(3):
        centre = random.uniform([60, 60, 60], [540, 440, 640])
        if random.random() < 0.5:
            flaws.append(bf.Flaw.ball(centre, random.uniform(10, 50), margin=5, name=f"ball {k}"))
        else:
            flaws.append(bf.Flaw.box(centre - 30, centre + random.uniform(5, 60, 3), margin=5, name=f"box {k}"))
    block = bf.Block.box(600, 500, 700).with_flaws(*flaws)
    fit = bf.largest(figure, block, cover=10, stance=bf.Stance.upright(45))
    assert fit.verdict is bf.Verdict.FITS
    assert fit.scale <= fit.scale_bound * (1 + 1e-9)
    placed = solid_of(fit.solid())
    for flaw, (_, kept) in zip(flaws, fit.kept_mm, strict=True):
        # Apart from the search: manifold3d's own distance; its ball lies outside the true one by a thousandth.
        body = ball_solid(flaw.centre, flaw.radius_mm) if flaw.kind == "ball" else None
        if body is not None:
            assert gap_between(placed, body, 2000) >= 5 - 0.003 * flaw.radius_mm
        assert kept >= 5 - 1e-3
    assert bf.stone_cover(fit).least_mm >= 10 - 1e-6


def test_flaws_turn_with_the_block():
    block = bf.Block.box(600, 300, 200).with_flaws(bf.Flaw.ball((500, 150, 100), 60, margin=5))
    fit = bf.largest(cuboid(100, 100, 200), block, stance=FIXED, stands_on="left")
    assert fit.verdict is bf.Verdict.FITS
    assert fit.kept_mm[0][1] >= 5 - 1e-3
    (flaw,) = fit.block.flaws
    assert flaw.centre[2] == pytest.approx(500)  # the right end is now up


def test_bad_flaws_raise():
    for wrong in (
        lambda: bf.Flaw.box((0, 0, 0), (0, 1, 1)),
        lambda: bf.Flaw.crack([[0, 0, 0], [1, 0, 0]]),
        lambda: bf.Flaw.crack([[0, 0, 0], [1, 0, 0], [2, 0, 0]]),
        lambda: bf.Flaw.disc((0, 0, 0), (0, 0, 0), 5),
        lambda: bf.Flaw.beyond((0, 0, 0), 5),
        lambda: bf.Flaw.ball((0, 0, float("nan")), 5),
        lambda: bf.Flaw.ball((0, 0, 0), -5),
    ):
        with pytest.raises(bf.BadValueError):
            wrong()


def test_flaws_that_leave_nothing_and_covers_that_leave_nothing():
    none = bf.largest(BRICK, BRICK_BLOCK.with_flaws(CRACK), cover=400, stance=bf.Stance.fixed())
    assert (none.verdict, none.placement) == (Verdict.CANNOT_FIT, None)
    deep = bf.safest(BRICK, BRICK_BLOCK.with_flaws(CRACK), scale=9, stance=bf.Stance.fixed())
    assert deep.verdict is Verdict.CANNOT_FIT
    assert deep.proof == "bound proved"
    everywhere = bf.Flaw.ball((150, 100, 125), 500)
    lost = bf.largest(BRICK, BRICK_BLOCK.with_flaws(everywhere), stance=bf.Stance.fixed())
    assert (lost.verdict, lost.placement, lost.scale, lost.scale_bound) == (Verdict.CANNOT_FIT, None, 0, 0)
    assert "one of the flaws named takes all" in str(bf.survey(lost, alternatives=False))
    assert bf.safest(BRICK, BRICK_BLOCK.with_flaws(everywhere), stance=bf.Stance.fixed()).verdict is Verdict.CANNOT_FIT
    assert "takes all" in str(bf.compare([BRICK], [BRICK_BLOCK.with_flaws(everywhere)], scale=1))


@pytest.mark.thorough
def test_what_is_not_found_is_not_answered_with_a_scale():
    """Bad stone on both sides, that leaves nothing between: no single flaw takes all."""
    halves = [bf.Flaw.beyond((1, 0, 0), 140), bf.Flaw.beyond((-1, 0, 0), -160)]
    lost = bf.largest(BRICK, BRICK_BLOCK.with_flaws(*halves), stance=bf.Stance.fixed())
    assert (lost.verdict, lost.proof) == (Verdict.UNDECIDED, "nothing found")
    assert (lost.placement, lost.scale) == (None, 0)
    words = str(bf.survey(lost, alternatives=False))
    assert "no place was found for it" in words
    assert "of full size" not in words.split("THE FIGURE AS READ")[0]
    bf.survey(lost).record()


def test_cracks_without_thickness_and_flaws_without_shape():
    with pytest.raises(bf.BlockfitError, match="has no shape"):
        bf.largest(BRICK, BRICK_BLOCK.with_flaws(bf.Flaw("void", "solid", 0.0)), stance=bf.Stance.fixed())
    flat = bf.Flaw(
        "sheet", "solid", 0.0, surface=bf.Figure.from_points([[9, 9, 9], [90, 9, 9], [9, 90, 9], [90, 90, 9]])
    )
    with pytest.raises(bf.BlockfitError, match="holds no space"):
        bf.largest(BRICK, BRICK_BLOCK.with_flaws(flat), stance=bf.Stance.fixed())


REFUSED = {
    "setback among flaws": (
        lambda: bf.safest(BRICK, BRICK_BLOCK.with_flaws(CRACK), scale=0.2, seek="setback"),
        "take the deepest cover",
    ),
    "a flaw that holds no space": (
        lambda: bf.largest(BRICK, BRICK_BLOCK.with_flaws(bf.Flaw.solid(cuboid(10, 10, 0)))),
        "a flaw needs a closed solid",
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])


def test_a_zone_beyond_the_block_is_in_nobodys_way():
    block = bf.Block.box(300, 200, 250)
    far = block.with_flaws(bf.Flaw.beyond((0, 0, 1), 5000, name="the next bed"))
    figure = cuboid(100, 100, 100)
    assert bf.largest(figure, far, stance=FIXED).scale == pytest.approx(2, rel=1e-4)
    fit = bf.safest(figure, block, stance=FIXED)
    assert bf.stage_of(fit, lost=far.flaws).volume_m3 == pytest.approx(block.volume_m3)

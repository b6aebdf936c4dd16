"""Two figures in one block: closed forms, exact solids, and bounds that no cut beats."""

import numpy as np
import pytest
from conftest import FIXED, ball, cuboid

import blockfit as bf
from blockfit.measure.booleans import solid_from

BOTH_FIXED = [FIXED, FIXED]


def checked(shared, block, kerf, covers):
    """What is said of both figures, by manifold3d and by their vertices."""
    one, other = (fit.solid() for fit in shared.fits)
    normal, offset = shared.cut.normal, shared.cut.offset_mm
    assert (one.vertices @ normal).max() <= offset - kerf - covers[0] + 1e-6
    assert (other.vertices @ normal).min() >= offset + covers[1] - 1e-6
    for figure, cover in ((one, covers[0]), (other, covers[1])):
        assert (block.sound_mm - cover - (figure.vertices @ block.normals.T).max(axis=0) >= -1e-6).all()
    solids = [solid_from(figure.vertices, figure.faces) for figure in (one, other)]
    assert solids[0].min_gap(solids[1], 5000) >= kerf + sum(covers) - 1e-6
    assert len(shared.cut.marks) >= 3


def test_two_boxes_side_by_side():
    """By hand: across 640, with a kerf of 10 and twice 5 of cover on both sides: (640 − 10 − 20)/(200 + 100)."""
    block = bf.Block.box(640, 300, 400, stone="marble")
    figures = [cuboid(200, 100, 100), cuboid(100, 100, 100)]
    shared = bf.share_block(figures, block, covers=5, kerf=10, stances=BOTH_FIXED)
    assert shared.scale == pytest.approx((640 - 10 - 20) / 300, rel=1e-3)
    assert shared.scale <= shared.scale_bound
    assert shared.cut.normal == pytest.approx([1, 0, 0], abs=1e-2) or shared.cut.normal == pytest.approx(
        [-1, 0, 0], abs=1e-2
    )
    checked(shared, block, 10, (5, 5))
    assert [fit.scale for fit in shared.fits] == pytest.approx([shared.scale] * 2)


def test_two_balls_in_a_cube():
    """By hand: corner to corner, √3 a = 2 (1 + √3) ρ + kerf + ... for balls that each touch three faces."""
    a, kerf = 1000, 20
    unit = ball(1.0, 2)
    shared = bf.share_block([unit, unit], bf.Block.box(a, a, a), kerf=kerf, stances=BOTH_FIXED)
    exact = (np.sqrt(3) * a - kerf) / (2 + 2 * np.sqrt(3))
    assert shared.scale >= exact * 0.995
    assert shared.scale <= exact * 1.05  # balls of few faces are smaller than balls
    assert shared.scale <= shared.scale_bound
    checked(shared, bf.Block.box(a, a, a), kerf, (0, 0))


def test_scales_that_are_given():
    block = bf.Block.box(640, 300, 400)
    figures = [cuboid(200, 100, 100), cuboid(100, 100, 100)]
    fits = bf.share_block(figures, block, scales=["1:2", 1.5], kerf=10, stances=BOTH_FIXED)
    assert fits.verdict is bf.Verdict.FITS
    assert [fit.scale for fit in fits.fits] == pytest.approx([2, 1.5])
    checked(fits, block, 10, (0, 0))
    large = bf.share_block(figures, block, scales=[5, 1], stances=BOTH_FIXED)
    assert (large.verdict, large.fits) == (bf.Verdict.CANNOT_FIT, ())
    assert large.scale_bound < 1
    for asked, words in (
        ({"scales": [1]}, "each of the two"),
        ({"covers": (1, 2, 3)}, "one length"),
        ({"kerf": -1}, "negative"),
    ):
        with pytest.raises(bf.BadValueError, match=words):
            bf.share_block(figures, block, **asked)
    with pytest.raises(bf.BadValueError, match="two figures"):
        bf.share_block(figures[:1], block)


@pytest.mark.slow
def test_unlike_figures_in_a_wedge(kneeling):
    wedge = bf.Block.convex([[0, 0, 0], [900, 0, 0], [0, 700, 0], [900, 700, 0], [0, 0, 900], [700, 0, 900]])
    stances = [bf.Stance.upright(), bf.Stance.upright(45)]
    shared = bf.share_block([kneeling, cuboid(500, 700, 400)], wedge, covers=(10, 4), kerf="12 mm", stances=stances)
    assert 0 < shared.scale <= shared.scale_bound
    checked(shared, wedge, 12, (10, 4))
    assert abs(shared.fits[0].placement.tilt_deg) < 1e-9


def test_worth_by_hand():
    fit = bf.safest(cuboid(200, 300, 600), bf.Block.box(900, 300, 600, stone="marble"), scale=1, stance=FIXED)
    plan = bf.offcuts(fit, kerf=10, reserve=0, clearance=10)
    told = bf.worth(plan, price_m3=[(0.03, 500), (0.1, 800)], sawing_m2=50, rate_hour=40, hours_piece=0.25, hours_m2=2)
    net = 0.0
    for piece, row in zip(plan.pieces, told.pieces, strict=True):
        sawn = sum(cut.area_m2 for cut in piece.cuts)
        price = 800 if piece.volume_m3 >= 0.1 else 500 if piece.volume_m3 >= 0.03 else 0
        net += piece.volume_m3 * price - 50 * sawn - 40 * (0.25 + 2 * sawn)
        assert row.net_so_far == pytest.approx(net)
    assert told.net == pytest.approx(net)
    assert told.best == max(0.0, *(row.net_so_far for row in told.pieces))
    assert bf.worth(plan, price_m3=0, sawing_m2=50).stop_after == 0
    with pytest.raises(bf.BadValueError, match="price"):
        bf.worth(plan, price_m3=-1)


@pytest.mark.slow
def test_any_turn_of_both():
    """A free pair is at least as large as the same pair with their turns fixed."""
    figures = [cuboid(200, 120, 100), cuboid(100, 150, 260)]
    block = bf.Block.box(640, 300, 400)
    free = bf.share_block(figures, block, kerf=10)
    assert free.scale >= bf.share_block(figures, block, kerf=10, stances=BOTH_FIXED).scale * 0.999
    checked(free, block, 10, (0, 0))


def test_that_nothing_was_found_is_no_proof():
    """A kerf as long as the block's diagonal: the bound is a little above 0, so it is undecided."""
    cubes = [cuboid(100, 100, 100)] * 2
    shared = bf.share_block(cubes, bf.Block.box(100, 100, 100), kerf=173.2)
    assert not shared.fits
    assert (shared.verdict is bf.Verdict.CANNOT_FIT) == (shared.scale_bound <= 0)

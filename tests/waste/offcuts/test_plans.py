"""Plans of offcuts by known answers: crosses, pyramids, reserve and what is left standing."""

import math

import numpy as np
import pytest
from conftest import FIXED, around, assert_refused, brick_fit, cross, cuboid, united, upright_slab
from scipy.spatial import ConvexHull

import blockfit as bf
from blockfit.measure.booleans import solid_from


def pyramid():
    corners = [[0, 0, 0], [800, 0, 0], [800, 800, 0], [0, 800, 0], [400, 400, 1000]]
    faces = [[0, 2, 1], [0, 3, 2], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]
    return bf.Figure(corners, faces)


@pytest.mark.in_full
@pytest.mark.thorough
def test_a_cross_gives_four_rebates():
    fit = bf.safest(cross(), bf.Block.box(1000, 200, 1000, stone="marble"), stance=FIXED)
    plan = bf.offcuts(fit, clearance=20, kerf=0)
    assert [piece.kind for piece in plan.pieces] == ["rebate"] * 4
    assert [piece.volume_m3 for piece in plan.pieces] == pytest.approx([0.38 * 0.38 * 0.2] * 4, rel=1e-6)


@pytest.mark.thorough
def test_a_pyramid_is_served_by_slanted_cuts():
    fit = around(pyramid(), 30)
    free, square = (bf.offcuts(fit, kerf=0, cuts=kind, compare=False) for kind in ("any", "square"))
    assert free.recovered > square.recovered + 0.1
    assert all(np.abs(cut.normal).max() == 1 for piece in square.pieces for cut in piece.cuts)


def test_rectangular_pieces_are_boxes(kneeling):
    plan = bf.offcuts(around(kneeling, 60), kerf=5, cuts="square", compare=False, most_pieces=3)
    assert plan.pieces
    for piece in plan.pieces:
        assert piece.volume_m3 == pytest.approx(math.prod(piece.size_mm) * 1e-9, rel=1e-6)
        assert piece.box_mm == pytest.approx(piece.size_mm, rel=1e-3)


def test_the_reserve_is_kept_until_the_front_is_finished():
    fit = upright_slab()
    assert bf.setback(fit).back_mm == pytest.approx(500)
    plan = bf.offcuts(fit, clearance=20, kerf=10, reserve=150)
    early = [piece for piece in plan.pieces if piece.stage == "before carving"]
    late = [piece for piece in plan.pieces if piece.stage == "once the front is finished"]
    assert early
    assert late
    assert plan.pieces == (*early, *late)
    # By hand: the back of the slab, the reserve, clearance and kerf.
    assert min(piece.solid.vertices[:, 1].min() for piece in early) == pytest.approx(100 + 150 + 20 + 10)
    assert early[-1].setback_mm == pytest.approx(150, abs=1e-9)
    assert late[-1].setback_mm == pytest.approx(0, abs=1e-9)


@pytest.mark.thorough
def test_no_early_piece_meets_the_swept_figure(kneeling):
    width, depth, height = kneeling.size_mm
    block = bf.Block.box(width + 60, depth + 210, height + 60, stone="marble")
    fit = bf.safest(kneeling, block, stance=bf.Stance.upright(0), cover={"bottom": 0, "other": 1}, seek="setback")
    plan = bf.offcuts(fit, kerf=12, lift_limit_kg=300, reserve=100, most_pieces=8)
    assert sum(piece.stage == "before carving" for piece in plan.pieces) >= 4
    for step in (0, 25, 50, 75, 100):  # manifold3d's own common volume, at steps of the way
        figure = fit.solid()
        moved = solid_from(figure.vertices + np.array([0, step, 0]), figure.faces)
        for piece in plan.pieces:
            if piece.stage == "before carving":
                assert (moved ^ solid_from(piece.solid.vertices, piece.solid.faces)).volume() < 1
                assert piece.setback_mm >= 100 - 1e-6


@pytest.fixture(scope="module")
def bracket():
    """A figure that stands on a narrow foot, off the plumb, once the stone under its arm is gone."""
    leaning = united(cuboid(200, 300, 700), cuboid(900, 300, 300, at=(0, 0, 700)))
    return bf.safest(leaning, bf.Block.box(900, 300, 1000, stone="marble"), stance=FIXED)


@pytest.mark.parametrize("pieces", [1, 2, None])
def test_what_makes_the_rest_fall_comes_last(bracket, pieces):
    """The figure does not stand by itself: with all its waste gone, nothing would make it stand."""
    plan = bf.offcuts(bracket, clearance=0, kerf=0, most_pieces=pieces)
    assert plan.recovered > 0.4
    steady = plan.pieces if pieces == 1 else plan.pieces[:-1]
    assert all(piece.left_stands.stands and piece.left_stands.weakest_deg > 4 for piece in steady)


@pytest.mark.thorough
def test_what_is_left_may_not_stand(bracket):
    asked = {"clearance": 0, "kerf": 0, "holds": (690, 290, 690)}  # no less than all the stone under the arm
    fit, plan = bracket, bf.offcuts(bracket, most_pieces=1, **asked)
    (piece,) = plan.pieces
    # By hand: foot 200 x 700 about x = 100, crown 900 x 300 about x = 450.
    x = (200 * 700 * 100 + 900 * 300 * 450) / (200 * 700 + 900 * 300)
    z = (200 * 700 * 350 + 900 * 300 * 850) / (200 * 700 + 900 * 300)
    assert not piece.left_stands.stands
    assert piece.left_stands.weakest == "right"
    assert piece.left_stands.margin_mm == pytest.approx(200 - x, abs=0.01)
    assert piece.left_stands.centre_mm == pytest.approx([x, 150, z], abs=0.01)
    assert "WHICH DOES NOT STAND" in str(bf.survey(fit, plan=plan, alternatives=False))


@pytest.fixture(scope="module")
def four_pieces(kneeling):
    return bf.offcuts(around(kneeling, 60), kerf=5, most_pieces=4)


def test_fewer_pieces_or_more_stone(four_pieces, kneeling):
    plan = four_pieces
    steps = plan.trade_off
    assert [step.pieces for step in steps] == list(range(1, len(plan.pieces) + 1))
    assert steps[-1].recovered == pytest.approx(plan.recovered)
    assert steps[-1].sawn_m2 == pytest.approx(plan.sawn_m2)
    fewer = bf.offcuts(around(kneeling, 60), kerf=5, most_pieces=2)  # the best two are not the first two of four
    assert fewer.recovered >= steps[1].recovered - 1e-9


def test_outlines_have_the_sawn_area_and_the_box_fits(four_pieces):
    for piece in four_pieces.pieces:
        for cut in piece.cuts:
            middle = cut.outline.mean(axis=0)
            area = sum(
                np.linalg.norm(np.cross(cut.outline[k - 1] - middle, cut.outline[k] - middle)) / 2
                for k in range(len(cut.outline))
            )
            assert area * 1e-6 >= cut.area_m2 * (1 - 1e-3) - 1e-5
        assert math.prod(piece.box_mm) * 1e-9 < piece.volume_m3 * (1 + 1e-9)
        assert math.prod(piece.box_mm) >= 0.15 * ConvexHull(piece.solid.vertices).volume


@pytest.mark.thorough
def test_too_light_parts_are_told():
    figure = cuboid(300, 100, 1000)
    fit = bf.largest(figure, bf.Block.box(300, 200, 1000, stone="marble"), stance=FIXED, scales=(0, 1))
    plan = bf.offcuts(fit, clearance=0, kerf=0, lift_limit_kg=60, least_weight_kg=35)
    gone = sum(piece.volume_m3 for piece in plan.pieces) + plan.too_light_m3
    assert gone + plan.left.volume_m3 == pytest.approx(fit.block.volume_m3, rel=1e-6)


@pytest.mark.parametrize(
    "wrong",
    [
        {"kerf": 5, "methods": [bf.Method("saw")]},
        {"methods": []},
        {"methods": ["saw"]},
        {"reserve": -1},
        {"most_pieces": -1},
    ],
)
def test_bad_plans_raise(wrong):
    with pytest.raises(bf.BadValueError):
        bf.offcuts(upright_slab(), **wrong)


def slope():
    """A block that falls from 500 to nothing over its 1,000, a small figure at its high end."""
    ends = [[x, y, z] for y in (0, 400) for x, z in ((0, 0), (1000, 0), (0, 500))]
    block = bf.Block.convex(ends, stone="marble")
    return bf.largest(cuboid(120, 120, 120), block, stance=FIXED, scales=(0, 1))


@pytest.mark.parametrize("most_pieces", [1, 2, 3])
def test_what_is_beyond_the_pieces_asked_for_stays_in_the_stone(most_pieces):
    """A wedge that is divided to be lifted: nothing is gone but the pieces and their kerfs, nothing called light."""
    fit = upright_slab()
    plan = bf.offcuts(fit, clearance=20, kerf=10, reserve=0, lift_limit_kg=60, most_pieces=most_pieces)
    assert len(plan.pieces) == most_pieces
    assert plan.too_light_m3 == 0
    assert plan.left.volume_m3 == pytest.approx(plan.pieces[-1].left_m3, rel=1e-12)
    gone = fit.block.volume_m3 - plan.left.volume_m3 - plan.volume_m3
    assert 0 < gone < 0.011 * plan.sawn_m2  # kerfs of 10 mm, with a tenth for where they cross


def test_parts_are_numbered_in_order_and_too_light_ones_go_with_the_chips():
    plan = bf.offcuts(slope(), clearance=5, kerf=5, lift_limit_kg=60, least_weight_kg=20)
    assert [piece.solid.name for piece in plan.pieces] == [f"offcut {k}" for k in range(1, len(plan.pieces) + 1)]
    assert len(plan.pieces) > 3
    assert plan.too_light_m3 > 0
    density = bf.STONES["marble"].density_kg_m3
    assert all(20 * 0.95 <= piece.volume_m3 * density <= 60 for piece in plan.pieces)


@pytest.mark.thorough
def test_shares_ranges_and_the_weight_of_unnamed_stone():
    fit = upright_slab(depth=225)
    plan = bf.offcuts(fit, clearance=0, kerf=5, lift_limit_kg=100)
    (piece,) = plan.pieces
    # 400 x 120 x 600 behind a kerf of 5: 28.8 l of the 30 l of waste.
    assert plan.trade_off[0].recovered == pytest.approx(120 / 125, rel=1e-6)
    low, high = piece.weight_range_kg
    marble = bf.STONES["marble"]
    assert (low, high) == pytest.approx((0.0288 * marble.low_kg_m3, 0.0288 * marble.high_kg_m3), rel=1e-6)
    # Stone without a name counts 2,700 kg/m³: 77.8 kg, which 75 kg of hoist divide and 80 kg do not.
    bare = bf.largest(fit.figure, bf.Block.box(400, 225, 600), stance=FIXED, scales=(0, 1))
    counts = [len(bf.offcuts(bare, clearance=0, kerf=5, lift_limit_kg=limit).pieces) for limit in (75, 80)]
    assert counts == [2, 1]


REFUSED = {
    "a lift limit below 0": (lambda: bf.offcuts(brick_fit(), lift_limit_kg=-5), "lift_limit"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])

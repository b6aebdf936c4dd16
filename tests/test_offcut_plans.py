"""Offcuts by known answers: crosses, pyramids, reserve, methods; and what stays on the banker, by statics."""

import math

import numpy as np
import pytest
from conftest import cuboid
from scipy.spatial import ConvexHull
from test_waste import around, united

import blockfit as bf
from blockfit.measure.booleans import solid_from
from blockfit.waste.offcuts.sweep import free_travel, swept
from blockfit.waste.standing.weight import hours
from blockfit.waste.statics import balance

FIXED = bf.Stance.fixed()


def cross():
    """An upright cross, 200 thick: four equal empty corners."""
    return united(cuboid(200, 200, 1000, at=(400, 0, 0)), cuboid(1000, 200, 200, at=(0, 0, 400)))


def pyramid():
    corners = [[0, 0, 0], [800, 0, 0], [800, 800, 0], [0, 800, 0], [400, 400, 1000]]
    faces = [[0, 2, 1], [0, 3, 2], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]
    return bf.Figure(corners, faces)


def upright_slab(depth=600):
    """A slab at the front of a deeper block: all the stone behind it is reserve."""
    figure = cuboid(400, 100, 600)
    block = bf.Block.box(400, depth, 600, stone="marble")
    return bf.largest(figure, block, stance=FIXED, scales=(0, 1))


def test_a_cross_gives_four_rebates():
    fit = bf.safest(cross(), bf.Block.box(1000, 200, 1000, stone="marble"), stance=FIXED)
    plan = bf.offcuts(fit, clearance=20, kerf=0)
    assert [piece.kind for piece in plan.pieces] == ["rebate"] * 4
    assert [piece.volume_m3 for piece in plan.pieces] == pytest.approx([0.38 * 0.38 * 0.2] * 4, rel=1e-6)


def test_a_pyramid_is_served_by_slanted_cuts():
    fit = around(pyramid(), 30)
    free, square = (bf.offcuts(fit, kerf=0, rectangular=only) for only in (False, True))
    assert free.recovered > square.recovered + 0.1
    assert all(np.abs(cut.normal).max() == 1 for piece in square.pieces for cut in piece.cuts)


def test_rectangular_pieces_are_boxes(kneeling):
    plan = bf.offcuts(around(kneeling, 60), kerf=5, rectangular=True, most_pieces=3)
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


@pytest.mark.parametrize("by", [[0, 70, 0], [30, 40, -20]])
def test_the_swept_figure_reaches_as_far_as_its_copies(kneeling, by):
    by = np.array(by, float)
    vertices, _ = swept(kneeling.vertices, kneeling.faces, by)
    copies = np.concatenate([kneeling.vertices + t * by for t in np.linspace(0, 1, 5)])
    for direction in np.random.default_rng(1).normal(size=(20, 3)):
        assert (vertices @ direction).max() == pytest.approx((copies @ direction).max(), rel=1e-12)


def test_travel_towards_a_corner_that_was_taken():
    """A cube of 100 moving back under a hollow that begins at y = 300 and z = 60, and beside one it never meets."""
    cube = cuboid(100, 100, 100)
    normals, along = np.array([[0, 1.0, 0], [0, 0, 1]]), np.array([0, 1.0, 0])
    assert free_travel(cube.vertices, cube.faces, along, normals, np.array([300.0, 60]), 900) == pytest.approx(200)
    assert free_travel(cube.vertices, cube.faces, along, normals, np.array([300.0, 101]), 900) == 900


def test_methods_by_kind_and_depth():
    """A rebate deeper than the disc reaches goes to the drill; a corner only to what works blind."""
    fit = bf.safest(cross(), bf.Block.box(1000, 200, 1000, stone="marble"), stance=FIXED)
    disc = bf.Method("disc", kerf_mm=6, depth_mm=150, makes=2)
    drill = bf.Method("drill and wedges", kerf_mm=30, drift_mm=10, makes=2)
    plan = bf.offcuts(fit, clearance=20, methods=[disc, drill])
    assert {cut.method for piece in plan.pieces for cut in piece.cuts} == {"drill and wedges"}
    assert plan.pieces[0].volume_m3 == pytest.approx((0.4 - 0.06) ** 2 * 0.2, rel=1e-6)
    deep = bf.offcuts(fit, clearance=20, methods=[bf.Method("disc", kerf_mm=6, depth_mm=400, makes=2), drill])
    assert {cut.method for piece in deep.pieces for cut in piece.cuts} == {"disc"}
    assert deep.pieces[0].volume_m3 == pytest.approx((0.4 - 0.026) ** 2 * 0.2, rel=1e-6)
    sawn = bf.offcuts(fit, methods=[bf.Method("through saw")])  # which cannot stop at a line
    assert {piece.kind for piece in sawn.pieces} == {"through cut"}


def test_a_corner_needs_what_can_work_blind(kneeling):
    fit = around(kneeling, 60)
    plan = bf.offcuts(fit, most_cuts=3, most_pieces=4)
    makers = {method.name: method.makes for method in bf.METHODS}
    assert all(makers[cut.method] >= len(piece.cuts) for piece in plan.pieces for cut in piece.cuts)


def test_opposed_cuts_leave_a_web():
    fit = upright_slab()
    disc = bf.Method("disc", kerf_mm=6, depth_mm=220, makes=2, opposed=True)
    (piece,) = bf.offcuts(fit, methods=[disc], web=50, most_pieces=1).pieces
    # The cut is 400 x 600: from both sides across its 400, and the strip that is left runs along its 600.
    assert piece.cuts[0].depth_mm == pytest.approx(400)
    assert piece.web.area_m2 == pytest.approx(0.05 * 0.6, rel=1e-9)
    assert piece.web.outline[:, 1] == pytest.approx(np.full(len(piece.web.outline), piece.cuts[0].offset_mm))


def test_what_is_left_may_not_stand():
    """A figure like a bracket: once the stone under its arm is gone it stands on a narrow foot, off the plumb."""
    leaning = united(cuboid(200, 300, 700), cuboid(900, 300, 300, at=(0, 0, 700)))
    fit = bf.safest(leaning, bf.Block.box(900, 300, 1000, stone="marble"), stance=FIXED)
    plan = bf.offcuts(fit, clearance=0, kerf=0, most_pieces=1)
    (piece,) = plan.pieces
    # By hand: foot 200 x 700 about x = 100, crown 900 x 300 about x = 450.
    x = (200 * 700 * 100 + 900 * 300 * 450) / (200 * 700 + 900 * 300)
    z = (200 * 700 * 350 + 900 * 300 * 850) / (200 * 700 + 900 * 300)
    assert not piece.left_stands.stands
    assert piece.left_stands.weakest == "right"
    assert piece.left_stands.margin_mm == pytest.approx(200 - x, abs=0.01)
    assert piece.left_stands.centre_mm == pytest.approx([x, 150, z], abs=0.01)
    assert "WHICH DOES NOT STAND" in str(bf.survey(fit, clearance=0, kerf=0, alternatives=False))


def test_tipping_by_the_textbook():
    """Wolfson, Essential University Physics, ch. 12 no. 48: a base half as wide as the height tips at 26.56°."""
    corners = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], float)
    stands = balance(np.array([0.5, 0.5, 1.0]), corners)
    assert stands.weakest_deg == pytest.approx(26.565, abs=1e-3)
    assert stands.margin_mm == 0.5
    assert not balance(np.array([1.1, 0.5, 1.0]), corners).stands
    assert not balance(np.array([0.5, 0.0, 1.0]), corners[:2]).stands  # on an edge nothing stands


def test_fewer_pieces_or_more_stone(kneeling):
    plan = bf.offcuts(around(kneeling, 60), kerf=5)
    steps = plan.trade_off
    assert [step.pieces for step in steps] == list(range(1, len(plan.pieces) + 1))
    assert steps[-1].recovered == pytest.approx(plan.recovered)
    assert steps[-1].sawn_m2 == pytest.approx(plan.sawn_m2)
    fewer = bf.offcuts(around(kneeling, 60), kerf=5, most_pieces=2)
    assert fewer.recovered == pytest.approx(steps[1].recovered)


def test_outlines_have_the_sawn_area_and_the_box_fits(kneeling):
    plan = bf.offcuts(around(kneeling, 60), kerf=5, most_pieces=4)
    for piece in plan.pieces:
        for cut in piece.cuts:
            middle = cut.outline.mean(axis=0)
            area = sum(
                np.linalg.norm(np.cross(cut.outline[k - 1] - middle, cut.outline[k] - middle)) / 2
                for k in range(len(cut.outline))
            )
            assert area * 1e-6 >= cut.area_m2 * (1 - 1e-3) - 1e-5
        assert math.prod(piece.box_mm) * 1e-9 < piece.volume_m3 * (1 + 1e-9)
        assert math.prod(piece.box_mm) >= 0.15 * ConvexHull(piece.solid.vertices).volume


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


def test_bad_methods_raise():
    for wrong in ({"kerf_mm": -1}, {"makes": 4}, {"depth_mm": 0}, {"drift_mm": float("nan")}):
        with pytest.raises(bf.BadValueError):
            bf.Method("saw", **wrong)


# ---- weights ----


def test_the_parts_sum_to_the_block_and_the_skin_is_counted_once(kneeling):
    block = bf.Block.box(900, 800, 1500, stone="marble", skin=30)
    fit = bf.safest(kneeling, block, scale=0.4, cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(30))
    bare, planned = bf.weights(fit), bf.weights(fit, bf.offcuts(fit, kerf=10))
    for weight in (bare, planned):
        assert sum(volume for _, volume in weight.parts_m3) == pytest.approx(block.volume_m3, rel=1e-9)
        assert sum(kg for _, kg in weight.parts_kg) == pytest.approx(weight.block_kg, rel=1e-9)
        assert all(volume >= 0 for _, volume in weight.parts_m3)
    skin = 0.9 * 0.8 * 1.5 - 0.84 * 0.74 * 1.44
    assert bare.skin_m3 == pytest.approx(skin, rel=1e-9)
    assert planned.skin_m3 < skin


def test_wet_stone_and_pounds():
    stone = bf.Stone("our sandstone", 2200, 2100, 2300, water_absorption=0.05)
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(200, 200, 200, stone=stone), stance=FIXED, scales=(0, 1))
    assert bf.weights(fit).wet == pytest.approx(1.05)
    assert bf.weights(fit, water_absorption=0.02).wet == pytest.approx(1.02)
    with pytest.raises(bf.BadValueError):
        bf.weights(fit, water_absorption=5)
    told = str(bf.survey(fit, pounds=True, alternatives=False))
    # 0.008 m3 x 2200 kg/m3 = 17.6 kg; 1 lb = 0.45359237 kg exactly (international pound, 1959)
    assert "39 lb" in told
    assert "Soaked" in told


def test_allowances_are_area_times_thickness():
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(200, 200, 200, stone="marble"), stance=FIXED, scales=(0, 1))
    (point,) = bf.weights(fit, allowances={"point": "12 mm"}).allowances
    assert point.over_m3 == pytest.approx(6 * 0.01 * 0.012)
    assert point.over_kg == pytest.approx(6 * 0.01 * 0.012 * 2700)


def test_hours_only_from_the_users_rates():
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(200, 200, 200, stone="marble"), stance=FIXED, scales=(0, 1))
    weight = bf.weights(fit)
    told = dict(hours(weight, {"beside it": 5, "other": 10}, finishing_m2_per_hour=0.02, area_m2=0.06))
    removed = {stage.name: stage.removed_kg for stage in weight.stages}
    assert told["beside it"] == pytest.approx(removed["beside it"] / 5)
    assert told["behind it"] == pytest.approx(removed["behind it"] / 10)
    assert told["finishing"] == pytest.approx(3)
    assert hours(weight, {}) == ()
    for wrong in ({"polishing": 1}, {"beside it": 0}):
        with pytest.raises(bf.BadValueError):
            hours(weight, wrong)


def slope():
    """A block that falls from 500 to nothing over its 1,000, a small figure at its high end."""
    ends = [[x, y, z] for y in (0, 400) for x, z in ((0, 0), (1000, 0), (0, 500))]
    block = bf.Block.convex(ends, stone="marble")
    return bf.largest(cuboid(120, 120, 120), block, stance=FIXED, scales=(0, 1))


def test_parts_are_numbered_in_order_and_too_light_ones_go_with_the_chips():
    plan = bf.offcuts(slope(), clearance=5, kerf=5, lift_limit_kg=60, least_weight_kg=20)
    assert [piece.solid.name for piece in plan.pieces] == [f"offcut {k}" for k in range(1, len(plan.pieces) + 1)]
    assert len(plan.pieces) > 3
    assert plan.too_light_m3 > 0
    density = bf.STONES["marble"].density_kg_m3
    assert all(20 * 0.95 <= piece.volume_m3 * density <= 60 for piece in plan.pieces)


def test_a_cut_of_three_corners_leaves_a_web_too():
    block = slope().block
    fit = bf.largest(cuboid(300, 100, 300), block, stance=FIXED, scales=(0, 1))
    disc = bf.Method("disc", kerf_mm=6, depth_mm=600, makes=2, opposed=True)
    plan = bf.offcuts(fit, clearance=5, methods=[disc], web=50, most_cuts=1, reserve=0)
    behind = [piece for piece in plan.pieces if len(piece.cuts[0].outline) == 3]
    assert behind
    # Along the longer way of a triangle of 1,000 x 500, the strip through its middle is some 50 x 600.
    assert 0.02 < behind[0].web.area_m2 < 0.05


def test_a_piece_is_divided_by_what_reaches_across_its_least_side():
    # Behind the slab lies a piece of 400 x 480 x 600: what reaches 450 divides it across its 400.
    chisel = bf.Method("chisel", kerf_mm=20, depth_mm=450, makes=2)
    plan = bf.offcuts(upright_slab(), clearance=0, methods=[chisel], lift_limit_kg=150)
    assert len(plan.pieces) > 1
    assert all(piece.volume_m3 * 2750 < 155 for piece in plan.pieces)


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


def test_only_through_cuts_from_both_sides_are_opposed():
    fit = bf.safest(cross(), bf.Block.box(1000, 200, 1000, stone="marble"), stance=FIXED)
    disc = bf.Method("disc", kerf_mm=6, depth_mm=500, makes=2, opposed=True)
    rebates = bf.offcuts(fit, clearance=5, methods=[disc], least_thickness=50).pieces
    assert [len(piece.cuts) for piece in rebates] == [2, 2, 2, 2]
    assert not any(cut.opposed or piece.web for piece in rebates for cut in piece.cuts)
    (one,) = bf.offcuts(upright_slab(), methods=[bf.Method("saw")], most_pieces=1).pieces
    assert not one.cuts[0].opposed


def test_the_cuts_of_divided_parts_together_saw_the_whole_face():
    plan = bf.offcuts(upright_slab(), clearance=0, kerf=0, lift_limit_kg=100)
    assert len(plan.pieces) > 2
    behind = [cut.area_m2 for piece in plan.pieces for cut in piece.cuts if abs(cut.normal[1]) > 0.99]
    assert sum(behind) == pytest.approx(0.4 * 0.6, rel=1e-3)

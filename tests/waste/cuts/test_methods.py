"""What makes a cut: depth, kerf, webs, and what can stop in stone."""

import manifold3d
import numpy as np
import pytest
from conftest import FIXED, around, cross, cuboid, figure_of, slow_after, upright_slab

import blockfit as bf


def test_methods_by_kind_and_depth():
    """A rebate deeper than the disc reaches goes to the drill; a corner only to what works blind."""
    fit = bf.safest(cross(), bf.Block.box(1000, 200, 1000, stone="marble"), stance=FIXED)
    disc = bf.Method("disc", kerf_mm=6, depth_mm=150, makes=2)
    drill = bf.Method("drill and wedges", kerf_mm=30, drift_mm=10, makes=2)
    plan = bf.offcuts(fit, clearance=20, methods=[disc, drill], most_pieces=2)  # its four corners are alike
    assert {cut.method for piece in plan.pieces for cut in piece.cuts} == {"drill and wedges"}
    assert plan.pieces[0].volume_m3 == pytest.approx((0.4 - 0.06) ** 2 * 0.2, rel=1e-6)
    deep = bf.offcuts(
        fit, clearance=20, methods=[bf.Method("disc", kerf_mm=6, depth_mm=400, makes=2), drill], most_pieces=2
    )
    assert {cut.method for piece in deep.pieces for cut in piece.cuts} == {"disc"}
    assert deep.pieces[0].volume_m3 == pytest.approx((0.4 - 0.026) ** 2 * 0.2, rel=1e-6)
    sawn = bf.offcuts(fit, methods=[bf.Method("through saw")], most_pieces=2)  # which cannot stop at a line
    assert {piece.kind for piece in sawn.pieces} == {"through cut"}


def test_a_corner_needs_what_can_work_blind(kneeling):
    fit = around(kneeling, 60)
    plan = bf.offcuts(fit, most_cuts=3, most_pieces=4)
    makers = {method.name: method.makes for method in bf.METHODS}
    assert all(makers[cut.method] >= len(piece.cuts) for piece in plan.pieces for cut in piece.cuts)


@pytest.mark.thorough
def test_opposed_cuts_leave_a_web():
    fit = upright_slab()
    disc = bf.Method("disc", kerf_mm=6, depth_mm=220, makes=2, opposed=True)
    (piece,) = bf.offcuts(fit, methods=[disc], web=50, most_pieces=1).pieces
    # The cut is 400 x 600: from both sides across its 400, and the strip that is left runs along its 600.
    assert piece.cuts[0].depth_mm == pytest.approx(400)
    assert piece.web.area_m2 == pytest.approx(0.05 * 0.6, rel=1e-9)
    assert piece.web.outline[:, 1] == pytest.approx(np.full(len(piece.web.outline), piece.cuts[0].offset_mm))


def test_bad_methods_raise():
    for wrong in ({"kerf_mm": -1}, {"makes": 4}, {"depth_mm": 0}, {"drift_mm": float("nan")}):
        with pytest.raises(bf.BadValueError):
            bf.Method("saw", **wrong)


def slope():
    """A block that falls from 500 to nothing over its 1,000, a small figure at its high end."""
    ends = [[x, y, z] for y in (0, 400) for x, z in ((0, 0), (1000, 0), (0, 500))]
    block = bf.Block.convex(ends, stone="marble")
    return bf.largest(cuboid(120, 120, 120), block, stance=FIXED, scales=(0, 1))


def test_a_cut_of_three_corners_leaves_a_web_too():
    block = slope().block
    fit = bf.largest(cuboid(300, 100, 300), block, stance=FIXED, scales=(0, 1))
    disc = bf.Method("disc", kerf_mm=6, depth_mm=600, makes=2, opposed=True)
    plan = bf.offcuts(fit, clearance=5, methods=[disc], web=50, most_cuts=1, most_pieces=1, reserve=0)
    behind = [piece for piece in plan.pieces if len(piece.cuts[0].outline) == 3]
    assert behind
    # Along the longer way of a triangle of 1,000 x 500, the strip through its middle is some 50 x 600.
    assert 0.02 < behind[0].web.area_m2 < 0.05


@pytest.mark.thorough
def test_a_piece_is_divided_by_what_reaches_across_its_least_side():
    # Behind the slab lies a piece of 400 x 480 x 600: what reaches 450 divides it across its 400.
    chisel = bf.Method("chisel", kerf_mm=20, depth_mm=450, makes=2)
    plan = bf.offcuts(upright_slab(), clearance=0, methods=[chisel], lift_limit_kg=150)
    assert len(plan.pieces) > 1
    assert all(piece.volume_m3 * 2750 < 155 for piece in plan.pieces)


@pytest.mark.thorough
def test_only_through_cuts_from_both_sides_are_opposed():
    fit = bf.safest(cross(), bf.Block.box(1000, 200, 1000, stone="marble"), stance=FIXED)
    disc = bf.Method("disc", kerf_mm=6, depth_mm=500, makes=2, opposed=True)
    rebates = bf.offcuts(fit, clearance=5, methods=[disc], least_thickness=50, most_pieces=2).pieces
    assert [len(piece.cuts) for piece in rebates] == [2, 2]
    assert not any(cut.opposed or piece.web for piece in rebates for cut in piece.cuts)
    (one,) = bf.offcuts(upright_slab(), methods=[bf.Method("saw")], most_pieces=1).pieces
    assert not one.cuts[0].opposed


@pytest.mark.thorough
def test_the_cuts_of_divided_parts_together_saw_the_whole_face():
    plan = bf.offcuts(upright_slab(), clearance=0, kerf=0, lift_limit_kg=100)
    assert len(plan.pieces) > 2
    behind = [cut.area_m2 for piece in plan.pieces for cut in piece.cuts if abs(cut.normal[1]) > 0.99]
    assert sum(behind) == pytest.approx(0.4 * 0.6, rel=1e-3)


@pytest.mark.parametrize("limit", slow_after(1, [400, 150, 100]))
@pytest.mark.thorough
def test_every_cut_of_a_divided_piece_can_stop_in_stone(limit):
    """Named by issue of work: a saw that must pass through is never asked to stop; depths and order are printed."""
    fit = bf.largest(
        figure_of(manifold3d.Manifold.sphere(250, 64)), bf.Block.box(1200, 700, 700, stone="marble"), stance=FIXED,
        scales=(0, 1), cover=20,
    )  # fmt: skip
    through = {method.name for method in bf.METHODS if method.makes == 1}
    plan = bf.offcuts(fit, lift_limit_kg=limit)
    assert plan.pieces
    for piece in plan.pieces:
        if piece.kind.endswith("divided") or len(piece.cuts) > 1:
            assert not through & {cut.method for cut in piece.cuts}
        deepest = {method.name: method.depth_mm * (2 if method.opposed else 1) for method in bf.METHODS}
        assert all(cut.depth_mm <= deepest[cut.method] for cut in piece.cuts)

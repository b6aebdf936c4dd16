"""Cover, undercuts, offcuts, weights and setback against formulas and exact solids."""

import numpy as np
import pytest
from conftest import SHARED, ball, cuboid, joined, needs_meshes, torus
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

import blockfit as bf
from blockfit.intake.scan import repaired
from blockfit.measure.booleans import arrays_of, gap_between, solid_from
from blockfit.measure.views import face_view
from blockfit.waste.offcuts.clipping import reach_beyond
from blockfit.waste.reach.sight import elements_of, reached

FIXED = bf.Stance.fixed()


def around(figure, margin=50.0, stone="marble"):
    """The figure as it stands, in a box that is larger by ``margin`` on every side."""
    width, depth, height = (side + 2 * margin for side in figure.size_mm)
    block = bf.Block.box(width, depth, height, stone=stone)
    return bf.safest(figure, block, stance=FIXED, cover=margin * (1 - 1e-9))


def united(*figures):
    mesh = joined(*figures)
    vertices, faces, _ = repaired(mesh.vertices, mesh.faces)
    return bf.Figure(vertices, faces)


def mushroom():
    return united(cuboid(100, 100, 300, at=(100, 100, 0)), cuboid(300, 300, 100, at=(0, 0, 300)))


def test_cover_of_a_box_by_hand():
    fit = bf.largest(
        cuboid(100, 100, 100), bf.Block.box(140, 300, 250, skin=5), cover={"bottom": 0, "other": 15}, stance=FIXED
    )
    assert fit.scale == 1.0
    cover = bf.stone_cover(fit)
    assert cover.by_face == {"front": 15, "back": 175, "left": 15, "right": 15, "bottom": 0, "top": 140}
    assert cover.least_mm == 15
    assert cover.least_face in ("left", "front", "right")
    assert cover.per_vertex_mm.shape == (8,)


def test_setback_by_hand():
    fit = bf.largest(
        cuboid(100, 100, 100), bf.Block.box(140, 300, 250, skin=5), cover={"bottom": 0, "other": 15}, stance=FIXED
    )
    reserve = bf.setback(fit)
    assert reserve.back_mm == pytest.approx(160)
    assert reserve.limit_face == "back"


def test_setback_before_a_slanting_back():
    # A wedge whose back comes forward at 45° as it rises: a cube of 100 goes back until its top edge meets it.
    wedge = bf.Block.from_planes([[0, -1, 0], [-1, 0, 0], [1, 0, 0], [0, 0, -1], [0, 1, 1]], [0, 0, 300, 0, 500])
    fit = bf.largest(cuboid(100, 100, 100), wedge, stance=FIXED, scales=(0, 1))
    assert bf.setback(fit).back_mm == pytest.approx(300)
    assert bf.setback(fit).limit_face == "face 1"


@pytest.mark.parametrize("figure", [ball(200), mushroom(), torus(250, 80)], ids=["ball", "mushroom", "torus"])
def test_four_volumes_and_the_residual_make_the_waste(figure):
    fit = around(figure)
    cut = bf.undercuts(fit, pitch=3)
    parts = cut.front_m3 + cut.beside_m3 + cut.trapped_m3 + cut.rear_m3
    waste = fit.block.volume_m3 - figure.volume_m3
    assert parts + cut.residual_m3 == pytest.approx(waste, rel=1e-12)
    assert abs(cut.residual_m3) < 2e-3 * waste


def test_a_ball_by_formula():
    radius, margin = 200.0, 50.0
    cut = bf.undercuts(around(ball(radius, 5), margin), pitch=2)
    shadow = np.pi * radius**2
    half = shadow * (radius + margin) - 2 / 3 * np.pi * radius**3
    assert cut.front_m3 == pytest.approx(half * 1e-9, rel=3e-3)
    assert cut.rear_m3 == pytest.approx(half * 1e-9, rel=3e-3)
    assert cut.trapped_m3 == pytest.approx(0, abs=1e-9)
    # Half the surface of a convex body faces any direction: its shares are those of its normals.
    assert all(share == pytest.approx(0.5, abs=0.01) for share in cut.reach_by_face.values())


def test_a_standing_ring_traps_what_its_hole_hides_and_no_more():
    """Seen from above a ring that stands (turned into the view) shows its hole as stone between its surfaces."""
    ring = torus(250, 80)
    upright = bf.Figure(ring.vertices[:, [0, 2, 1]] * [1, -1, 1], ring.faces)  # its axis along y
    side = bf.undercuts(
        around(bf.Figure(ring.vertices, ring.faces)), pitch=3
    )  # axis along z: hole hidden from the front
    ahead = bf.undercuts(around(upright), pitch=3)  # axis along y: hole open to the front
    assert ahead.trapped_m3 == pytest.approx(0, abs=1e-6)
    # Between the near and far limb, by the same columns' own rule: chord of the outer less chord of the inner.
    x = np.linspace(-330, 330, 200_001)
    z = np.linspace(-80, 80, 801)
    gap = 0.0
    for height in z:
        reach = np.sqrt(80**2 - height**2)
        inner = 250 - reach
        gap += np.trapezoid(2 * np.sqrt(np.maximum(inner**2 - x**2, 0)), x) * (z[1] - z[0])
    assert side.trapped_m3 == pytest.approx(gap * 1e-9, rel=0.01)


def test_a_mushroom_is_undercut_where_it_should_be():
    cut = bf.undercuts(around(mushroom()), pitch=3)
    # The back of stem and cap is one region; the cap's underside and top, and all sides, lie edge on to the front,
    # where a tool skids but nothing is hidden: 2 x 9 - 1 for the cap's level faces, 2 x 3 for its sides, 2 x 3 and the
    # stem's base left out.
    back = [region for region in cut.regions if region.reach == "back"]
    assert sum(region.area_mm2 for region in back) == pytest.approx(100 * 300 + 300 * 100, rel=0.03)
    edge_on = 2 * 300 * 300 - 100 * 100 + 2 * 300 * 100 + 2 * 300 * 100
    assert cut.skims_mm2 == pytest.approx(edge_on, rel=0.05)


def test_a_mushroom_seen_from_above_hides_what_its_cap_covers():
    cut = bf.undercuts(around(mushroom()), pitch=3, front="top")
    assert cut.trapped_m3 == pytest.approx(0, abs=1e-9)
    hidden = (300 * 300 - 100 * 100) * (
        300 + 50
    ) + 100 * 100 * 50  # under the cap to the block's bottom, and the stem's
    assert cut.rear_m3 == pytest.approx(hidden * 1e-9, rel=0.02)
    assert {region.reach for region in cut.regions} <= {"side", "back", "oblique"}


def test_the_base_on_the_bottom_is_no_undercut():
    block = bf.Block.box(300, 300, 400)
    fit = bf.safest(cuboid(100, 100, 100), block, cover={"bottom": 0, "other": 10}, stance=FIXED)
    cut = bf.undercuts(fit, pitch=2)
    assert not [r for r in cut.regions if r.reach == "closed"]
    # Its back waits; its sides and top lie edge on to the front; its base stays.
    assert cut.later_mm2 == pytest.approx(1e4, rel=0.02)
    assert cut.skims_mm2 == pytest.approx(3e4, rel=0.02)


def _arrays(figure):
    return figure.vertices, figure.faces


def test_six_face_reach_permutes_when_the_figure_turns(kneeling):
    turned = bf.Figure(kneeling.vertices @ np.array([[0, 1, 0], [-1, 0, 0], [0, 0, 1]]), kneeling.faces)  # 90° about z
    shares = []
    for figure in (kneeling, turned):
        elements = elements_of(figure.vertices, figure.faces, 6)
        total = elements.areas.sum()
        faces = ("front", "right", "back", "left")
        shares.append([elements.areas[reached(elements, face_view(f), 6)].sum() / total for f in faces])
    assert shares[1] == pytest.approx(np.roll(shares[0], 1), abs=0.01)


def test_halving_the_pitch_moves_little(kneeling):
    fit = bf.largest(
        kneeling, bf.Block.box(900, 700, 1600), cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(30)
    )
    coarse, fine = bf.undercuts(fit), bf.undercuts(fit, pitch=2)
    for name in ("front_m3", "beside_m3", "trapped_m3", "rear_m3"):
        one, two = getattr(coarse, name), getattr(fine, name)
        assert abs(one - two) <= max(0.005 * two, 0.0005 * fit.block.volume_m3)


# ---- offcuts ----


def l_shape():
    """An upright slab on a base: the block above the base, before the slab, is one rebate."""
    return united(cuboid(600, 600, 200), cuboid(600, 200, 600, at=(0, 400, 0)))


def test_an_l_shaped_figure_gives_exactly_its_rebate():
    figure = l_shape()
    block = bf.Block.box(600, 600, 600, stone="marble")
    fit = bf.safest(figure, block, stance=FIXED)
    plan = bf.offcuts(fit, clearance=20, kerf=0)
    assert [piece.kind for piece in plan.pieces] == ["rebate"]
    (piece,) = plan.pieces
    assert piece.volume_m3 == pytest.approx(0.6 * 0.38 * 0.38, rel=1e-6)
    assert sorted(cut.offset_mm for cut in piece.cuts) == pytest.approx([-380, 220])
    assert sum(cut.area_m2 for cut in piece.cuts) == pytest.approx(2 * 0.6 * 0.38, rel=1e-3)
    assert piece.weight_kg == pytest.approx(0.6 * 0.38 * 0.38 * 2700, rel=1e-6)


def test_a_slab_in_a_deep_block_comes_off_by_one_cut():
    fit = bf.largest(cuboid(300, 100, 300), bf.Block.box(300, 400, 300), stance=FIXED)
    plan = bf.offcuts(fit, clearance=10, kerf=15, most_cuts=1)
    assert [piece.kind for piece in plan.pieces] == ["through cut"]
    assert plan.pieces[0].volume_m3 == pytest.approx(0.3 * 0.275 * 0.3, rel=1e-9)
    assert plan.left.volume_m3 == pytest.approx(0.3 * 0.110 * 0.3, rel=1e-5)


@pytest.fixture(scope="module")
def plan_and_fit(kneeling):
    block = bf.Block.box(900, 700, 1600, stone="marble")
    fit = bf.largest(kneeling, block, cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(30))
    return bf.offcuts(fit, clearance=20, kerf=10, lift_limit_kg=400), fit


def test_pieces_are_disjoint_inside_clear_and_light(plan_and_fit):
    plan, fit = plan_and_fit
    assert len(plan.pieces) > 3
    figure = solid_from(*_arrays(fit.solid()))
    left = solid_from(*_arrays(plan.left))
    solids = [solid_from(*_arrays(piece.solid)) for piece in plan.pieces]
    low, high = np.zeros(3) - 1e-6, np.array(fit.block.size_mm) + 1e-6
    for k, (piece, solid) in enumerate(zip(plan.pieces, solids, strict=True)):
        assert (piece.solid.vertices >= low).all()
        assert (piece.solid.vertices <= high).all()
        assert gap_between(solid, figure, 100) >= 30 - 1e-5  # clearance and kerf, by manifold3d's own distance
        assert piece.weight_range_kg[1] <= 400 + 1e-6
        assert piece.weight_kg >= 20 or "divided" in piece.kind
        assert piece.least_thickness_mm >= 80 - 1e-6 or "divided" in piece.kind
        assert (solid ^ left).volume() < 1e-6 * solid.volume()
        for other in solids[k + 1 :]:
            assert (solid ^ other).volume() < 1e-6 * solid.volume()
        inside = [piece.solid.vertices @ cut.normal >= cut.offset_mm - 1e-6 for cut in piece.cuts]
        assert np.all(inside)
        # The way out leaves every cut, and is level or straight up.
        assert all(cut.normal @ piece.draw_out >= -1e-9 for cut in piece.cuts)
        assert piece.draw_out[2] in (0, 1)
    assert (figure - left).volume() < 1e-6 * figure.volume()


def test_pieces_kerfs_and_rest_make_the_block(plan_and_fit):
    """With every part kept, however light, only kerfs are lost: no more than their width times the sawn area."""
    _, fit = plan_and_fit
    plan = bf.offcuts(fit, clearance=20, kerf=10, lift_limit_kg=400, least_weight_kg=0)
    lost = fit.block.volume_m3 - plan.left.volume_m3 - plan.volume_m3
    assert 0 < lost <= plan.sawn_m2 * 0.010 * 1.1


def test_without_kerf_pieces_and_rest_make_the_block(kneeling):
    fit = around(kneeling, 40)
    plan = bf.offcuts(fit, kerf=0, most_pieces=3)
    assert plan.volume_m3 + plan.left.volume_m3 == pytest.approx(fit.block.volume_m3, rel=1e-6)


@given(st.integers(0, 1000), st.floats(0, 60), st.sampled_from([1, 2, 3]))
@settings(max_examples=8)
def test_random_figures_keep_their_clearance(seed, clearance, most_cuts):
    random = np.random.default_rng(seed)
    points = random.normal(size=(12, 3)) * [80, 80, 160]
    hull = ConvexHull(points)
    outward = np.einsum(
        "ij,ij->i",
        np.cross(*(points[hull.simplices[:, k]] - points[hull.simplices[:, 0]] for k in (1, 2))),
        hull.equations[:, :3],
    )
    faces = np.where(outward[:, None] > 0, hull.simplices, hull.simplices[:, ::-1])
    fit = around(bf.Figure(points, faces), 150)
    plan = bf.offcuts(fit, clearance=clearance, kerf=8, most_cuts=most_cuts, most_pieces=3)
    figure = solid_from(*_arrays(fit.solid()))
    for piece in plan.pieces:
        assert len(piece.cuts) <= most_cuts
        assert gap_between(solid_from(*_arrays(piece.solid)), figure, 500) >= clearance + 8 - 1e-5


@given(st.integers(0, 10_000))
def test_clipped_reach_agrees_with_manifold3d(seed):
    random = np.random.default_rng(seed)
    figure = torus(200, 80)
    normals = random.normal(size=(int(random.integers(1, 4)), 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    bounds, along = random.uniform(-60, 120, len(normals)), random.normal(size=3)
    ours = reach_beyond(figure.vertices, figure.faces, normals, bounds, along)
    solid = solid_from(*_arrays(figure))
    for normal, bound in zip(normals, bounds, strict=True):
        solid = solid.trim_by_plane(normal.tolist(), float(bound))
    # The solid's greatest point lies on its surface or on the cuts; the surface alone reaches no further.
    theirs = -np.inf if solid.is_empty() else float((arrays_of(solid)[0] @ along).max())
    assert ours <= theirs + 1e-6
    vertices = arrays_of(solid)[0] if not solid.is_empty() else np.zeros((0, 3))
    on_ring = np.abs(np.hypot(np.hypot(vertices[:, 0], vertices[:, 1]) - 200, vertices[:, 2]) - 80) < 0.9
    assert ours >= (vertices[on_ring] @ along).max(initial=-np.inf) - 1e-6


def test_corners_recover_most_of_a_kneeling_figures_waste(kneeling):
    """Plane cuts alone save some 49 %, boxes at the corners 55 %, 69 % with pieces that are not convex."""
    figure = kneeling
    block = bf.Block.box(*(side + 60 for side in figure.size_mm), stone="marble")
    fit = bf.safest(figure, block, stance=FIXED)
    one, three = (bf.offcuts(fit, kerf=0, most_pieces=8, most_cuts=cuts) for cuts in (1, 3))
    assert one.recovered < 0.55 < three.recovered
    assert three.recovered >= 0.60
    assert len(three.pieces) <= 8
    figure_solid = solid_from(*_arrays(fit.solid()))
    for piece in three.pieces:
        solid = solid_from(*_arrays(piece.solid))
        assert gap_between(solid, figure_solid, 60) >= 20 - 1e-5
        assert piece.volume_m3 == pytest.approx(ConvexHull(piece.solid.vertices).volume * 1e-9, rel=1e-6)  # convex
        assert len(piece.cuts) <= 3


@needs_meshes
def test_seventy_per_cent_of_the_real_scans_waste():
    figure = bf.read_figure(SHARED / "kneeling_arm_raised.stl", unit="m")
    block = bf.Block.box(*(side + 60 for side in figure.size_mm), stone="marble")
    plan = bf.offcuts(bf.safest(figure, block, stance=FIXED), kerf=0, reserve=0, most_pieces=8, most_cuts=3)
    assert plan.recovered >= 0.70


def test_bad_limits_raise(kneeling):
    fit = around(kneeling)
    for wrong in ({"most_cuts": 4}, {"clearance": -1}, {"lift_limit_kg": 5}, {"least_thickness": 0}):
        with pytest.raises(bf.BadValueError):
            bf.offcuts(fit, **wrong)


# ---- weights ----


def test_weights_add_up(plan_and_fit):
    plan, fit = plan_and_fit
    weight = bf.weights(fit, plan)
    assert weight.block_kg == pytest.approx(0.9 * 0.7 * 1.6 * 2700, rel=1e-12)
    assert weight.figure_kg + weight.offcuts_kg + weight.chips_kg == pytest.approx(weight.block_kg, rel=1e-9)
    assert weight.removed_kg == pytest.approx(weight.offcuts_kg + weight.chips_kg, rel=1e-12)
    assert sum(stage.removed_kg for stage in weight.stages) == pytest.approx(weight.removed_kg, rel=1e-9)
    assert weight.stages[-1].left_kg == pytest.approx(weight.figure_kg, rel=1e-9)
    assert all(stage.removed_m3 > -1e-6 for stage in weight.stages)
    assert weight.low == pytest.approx(2600 / 2700)
    assert weight.high == pytest.approx(2860 / 2700)


def test_a_ball_of_marble_is_a_little_too_light():
    radius = 500
    weight = bf.weights(around(ball(radius, 5)))
    exact = 2700 * 4 / 3 * np.pi * (radius / 1000) ** 3
    assert 0.995 * exact < weight.figure_kg < exact


def test_without_a_stone_there_are_volumes_only():
    weight = bf.weights(around(cuboid(100, 100, 100), stone=None))
    assert weight.block_kg is None
    assert weight.stages[0].removed_kg is None
    assert weight.figure_m3 == pytest.approx(1e-3)
    assert (weight.low, weight.high) == (1, 1)


def test_a_figure_that_sticks_out_is_refused():
    fit = bf.safest(cuboid(500, 100, 100), bf.Block.box(300, 300, 300), stance=FIXED)
    with pytest.raises(bf.BadValueError, match="does not fit"):
        bf.undercuts(fit)

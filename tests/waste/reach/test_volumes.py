"""Stone before, beside, between and behind the figure: formulas, sums, and halved pitches."""

import numpy as np
import pytest
from conftest import FIXED, around, ball, cuboid, mushroom, slow_after, torus

import blockfit as bf
from blockfit.measure.views import face_view
from blockfit.waste.reach.shares import shares_of_solid
from blockfit.waste.reach.sight import elements_of, reached


@pytest.mark.parametrize("figure", [ball(200), mushroom(), torus(250, 80)], ids=["ball", "mushroom", "torus"])
@pytest.mark.thorough
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


@pytest.mark.thorough
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


def test_six_face_reach_permutes_when_the_figure_turns(kneeling):
    turned = bf.Figure(kneeling.vertices @ np.array([[0, 1, 0], [-1, 0, 0], [0, 0, 1]]), kneeling.faces)  # 90° about z
    shares = []
    for figure in (kneeling, turned):
        elements = elements_of(figure.vertices, figure.faces, 6)
        total = elements.areas.sum()
        faces = ("front", "right", "back", "left")
        shares.append([elements.areas[reached(elements, face_view(f), 6)].sum() / total for f in faces])
    assert shares[1] == pytest.approx(np.roll(shares[0], 1), abs=0.01)


@pytest.mark.parametrize("which", slow_after(1, ["mushroom", "kneeling"]))
def test_halving_the_pitch_moves_little(which, usual_fit):
    small = bf.largest(mushroom(), bf.Block.box(400, 440, 450), stance=FIXED, scales=(0, 1))
    fit = usual_fit if which == "kneeling" else small
    coarse, fine = bf.undercuts(fit), bf.undercuts(fit, pitch=2)
    for name in ("front_m3", "beside_m3", "trapped_m3", "rear_m3"):
        one, two = getattr(coarse, name), getattr(fine, name)
        assert abs(one - two) <= max(0.005 * two, 0.0005 * fit.block.volume_m3)


def test_a_figure_that_sticks_out_is_refused():
    fit = bf.safest(cuboid(500, 100, 100), bf.Block.box(300, 300, 300), stance=FIXED)
    with pytest.raises(bf.BadValueError, match="does not fit"):
        bf.undercuts(fit)


@pytest.mark.thorough
def test_shares_of_the_whole_block_are_the_undercuts_volumes(usual_fit):
    fit = usual_fit
    cut = bf.undercuts(fit)
    box = cuboid(900, 700, 1600)
    volumes, _ = shares_of_solid(cut, box.vertices, box.faces)
    assert volumes == pytest.approx([cut.front_m3, cut.beside_m3, cut.trapped_m3, cut.rear_m3], abs=1e-3)

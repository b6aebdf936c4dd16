"""How much stone is left: against formulas of balls and boxes, general libraries, and stones cut by manifold3d."""

import manifold3d as m3
import numpy as np
import pytest
import trimesh
from carving.scans import FIT, manifold_of, marks_of, scan_of, some_motion, surface_of
from conftest import ball, cuboid, slow_after

import blockfit as bf


def around(left, places):
    """The nearest way from places inside a box of 400 to its faces."""
    return np.minimum(places, 400 - places).min(axis=1)


def test_a_ball_in_a_box_by_formula():
    """Radius 150 in the middle of 400: 50 where the normal is an axis; the share within d lies on six caps.

    A cap of a ball where x >= 400 - d - 200 has the share (1 - (200 - d) / 150) / 2 (Archimedes); they do not overlap
    while d is below 200 - 150 / sqrt(2)."""
    fit = bf.safest(ball(150, 5), bf.Block.box(400, 400, 400), cover=20, stance=bf.Stance.fixed())
    left = bf.stone_left(fit, bf.stage_of(fit))
    assert np.abs(left.left_mm - around(left, left.points_mm)).max() < 1e-6
    along = ((200 - np.sign(left.normals) * (left.points_mm - 200)) / np.maximum(np.abs(left.normals), 1e-12)).min(
        axis=1
    )
    assert np.abs(left.along_normal_mm - along).max() < 1e-3
    front = left.normals[:, 1] < -0.01
    assert np.abs(left.straight_mm[front] - left.points_mm[front, 1]).max() < 1e-3
    assert np.isnan(left.straight_mm[left.normals[:, 1] > 0.01]).all()
    for within in (55.0, 65.0, 80.0):
        assert left.share_within(within) == pytest.approx(3 * (1 - (200 - within) / 150), abs=0.01)
    assert left.areas_mm2.sum() == pytest.approx(4 * np.pi * 150**2, rel=2e-3)
    assert left.volume_m3 == pytest.approx(0.4**3 - fit.solid().volume_m3, rel=1e-9)
    assert left.share_done == pytest.approx(0, abs=1e-9)
    assert sum(by for _, by in left.parts_m3) == pytest.approx(left.volume_m3)
    assert not left.is_too_deep.any()


def test_a_ball_within_a_ball_by_formula():
    fit = bf.safest(ball(100, 5), bf.Block.box(400, 400, 400), stance=bf.Stance.fixed(), cover=20)
    shell = ball(112, 5)
    stage = bf.stage_of(fit, scan=bf.Figure(shell.vertices + 200, shell.faces))
    left = bf.stone_left(fit, stage)
    assert np.abs(left.left_mm - 12).max() < 0.2  # flat faces of the two balls
    assert left.share_within(11) == 0
    assert left.share_within(13) == 1
    done = 1 - (112**3 - 100**3) / (3 * 400**3 / 4 / np.pi - 100**3)
    assert left.share_done == pytest.approx(done, abs=1e-3)


def test_signed_distances_are_those_of_a_general_library():
    """trimesh, the other way round: inside positive."""
    table = bf.roughing(FIT, step=90, allowance=12)
    stage = bf.stage_of(FIT, planes=table, lost=bf.Flaw.ball(FIT.solid().vertices[300], 35))
    left = bf.stone_left(FIT, stage)
    some = np.random.default_rng(0).choice(len(left.left_mm), 400, replace=False)
    stone = trimesh.Trimesh(stage.stone.vertices, stage.stone.faces, process=False)
    away = trimesh.proximity.closest_point(stone, left.points_mm[some])[1]
    inside = stone.contains(left.points_mm[some])
    told = left.left_mm[some]
    assert np.abs(np.abs(told) - away).max() < 1e-6
    clear = away > 1e-6
    assert ((told > 0) == inside)[clear].all()


@pytest.mark.thorough
def test_what_was_cut_too_deep_is_found_and_named_first():
    """A ball of stone lost at the head: its share of the surface and its depth, by manifold3d."""
    head = FIT.solid().vertices[FIT.solid().vertices[:, 2].argmax()]
    gone = m3.Manifold.sphere(45, 64).translate(head.tolist())
    stage = bf.stage_of(FIT, gone=[("a slip", bf.Figure(*surface_of(gone)))])
    left = bf.stone_left(FIT, stage)
    figure = manifold_of(FIT.solid())
    assert left.too_deep_m3 == pytest.approx((figure ^ gone).volume() * 1e-9, rel=1e-6)
    assert left.volume_m3 == pytest.approx((manifold_of(stage.stone) - figure).volume() * 1e-9, rel=1e-6)
    rest = (figure - gone).surface_area() - (figure ^ gone).surface_area()  # the surface outside, less that inside
    inside = (figure.surface_area() - rest) / 2
    assert left.too_deep_share * left.areas_mm2.sum() == pytest.approx(inside, rel=0.03)
    worst = left.regions[0]
    assert worst.kind == "too deep"
    assert worst.least_mm == pytest.approx(-45, abs=6)  # at places some 15 mm apart
    assert np.linalg.norm(worst.worst_mm - head) < 15
    assert left.too_deep[0] is worst
    # It counts as lost: to clear it, the head (radius 120) would go back by sqrt(165² - 120²) = 113, and 100 are left.
    lost = bf.recover(FIT, left, stone=stage, turn=0, lean=0, effort=0.2)
    assert not lost.straight_back.found
    assert bf.setback(FIT, bf.stage_of(FIT)).back_mm < 113
    told = left.text()
    assert "TOO DEEP" in told
    assert len(told.splitlines()) <= 32
    assert max(map(len, told.splitlines())) <= 140


@pytest.mark.parametrize("edge", slow_after(1, [14, 8]))
@pytest.mark.thorough
def test_a_scan_tells_the_same_areas_as_the_stone_it_shows(edge):
    """Within a hundredth of the surface in every class, with the registration's error kept apart."""
    rng = np.random.default_rng(4)
    skin = manifold_of(FIT.solid())
    grown = bf.Figure(*surface_of(skin))
    thick = m3.Manifold.batch_boolean(
        [skin.translate(by) for by in ((0, -3.5, 0), (3.5, 0, 0), (-3.5, 0, 0), (0, 3.5, 0), (0, 0, 6))], m3.OpType.Add
    )
    assert grown.is_solid
    truth = bf.stage_of(FIT, scan=bf.Figure(*surface_of(thick)))
    motion = some_motion(rng)
    scan = scan_of(manifold_of(truth.stone), rng, motion, edge=edge, noise=0.5, holes=6)
    laid = bf.register(scan, FIT, marks=marks_of(motion, rng), stage=truth)
    seen, known = bf.stone_left(FIT, laid.stage), bf.stone_left(FIT, truth)
    for mm in (2.0, 5.0, 15.0):
        assert seen.share_within(mm) == pytest.approx(known.share_within(mm), abs=0.01)
    assert seen.too_deep_share < 0.002
    assert seen.volume_m3 == pytest.approx(known.volume_m3, abs=0.02 * FIT.solid().volume_m3)
    assert seen.error_mm.max() > 0
    assert "scatter" in seen.text()


@pytest.mark.parametrize("edge", slow_after(1, [14, 9]))
@pytest.mark.thorough
def test_a_gouge_in_a_scan_is_surely_too_deep_and_noise_is_not(edge):
    rng = np.random.default_rng(11)
    shoulder = np.array([180.0, 0, 600]) + FIT.placement.shift_mm
    middle = shoulder + np.array([60, -55, 0])
    gouge = m3.Manifold.sphere(30, 48).translate(middle.tolist())
    carved = manifold_of(FIT.solid()) - gouge
    motion = some_motion(rng)
    scan = scan_of(carved, rng, motion, edge=edge, noise=0.5, holes=0, clutter=False)
    stage = bf.stage_of(FIT, scan=FIT.solid())
    laid = bf.register(scan, FIT, marks=marks_of(motion, rng), stage=stage)
    left = bf.stone_left(FIT, laid.stage)
    deep = left.is_too_deep
    near = np.linalg.norm(left.points_mm - middle, axis=1) < 33
    assert deep[near].mean() > 0.8
    assert deep[~near & ~left.on_base].mean() < 0.002
    assert left.perhaps_share < 0.5


def test_left_of_what_is_no_solid_and_of_plain_surfaces():
    block = bf.Block.box(300, 300, 300)
    fit = bf.safest(cuboid(200, 200, 200), block, cover=10, stance=bf.Stance.fixed())
    left = bf.stone_left(fit, cuboid(220, 220, 220, at=(40, 40, 40)))
    assert left.left_mm.max() == pytest.approx(10)
    assert left.mass_kg is None
    assert repr(left).startswith("StoneLeft(")
    points = bf.safest(bf.Figure.from_points(cuboid(200, 200, 200).vertices), block, stance=bf.Stance.fixed())
    with pytest.raises(bf.OpenSurfaceError):
        bf.stone_left(points, bf.stage_of(points))


def test_a_surface_is_as_sure_as_it_is_said_to_be():
    """A cube of 200 scanned 1 mm within itself: too deep, unless the scan may be wrong by 2 mm."""
    cube = cuboid(200, 200, 200)
    fit = bf.safest(cube, bf.Block.box(240, 240, 240), stance=bf.Stance.fixed())
    low = fit.solid().vertices.min(axis=0)
    scan = cuboid(198, 198, 198, at=tuple(low + 1))
    assert bf.check(fit, scan, error=0).too_deep_share == pytest.approx(1)
    assert bf.check(fit, scan, error=2).too_deep_share == 0
    assert bf.stone_left(fit, scan, error="2 mm").error_mm == pytest.approx(2)

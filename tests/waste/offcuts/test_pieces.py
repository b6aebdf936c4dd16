"""The pieces of a plan: known answers, and exact solids for clearance, overlap and what is left."""

import numpy as np
import pytest
from conftest import FIXED, SHARED, around, cuboid, examples, needs_meshes, solid_of, torus, united
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

import blockfit as bf
from blockfit.measure.booleans import arrays_of, gap_between, hull_solid
from blockfit.waste.cuts.clipping import deepest_beyond, reach_beyond


def l_shape():
    """An upright slab on a base: the block above the base, before the slab, is one rebate."""
    return united(cuboid(600, 600, 200), cuboid(600, 200, 600, at=(0, 400, 0)))


@pytest.mark.in_full
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


@pytest.mark.thorough
def test_a_slab_in_a_deep_block_comes_off_by_one_cut():
    fit = bf.largest(cuboid(300, 100, 300), bf.Block.box(300, 400, 300), stance=FIXED)
    plan = bf.offcuts(fit, clearance=10, kerf=15, most_cuts=1)
    assert [piece.kind for piece in plan.pieces] == ["through cut"]
    assert plan.pieces[0].volume_m3 == pytest.approx(0.3 * 0.275 * 0.3, rel=1e-9)
    assert plan.left.volume_m3 == pytest.approx(0.3 * 0.110 * 0.3, rel=1e-5)


def test_pieces_are_disjoint_inside_clear_and_light(usual_fit, usual_plan):
    plan, fit = usual_plan, usual_fit
    assert len(plan.pieces) > 3
    figure = solid_of(fit.solid())
    left = solid_of(plan.left)
    solids = [solid_of(piece.solid) for piece in plan.pieces]
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


@pytest.mark.thorough
def test_pieces_kerfs_and_rest_make_the_block(usual_fit):
    """With every part kept, however light, only kerfs are lost: no more than their width times the sawn area."""
    fit = usual_fit
    plan = bf.offcuts(fit, clearance=20, kerf=10, lift_limit_kg=400, least_weight_kg=0)
    lost = fit.block.volume_m3 - plan.left.volume_m3 - plan.volume_m3
    assert 0 < lost <= plan.sawn_m2 * 0.010 * 1.1


@pytest.mark.slow
def test_without_kerf_pieces_and_rest_make_the_block(kneeling):
    fit = around(kneeling, 40)
    plan = bf.offcuts(fit, kerf=0, most_pieces=3)
    assert plan.volume_m3 + plan.left.volume_m3 == pytest.approx(fit.block.volume_m3, rel=1e-6)


@given(st.integers(0, 1000), st.floats(0, 60), st.sampled_from([1, 2, 3]))
@examples(3, 8)
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
    figure = solid_of(fit.solid())
    for piece in plan.pieces:
        assert len(piece.cuts) <= most_cuts
        assert gap_between(solid_of(piece.solid), figure, 500) >= clearance + 8 - 1e-5


@given(st.integers(0, 10_000))
def test_clipped_reach_agrees_with_manifold3d(seed):
    random = np.random.default_rng(seed)
    figure = torus(200, 80)
    normals = random.normal(size=(int(random.integers(1, 4)), 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    bounds, along = random.uniform(-60, 120, len(normals)), random.normal(size=3)
    ours = reach_beyond(figure.vertices, figure.faces, normals, bounds, along)
    solid = solid_of(figure)
    for normal, bound in zip(normals, bounds, strict=True):
        solid = solid.trim_by_plane(normal.tolist(), float(bound))
    # The solid's greatest point lies on its surface or on the cuts; the surface alone reaches no further.
    theirs = -np.inf if solid.is_empty() else float((arrays_of(solid)[0] @ along).max())
    assert ours <= theirs + 1e-6
    vertices = arrays_of(solid)[0] if not solid.is_empty() else np.zeros((0, 3))
    on_ring = np.abs(np.hypot(np.hypot(vertices[:, 0], vertices[:, 1]) - 200, vertices[:, 2]) - 80) < 0.9
    assert ours >= (vertices[on_ring] @ along).max(initial=-np.inf) - 1e-6


@examples(40, every=400)
@given(seed=st.integers(0, 10**6))
@pytest.mark.thorough
def test_how_far_planes_give_way_is_exact(seed):
    """Beyond them moved out by less something of the solid is left, by more nothing: manifold3d's own trimming."""
    figure = torus(200, 80)
    random = np.random.default_rng(seed)
    count = int(random.integers(1, 5))
    moving = int(random.integers(1, count + 1))
    normals = random.normal(size=(count, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    bounds = random.uniform(-200, 60, count)
    depth = deepest_beyond(figure.vertices, figure.faces, normals, bounds, moving)
    for more, is_clear in ((1e-3, True), (-1e-3, False)):
        solid = solid_of(figure)
        for k in range(count):
            out = (max(depth, -500) + more) if k < moving else 0.0
            solid = solid.trim_by_plane(normals[k].tolist(), float(bounds[k] + out))
        if is_clear or depth > -500:
            assert (solid.volume() < 1e-12) == is_clear


@pytest.mark.slow
def test_corners_recover_most_of_a_kneeling_figures_waste(kneeling):
    """Plane cuts alone save some 49 %, boxes at the corners 55 %, 69 % with pieces that are not convex."""
    figure = kneeling
    block = bf.Block.box(*(side + 60 for side in figure.size_mm), stone="marble")
    fit = bf.safest(figure, block, stance=FIXED)
    one, three = (bf.offcuts(fit, kerf=0, most_pieces=8, most_cuts=cuts) for cuts in (1, 3))
    assert one.recovered < 0.55 < three.recovered
    assert three.recovered >= 0.60
    assert len(three.pieces) <= 8
    figure_solid = solid_of(fit.solid())
    for piece in three.pieces:
        solid = solid_of(piece.solid)
        assert gap_between(solid, figure_solid, 60) >= 20 - 1e-5
        assert piece.volume_m3 == pytest.approx(ConvexHull(piece.solid.vertices).volume * 1e-9, rel=1e-6)  # convex
        assert len(piece.cuts) <= 3


def shaken(figure, seed, noise_mm):
    """A figure whose vertices are moved at random, each coordinate by so much about; 0 leaves it as it is."""
    moved = np.random.default_rng(seed).normal(size=figure.vertices.shape) * noise_mm
    return bf.Figure(figure.vertices + moved, figure.faces)


@needs_meshes
@pytest.mark.parametrize(
    ("seed", "noise_mm", "least"),
    [(0, 0.0, 0.76), *(pytest.param(seed, 0.5, 0.74, marks=pytest.mark.slow) for seed in (2, 8, 14))],
)
@pytest.mark.in_full
def test_three_quarters_of_the_real_scans_waste(seed, noise_mm, least):
    """In eight pieces of 20 kg and more, each taken out of what the ones before leave by manifold3d."""
    figure = shaken(bf.read_figure(SHARED / "kneeling_arm_raised.stl", unit="m"), seed, noise_mm)
    block = bf.Block.box(*(side + 60 for side in figure.size_mm), stone="marble")
    fit = bf.safest(figure, block, stance=FIXED)
    plan = bf.offcuts(fit, kerf=0, reserve=0, most_pieces=8, most_cuts=3, effort=2)
    assert plan.recovered >= least
    stone = hull_solid(block.corners_mm)
    placed = solid_of(fit.solid())
    for piece in plan.pieces:
        solid = solid_of(piece.solid)
        assert (solid ^ stone).volume() == pytest.approx(solid.volume(), rel=1e-6)  # in what is left
        assert gap_between(solid, placed, 60) >= 20 - 1e-4
        stone -= solid
    assert stone.volume() * 1e-9 == pytest.approx(block.volume_m3 - plan.volume_m3, rel=1e-6)


def test_bad_limits_raise(kneeling):
    fit = around(kneeling)
    for wrong in ({"most_cuts": 4}, {"clearance": -1}, {"lift_limit_kg": 5}, {"least_thickness": 0}):
        with pytest.raises(bf.BadValueError):
            bf.offcuts(fit, **wrong)

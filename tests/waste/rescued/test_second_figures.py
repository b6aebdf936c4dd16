"""A second figure from the waste: closed forms, exact solids, and brute searches that never beat the proved bound."""

import math
from dataclasses import replace

import numpy as np
import pytest
from conftest import FIXED, ball, cuboid, mushroom, slow_after
from scipy.optimize import linprog

import blockfit as bf
from blockfit.measure.booleans import solid_from


def placed(figure, block, at, scale=1.0):
    """A fit that has the figure just there, as read."""
    fit = bf.safest(figure, bf.Block.box(9000, 9000, 9000), scale=scale, stance=FIXED)
    return replace(fit, block=block, placement=bf.Placement(scale, np.eye(3), at))


@pytest.mark.thorough
def test_a_ball_in_a_cube_leaves_a_ball_in_the_corner():
    """By hand: along the diagonal, √3 a/2 = r + k + ρ + √3 ρ, since the second ball touches three faces."""
    a, r, k = 1000, 450, 10
    fit = placed(ball(r), bf.Block.box(a, a, a), [a / 2] * 3)
    unit = ball(1.0, 3)
    found = bf.largest_from_waste(fit, unit, clearance=4, kerf=6, cover=0, gap=2e-2)
    exact = (math.sqrt(3) / 2 * a - r - k) / (1 + math.sqrt(3))
    # Balls of many faces are a little smaller than balls, so that a little more than the exact one fits.
    assert exact <= found.scale * 1.0001
    assert found.scale <= exact * 1.02
    assert found.scale <= found.scale_bound <= found.scale * 1.02 + 1e-9
    assert np.abs(found.cuts[0].normal) == pytest.approx([1 / math.sqrt(3)] * 3, abs=0.03)


@pytest.mark.slow
def test_beside_a_small_ball_the_slab_is_the_better_piece():
    """Half the cube, less the ball."""
    a, unit = 1000, ball(1.0, 3)
    small = placed(ball(40), bf.Block.box(a, a, a), [a / 2] * 3)
    slab = bf.largest_from_waste(small, unit, clearance=4, kerf=6, cover=0, gap=2e-2)
    diagonal = (math.sqrt(3) / 2 * a - 50) / (1 + math.sqrt(3))
    assert slab.scale >= max(diagonal, (a / 2 - 50) / 2) * 0.999


@pytest.mark.thorough
def test_a_block_of_too_many_faces_is_refused_in_words():
    around = np.random.default_rng(3).normal(size=(60, 3))
    block = bf.Block.convex(600 * around / np.linalg.norm(around, axis=1)[:, None])
    fit = bf.safest(cuboid(300, 200, 300), block, stance=FIXED)
    with pytest.raises(bf.BadValueError, match="of up to 24 faces, and this one has"):
        bf.largest_from_waste(fit, cuboid(30, 20, 30))
    assert bf.best_first_cut(fit).volume_m3 > 0  # one cut is sought in any block


def test_two_equal_boxes_in_a_box():
    """By hand: 300 + 20 + 10 + 300 along x, and 5 of cover round the second."""
    block = bf.Block.box(640, 210, 310)
    fit = placed(cuboid(300, 200, 300), block, [0, 5, 5])
    found = bf.largest_from_waste(fit, cuboid(300, 200, 300), stance=FIXED, gap=1e-3)
    assert found.scale == pytest.approx(1, rel=1e-6)
    assert found.scale_bound <= 1.001 + 1e-9
    assert found.cuts[0].offset_mm == pytest.approx(330)
    assert [mark.face for mark in found.cuts[0].marks] == ["front", "bottom", "back", "top"]


def exact_checks(fit, found, clearance, kerf, cover):
    """Everything that is said of a second figure, by manifold3d alone."""
    first, second = fit.solid(), found.solid()
    block = bf.Block.convex(fit.block.corners_mm)
    one, other = (solid_from(f.vertices, f.faces) for f in (first, second))
    piece = solid_from(found.piece.vertices, found.piece.faces)
    assert (other - piece).volume() <= 1e-6 * other.volume()
    assert abs(other.min_gap(one, 5000)) >= clearance + kerf + cover - 1e-6
    kept = one
    for cut in found.cuts:
        kept = kept.trim_by_plane(cut.normal.tolist(), cut.offset_mm - kerf - clearance)
        assert cut.area_m2 > 0
    assert kept.volume() <= 1e-6 * one.volume()  # no point of the first lies beyond all cuts, clearance and kerf
    inner = found.fit.block.normals @ second.vertices.T
    assert (found.fit.block.sound_mm - cover - inner.max(axis=1) >= -1e-6).all()
    assert (block.normals @ found.piece.vertices.T).max(axis=1) == pytest.approx(
        np.minimum(block.offsets_mm, (block.normals @ found.piece.vertices.T).max(axis=1)), abs=1e-6
    )
    # It can be lifted out: along its way nothing of the first figure, nor of the stone that stays, is struck.
    assert any(min(float(cut.normal @ way) for cut in found.cuts) >= -1e-9 for way in _ways())


def _ways():
    angles = np.radians(np.arange(0, 360, 7.5))
    return [*np.column_stack([np.cos(angles), np.sin(angles), 0 * angles]), np.array([0, 0, 1.0])]


def bulge():
    """A figure that leaves slanting waste: a slab with a leaning arm."""
    corners = [[0, 0, 0], [300, 0, 0], [0, 250, 0], [300, 250, 0], [100, 60, 700], [200, 60, 700], [100, 160, 700],
               [200, 160, 700]]  # fmt: skip
    return bf.Figure.from_points(corners)


def best_by_brute_force(fit, other, planes, rotations, clear, cover):
    """The largest scale over random planes, each with random rotations, by plain linear programs' duals in closed form
    for a box: the corner's own inequality and the three widths (derived apart from the search)."""
    size = np.array(fit.block.size_mm)
    first = fit.solid().vertices
    best = 0.0
    points = np.asarray(other.vertices)
    for normal in planes:
        at = (first @ normal).max() + clear + cover
        for turn in rotations:
            turned = points @ turn.T
            low, high = turned.min(axis=0), turned.max(axis=0)
            widths = ((size - 2 * cover) / (high - low)).min()
            corner = np.where(normal > 0, size - cover, cover)
            reach = np.where(normal > 0, high, low)
            room = corner @ normal - at
            need = reach @ normal - (turned @ normal).min()
            best = max(best, min(widths, room / need) if need > 0 else widths)
    return best


def test_no_plane_of_twenty_thousand_beats_the_bound():
    """The stance fixed: then every plane has one answer, and 20,000 are soon tried."""
    block = bf.Block.box(600, 500, 800)
    fit = placed(bulge(), block, [20, 20, 0])
    other = bf.Figure.from_points(np.random.default_rng(3).normal(size=(60, 3)) * [40, 60, 90])
    found = bf.largest_from_waste(fit, other, clearance=15, kerf=10, cover=5, stance=FIXED)
    planes = np.random.default_rng(0).normal(size=(20_000, 3))
    planes /= np.linalg.norm(planes, axis=1, keepdims=True)
    brute = best_by_brute_force(fit, other, planes, [np.eye(3)], 25, 5)
    assert 0.97 * found.scale <= brute <= found.scale_bound
    assert found.scale_bound <= 1.01 * found.scale + 1e-12


def test_no_plane_nor_turn_beats_the_bound_of_an_upright_figure():
    block = bf.Block.box(600, 500, 800)
    fit = placed(bulge(), block, [20, 20, 0])
    other = bf.Figure.from_points(np.random.default_rng(4).normal(size=(40, 3)) * [30, 60, 90])
    found = bf.largest_from_waste(fit, other, clearance=15, kerf=10, cover=5, stance=bf.Stance.upright(40))
    random = np.random.default_rng(1)
    best = found.cuts[0].normal
    near = best + 0.2 * random.normal(size=(300, 3))
    turns = np.radians(np.linspace(-40, 40, 41))
    rotations = [np.array([[np.cos(t), -np.sin(t), 0], [np.sin(t), np.cos(t), 0], [0, 0, 1]]) for t in turns]
    brute = best_by_brute_force(fit, other, near / np.linalg.norm(near, axis=1, keepdims=True), rotations, 25, 5)
    assert 0.9 * found.scale <= brute <= found.scale_bound <= 1.01 * found.scale + 1e-12


def test_a_block_out_of_square_by_linear_programs():
    """Of a wedge the scale for one plane and no turn is a linear program, by scipy; none beats the bound."""
    wedge = bf.Block.convex([[0, 0, 0], [700, 0, 0], [0, 500, 0], [700, 500, 0], [0, 0, 800], [500, 0, 800]])
    fit = placed(
        bf.Figure.from_points(np.array([[0, 0, 0], [150, 0, 0], [0, 150, 0], [0, 0, 300.0]])), wedge, [9, 9, 0]
    )
    other = bf.Figure.from_points(np.random.default_rng(5).normal(size=(30, 3)) * 60)
    found = bf.largest_from_waste(fit, other, clearance=5, kerf=5, cover=5, stance=FIXED)
    planes = np.random.default_rng(6).normal(size=(150, 3))
    planes = [found.cuts[0].normal, *(planes / np.linalg.norm(planes, axis=1, keepdims=True))]
    best = []
    for normal in planes:
        at = (fit.solid().vertices @ normal).max() + 15
        rows = np.vstack([wedge.normals, -normal])
        reach = (other.vertices @ rows.T).max(axis=0)
        told = linprog([0, 0, 0, -1], np.column_stack([rows, reach]), [*(wedge.offsets_mm - 5), -at],
                       bounds=[(None, None)] * 3 + [(0, None)])  # fmt: skip
        best.append(told.x[3] if told.status == 0 else 0.0)
    assert best[0] == pytest.approx(found.scale, rel=1e-3)
    assert max(best) <= found.scale_bound


@pytest.mark.parametrize("which", slow_after(1, ["mushroom", "kneeling"]))
def test_exact_solids(which, kneeling):
    shape = kneeling if which == "kneeling" else mushroom()
    block = bf.Block.box(900, 700, 1100, stone="marble", skin={"left": 10, "other": 0})
    fit = bf.safest(shape, block, scale=0.5, cover={"bottom": 0, "other": 1}, stance=bf.Stance.upright(30))
    other = cuboid(100, 120, 200)
    one = bf.largest_from_waste(fit, other, stance=bf.Stance.upright(), cover=5)
    exact_checks(fit, one, 20, 10, 5)
    assert one.scale <= one.scale_bound <= one.scale * 1.01
    two = bf.largest_from_waste(fit, other, cuts=2, stance=bf.Stance.upright(), cover=5)
    exact_checks(fit, two, 20, 10, 5)
    assert two.scale >= one.scale
    assert two.scale_bound is None
    assert "proved" in str(one)
    assert "proved" not in str(two)


def test_where_nothing_is_free():
    fit = placed(cuboid(298, 298, 298), bf.Block.box(300, 300, 300), [1, 1, 1])
    none = bf.largest_from_waste(fit, cuboid(10, 10, 10))
    assert (none.scale, none.scale_bound, none.cuts, none.piece) == (0.0, 0.0, (), None)
    with pytest.raises(bf.BadValueError, match="nothing is free"):
        none.solid()
    for asked, words in (({"cuts": 4}, "1, 2 or 3"), ({"gap": 0}, "more than 0"), ({"cover": -1}, "negative")):
        with pytest.raises(bf.BadValueError, match=words):
            bf.largest_from_waste(fit, cuboid(10, 10, 10), **asked)

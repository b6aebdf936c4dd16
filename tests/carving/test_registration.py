"""Scans made by a known motion are laid back where they came from; what cannot be known is refused."""

import manifold3d
import numpy as np
import pytest
from carving.scans import BLOCK, FIT, MARKS, manifold_of, marks_of, moved_back, scan_of, some_motion
from conftest import figure_of, slow_after

import blockfit as bf
from blockfit.measure.distance import SurfaceDistance

CARVED = bf.stage_of(FIT, planes=bf.roughing(FIT, step=80, allowance=12), to=3)
SOLID = manifold_of(CARVED.stone)


def off_mm(laid, motion):
    """How far the figure's surface comes to lie from where it is, at worst."""
    places = FIT.solid().vertices
    return float(np.linalg.norm(laid.apply(moved_back(places, motion)) - places, axis=1).max())


@pytest.mark.parametrize("scanned", slow_after(2, [(0.5, 1.0, 0), (1.0, 0.37, 3), (1.0, 1.0, 1), (2.0, 1.0, 2)]))
def test_a_scan_is_laid_back_to_a_tenth_of_its_noise(scanned):
    """Onto the block's faces that are left, after a third of it was carved: noise, holes, a table and clutter."""
    noise, scale, seed = scanned
    rng = np.random.default_rng(seed)
    motion = some_motion(rng, scale)
    scan = scan_of(SOLID, rng, motion, noise=noise, edge=9 if noise < 2 else 6)
    laid = bf.register(scan, FIT, marks=marks_of(motion, rng))
    assert laid.scale == (1.0 if scale == 1.0 else pytest.approx(scale, rel=3e-4))
    assert off_mm(laid, motion) < noise / 10
    assert off_mm(laid, motion) < 1.5 * laid.figure_error_mm.max() < noise
    assert laid.noise_mm == pytest.approx(noise, rel=0.25)
    assert set(laid.marks_mm) == {f"cross {k}" for k in range(len(MARKS))}
    assert max(laid.marks_mm.values()) < 6
    assert "cross 0" in str(laid)


@pytest.mark.thorough
def test_a_rough_place_is_enough_where_much_of_the_old_surface_is_left():
    rng = np.random.default_rng(5)
    motion = some_motion(rng)
    scan = scan_of(SOLID, rng, motion, noise=0.5)
    near = np.eye(4)
    near[:3, :3], near[:3, 3] = motion[1], motion[2] + [12, -9, 15]
    laid = bf.register(scan, FIT, rough=near)
    assert off_mm(laid, motion) < 0.05
    assert laid.marks_mm == {}
    with pytest.raises(bf.BadValueError, match="give three marks"):
        bf.register(scan, FIT)


@pytest.mark.slow
def test_the_last_stage_holds_a_scan_where_the_block_no_longer_does():
    """Of a stone carved all round only marks and the last stage's own surface tell the place."""
    rng = np.random.default_rng(6)
    motion = some_motion(rng)
    faces = ("front", "back", "left", "right", "top")
    bare = bf.stage_of(FIT, planes=[bf.roughing(FIT, step=60, face=face, allowance=8) for face in faces])
    scan = scan_of(manifold_of(bare.stone), rng, motion, noise=0.5, edge=14)
    by_stage = bf.register(scan, FIT, marks=marks_of(motion, rng), stage=bare)
    assert off_mm(by_stage, motion) < 0.05


@pytest.mark.thorough
def test_the_error_told_holds_19_times_in_20():
    """By marks almost alone, where errors are large: drawn forty times, held to a count that chance allows.

    At 95 % the binomial law lets 33 of 40 or fewer hold less than once in 300 (scipy.stats.binom)."""
    rng = np.random.default_rng(7)
    line = np.linspace(0, 640, 30)
    grid = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1).reshape(-1, 2)
    held = 0
    for _ in range(40):
        motion = some_motion(rng)
        wall = np.column_stack([grid[:, 0], 0.8 * rng.normal(size=len(grid)), grid[:, 1]])  # the front face, no more
        scan = bf.Figure(moved_back(wall, motion), np.zeros((0, 3), int))
        laid = bf.register(scan, FIT, marks=marks_of(motion, rng, by=1.0), mark_error=1)
        places = FIT.solid().vertices[::50]
        off = np.linalg.norm(laid.apply(moved_back(places, motion)) - places, axis=1)
        held += bool((off <= 1.3 * laid.known.error_mm(places)).mean() > 0.95)
    assert held >= 33


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda m: dict(list(m.items())[:2]), "2 marks"),
        (lambda m: {k: (m[k][0], m[k][1]) for k in list(m)[:1]}, "1 marks"),
        (lambda m: {**m, "cross 1": (m["cross 1"][0], m["cross 1"][1] + [0, 60, 0])}, "'cross 1' lies 6.\\.. mm"),
        (lambda m: {**m, "cross 0": (m["cross 1"][0], m["cross 0"][1])}, "disagree"),
        (lambda m: {**m, "cross 0": 3}, "two places"),
        (lambda m: {**m, "cross 0": ((1, 2), (3, 4, 5))}, "3 is needed"),
    ],
)
def test_marks_that_disagree_or_are_none(change, words):
    rng = np.random.default_rng(8)
    motion = some_motion(rng)
    scan = scan_of(SOLID, rng, motion, edge=40, noise=0.2, holes=0)
    five = np.vstack([MARKS, [[300, 0, 40]]])
    with pytest.raises(bf.BadValueError, match=words):
        bf.register(scan, FIT, marks=change(marks_of(motion, rng, by=0.3, places=five)))


def test_marks_in_a_line_are_refused():
    rng = np.random.default_rng(9)
    motion = some_motion(rng)
    scan = scan_of(SOLID, rng, motion, edge=40, noise=0.2, holes=0)
    line = np.array([[0, 0, z] for z in (100.0, 400, 900)])
    with pytest.raises(bf.BadValueError, match="lie in a line"):
        bf.register(scan, FIT, marks=marks_of(motion, rng, places=line))


@pytest.mark.thorough
def test_the_stone_of_a_scan_is_closed_without_table_and_clutter():
    rng = np.random.default_rng(10)
    motion = some_motion(rng)
    laid = bf.register(scan_of(SOLID, rng, motion, noise=0.6, edge=24), FIT, marks=marks_of(motion, rng))
    stage = laid.stage
    assert stage.stone.is_solid
    assert stage.volume_m3 == pytest.approx(CARVED.volume_m3, rel=2e-3)
    low, high = stage.stone.vertices.min(axis=0), stage.stone.vertices.max(axis=0)
    assert np.abs(np.r_[low, high - BLOCK.size_mm]).max() < 4
    assert stage.gone == ("as scanned",)
    assert any("no stone" in repair.text for repair in stage.stone.repairs)
    assert stage.stands.stands


@pytest.mark.thorough
def test_the_reserve_in_a_scan_says_how_sure_it_is():
    rng = np.random.default_rng(10)
    motion = some_motion(rng)
    scan = scan_of(SOLID, rng, motion, noise=2, edge=40)
    assert_no_more_reserve_than_there_is(bf.register(scan, FIT, marks=marks_of(motion, rng)).stage)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_the_reserve_in_a_finer_scan_says_how_sure_it_is(seed):
    rng = np.random.default_rng(10)
    motion = some_motion(rng)
    seen = scan_of(SOLID, np.random.default_rng(seed), motion, noise=2, edge=16)
    assert_no_more_reserve_than_there_is(bf.register(seen, FIT, marks=marks_of(motion, rng)).stage)


def assert_no_more_reserve_than_there_is(scanned):
    room = bf.setback(FIT, scanned)
    assert room.back_mm <= bf.setback(FIT, CARVED).back_mm
    assert room.scan_error_mm > 0
    assert "(estimate)" in room.text()
    assert "(exact)" not in room.text()


def test_a_rough_transform_that_is_none():
    scan = bf.Figure.from_points(MARKS)
    for wrong in (np.eye(3), np.diag([1.0, 2, 1, 1]), np.diag([-1.0, 1, 1, 1])):
        with pytest.raises(bf.BadValueError, match="rough"):
            bf.register(scan, FIT, rough=wrong)


def stone_with_a_rebate(edge=14):
    """The block of the others with a rebate at its back: turned about, it is another stone."""
    low, high = np.array(BLOCK.corners_mm.min(axis=0)), np.array(BLOCK.corners_mm.max(axis=0))
    whole = manifold3d.Manifold.cube((high - low).tolist()).translate(low.tolist())
    notch = manifold3d.Manifold.cube(((high - low) * [1, 0.3, 0.3]).tolist())
    solid = whole - notch.translate((low + (high - low) * [0, 0.7, 0.7]).tolist())
    return figure_of(solid.refine_to_length(edge)), low, high


def test_marks_exchanged_left_for_right_are_refused():
    stone, low, high = stone_with_a_rebate()
    front = [[low[0], low[1], low[2]], [high[0], low[1], low[2]], [low[0], low[1], high[2]], [high[0], low[1], high[2]]]
    true = {name: (np.add(at, [1000, 0, 0]), at) for name, at in zip("ABCD", front, strict=True)}
    scan = bf.Figure(np.add(stone.vertices, [1000, 0, 0]), stone.faces)
    assert bf.register(scan, FIT, marks=true).share > 0.7
    exchanged = {a: (true[a][0], true[b][1]) for a, b in ("AB", "BA", "CD", "DC")}
    with pytest.raises(bf.BadValueError, match="check which is which"):
        bf.register(scan, FIT, marks=exchanged)


def test_a_scan_of_one_side_is_no_stone():
    """Noise gives a sheet a little volume; it stays a sheet."""
    stone, low, high = stone_with_a_rebate()
    rng = np.random.default_rng(0)
    front = stone.vertices[stone.faces].mean(axis=1)[:, 1] < low[1] + 1
    noisy = bf.Figure(stone.vertices + rng.normal(scale=0.2, size=stone.vertices.shape), stone.faces[front])
    corners = [[x, low[1], z] for x in (low[0], high[0]) for z in (low[2], high[2])]
    laid = bf.register(noisy, FIT, marks={str(k): (at, at) for k, at in enumerate(corners)})
    with pytest.raises(bf.OpenSurfaceError):
        _ = laid.stage.volume_m3


@pytest.mark.thorough
def test_a_scan_that_had_to_be_made_anew_is_known_no_better_than_that():
    """A patch over an edge is missing and cannot be capped: nothing is surely too deep that is not."""
    stone, low, high = stone_with_a_rebate(edge=9)
    middle = stone.vertices[stone.faces].mean(axis=1)
    edge = np.array([(low[0] + high[0]) / 2, low[1] + 0.7 * (high[1] - low[1]), low[2] + 0.7 * (high[2] - low[2])])
    kept = (np.linalg.norm(middle - edge, axis=1) > 90) & (middle[:, 2] > low[2] + 1)
    laid = bf.register(bf.Figure(stone.vertices, stone.faces[kept]), FIT, rough=np.eye(4))
    left = bf.stone_left(FIT, laid.stage)
    assert any(repair.step == "rebuilt" for repair in laid.stage.stone.repairs)
    assert "Closed " in left.text()
    true = -SurfaceDistance(stone.vertices, stone.faces).signed(left.points_mm)[0]
    assert not (left.is_too_deep & (true > 0.5)).any()
    over = (left.left_mm - true)[left.seen]
    assert (over <= left.error_mm[left.seen] + 1).mean() > 0.99


def told_hidden(keep):
    """What the stage says of surface that its scan does not show, for a scan of the faces that are kept."""
    stone, low, high = stone_with_a_rebate()
    middle = stone.vertices[stone.faces].mean(axis=1)
    laid = bf.register(bf.Figure(stone.vertices, stone.faces[keep(middle, low, high)]), FIT, rough=np.eye(4))
    return [repair.text for repair in laid.stage.stone.repairs if repair.step == "not shown"]


@pytest.mark.thorough
def test_a_scan_of_half_the_stone_says_what_it_does_not_show():
    assert told_hidden(lambda middle, low, high: middle[:, 2] > low[2] + 1) == []
    (half,) = told_hidden(lambda middle, low, high: middle[:, 1] < (low[1] + high[1]) / 2)
    assert "not in the scan" in half


@pytest.mark.thorough
def test_a_scan_of_few_large_faces_shows_all_of_its_stone():
    stone, _, high = stone_with_a_rebate(edge=1000)
    fine, _, _ = stone_with_a_rebate(edge=10)
    right = fine.vertices[fine.faces].mean(axis=1)[:, 0] > high[0] - 1  # one side finely, the rest in large faces
    rest = stone.vertices[stone.faces].mean(axis=1)[:, 0] <= high[0] - 1
    vertices = np.concatenate([fine.vertices, stone.vertices])
    faces = np.concatenate([fine.faces[right], stone.faces[rest] + len(fine.vertices)])
    laid = bf.register(bf.Figure(vertices, faces), FIT, rough=np.eye(4))
    assert [repair for repair in laid.stage.stone.repairs if repair.step == "not shown"] == []

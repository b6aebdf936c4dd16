"""An independent carver does what the sheets say on random figures; and is itself tested with sheets that are wrong."""

import math
from dataclasses import replace

import bench_hands as hands
import manifold3d as m3
import numpy as np
import pytest
import trimesh
from hands_figures import Case, figure_of, manifold_of, surface_of
from hands_marks import Points, cut_between, cut_planes, drill, read_back
from hands_read import RIGHT, UP, between, drawing, length, planes, points, straight_back
from hands_solid import Convex, Skewed, apart_by_points, clipped, column, cut_to, point_gap, shadow, thickness, touch
from hands_stone import Hole, Room, move_all_ways, move_back, saw

import blockfit as bf
from blockfit.marking.datum import CORNERS

# How many random cases of each kind run here, in batches of so many; `bench_hands.py` as a program runs thousands.
CASES = {"points": (26, 2), "planes": (70, 10), "setback": (60, 10), "recovery": (10, 2), "offcuts": (10, 2)}
BATCHES = [
    pytest.param(kind, start, batch, marks=[pytest.mark.slow] if start else [])  # the first of each kind always
    for kind, (count, batch) in CASES.items()
    for start in range(0, count, batch)
]


@pytest.mark.parametrize(("kind", "start", "batch"), BATCHES)
def test_a_carver_who_does_what_the_sheets_say_spoils_nothing(kind, start, batch):
    faults = {seed: hands.faults_of(seed, kind)[1] for seed in range(start, start + batch)}
    assert {
        seed: [f"{f.what}: {f.by_mm:.3f} mm, {f.where}" for f in found] for seed, found in faults.items() if found
    } == {}


def test_a_kerf_is_taken_from_no_stone_past_its_piece():
    """Two cuts in one direction, 7 mm apart: the second's kerf reached past its piece, into what the first had left."""
    assert hands.faults_of(5000, "offcuts")[1] == []


def test_a_case_is_the_same_for_the_same_seed():
    first, second = hands.case(7), hands.case(7)
    assert np.array_equal(first.fit.solid().vertices, second.fit.solid().vertices)
    assert np.array_equal(first.corners, second.corners)
    assert hands.asked_points(first)[0] == hands.asked_points(second)[0]
    assert not np.array_equal(hands.case(8).corners, first.corners)


# ---- the hands measure rightly: formulas, and one way of measuring against another ----


def test_where_a_tool_touches_a_ball_by_pythagoras():
    ball = m3.Manifold.sphere(50, 256)
    for off in (0, 10, 30):
        assert touch(ball, "front", np.array([off, 0, 0.0]), 0.01) == pytest.approx(-math.sqrt(2500 - off**2), abs=0.05)
    assert touch(ball, "left", np.array([0, 60, 0.0]), 5) == np.inf
    edge = touch(ball, "top", np.array([40, 0, 0.0]), 5)  # a tool 10 wide at 40 touches at 35
    assert edge == pytest.approx(-math.sqrt(2500 - 35**2), abs=0.05)


def test_booleans_and_cut_triangles_find_the_same():
    rng = np.random.default_rng(1)
    for seed in range(12):
        asked = hands.case(seed)
        surface = surface_of(asked.solid)
        low, high = np.reshape(asked.solid.bounding_box(), (2, 3))
        for _ in range(5):
            axis = int(rng.integers(3))
            walls = column(axis, rng.uniform(low, high), float(rng.uniform(1, 20)))
            first, second = cut_to(asked.solid, walls, axis)[:, axis], clipped(*surface, walls)[:, axis]
            assert len(first) == 0 or first.min() == pytest.approx(second.min(), abs=1e-6)


def test_distances_by_formula():
    ball, cube = m3.Manifold.sphere(20, 128), m3.Manifold.cube((10, 10, 10), True).translate((60, 0, 0))
    assert apart_by_points(ball, cube) == pytest.approx(35, abs=0.05)
    assert ball.min_gap(cube, 100) == pytest.approx(35, abs=0.05)
    assert point_gap(cube, (60, 0, 0)) == pytest.approx(5)
    assert point_gap(cube, (70, 8, 0)) == pytest.approx(math.hypot(5, 3))
    sheet = m3.Manifold.cube((100, 100, 0.001))
    assert thickness(sheet) == pytest.approx(0.001, rel=1e-3)


def test_the_shadow_of_a_ring_by_formula_and_by_trimesh():
    ring = m3.Manifold.revolve(m3.CrossSection.circle(10, 64).translate((40, 0)), 128)
    assert shadow(ring).area() == pytest.approx(math.pi * (50**2 - 30**2), rel=0.005)
    vertices, faces = surface_of(hands.case(3).solid)
    by_trimesh = trimesh.path.polygons.projected(trimesh.Trimesh(vertices, faces), normal=[0, 0, 1]).area
    assert shadow(hands.case(3).solid).area() == pytest.approx(by_trimesh, rel=1e-3)


def test_the_depth_rod_on_slanted_and_skewed_faces():
    wedge = np.array([[x, y, z] for x in (0, 100) for y, z in ((0, 0), (80, 0), (30, 60), (80, 60))], float)
    assert Convex(wedge).entry("front", [[50, 0, 20], [50, 99, 60]]) == pytest.approx([10, 30])  # 30 back in 60 up
    assert Convex(wedge).entry("back", [[50, 0, 20]]) == pytest.approx([-80])
    corners = np.array([[[[x, y, z] for z in (0, 90)] for y in (0, 40)] for x in (0, 60)], float)
    corners[1, 0, 1, 1] += 12  # the front right top corner lies 12 back
    skewed = Skewed(corners)
    assert skewed.entry("front", [[60, 0, 90], [30, 0, 45], [0, 0, 90], [60, 7, 30]]) == pytest.approx([12, 3, 0, 4])
    assert skewed.entry("left", [[0, 20, 45]]) == pytest.approx([0])


def test_measured_corners_are_found_again():
    asked = next(
        c for c in (hands.case(k, "points") for k in range(99)) if isinstance(hands.asked_points(c)[1], Skewed)
    )
    options, surface, _ = hands.asked_points(asked)
    assert isinstance(surface, Skewed)
    at = dict(zip(CORNERS, options["datum"].corners_mm, strict=True))
    wanted = dict(zip(hands.CORNERS, surface.corners.reshape(8, 3), strict=True))
    assert all(np.allclose(at[name], wanted[name], atol=1e-4) for name in at)


def test_lengths_as_printed():
    assert [length(text) for text in ("12.5", "1,069.0", "9 7/8", "-3/16", "-1 1/2", "", "none")] == [
        12.5, 1069, 9.875, -0.1875, -1.5, None, None
    ]  # fmt: skip


# ---- the hands find what is wrong ----

HEAD = ("number,name,kind,face,model across mm,model in mm,model up mm,block across mm,block in mm,block up mm,"
        "depth from face mm,stop at mm,allowance mm,rounding mm,note\n")  # fmt: skip


@pytest.fixture(scope="module")
def wall() -> Case:
    """A wall 300 wide, 60 deep and 300 high, with a rib 20 wide that stands 50 before it; its front is at 50."""
    solid = m3.Manifold.cube((300, 60, 300)).translate((0, 50, 0)) + m3.Manifold.cube((20, 60, 300)).translate(
        (140, 0, 0)
    )
    corners = np.array([[x, y, z] for x in (0, 400) for y in (0, 300) for z in (0, 400)], float)
    cover = {"bottom": 0.0, "other": 20.0}
    figure = figure_of(solid)
    fit = bf.safest(figure, bf.Block.box(400, 300, 400, stone="marble"), cover=cover, stance=bf.Stance.fixed())
    placed = fit.solid()
    return Case(0, "", fit, manifold_of(placed.vertices, placed.faces), corners, cover, 1.0)


def _row(number, across, deep, up, stop, kind="high", face="front", rounding=1.0):
    model = ",".join(f"{value:.0f}" for value in (across, deep, up))
    block = ",".join(f"{value:.1f}" for value in (across, deep, up))
    left = deep - stop if stop is not None else 5
    return f"{number},,{kind},{face},{model},{block},{deep:.1f},{stop},{left:.1f},{rounding},\n"


def _points(rows: str, text: str = "", allowance=5.0) -> Points:
    corners = np.array([[x, y, z] for x in (0, 400) for y in (0, 300) for z in (0, 400)], float)
    return Points(points(HEAD + rows), between(text), 5.0, allowance, Convex(corners), np.zeros(3))


@pytest.fixture(scope="module")
def at(wall) -> np.ndarray:
    """The wall's lower front left corner in the block, by its bounding box: the rib's face lies at its y."""
    return np.array(wall.solid.bounding_box()[:3])


def test_stops_of_known_depth(wall, at):
    face, rib = at[1] + 50, at[1]
    plain, beside = at[0] + 40, at[0] + 140 - 2.9  # a tool 5 wide, half a mm off, touches the rib within 3
    up = at[2] + 100
    assert drill(wall, _points(_row(1, plain, face, up, face - 5))) == []
    (near,) = drill(wall, _points(_row(1, plain, face, up, face - 4)))
    assert near.what == "a stop is nearer than its allowance"
    assert near.by_mm == pytest.approx(1)
    assert near.sure
    (into,) = drill(wall, _points(_row(1, plain, face, up, face + 1)))
    assert into.what == "a stop is in the figure"
    assert into.by_mm == pytest.approx(1)
    assert into.sure
    (rib_met,) = drill(wall, _points(_row(1, beside, face, up, face - 5)))
    assert rib_met.by_mm == pytest.approx(face - 5 - rib)
    assert rib_met.sure
    assert drill(wall, _points(_row(1, beside - 0.3, face, up, face - 5))) == []
    (coarse,) = drill(wall, _points(_row(1, beside - 0.3, face, up, face - 5, rounding=4.0)))
    assert coarse.by_mm == pytest.approx(face - 5 - rib)


def test_cuts_between_of_known_depth(wall, at):
    face, up = at[1] + 50, at[2]
    rows = "".join(
        _row(k + 1, at[0] + x, face, up + z, face - 5)
        for k, (x, z) in enumerate([(20, 20), (20, 200), (100, 100), (250, 100)])
    )
    head = "BETWEEN THE POINTS of the front: cut only between three that are named here together\n"
    straight = head + "  straight from stop to stop: {}\n"
    level = head + "  no deeper than the depth in mm, by the depth rod anywhere between them: 1-2-4 {:.1f}\n"
    assert cut_between(wall, _points(rows, straight.format("1-2-3"))) == []
    (rib,) = cut_between(wall, _points(rows, straight.format("1-2-3,\n    1-2-4")))
    assert rib.what == "a cut between stops is in the figure"
    assert rib.sure
    assert rib.by_mm == pytest.approx(45)
    assert cut_between(wall, _points(rows, level.format(at[1] - 5))) == []
    (deep,) = cut_between(wall, _points(rows, level.format(at[1] + 1)))
    assert deep.by_mm == pytest.approx(1)
    assert deep.sure


def test_readings_that_do_not_agree(wall, at):
    face, up = at[1] + 50, at[2] + 100
    good = _row(1, at[0] + 40, face, up, face - 5)
    assert read_back(wall, _points(good)) == []
    off = read_back(wall, _points(_row(1, at[0] + 40, face - 3, up, face - 8)))
    assert [fault.what for fault in off] == ["a point on the block is not on the figure"]
    deeper = good.split(",")
    deeper[5] = f"{face + 0.6:.1f}"
    assert [f.what for f in read_back(wall, _points(",".join(deeper)))] == [
        "a reading on the model is rounded into the figure"
    ]
    twice = good + _row(2, at[0] + 43, face, up, face - 5)
    assert [f.what for f in read_back(wall, _points(twice))] == ["two points within the tool's width of each other"]


@pytest.mark.parametrize("seed", [5, *[pytest.param(k, marks=pytest.mark.slow) for k in (0, 3)]])
@pytest.mark.thorough
def test_a_real_stop_made_a_millimetre_deeper_than_the_figure_is_caught(seed):
    asked = hands.case(seed, "points")
    told = hands.read_points(*hands.sheet_of_points(asked))
    row = next(row for row in told.rows if row.stop is not None)
    place = told.place(row)
    free = touch(asked.solid, row.face, place, 0.01) - told.surface.entry(row.face, place[None])[0]
    spoiled = replace(told, rows=[replace(row, stop=free + 1)])
    assert any(f.what == "a stop is in the figure" and f.by_mm >= 1 - 1e-6 and f.sure for f in drill(asked, spoiled))


@pytest.mark.parametrize("kind", ["svg", pytest.param("dxf", marks=pytest.mark.slow)])
@pytest.mark.thorough
def test_a_plane_whose_outline_is_shrunk_is_caught(wall, tmp_path, kind):
    told = bf.roughing(wall.fit, step=30, allowance=5, until=130)
    files = []
    for number, sheet in enumerate(bf.plane_sheets(wall.fit, told)):
        files.append(tmp_path / f"{number}.{kind}")
        bf.save_template(sheet, files[-1])
    sheet = planes(str(told))
    drawn = [drawing(file, "front", wall.corners) for file in files]
    axes = (RIGHT["front"], UP["front"])
    assert cut_planes(wall, sheet, drawn, axes) == []
    last = drawn[-1]
    middle = np.concatenate(last.rings).mean(axis=0)
    for share, what in ((0.99, "a plane leaves less than its allowance"), (0.9, "a plane cuts into the figure")):
        less = replace(last, rings=[(ring - middle) * [share, 1] + middle for ring in last.rings])
        assert what in {f.what for f in cut_planes(wall, sheet, [*drawn[:-1], less], axes) if f.sure}
    without = cut_planes(wall, sheet, [*drawn[:-1], replace(last, rings=[])], axes)
    assert "a plane cuts into the figure" in {f.what for f in without}
    everything = cut_planes(wall, sheet, [*drawn[:-1], replace(last, rings=last.block)], axes)
    assert "a plane keeps more than it need" in {f.what for f in everything}


def _behind(wall: Case, left: float) -> dict:
    """A slab off the back, its kerf of 5 so far behind the figure, as a plan would say it."""
    offset = wall.solid.bounding_box()[4] + left + 5
    return {
        "volume_m3": 400 * 400 * (300 - offset) * 1e-9, "left_m3": 400 * 400 * (offset - 5) * 1e-9, "setback_mm": left,
        "stage": "before carving", "draw_out": [0, 1, 0],
        "cuts": [{"normal": [0, 1, 0], "offset_mm": offset, "kerf_mm": 5.0}],
    }  # fmt: skip


@pytest.mark.parametrize("pieces", [1, pytest.param(3, marks=pytest.mark.slow)])
@pytest.mark.thorough
def test_a_cut_that_is_moved_is_caught(wall, pieces):
    plan = bf.offcuts(wall.fit, clearance=10, kerf=8, least_weight_kg=1, least_thickness=20, most_pieces=pieces)
    record = hands.record_from(plan)
    assert record["pieces"]
    assert saw(wall, record) == []
    for by, what in ((3, "a cut is nearer than the clearance"), (25, "a cut is nearer than the clearance")):
        for piece in record["pieces"]:
            piece["cuts"][0]["offset_mm"] -= by
        assert what in {f.what for f in saw(wall, record) if f.sure}
    kept = {"clearance_mm": 10.0, "reserve_mm": 100.0, "pieces": [_behind(wall, 105.0)]}
    assert saw(wall, kept) == []
    kept = {"clearance_mm": 10.0, "reserve_mm": 100.0, "pieces": [_behind(wall, 95.0)]}
    assert {f.what for f in saw(wall, kept)} == {"a cut takes the reserve"}


def test_a_setback_that_is_lengthened_is_caught(wall):
    told = bf.setback(wall.fit)
    room = Room(wall)
    ways = {"back_mm": told.back_mm, "left_mm": told.left_mm, "right_mm": told.right_mm, "up_mm": told.up_mm}
    assert move_all_ways(room, ways) == []
    for name in ways:
        (fault,) = move_all_ways(room, ways | {name: ways[name] + 1})
        assert fault.what == "a setback goes too far"
        assert fault.by_mm == pytest.approx(1, abs=0.1)
        (fault,) = move_all_ways(room, ways | {name: ways[name] - 1})
        assert fault.what == "a setback could be longer"
    gone = m3.Manifold.cube((400, 30, 400)).translate((0, 250, 0))
    assert move_all_ways(Room(wall, stone=wall.block - gone), {"back_mm": ways["back_mm"]})
    assert move_all_ways(Room(wall, [Hole(5.0, (200.0, 280.0, 200.0), 10.0)]), {"back_mm": ways["back_mm"]})


@pytest.mark.slow
def test_straight_back_too_short_too_long_and_missed_is_caught(wall, at):
    solid = m3.Manifold.cube((400, 60, 400)).translate((0, at[1] - 40, 0))  # 20 of the rib's depth are lost
    told = straight_back(str(bf.recover(wall.fit, figure_of(solid), turn=0, lean=0, aside=0, effort=0.02)))
    room = Room(wall, [Hole(0.0, solid=solid)])
    assert told == pytest.approx(20, abs=0.1)
    assert move_back(room, told) == []
    assert [f.what for f in move_back(room, told - 1)] == ["straight back as said does not do"]
    assert "straight back is longer than need be" in [f.what for f in move_back(room, told + 1)]
    assert [f.what for f in move_back(room, None)] == ["straight back was not found"]
    ball = Room(wall, [Hole(2.0, tuple(at + np.array([150, 0, 150])), 30.0)])
    assert [f.what for f in move_back(ball, 31)] == ["straight back as said does not do"]
    assert move_back(ball, 32.0) == []

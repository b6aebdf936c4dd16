"""Points and their stops: similarity by hand, rounding, and no stop in the figure."""

import csv
import io
import re

import numpy as np
import pytest
import shapely
import trimesh
from conftest import BRICK, BRICK_BLOCK, SHARED, assert_refused, ball, cross, needs_meshes, no_room, slow_after

import blockfit as bf
from blockfit.facts.systems import METRIC
from blockfit.marking.roughing import AXES
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.views import face_view

FACES = ("front", "left", "right", "back", "top")


@pytest.fixture(scope="module", params=slow_after(1, ["cross", "kneeling"]))
def leaned(request):
    """A maquette at 1:4, leaned and turned in its block: a small cross, or the kneeling figure."""
    if request.param == "kneeling":
        return request.getfixturevalue("leaned_fit")
    arm = tuple(cross().vertices[cross().vertices[:, 2].argmax()] / 3)
    figure = bf.Figure(cross().vertices / 3, cross().faces, ratio=4.0, landmarks={"left hand": arm})
    stance, cover = bf.Stance.leaning(12, turn=30), {"bottom": 0, "other": 7}
    return bf.largest(figure, bf.Block.box(300, 270, 530, stone="marble"), cover=cover, stance=stance)


def count_of(leaned, few, many):
    return many if len(leaned.figure.faces) > 100 else few


@pytest.fixture(scope="module")
def pointed(leaned):
    return bf.pointing(leaned, count=count_of(leaned, 60, 150))


@pytest.mark.parametrize(
    "datum",
    [
        pytest.param(None, id="edges"),
        pytest.param(bf.Datum.lines(centre=450, base="2 in"), id="lines", marks=pytest.mark.slow),
        pytest.param(bf.Datum.frame(left=60, front=80, bottom=10), id="frame", marks=pytest.mark.slow),
    ],
)
@pytest.mark.thorough
def test_block_readings_are_the_models_by_a_similarity(leaned, datum):
    """Computed by hand here: model point -> frame -> times the factor -> less the datum's place."""
    told = bf.pointing(leaned, count=count_of(leaned, 12, 30), datum=datum, grain=1e-7)
    offset = {None: np.zeros(3)}.get(datum, getattr(datum, "origin_mm", None))
    for point in told.points:
        on_model = (point.at_mm - leaned.placement.shift_mm) @ leaned.placement.rotation / leaned.placement.scale / 4
        in_frame = bf.setting(leaned).in_frame(on_model[None])[0]
        assert in_frame * told.factor - offset == pytest.approx(point.block_mm, abs=1e-6)
        assert point.model_mm * told.factor == pytest.approx(point.block_mm, abs=1e-6)


def test_points_lie_on_the_figure_high_ones_first_and_landmarks_last(leaned, pointed):
    told, figure = pointed, leaned.solid()
    away, _ = SurfaceDistance(figure.vertices, figure.faces).signed(np.array([p.at_mm for p in told.points]))
    assert np.abs(away).max() < 0.1
    kinds = [point.kind for point in told.points]
    assert kinds == sorted(kinds, key=["high", "fill", "landmark"].index)
    assert [point.number for point in told.points] == list(range(1, len(kinds) + 1))
    assert kinds.count("landmark") == 1
    assert told.points[-1].name == "left hand"
    # The figure's own nearest point is among them, or another within a tool's width of it.
    front = [point.depth_mm for point in told.points if point.face == "front"]
    assert min(front) == pytest.approx(figure.vertices[:, 1].min(), abs=1)


@pytest.mark.thorough
def test_rounding_leaves_stone_and_says_what_it_costs(leaned):
    inches = bf.pointing(leaned, count=count_of(leaned, 20, 40), inches=True)
    # 1/16 in at 1:4 and this scale, in mm on the stone
    assert inches.points[0].rounding_mm == pytest.approx(25.4 / 16 * 4 * leaned.scale)
    for point in inches.points:
        axis = {"left": 0, "right": 0, "front": 1, "back": 1, "top": 2}[point.face]
        inward = 1 if point.face in ("front", "left") else -1
        assert inward * point.model_mm[axis] * inches.factor <= inward * point.block_mm[axis] + 1e-6
        assert point.allowance_mm >= 5 - 1e-6 or point.stop_mm == 0
        assert round(point.stop_mm * 10) == pytest.approx(point.stop_mm * 10, abs=1e-9)  # printed as it is
    assert "1/16 in" in str(inches)
    assert re.search(r"\d+ \d+/16", str(inches))


@pytest.mark.thorough
def test_the_table_is_safe_in_a_spreadsheet():
    marks = {"=1+1": (0.0, 0.0, 0.0), "a, b": (0.0, 10.0, 0.0)}
    figure = bf.Figure(BRICK.vertices, BRICK.faces, ratio=4.0, landmarks=marks)
    rows = list(csv.reader(io.StringIO(bf.pointing(bf.safest(figure, BRICK_BLOCK, scale=0.4), count=10).csv())))
    assert [row[1] for row in rows[-2:]] == ["'=1+1", "a, b"]
    assert len({len(row) for row in rows}) == 1


def cut_from_faces(told, points):
    """Tell whether each of (n, 3) points is cut away by going to the stops from every face."""
    gone = np.zeros(len(points), bool)
    for face, facets in told.facets.items():
        view = face_view(face)
        gone |= points @ view.into < facets.cut_mm(np.stack([points @ view.right, points @ view.up], axis=1))
    return gone


def test_cutting_to_the_stops_never_enters_the_figure(leaned, pointed):
    """Points inside the figure, by trimesh's own samples of its volume and surface, are never cut away."""
    told, figure = pointed, leaned.solid()
    mesh = trimesh.Trimesh(figure.vertices, figure.faces, process=False)
    surface, _ = trimesh.sample.sample_surface(mesh, 20_000, seed=1)
    assert not cut_from_faces(told, surface).any()
    waste = np.random.default_rng(4).uniform([0, 0, 0], leaned.block.size_mm, size=(5000, 3))
    assert cut_from_faces(told, waste).mean() > 0.2  # and it does cut


@pytest.mark.parametrize("count", slow_after(1, [40, 120]))
@pytest.mark.thorough
def test_what_is_cut_between_printed_stops_leaves_the_allowance(count):
    """A ball that touches the block's front: stops near its nose are nothing, and only what is printed is cut."""
    figure = ball(100)
    fit = bf.safest(figure, bf.Block.box(*figure.size_mm), stance=bf.Stance.fixed())
    told = bf.pointing(fit, count=count, faces=("front",), allowance=12)
    number = {point.number: point for point in told.points}
    assert any(point.stop_mm == 0 for point in told.points)
    straight = [between for between in told.between if between.no_deeper_mm is None]
    assert straight
    for between in straight:
        corners = np.array([number[k].at_mm for k in between.points])
        stops = np.array([number[k].stop_mm for k in between.points])
        shares = np.random.default_rng(between.points[0]).dirichlet([1, 1, 1], 50)
        beside = (shares @ corners)[:, [0, 2]] - np.asarray(figure.size_mm)[[0, 2]] / 2
        depth = 100 - np.sqrt(100**2 - (beside**2).sum(axis=1))
        assert (depth - shares @ stops).min() >= 12 - 0.3  # the ball's facets lie 0.2 mm within it


@needs_meshes
def test_stone_left_at_four_hundred_points():
    """Kneeling at 1.7 m, roughed out in planes 50 mm apart, then pointed: the stone over 200 random points."""
    read = bf.read_figure(SHARED / "kneeling_arm_raised.stl", unit="m")
    figure = bf.Figure(read.vertices * (1700 / read.size_mm[2]), read.faces)
    block = bf.Block.box(*(side + 60 for side in figure.size_mm), stone="marble")
    fit = bf.safest(figure, block, stance=bf.Stance.fixed())
    told = bf.pointing(fit, count=400)
    planes = {face: bf.roughing(fit, face=face, step=50) for face in FACES}
    placed = fit.solid()
    mesh = trimesh.Trimesh(placed.vertices, placed.faces, process=False)
    points, faces = trimesh.sample.sample_surface(mesh, 400, seed=1)
    normals = mesh.face_normals[faces]
    some = np.flatnonzero(normals[:, 2] > -0.95)[:200]  # the base stays on the ground
    points, normals = points[some], normals[some]

    def gone(places):
        cut = cut_from_faces(told, places)
        for face, rough in planes.items():
            into = face_view(face).into
            depth = places @ into - float((block.corners_mm @ into).min())
            for plane in rough.planes:
                outside = ~shapely.contains_xy(plane.keep, *places[:, list(AXES[face])].T)
                cut |= (depth < plane.depth_mm) & outside
        return cut

    left = np.full(len(points), 300.0)
    steps = np.array([[x, y, z] for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if x or y or z], float)
    for way in steps / np.linalg.norm(steps, axis=1)[:, None]:
        for reach in range(2, 300, 4):
            live = np.flatnonzero((normals @ way > 0.3) & (left > reach))
            if len(live) == 0:
                break
            left[live[gone(points[live] + reach * way)]] = reach
    assert left.mean() <= 15


def test_a_figure_of_points_is_pointed_as_taken():
    corners = [[x, y, z] for x in (0, 200) for y in (0, 150) for z in (0, 500)]
    figure = bf.Figure.from_points(corners, tolerance=3, landmarks={"knee": (100, 0, 250)})
    fit = bf.largest(figure, bf.Block.box(400, 400, 900), cover=20, stance=bf.Stance.upright(0))
    told = bf.pointing(fit)
    assert [point.kind for point in told.points] == ["taken"] * 8 + ["landmark"]
    assert "only the points taken" in told.lacking
    assert bf.stone_cover(fit).margin_mm > 0
    for function in (bf.roughing, bf.offcuts, bf.undercuts, bf.thin_stone):
        with pytest.raises(bf.OpenSurfaceError):
            function(fit)


def test_bad_pointing_raises(leaned_fit):
    for wrong in ({"faces": ("inside",)}, {"faces": ()}, {"count": 0}, {"grain": 0}, {"allowance": -1}):
        with pytest.raises(bf.BadValueError):
            bf.pointing(leaned_fit, **wrong)


@pytest.mark.thorough
def test_landmarks_have_a_stop_only_where_a_straight_way_reaches_them():
    """Two posts on a base: the inner sides are reached from nowhere but, near the ends, from the open front."""
    mesh = trimesh.boolean.union(
        [
            trimesh.creation.box(bounds=b)
            for b in ([[0, 0, 0], [400, 300, 40]], [[0, 0, 0], [60, 300, 400]], [[340, 0, 0], [400, 300, 400]])
        ]
    )
    marks = {
        "inner side": (60, 150, 300),
        "top of the base": (200, 150, 40),
        "outer side": (0, 150, 200),
        "near it": (0, 152, 200),
    }
    figure = bf.Figure(mesh.vertices, mesh.faces, landmarks=marks)
    fit = bf.safest(figure, bf.Block.box(460, 1200, 430), stance=bf.Stance.fixed(), cover=5)
    told = bf.pointing(fit, count=20)
    points = {point.name: point for point in told.points}
    assert (points["inner side"].face, points["inner side"].stop_mm, points["inner side"].depth_mm) == (
        "none",
        None,
        None,
    )
    assert "not reached" in points["inner side"].note
    assert points["top of the base"].face == "top"
    assert points["outer side"].face == "left"
    assert points["outer side"].stop_mm == pytest.approx(25, abs=0.11)
    assert points["near it"].stop_mm is None
    assert "one hole" in points["near it"].note
    assert ",none," in told.csv()


REFUSED = {
    "pointing nothing": (lambda: bf.pointing(no_room()), "nothing to point"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])


@pytest.mark.thorough
def test_a_figure_that_touches_the_blocks_sides_has_all_its_depths():
    """Placed to the last bit, it may lie outside a face by a rounding: that is no place without stone."""
    corners = [[0, 0, 0], [300, 0, 0], [0, 300, 0], [0, 0, 300]]
    figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    block = bf.Block.box(390, 390, 390, stone="marble")
    for fit in (
        bf.safest(figure, block, stance=bf.Stance.upright(30), seek="setback"),
        bf.largest(figure, block, stance=bf.Stance.upright(30)),
        bf.largest(figure, block),
    ):
        table = bf.pointing(fit, count=20)
        assert all(point.depth_mm is None or np.isfinite(point.depth_mm) for point in table.points)
        assert "nan" not in str(table) + table.csv()


@pytest.mark.thorough
def test_reasons_of_stops_are_said_in_the_system_asked(leaned_fit):
    table = bf.pointing(leaned_fit, count=30, allowance=4, width=20)
    assert any("mm further out" in row[-1] for row in table.rows()), "nothing to see here"
    assert not any(" mm" in row[-1] for row in table.rows(units="us"))


@pytest.mark.thorough
def test_stops_that_stay_out_say_by_how_much(leaned_fit):
    """What the table says holds a stop back adds up: depth, allowance, tool and neighbours make the stop's place."""
    table = bf.pointing(leaned_fit, count=30, allowance=4, width=20)
    told = [point for point in table.points if point.stop_mm]
    assert any(point.for_tool_mm > 5 for point in told)
    assert any(point.for_neighbours_mm > 5 for point in told)
    for point in told:
        held_mm = point.for_tool_mm + point.for_neighbours_mm + table.allowance_mm
        assert point.depth_mm - point.stop_mm == pytest.approx(held_mm, abs=0.11), point.name
        assert ("further out" in point.why(METRIC)) == (max(point.for_tool_mm, point.for_neighbours_mm) > 5)

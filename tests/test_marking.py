"""Setting, pointing, roughing out, templates and reading back, against similarity by hand and general libraries."""

import csv
import io
import math
import re
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pypdf
import pytest
import shapely
import trimesh
from conftest import SHARED, ball, cuboid, needs_meshes
from hypothesis import given
from hypothesis import strategies as st
from test_waste import united

import blockfit as bf
from blockfit.marking.datum import CORNERS
from blockfit.marking.roughing import AXES
from blockfit.measure.booleans import solid_from
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.views import face_view

FACES = ("front", "left", "right", "back", "top")


@pytest.fixture(scope="module")
def fit(kneeling):
    """The kneeling figure as a maquette at 1:4, leaned and turned in its block."""
    figure = bf.Figure(
        kneeling.vertices,
        kneeling.faces,
        ratio=4.0,
        landmarks={"left hand": tuple(kneeling.vertices[kneeling.vertices[:, 2].argmax()])},
    )
    block = bf.Block.box(900, 800, 1600, stone="marble")
    return bf.largest(figure, block, cover={"bottom": 0, "other": 20}, stance=bf.Stance.leaning(12, turn=30))


# ---- setting ----


def test_the_frame_about_a_level_model_is_the_block_by_similarity(fit):
    told = bf.setting(fit)
    assert told.factor == pytest.approx(4 * fit.scale, rel=1e-12)
    assert told.inside_mm == pytest.approx(np.array(fit.block.size_mm) / told.factor)
    model = fit.figure.vertices / 4
    zero = model.min(axis=0)
    for corner in told.corners:
        place = np.array([corner.right_mm, corner.behind_mm, corner.above_mm]) + zero
        on_block = fit.placement.apply(place[None] * 4)[0]
        assert np.abs(on_block - fit.block.corners_mm).sum(axis=1).min() < 1e-5
    by_name = {corner.name: corner for corner in told.corners}
    assert by_name["front left bottom"].right_mm < by_name["front right bottom"].right_mm


def test_wedges_and_far_distances(fit):
    told = bf.setting(fit)
    assert len(told.wedges) == 3
    model = fit.figure.vertices / 4
    zero = model.min(axis=0)
    for wedge in told.wedges:
        point = np.array([wedge.right_mm, wedge.behind_mm, wedge.above_mm]) + zero
        assert fit.placement.apply(point[None] * 4)[0, 2] / told.factor == pytest.approx(wedge.height_mm, abs=1e-6)
    assert len(told.checks) == 3
    assert all(check.distance_mm > 0.5 * max(told.inside_mm) for check in told.checks)
    assert "far distances" in str(told)


# ---- pointing ----


@pytest.mark.parametrize(
    "datum",
    [None, bf.Datum.lines(centre=450, base="2 in"), bf.Datum.frame(left=60, front=80, bottom=10)],
    ids=["edges", "lines", "frame"],
)
def test_block_readings_are_the_models_by_a_similarity(fit, datum):
    """Computed by hand here: model point -> frame -> times the factor -> less the datum's place."""
    told = bf.pointing(fit, count=30, datum=datum, grain=1e-7)
    offset = {None: np.zeros(3)}.get(datum, getattr(datum, "origin_mm", None))
    for point in told.points:
        on_model = (point.at_mm - fit.placement.shift_mm) @ fit.placement.rotation / fit.placement.scale / 4
        in_frame = bf.setting(fit).in_frame(on_model[None])[0]
        assert in_frame * told.factor - offset == pytest.approx(point.block_mm, abs=1e-6)
        assert point.model_mm * told.factor == pytest.approx(point.block_mm, abs=1e-6)


def test_points_lie_on_the_figure_high_ones_first_and_landmarks_last(fit):
    told = bf.pointing(fit, count=60)
    figure = fit.solid()
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


def test_rounding_leaves_stone_and_says_what_it_costs(fit):
    inches = bf.pointing(fit, count=40, inches=True)
    # 1/16 in at 1:4 and this scale, in mm on the stone
    assert inches.points[0].rounding_mm == pytest.approx(25.4 / 16 * 4 * fit.scale)
    for point in inches.points:
        axis = {"left": 0, "right": 0, "front": 1, "back": 1, "top": 2}[point.face]
        inward = 1 if point.face in ("front", "left") else -1
        assert inward * point.model_mm[axis] * inches.factor <= inward * point.block_mm[axis] + 1e-6
        assert point.allowance_mm >= 5 - 1e-6 or point.stop_mm == 0
        assert round(point.stop_mm * 10) == pytest.approx(point.stop_mm * 10, abs=1e-9)  # printed as it is
    assert "1/16 in" in str(inches)
    assert re.search(r"\d+ \d+/16", str(inches))


def test_the_table_is_safe_in_a_spreadsheet(fit):
    marks = {"=1+1": (0.0, 0.0, 0.0), "a, b": (0.0, 10.0, 0.0)}
    figure = bf.Figure(fit.figure.vertices, fit.figure.faces, ratio=4.0, landmarks=marks)
    rows = list(csv.reader(io.StringIO(bf.pointing(bf.safest(figure, fit.block, scale=0.4), count=10).csv())))
    assert [row[1] for row in rows[-2:]] == ["'=1+1", "a, b"]
    assert len({len(row) for row in rows}) == 1


def cut_from_faces(told, points):
    """Tell whether each of (n, 3) points is cut away by going to the stops from every face."""
    gone = np.zeros(len(points), bool)
    for face, facets in told.facets.items():
        view = face_view(face)
        gone |= points @ view.into < facets.cut_mm(np.stack([points @ view.right, points @ view.up], axis=1))
    return gone


def test_cutting_to_the_stops_never_enters_the_figure(fit):
    """Points inside the figure, by trimesh's own samples of its volume and surface, are never cut away."""
    told = bf.pointing(fit, count=150)
    figure = fit.solid()
    mesh = trimesh.Trimesh(figure.vertices, figure.faces, process=False)
    surface, _ = trimesh.sample.sample_surface(mesh, 20_000, seed=1)
    assert not cut_from_faces(told, surface).any()
    waste = np.random.default_rng(4).uniform([0, 0, 0], fit.block.size_mm, size=(5000, 3))
    assert cut_from_faces(told, waste).mean() > 0.2  # and it does cut


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
            left[live[gone(points[live] + reach * way)]] = reach
    assert left.mean() <= 15


def test_a_figure_of_points_is_pointed_as_taken():
    corners = [[x, y, z] for x in (0, 200) for y in (0, 150) for z in (0, 500)]
    figure = bf.Figure.from_points(corners, tolerance=3, landmarks={"knee": (100, 0, 250)})
    fit = bf.largest(figure, bf.Block.box(400, 400, 900), cover=20, stance=bf.Stance.upright(0))
    told = bf.pointing(fit)
    assert [point.kind for point in told.points] == ["taken"] * 8 + ["landmark"]
    assert "only the points taken" in told.lacking
    assert bf.stone_cover(fit).tolerance_mm > 0
    for function in (bf.roughing, bf.offcuts, bf.undercuts, bf.thin_stone):
        with pytest.raises(bf.OpenSurfaceError):
            function(fit)


def test_bad_pointing_raises(fit):
    for wrong in ({"faces": ("inside",)}, {"faces": ()}, {"count": 0}, {"grain": 0}, {"allowance": -1}):
        with pytest.raises(bf.BadValueError):
            bf.pointing(fit, **wrong)


# ---- datums ----


@given(st.lists(st.floats(-40, 40), min_size=24, max_size=24))
def test_readings_from_a_block_out_of_square_go_there_and_back(moves):
    true = np.array([[x, y, z] for z in (0, 1500) for y in (0, 700) for x in (0, 900)], float)
    datum = bf.Datum("as measured", np.zeros(3), true + np.array(moves).reshape(8, 3))
    points = np.random.default_rng(2).uniform([0, 0, 0], [900, 700, 1500], size=(20, 3))
    assert datum.points(datum.readings(points)) == pytest.approx(points, abs=1e-6)


def test_corner_distances_give_the_corners_back():
    block = bf.Block.box(900, 700, 1500)
    true = np.array([[x, y, z] for z in (0, 1500) for y in (0, 700) for x in (0, 900)], float)
    actual = true.copy()
    actual[[5, 7], 0] += 12  # the right face leans out at the top
    actual[7, 1] += 8
    pairs = [(a, b) for a in range(8) for b in range(a)]
    distances = {(CORNERS[a], CORNERS[b]): float(np.linalg.norm(actual[a] - actual[b])) for a, b in pairs}
    datum = bf.Datum.out_of_square(block, distances)
    assert datum.corners_mm == pytest.approx(actual, abs=0.05)
    # A point 100 mm from the left edge, half way up: the left face is true, so its reading is its place.
    assert datum.readings(np.array([[100.0, 50, 750]]))[0] == pytest.approx([100, 50, 750], abs=0.05)
    first = next(iter(distances))
    with pytest.raises(bf.BadValueError, match="contradict"):
        bf.Datum.out_of_square(block, {**distances, first: distances[first] + 40})
    with pytest.raises(bf.BadValueError, match="no corner"):
        bf.Datum.out_of_square(block, {("front left bottom", "nowhere"): 3})


def test_changing_the_datum_is_one_sum():
    edges, lines = bf.Datum.edges(bf.Block.box(900, 700, 1500)), bf.Datum.lines(centre=450, base=30)
    change = edges.to(lines)
    point = np.array([[500.0, 60, 400]])
    assert edges.readings(point)[0] + change.add_mm == pytest.approx(lines.readings(point)[0])


def test_three_points_tell_how_the_model_has_moved():
    before = np.array([[0, 0, 0], [300, 0, 100], [0, 200, 400]], float)
    turn = np.radians(5)
    rotation = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    after = before @ rotation.T + [10, -4, 2]
    moved = bf.model_moved(before, after)
    assert moved.turn_deg == pytest.approx(5)
    assert moved.left_over_mm == pytest.approx(0, abs=1e-9)
    assert moved.apply(before) == pytest.approx(after)
    assert bf.model_moved(before, np.add(after, [[0, 0, 0], [0, 0, 0], [9, 0, 0]])).left_over_mm > 1
    for wrong in (before[:2], [[0, 0, 0], [1, 1, 1], [2, 2, 2]]):
        with pytest.raises(bf.BadValueError):
            bf.model_moved(wrong, wrong)


# ---- roughing out ----


@pytest.mark.parametrize("face", FACES)
def test_what_stays_holds_the_figure_before_every_plane(fit, face):
    """The exact shadow of the figure before the plane, from manifold3d's own projection, lies inside what stays."""
    told = bf.roughing(fit, face=face, step=150, allowance=10)
    into = face_view(face).into
    figure = fit.solid()
    axes = list(AXES[face])
    start = float((fit.block.corners_mm @ into).min())
    third = 3 - sum(axes)
    order = [*axes, third]
    turned = figure.faces[:, ::-1] if face in ("front", "back") else figure.faces
    solid = solid_from(figure.vertices[:, order], turned)
    last = None
    for plane in told.planes:
        part = solid.trim_by_plane([0, 0, -float(np.sign(into[third]))], -(start + plane.depth_mm))
        rings = [np.vstack([ring, ring[:1]]) for ring in part.project().to_polygons()]
        if rings:
            assert plane.keep.buffer(1e-6).covers(shapely.build_area(shapely.MultiLineString(rings)))
        assert plane.go.intersection(plane.keep).area < 1e-6
        if last is not None:
            assert last.keep.difference(plane.keep).area < 1e-3
            assert plane.setback_mm <= last.setback_mm + 1e-9
        last = plane


def test_more_allowance_keeps_more(fit):
    thin, thick = (bf.roughing(fit, step=200, allowance=by) for by in (5, 40))
    for one, two in zip(thin.planes, thick.planes, strict=True):
        assert one.keep.difference(two.keep).area < 1e-3
        assert two.total_m3 < one.total_m3


def test_volumes_sum_to_the_stone_before_the_end_plane():
    """A ball of radius r behind the front: stone outside its shadow and before its front half, by formula."""
    radius, margin = 200.0, 30.0
    sphere = ball(radius, 5)
    side = 2 * (radius + margin)
    fit = bf.safest(sphere, bf.Block.box(side, side, side, stone="marble"), stance=bf.Stance.fixed())
    told = bf.roughing(fit, step=4, allowance=0)
    # The shadow is whole, to a thousandth of its area, where r² - (r - y)² is: y = r - r sqrt(0.001).
    assert told.end_mm == pytest.approx(margin + radius * (1 - math.sqrt(0.001)), abs=2.5)
    end = told.end_mm - margin
    cap = math.pi * (radius * end**2 - end**3 / 3)
    before = side * side * told.end_mm - cap
    # What comes into view within a step stays until the next plane: a step times the shadow at most.
    assert 0 <= before * 1e-9 - told.planes[-1].total_m3 <= 4 * math.pi * radius**2 * 1e-9
    assert told.planes[-1].total_kg == pytest.approx(told.planes[-1].total_m3 * 2700)


def test_where_it_ends_can_be_named(fit):
    named = bf.roughing(fit, until="left hand")
    assert "left hand" in named.planes[-1].name
    assert named.end_mm == pytest.approx(fit.solid().landmarks["left hand"][1])
    assert bf.roughing(fit, until="20 cm", step=80).planes[-1].depth_mm == 200
    for wrong in ({"step": 0}, {"face": "inside"}, {"until": 5000}, {"step": 0.1}):
        with pytest.raises(bf.BadValueError):
            bf.roughing(fit, **wrong)


def test_setback_from_a_side_by_hand():
    """A post of 100 x 100 in the middle: roughed from the left past it, it can go back by what was left behind it."""
    post = cuboid(100, 100, 500)
    block = bf.Block.box(300, 400, 500, stone="marble")
    fit = bf.safest(post, block, stance=bf.Stance.fixed(), cover={"front": 100, "other": 0})
    told = bf.roughing(fit, face="left", step=50, allowance=15)
    behind = bf.setback(fit).back_mm
    assert told.planes[0].setback_mm == pytest.approx(behind)
    assert told.planes[-1].setback_mm == pytest.approx(min(15, behind), abs=0.2)


# ---- reading back ----


def test_readings_taken_from_the_true_surface_and_off_it(fit):
    figure = fit.solid()
    datum = bf.Datum.lines(centre=450, base=30)
    middles = figure.vertices[figure.faces].mean(axis=1)[::500]
    corner = figure.vertices[figure.faces[::500]]
    normals = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    on = bf.check(fit, datum.readings(middles), datum=datum)
    assert {reading.verdict for reading in on.readings} == {"within the error"}
    deep = bf.check(fit, datum.readings(middles - 6 * normals), datum=datum, error=1)
    assert max(reading.left_mm for reading in deep.readings) < 0
    assert deep.too_deep
    named = bf.check(fit, {"over the head": [450, 400, 1599]})
    assert named.readings[0].verdict == "stone on it"
    assert "over the head" in str(named)
    for wrong in ({}, [[1, 2]], [["a", "b", "c"]]):
        with pytest.raises(bf.BadValueError):
            bf.check(fit, wrong)


def test_signed_distances_against_trimesh(kneeling):
    from trimesh.proximity import closest_point

    random = np.random.default_rng(5)
    low, high = kneeling.vertices.min(axis=0) - 100, kneeling.vertices.max(axis=0) + 100
    points = random.uniform(low, high, size=(300, 3))
    mesh = trimesh.Trimesh(kneeling.vertices, kneeling.faces, process=False)
    ours, _ = SurfaceDistance(kneeling.vertices, kneeling.faces).signed(points)
    assert np.abs(ours) == pytest.approx(closest_point(mesh, points)[1], abs=1e-6)
    assert ((ours < 0) == mesh.contains(points)).mean() > 0.99


# ---- templates ----


@pytest.fixture(scope="module")
def sheet(fit):
    return bf.face_sheet(fit, "left", date="2031-05-04")


def test_svg_at_true_size(sheet, tmp_path):
    bf.save_template(sheet, tmp_path / "left.svg")
    root = ElementTree.parse(tmp_path / "left.svg").getroot()
    assert root.get("width") == f"{sheet.width:.3f}mm"
    assert root.get("viewBox") == f"0 0 {sheet.width:.3f} {sheet.height:.3f}"
    square = next(item for item in root if item.get("class") == "square")
    corners = np.array([[float(v) for v in pair.split(",")] for pair in square.get("points").split()])
    assert np.ptp(corners, axis=0) == pytest.approx([100, 100])
    words = " ".join(item.text or "" for item in root)
    for said in ("left face, seen from outside", "2031-05-04", "back", "front", "UP"):
        assert said in words


def test_dxf_in_millimetres(sheet, tmp_path):
    bf.save_template(sheet, tmp_path / "left.dxf")
    drawing = ezdxf.readfile(tmp_path / "left.dxf")
    assert drawing.units == ezdxf.units.MM
    block = drawing.modelspace().query("LWPOLYLINE[layer=='block']").first
    points = np.array(block.get_points("xy"))
    assert np.ptp(points, axis=0) == pytest.approx([800, 1600])  # the left face: depth by height
    assert drawing.header["$EXTMAX"][0] <= sheet.width


def test_pdf_page_boxes_and_square(sheet, tmp_path):
    bf.save_template(sheet, tmp_path / "left.pdf")
    page = pypdf.PdfReader(tmp_path / "left.pdf").pages[0]
    size = np.array([float(page.mediabox.width), float(page.mediabox.height)]) / 72 * 25.4
    assert size == pytest.approx([sheet.width, sheet.height], abs=0.1)
    sizes = [np.ptp(line, axis=0) for line in strokes(page)]
    assert any(np.abs(s - 100).max() < 0.1 for s in sizes)


def strokes(page):
    """The closed and open paths of a page in mm, through its own matrices."""
    matrix, stack, found, path = np.eye(3), [], [], []
    for operands, operator in page.get_contents().operations if hasattr(page.get_contents(), "operations") else ():
        values = [float(v) for v in operands] if operator in (b"cm", b"m", b"l") else []
        if operator == b"q":
            stack.append(matrix)
        elif operator == b"Q":
            matrix = stack.pop()
        elif operator == b"cm":
            a, b, c, d, e, f = values
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif operator in (b"m", b"l"):
            if operator == b"m":
                path = []
            path.append((np.array([*values, 1.0]) @ matrix)[:2] / 72 * 25.4)
        elif operator in (b"S", b"s", b"n") and path:
            if operator != b"n":
                found.append(np.array(path))
            path = []
    return found


def test_a_tiling_puts_the_outline_together_again(sheet, tmp_path):
    bf.save_template(sheet, tmp_path / "tiles.pdf", paper="A4")
    pages = pypdf.PdfReader(tmp_path / "tiles.pdf").pages
    inner, overlap = np.array([210.0, 297.0]) - 20, 15.0
    columns = math.ceil((sheet.width - overlap) / (inner[0] - overlap))
    rows = math.ceil((sheet.height - overlap) / (inner[1] - overlap))
    assert len(pages) == columns * rows
    outline = max((line for line in sheet.lines if line.weight == "outline"), key=lambda line: len(line.points)).points
    for number, page in enumerate(pages):
        size = np.array([float(page.mediabox.width), float(page.mediabox.height)]) / 72 * 25.4
        assert size == pytest.approx([210, 297], abs=0.1)
        row, column = divmod(number, columns)
        # Every tile draws the whole sheet, moved: taken back, it is the outline.
        back = np.array([column, row]) * (inner - overlap) - 10
        same = [line for line in strokes(page) if len(line) == len(outline)]
        assert any(np.abs(line + back - outline).max() < 0.1 for line in same)


@pytest.mark.parametrize(("face", "left"), [("front", "left"), ("back", "right"), ("left", "back"), ("right", "front")])
def test_seen_from_outside_the_neighbours_are_where_they_are(fit, face, left):
    sheet = bf.face_sheet(fit, face)
    said = {label.text: label.x for label in sheet.labels}
    assert said[left] == min(said[name] for name in ("left", "right", "front", "back") if name in said)
    # The outline is mirrored where it must be: the figure's leftmost point as that side sees it.
    view = face_view(face)
    seen = fit.solid().vertices @ view.right
    corners = fit.block.corners_mm @ view.right
    outline = np.concatenate([line.points for line in sheet.lines if line.weight == "outline"])
    block = next(line.points for line in sheet.lines if line.weight == "block")
    assert outline[:, 0].min() - block[:, 0].min() == pytest.approx(seen.min() - corners.min(), abs=1e-6)


def test_planes_and_rulers(fit, tmp_path):
    sheets = bf.plane_sheets(fit, bf.roughing(fit, step=200))
    assert all("what must stay" in sheet.title for sheet in sheets)
    ruler = bf.ruler_sheet(1600, 4)
    bf.save_template(ruler, tmp_path / "ruler.svg")
    assert ruler.width >= 1600
    with pytest.raises(bf.BadValueError):
        bf.ruler_sheet(0, 4)
    for wrong, paper in (("a.png", None), ("a.svg", "A4"), ("a.pdf", "A9")):
        with pytest.raises(bf.BadValueError):
            bf.save_template(ruler, tmp_path / wrong, paper=paper)


def test_sloping_keep_of_two_parts_keeps_its_hole():
    """A ring standing towards the front: what stays has a hole, and stone may go out of it."""
    level = [cuboid(600, 100, 100, at=(0, 0, z)) for z in (0, 500)]
    upright = [cuboid(100, 100, 600, at=(x, 0, 0)) for x in (0, 500)]
    frame = united(*level, *upright)
    fit = bf.safest(frame, bf.Block.box(660, 160, 660), stance=bf.Stance.fixed())
    last = bf.roughing(fit, step=40, allowance=20).planes[-1]
    assert sum(len(part.interiors) for part in getattr(last.keep, "geoms", [last.keep])) == 1
    hole = 400.0 - 2 * 20
    assert last.go.area == pytest.approx(660**2 - last.keep.area)
    assert last.go.area > hole**2 * 0.98


def test_the_command_line_writes_every_sheet(tmp_path):
    from blockfit.__main__ import cli

    arguments = "mark tests/data/kneeling.stl --unit m --block 900x700x1600 --cover 20 --points 20 --step 300"
    cli.main([*arguments.split(), "-o", str(tmp_path / "marks")], standalone_mode=False)
    names = {file.name for file in (tmp_path / "marks").iterdir()}
    assert {"setting.txt", "points.csv", "planes.txt", "front.svg", "left.dxf", "top.pdf", "rulers.pdf"} <= names
    assert "ROUGHING OUT" in (tmp_path / "marks" / "planes.txt").read_text(encoding="utf-8")

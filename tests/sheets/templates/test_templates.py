"""Templates at full size, read back by general libraries."""

import math
import re
import tempfile
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pypdf
import pytest
import trimesh
from conftest import FIXED, mushroom, slow_after
from scipy.spatial import cKDTree

import blockfit as bf
from blockfit.measure.views import face_view


@pytest.fixture(scope="module")
def sheet(leaned_fit):
    return bf.face_sheet(leaned_fit, "left", date="2031-05-04")


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


@pytest.mark.parametrize("which", slow_after(1, ["small", "large"]))
def test_a_tiling_puts_the_outline_together_again(which, sheet, tmp_path):
    if which == "small":  # reading back takes every line of every tile
        fit = bf.largest(mushroom(), bf.Block.box(400, 400, 450), stance=FIXED, scales=(0, 1))
        sheet = bf.face_sheet(fit, "left")
    bf.save_template(sheet, tmp_path / "tiles.pdf", paper="A4")
    pages = pypdf.PdfReader(tmp_path / "tiles.pdf").pages
    inner, overlap = np.array([210.0, 297.0]) - 20, 15.0
    columns = math.ceil((sheet.width - overlap) / (inner[0] - overlap))
    rows = math.ceil((sheet.height - overlap) / (inner[1] - overlap))
    *tiles, overview = pages
    assert 1 < len(tiles) <= columns * rows  # empty tiles are left out
    assert "overview" in overview.extract_text()
    outline = max((line for line in sheet.lines if line.weight == "outline"), key=lambda line: len(line.points)).points
    met = np.zeros(len(outline), bool)
    for page in tiles:
        size = np.array([float(page.mediabox.width), float(page.mediabox.height)]) / 72 * 25.4
        assert size == pytest.approx([210, 297], abs=0.1)
        row, column = (
            int(n) - 1 for n in re.search(r"row (\d+) of \d+ from below, column (\d+)", page.extract_text()).groups()
        )
        # Every tile draws the whole sheet, moved: taken back, it is the outline.
        back = np.array([column, row]) * (inner - overlap) - 10
        same = [line for line in strokes(page) if len(line) == len(outline)]
        assert any(np.abs(line + back - outline).max() < 0.1 for line in same)
        low = np.array([column, row]) * (inner - overlap)
        met |= ((outline >= low) & (outline <= low + inner)).all(axis=1)
    assert met.all()  # no place of the outline is on a tile that was left out


def test_contours_are_the_surfaces_own_and_depths_are_its_high_points(kneeling):
    """Read back from the SVG alone: every inner line lies where trimesh's surface turns away or is sharp; a depth as
    printed is never more than a ray of trimesh measures there."""
    fit = bf.largest(kneeling, bf.Block.box(900, 700, 1300), stance=bf.Stance.fixed(), scales=(0, 0.5))
    root = ElementTree.fromstring(_svg(bf.face_sheet(fit, "front")))
    height = float(root.get("height")[:-2])
    block = points_of(next(item for item in root if item.get("class") == "block"), height)
    inner = [points_of(item, height) - block.min(axis=0) for item in root if item.get("class") == "inner"]
    lines = [line for line in inner if np.abs(np.ptp(line, axis=0)).max() > 4.5]
    assert len(lines) > 5
    mesh = trimesh.Trimesh(fit.solid().vertices, fit.solid().faces, process=False)
    facing = mesh.face_normals[:, 1] < 0
    one, other = mesh.face_adjacency.T
    turns = (facing[one] != facing[other]) | (mesh.face_adjacency_angles > 0.7)
    ends = mesh.vertices[mesh.face_adjacency_edges[turns]][:, :, [0, 2]].reshape(-1, 2)
    tree = cKDTree(ends)
    assert max(float(np.max(tree.query(line)[0])) for line in lines) < 0.01
    crosses = [line.mean(axis=0) for line in inner if np.ptp(line, axis=0).tolist() == pytest.approx([4, 0], abs=1e-2)]
    depths = {item.text: item for item in root if re.fullmatch(r"[\d,]+ mm", item.text or "")}
    assert len(crosses) >= 4
    for text, item in depths.items():
        place = np.array([float(item.get("x")) - 3, height - float(item.get("y")) - 2]) - block.min(axis=0)
        assert min(np.linalg.norm(place - cross) for cross in crosses) < 0.02
        start = np.array([[place[0] + 0.01, -10.0, place[1] + 0.01]])
        hits = mesh.ray.intersects_location(start, [[0, 1.0, 0]])[0]
        if len(hits):
            assert float(text.removesuffix(" mm").replace(",", "")) <= hits[:, 1].min() + 0.05


def test_the_outline_of_an_octagonal_block_is_its_own():
    angles = np.radians(np.arange(22.5, 360, 45))
    ring = 500 * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    block = bf.Block.convex([[x, y, z] for x, y in ring for z in (0, 900)])
    figure = bf.Figure.from_points([[x, y, z] for x in (-90, 90) for y in (-90, 90) for z in (0, 500)])
    solid = trimesh.convex.convex_hull(figure.vertices)
    fit = bf.largest(bf.Figure(solid.vertices, solid.faces), block, stance=bf.Stance.fixed(), scales=(0, 1))
    sheet = bf.face_sheet(fit, "top")
    outline = next(line.points for line in sheet.lines if line.weight == "block")
    assert len(outline) == 8


def _svg(sheet):
    with tempfile.TemporaryDirectory() as folder:
        bf.save_template(sheet, f"{folder}/s.svg")
        return Path(f"{folder}/s.svg").read_text(encoding="utf-8")


def points_of(item, height):
    """Return (n, 2) points of an SVG polygon or polyline, y upwards."""
    points = np.array([[float(v) for v in pair.split(",")] for pair in item.get("points").split()])
    return np.stack([points[:, 0], height - points[:, 1]], axis=1)


@pytest.mark.parametrize(("face", "left"), [("front", "left"), ("back", "right"), ("left", "back"), ("right", "front")])
def test_seen_from_outside_the_neighbours_are_where_they_are(leaned_fit, face, left):
    sheet = bf.face_sheet(leaned_fit, face)
    said = {label.text: label.x for label in sheet.labels}
    assert said[left] == min(said[name] for name in ("left", "right", "front", "back") if name in said)
    # The outline is mirrored where it must be: the figure's leftmost point as that side sees it.
    view = face_view(face)
    seen = leaned_fit.solid().vertices @ view.right
    corners = leaned_fit.block.corners_mm @ view.right
    outline = np.concatenate([line.points for line in sheet.lines if line.weight == "outline"])
    block = next(line.points for line in sheet.lines if line.weight == "block")
    assert outline[:, 0].min() - block[:, 0].min() == pytest.approx(seen.min() - corners.min(), abs=1e-6)


def test_planes_and_rulers(leaned_fit, tmp_path):
    sheets = bf.plane_sheets(leaned_fit, bf.roughing(leaned_fit, step=200))
    assert all("what must stay" in sheet.title for sheet in sheets)
    ruler = bf.ruler_sheet(1600, 4)
    bf.save_template(ruler, tmp_path / "ruler.svg")
    assert ruler.width >= 1600
    with pytest.raises(bf.BadValueError):
        bf.ruler_sheet(0, 4)
    for wrong, paper in (("a.png", None), ("a.svg", "A4"), ("a.pdf", "A9")):
        with pytest.raises(bf.BadValueError):
            bf.save_template(ruler, tmp_path / wrong, paper=paper)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_no_words_of_a_cut_run_off_the_paper(usual_plan, units):
    """Words to the left of a line begin where the sheet begins, not before it; letters are taken broad."""
    sheets = [sheet for _, sheet in bf.cut_sheets(usual_plan, units=units)]
    assert sheets
    for sheet in sheets:
        for label in sheet.labels:
            assert label.x >= 0
            assert label.y >= 0
            assert label.x + 0.8 * label.size * len(label.text) <= sheet.width
            assert label.y + label.size <= sheet.height
        for line in sheet.lines:
            assert (line.points >= 0).all()
            assert (line.points <= [sheet.width, sheet.height]).all()

"""Scans as they come. Every file ends in a figure that says what was mended, or in one clear error."""

import math
import struct

import numpy as np
import pytest
import trimesh
from conftest import BRICK, SHARED, ball, cuboid, joined, needs_meshes

import blockfit as bf
from blockfit.intake.demo import demo_figure, demo_maquette, demo_scan
from blockfit.intake.scan import repaired
from blockfit.measure.booleans import solid_from


def steps(figure):
    return [repair.step for repair in figure.repairs]


def write(path, figure):
    trimesh.Trimesh(figure.vertices, figure.faces, process=False).export(path)
    return path


@pytest.mark.parametrize("kind", ["stl", "ply", "obj", "off", "glb", "3mf"])
def test_every_format_gives_the_same_solid(tmp_path, kind):
    path = write(tmp_path / f"box.{kind}", cuboid(100, 200, 300))
    states = {"glb", "3mf"}  # glTF 2.0: metres; 3MF: millimetres unless it says otherwise
    if kind not in states:
        with pytest.raises(bf.UnitNeededError, match="300 mm if mm"):
            bf.read_figure(path)
    figure = bf.read_figure(path, unit="mm", up="+z", front="-y")
    assert figure.volume_m3 == pytest.approx(0.006, rel=1e-6)
    assert figure.size_mm == pytest.approx((100, 200, 300), rel=1e-6)
    if kind == "3mf":
        assert bf.read_figure(path, up="+z", front="-y").volume_m3 == pytest.approx(0.006, rel=1e-6)
    if kind == "glb":
        assert bf.read_figure(path, up="+z", front="-y").size_mm[2] == pytest.approx(300_000, rel=1e-6)


def test_unit_ratio_and_axes(tmp_path):
    path = write(tmp_path / "box.ply", cuboid(1, 2, 3))
    figure = bf.read_figure(path, unit="in", ratio="1:4")
    assert figure.size_mm == pytest.approx((101.6, 203.2, 304.8))
    # A file with y up that looks along +z: its y becomes our height, its z our front.
    turned = bf.read_figure(path, unit="mm", up="+y", front="+z", landmarks={"tip": (1, 2, 3)})
    assert turned.size_mm == pytest.approx((1, 3, 2))
    assert turned.landmarks["tip"] == pytest.approx((1, -3, 2))
    assert turned.volume_m3 == pytest.approx(6e-9)
    with pytest.raises(bf.BadValueError, match="one axis"):
        bf.read_figure(path, unit="mm", up="+z", front="-z")
    with pytest.raises(bf.BadValueError, match="front= as well"):
        bf.read_figure(path, unit="mm", up="-y")
    with pytest.raises(bf.BadValueError, match="is not a unit"):
        bf.read_figure(path, unit="cubit")


def test_landmarks_from_files(tmp_path):
    path = write(tmp_path / "box.ply", cuboid(1, 2, 3))
    (tmp_path / "marks.csv").write_text("name,x,y,z\nnose,0,0,1\n\nchin,0.5,0,0\n", encoding="utf-8")
    (tmp_path / "marks.json").write_text('{"nose": [0, 0, 1]}', encoding="utf-8")
    assert bf.read_figure(path, unit="cm", landmarks=tmp_path / "marks.csv").landmarks["chin"] == (5, 0, 0)
    assert bf.read_figure(path, unit="cm", landmarks=tmp_path / "marks.json").landmarks["nose"] == (0, 0, 10)
    (tmp_path / "bad.csv").write_text("nose,0,zero,1\n", encoding="utf-8")
    with pytest.raises(bf.BadValueError, match=r"bad.csv, line 1"):
        bf.read_figure(path, unit="cm", landmarks=tmp_path / "bad.csv")


def test_damaged_surfaces_are_mended(tmp_path):
    good = ball(100)
    vertices, faces = good.vertices.copy(), good.faces.copy()
    faces[3] = faces[3, ::-1]
    faces = np.vstack([faces[5:], faces[7], [0, 0, 1]])
    path = tmp_path / "ball.ply"
    trimesh.Trimesh(vertices, faces, process=False).export(path)
    before = path.read_bytes()
    figure = bf.read_figure(path, unit="mm")
    assert path.read_bytes() == before
    assert figure.is_solid
    assert {"degenerate faces", "duplicate faces", "holes"} <= set(steps(figure))
    assert figure.volume_m3 == pytest.approx(good.volume_m3, rel=2e-3)


def test_an_inside_out_surface_is_turned():
    box = cuboid(100, 100, 100)
    vertices, faces, done = repaired(box.vertices, box.faces[:, ::-1])
    assert bf.Figure(vertices, faces).volume_m3 == pytest.approx(1e-3)
    assert [r.step for r in done] == ["inside out"]


def test_a_hollow_stays_and_overlaps_count_once():
    inner = ball(100)
    hollow = joined(ball(300), bf.Figure(inner.vertices, inner.faces[:, ::-1]))
    vertices, faces, done = repaired(hollow.vertices, hollow.faces)
    assert bf.Figure(vertices, faces).volume_m3 == pytest.approx(hollow.volume_m3, rel=1e-9)
    assert "1 closed hollows kept" in done[-1].text
    pair = joined(cuboid(200, 200, 200), cuboid(200, 200, 200, at=(100, 0, 0)))
    vertices, faces, done = repaired(pair.vertices, pair.faces)
    assert bf.Figure(vertices, faces).volume_m3 == pytest.approx(0.012, rel=1e-9)
    assert dict(done[-1].measures)["shared_l"] == pytest.approx(4)


def test_vertices_that_are_not_numbers_are_dropped():
    box = ball(100)
    vertices = box.vertices.copy()
    vertices[7] = np.nan
    ours, faces, done = repaired(vertices, box.faces)
    assert np.isfinite(ours).all()
    assert bf.Figure(ours, faces).is_solid
    assert done[0].step == "not a number"


@pytest.mark.slow
def test_a_hopeless_surface_is_rebuilt_and_says_how_well():
    """Two walls of a ball are missing and some faces meet in threes: votes along columns still find the inside."""
    good = ball(300, 5)
    middle = good.vertices[good.faces].mean(axis=1)
    kept = ~((middle[:, 0] > 150) & (middle[:, 1] > 0) & (np.abs(middle[:, 2]) < 200))
    fin = np.array([[0, 0, 290], [0, 10, 290], [0, 0, 420]], float)
    vertices = np.vstack([good.vertices, fin])
    faces = np.vstack([good.faces[kept], [len(good.vertices) + np.arange(3)]])
    ours, triangles, done = repaired(vertices, faces, max_hole_mm=1)
    rebuilt = [r for r in done if r.step == "rebuilt"]
    assert rebuilt
    measures = dict(rebuilt[0].measures)
    assert measures["median_deviation_mm"] < measures["pitch_mm"]
    assert bf.Figure(ours, triangles).volume_m3 == pytest.approx(good.volume_m3, rel=0.05)
    solid_from(ours, triangles)


def test_far_coordinates_are_noticed(tmp_path):
    path = write(tmp_path / "far.stl", cuboid(100, 100, 100, at=(1e7, 0, 0)))
    figure = bf.read_figure(path, unit="mm")
    assert "coarse coordinates" in steps(figure)


@pytest.mark.parametrize(
    ("name", "data", "match"),
    [
        ("a.stl", b"", "empty"),
        ("a.stl", b"\0" * 80 + struct.pack("<I", 5) + b"\0" * 60, "cut short"),
        ("a.stl", b"\0" * 80 + struct.pack("<I", 0), "no triangles|cannot be read"),
        ("a.xyz", b"1 2 3", "reads stl"),
        ("a.off", b"OFF\n3 1 0\n0 0 0\n1 0 0\n", "cannot be read|no triangles"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\n", "no triangles|cannot be read"),
        ("a.ply", b"ply\nformat ascii 1.0\nelement vertex 0\nend_header\n", "no triangles|cannot be read"),
        ("a.glb", b"glTF\2\0\0\0", "cannot be read"),
        ("a.3mf", b"PK nonsense", "cannot be read"),
    ],
)
def test_unreadable_files_say_what_to_do(tmp_path, name, data, match):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(bf.UnreadableFileError, match=match):
        bf.read_figure(tmp_path / name, unit="mm")


def test_a_missing_file():
    with pytest.raises(bf.UnreadableFileError, match="nowhere.stl"):
        bf.read_figure("nowhere.stl", unit="mm")


def test_triangle_strips_are_told(tmp_path):
    header = "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
    header += "element tristrips 1\nproperty list int int vertex_indices\nend_header\n"
    (tmp_path / "strip.ply").write_text(header + "0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n")
    with pytest.raises(bf.UnreadableFileError, match="strips"):
        bf.read_figure(tmp_path / "strip.ply", unit="mm")


def test_the_demo_is_a_solid_with_a_loop_and_its_scan_needs_mending():
    vertices, faces = demo_maquette()
    assert solid_from(vertices, faces).genus() >= 1
    assert not bf.Figure(*demo_scan()).is_solid
    figure = demo_figure()
    assert figure.is_solid
    assert {"specks", "open base", "holes"} <= set(steps(figure))
    clean = demo_figure(scan=False)
    assert figure.volume_m3 == pytest.approx(clean.volume_m3, rel=0.02)


REAL = {
    "kneeling_arm_raised.stl": ("m", None),
    "striding.stl": ("m", None),
    "bust_scan.obj": ("m", {"open base"}),
    "putto_scan.ply": ("mm", {"open base", "holes"}),
    "cat.obj": ("m", None),
    "dirty/kneeling_holes_specks.ply": ("m", {"specks", "holes"}),
    "dirty/striding_flipped_dup_degenerate.ply": ("m", {"flipped faces", "duplicate faces", "degenerate faces"}),
    "dirty/crouching_two_overlapping_shells.stl": ("m", {"shells"}),
    "dirty/crouching_solid_header_binary.stl": ("m", None),
}


@needs_meshes
@pytest.mark.parametrize("name", REAL)
def test_real_scans_become_solids(name):
    unit, expected = REAL[name]
    figure = bf.read_figure(SHARED / name, unit=unit)
    assert figure.is_solid
    assert (expected or set()) <= set(steps(figure))
    if expected is None:
        assert not figure.repairs


@needs_meshes
def test_damage_on_purpose_is_undone():
    clean = bf.read_figure(SHARED / "striding.stl", unit="m")
    dirty = bf.read_figure(SHARED / "dirty/striding_flipped_dup_degenerate.ply", unit="m")
    assert dirty.volume_m3 == pytest.approx(clean.volume_m3, rel=1e-6)


@needs_meshes
def test_the_truncated_scan_is_refused():
    with pytest.raises(bf.UnreadableFileError, match="cut short: it promises 40,000"):
        bf.read_figure(SHARED / "dirty/crouching_truncated.stl", unit="m")


def test_shells_that_share_a_side_are_united_too():
    """Two boxes with a whole edge in common overlap in a third: by vertices alone they look like one shell."""
    both = joined(cuboid(600, 300, 200), cuboid(200, 300, 600))
    trimesh_one = trimesh.Trimesh(both.vertices, both.faces)  # merges what coincides
    vertices, faces, told = repaired(np.asarray(trimesh_one.vertices), np.asarray(trimesh_one.faces))
    assert bf.Figure(vertices, faces).volume_m3 == pytest.approx((0.6 * 0.2 + 0.2 * 0.4) * 0.3, rel=1e-9)
    assert any("united 2 closed shells" in repair.text for repair in told)


def test_axes_landmarks_and_points_alone(tmp_path):
    import trimesh

    trimesh.Trimesh(BRICK.vertices, BRICK.faces).export(tmp_path / "brick.stl")
    with pytest.raises(bf.BlockfitError, match="must be one of"):
        bf.read_figure(tmp_path / "brick.stl", unit="mm", up="north", front="-y")
    with pytest.raises(bf.BlockfitError, match="not finite"):
        bf.read_figure(tmp_path / "brick.stl", unit="mm", landmarks={"brow": (math.nan, 0, 0)})
    (tmp_path / "points.ply").write_text(
        "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nend_header\n"
        "0 0 0\n1 0 0\n0 1 0\n"
    )
    with pytest.raises(bf.BlockfitError, match="3 points but no triangles"):
        bf.read_figure(tmp_path / "points.ply", unit="mm")
    (tmp_path / "line.off").write_text("OFF\n3 1 0\n0 0 0\n1 0 0\n2 0 0\n3 0 0 1\n")
    with pytest.raises(bf.BlockfitError, match="nothing is left"):
        bf.read_figure(tmp_path / "line.off", unit="mm")

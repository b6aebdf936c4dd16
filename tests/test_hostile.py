"""Hostile files and words, made here: each ends in one short error, at once, without the memory it asks for."""

import io
import json
import os
import resource
import struct
import subprocess
import sys
import time
import zipfile

import numpy as np
import pytest
import trimesh
from conftest import HERE, cuboid, run

import blockfit as bf
from blockfit.errors import plain_text
from blockfit.intake.guard import json_from
from blockfit.units import length_mm, number_of, ratio_value

BOX = trimesh.creation.box((100, 60, 200))


def glb(**changes):
    """An honest GLB, its directory changed by functions of it."""
    data = BOX.export(file_type="glb")
    length = struct.unpack("<I", data[12:16])[0]
    tree = json.loads(data[20 : 20 + length])
    for change in changes.values():
        tree = change(tree) or tree
    text = tree if isinstance(tree, bytes) else json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<I4s", len(text), b"JSON") + text + data[20 + length :]
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


MODEL = (
    '<?xml version="1.0"?>{more}<model unit="millimeter" '
    'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
    '<resources><object id="1" type="model"><mesh><vertices>{vertices}</vertices>'
    "<triangles>{triangles}</triangles></mesh></object>"
    '{objects}</resources><build><item objectid="{item}"/></build></model>'
)


def threemf(more="", objects="", item="1", padding=0):
    vertices = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in BOX.vertices)
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in BOX.faces)
    text = MODEL.format(more=more, objects=objects, item=item, vertices=vertices, triangles=triangles)
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", text)
        for k in range(padding):
            archive.writestr(f"3D/more{k}.model", b"\0" * (100 << 20))
    return held.getvalue()


def nested(levels):
    """Objects of ten components each, which come to 10 to the power of the levels."""
    parts = [f'<component objectid="{k - 1}"/>' * 10 for k in range(2, levels + 2)]
    return "".join(f'<object id="{k + 2}"><components>{part}</components></object>' for k, part in enumerate(parts))


def tower(tree, levels=9):
    """Nodes of ten children each, below one another."""
    mesh_node = next(k for k, node in enumerate(tree["nodes"]) if "mesh" in node)
    first = len(tree["nodes"])
    for k in range(levels):
        tree["nodes"].append({"children": [mesh_node if k == 0 else first + k - 1] * 10})
    tree["scenes"] = [{"nodes": [first + levels - 1]}]


def chain(tree):
    mesh_node = next(k for k, node in enumerate(tree["nodes"]) if "mesh" in node)
    first = len(tree["nodes"])
    tree["nodes"] += [{"children": [mesh_node if k == 0 else first + k - 1]} for k in range(20_000)]
    tree["scenes"] = [{"nodes": [len(tree["nodes"]) - 1]}]


def many_values(tree):
    tree["accessors"][0]["count"] = 10**9


def without_data(tree):
    tree["accessors"][0].pop("bufferView")
    tree["accessors"][0]["count"] = 10**9


def sparse(tree):
    tree["accessors"][0]["sparse"] = {"count": 1, "indices": {}, "values": {}}


def in_itself(tree):
    tree["nodes"].append({"children": [len(tree["nodes"])]})


def needs(word):
    def change(tree):
        tree["extensionsRequired"] = [word]

    return change


BOMB = "<!DOCTYPE a [" + '<!ENTITY a "aaaaaaaaaa">' + "".join(
    f'<!ENTITY {chr(98 + k)} "{("&" + chr(97 + k) + ";") * 10}">' for k in range(9)
) + "]>"  # fmt: skip
PLY = (
    "ply\nformat {form} 1.0\nelement vertex {count}\nproperty float x\nproperty float y\nproperty float z\nend_header\n"
)
FILES = {
    "glb of 10⁹ values": ("a.glb", lambda: glb(a=many_values), "promises 1,000,000,000 values"),
    "glb of 10⁹ zeros": ("a.glb", lambda: glb(a=without_data), "promises 1,000,000,000 values"),
    "glb with sparse values": ("a.glb", lambda: glb(a=sparse), "sparse"),
    "glb compressed": ("a.glb", lambda: glb(a=needs("KHR_draco_mesh_compression")), "KHR_draco_mesh_compression"),
    "glb compressed otherwise": ("a.glb", lambda: glb(a=needs("EXT_meshopt_compression")), "EXT_meshopt_compression"),
    "glb with a long need": ("a.glb", lambda: glb(a=needs("\x1b[31m" * 1000)), "which is not read"),
    "glb within itself": ("a.glb", lambda: glb(a=in_itself), "within itself"),
    "glb of 10⁹ boxes": ("a.glb", lambda: glb(a=tower), "faces"),
    "glb of a long chain": ("a.glb", lambda: glb(a=chain), "deep"),
    "glb nested": ("a.glb", lambda: glb(a=lambda tree: b'{"a":' + b"[" * 100_000), "nests more than"),
    "glb of long numbers": ("a.glb", lambda: glb(a=lambda tree: b'{"a":' + b"9" * 5000 + b"}"), "5,000 digits"),
    "glb of nothing": ("a.glb", lambda: glb(a=lambda tree: b"[]"), "no object"),
    "glb of wrong kinds": ("a.glb", lambda: glb(a=lambda tree: b'{"accessors": [3], "nodes": 7}'), "damaged"),
    "3mf of 700 MB": ("a.3mf", lambda: threemf(padding=7), "unpacks to"),
    "3mf of 10⁹ boxes": ("a.3mf", lambda: threemf(objects=nested(9), item="10"), "faces"),
    "3mf within itself": (
        "a.3mf",
        lambda: threemf(objects='<object id="2"><components><component objectid="2"/></components></object>', item="2"),
        "within itself",
    ),
    "3mf of entities": ("a.3mf", lambda: threemf(more=BOMB, objects="&j;"), "entities"),
    "3mf nested": ("a.3mf", lambda: threemf(objects="<a>" * 100_000), "cannot be read"),
    "ply of 10⁹ vertices": ("a.ply", lambda: PLY.format(form="binary_little_endian", count=10**9).encode(), "promises"),
    "ply of 10⁹ lines": ("a.ply", lambda: PLY.format(form="ascii", count=10**9).encode() + b"0 0 0\n", "promises"),
    "ply of a long number": ("a.ply", lambda: PLY.format(form="ascii", count="9" * 5000).encode(), "promises"),
    "off of 10⁹ vertices": ("a.off", lambda: b"OFF\n1000000000 1 0\n0 0 0\n", "promises"),
    "stl of 2³² triangles": ("a.stl", lambda: b"\0" * 80 + b"\xff" * 4 + b"\0" * 500, "cut short"),
    "obj of far corners": (
        "a.obj", lambda: b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 99999999999999999999\n",
        "cannot be read|no triangles",
    ),
    "a mesh of 1e-28": ("a.off", lambda: off(1e-28), "check the unit"),
    "a mesh of 1e308": ("a.off", lambda: off(1e308), "check the unit"),
    "a mesh of nothing": ("a.off", lambda: off(0.0), "check the unit"),
}  # fmt: skip


def off(size):
    corners = "\n".join(" ".join(repr(v * size / 100) for v in row) for row in BOX.vertices.tolist())
    return f"OFF\n8 12 0\n{corners}\n".encode() + "\n".join(f"3 {a} {b} {c}" for a, b, c in BOX.faces).encode() + b"\n"


@pytest.mark.parametrize("what", FILES)
def test_a_hostile_mesh_is_one_short_error(what, tmp_path):
    name, made, words = FILES[what]
    (tmp_path / name).write_bytes(made())
    before, start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.monotonic()
    with pytest.raises(bf.BlockfitError, match=words) as caught:
        bf.read_figure(tmp_path / name, unit="mm")
    assert len(str(caught.value)) < 400
    assert str(caught.value) == plain_text(str(caught.value))
    assert time.monotonic() - start < 5
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 500_000  # kB


@pytest.mark.parametrize(("name", "made"), [("a.glb", glb), ("a.3mf", threemf), ("a.off", lambda: off(100))])
def test_the_same_files_are_read_where_they_are_honest(name, made, tmp_path):
    (tmp_path / name).write_bytes(made())
    assert bf.read_figure(tmp_path / name, unit="mm", up="+z", front="-y").volume_m3 == pytest.approx(1.2e-3, rel=1e-5)
    harmless = glb(a=needs("KHR_materials_unlit"), b=lambda tree: tower(tree, 1))
    (tmp_path / "b.glb").write_bytes(harmless)
    assert bf.read_figure(tmp_path / "b.glb", unit="mm", up="+z", front="-y").volume_m3 == pytest.approx(
        1.2e-3, rel=1e-5
    )


# ---- what is no file ----


@pytest.fixture
def odd(tmp_path):
    os.mkfifo(tmp_path / "pipe.stl")
    (tmp_path / "folder.stl").mkdir()
    (tmp_path / "zero.stl").symlink_to("/dev/zero")
    (tmp_path / "loop.stl").symlink_to("loop.stl")
    with (tmp_path / "large.stl").open("wb") as file:
        file.truncate(3 << 40)  # 3 TB, and no block of it on the disk
    for file in list(tmp_path.iterdir()):
        for kind in ("csv", "json"):
            (tmp_path / f"{file.stem}.{kind}").symlink_to(file.name)
    return tmp_path


@pytest.mark.parametrize("stem", ["pipe", "folder", "zero", "loop", "large", "nowhere", "null\0"])
def test_only_regular_files_of_a_bearable_size_are_opened(stem, odd):
    trimesh.creation.box((10, 10, 10)).export(odd / "figure.stl")
    for ask in (
        lambda: bf.read_figure(odd / f"{stem}.stl", unit="mm"),
        lambda: bf.read_blocks(odd / f"{stem}.csv"),
        lambda: bf.read_blocks(odd / f"{stem}.json"),
        lambda: bf.read_figure(odd / "figure.stl", unit="mm", landmarks=odd / f"{stem}.csv"),
        lambda: bf.read_figure(odd / "figure.stl", unit="mm", landmarks=odd / f"{stem}.json"),
    ):
        with pytest.raises(bf.UnreadableFileError) as caught:
            ask()
        assert len(str(caught.value)) < 200


# ---- tables ----


TABLES = {
    "yard.json": [
        "[" * 100_000, '{"a":' * 100_000, "[" + "9" * 5000 + "]", '[{"width": ' + "9" * 5000 + "}]", "[NaN]", "[[]]",
        '[{"width": [[[]]], "depth": {"a": 1}, "height": "' + "9" * 10**6 + '"}]', "[1e999]", '{"a": 1}', '"\\ud800"',
        '[{"\\ud800": "\\ud800", "width": "1 m", "depth": "\\ud800", "height": "1 m"}]', "\ufeff[",
        "[" + "null," * 10**5,
        '[{"width": 1e300, "depth": "1 m", "height": "1 m"}]',
        '[{"width": "1 m", "depth": "1 m", "height": "1 m", "price": 1e300}]',
    ],
    "yard.csv": [
        "width,depth,height\n" + "9" * 10**6 + ",1 m,1 m\n", "width" * 10**6, "w" * 10**7, '"' * 10**5,
        "width (mm),depth (mm),height (mm)\n" + "1e400,1,1\n",
        "width (mm),depth (mm),height (mm)\n" + "9" * 5000 + ",1,1\n",
        "width (" + "9" * 5000 + "),depth,height\n1,1,1\n", "a,\x00\n1,\x00\n",
        "width (mm),depth (mm),height (mm)\n0,0,0\n",
        "width (mm),depth (mm),height (mm)\n1/0,1,1\n", "width (mm),depth (mm),height (mm)\n1e999999999,1,1\n",
    ],
    "marks.json": [
        "[" * 100_000, '{"a": [1, 2, ' + "9" * 5000 + "]}", '{"a": 3}', "[[1, 2, 3, 4]]", "3", '{"a": [1, 2]}',
        '[{"name": 1}]', '{"a": [1, 2, 1e400]}', "[null]", '{"a": [1, 2, [3]]}', '{"a": [[], {}, null]}',
        json.dumps({str(k): [0, 0, 0] for k in range(10_001)}),
    ],
    "marks.csv": [
        "a," * 10**6, "a,1,2," + "9" * 5000, "a,1,2\n", '"a\nb",1,2', "a,1,2,nan\n", '"' * 10**6,
        "a,1,2," + "x" * 10**6,
    ],
}  # fmt: skip


def read_table(file):
    if file.name.startswith("yard"):
        bf.read_blocks(file)
    else:
        bf.read_figure(file.parent / "figure.stl", unit="mm", landmarks=file)


@pytest.mark.parametrize("name", TABLES)
def test_hostile_tables_are_one_short_error(name, tmp_path):
    trimesh.creation.box((10, 10, 10)).export(tmp_path / "figure.stl")
    for text in TABLES[name]:
        (tmp_path / name).write_text(text, encoding="utf-8", errors="surrogatepass")
        start = time.monotonic()
        with pytest.raises(bf.BlockfitError) as caught:
            read_table(tmp_path / name)
        assert len(str(caught.value)) < 400, text[:60]
        assert str(caught.value) == plain_text(str(caught.value))
        assert time.monotonic() - start < 5, text[:60]


def test_a_bracket_within_text_does_not_count():
    assert json_from(json.dumps(["[" * 1000 + '\\"']), "a") == ["[" * 1000 + '\\"']


# ---- names ----

NAMES = [
    "a\x1b[31mred",
    "a\nb",
    "a\r\nb",
    "=1+1",
    " =1+1",
    "\n=1+1",
    "\t@x",
    "\u202egnp.exe",
    "a;=1",
    "a\0b",
    "＝1",
    "\ud800",
    "x" * 5000,
]


def test_names_of_any_kind_keep_every_table_whole(tmp_path):
    import csv

    blocks = [bf.Block.box(300, 300, 300, name=name) for name in NAMES]
    table = bf.compare(cuboid(100, 100, 100), blocks, stance=bf.Stance.fixed(), jobs=1)
    for kind in ("csv", "json", "html"):
        table.save(tmp_path / f"y.{kind}")
        text = (tmp_path / f"y.{kind}").read_text(encoding="utf-8")
        assert not [c for c in text if c not in "\n\t" and plain_text(f"a{c}b") != f"a{c}b" and not c.isspace()]
    with (tmp_path / "y.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.reader(lines))
    assert {len(row) for row in rows} == {len(rows[0])}
    assert len(rows) == len(NAMES) + 1
    for row in rows[1:]:
        assert row[0].lstrip()[:1] not in ("=", "+", "-", "@", "＝")
    text = str(table)
    assert len(text.splitlines()) == len(NAMES) + 3
    assert all(len(line) < 260 for line in text.splitlines())
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(300, 300, 300, name="\x1b[2J\nx"), stance=bf.Stance.fixed())
    assert "\x1b" not in str(bf.survey(fit, alternatives=False))


def test_names_are_cleaned_as_they_are_read(tmp_path):
    trimesh.creation.box((10, 10, 10)).export(tmp_path / "a.stl")
    (tmp_path / "m.json").write_text(json.dumps({"left\x1b[2J\nknee": [0, 0, 0]}))
    figure = bf.read_figure(tmp_path / "a.stl", unit="mm", name="\u202ea\x07\n b", landmarks=tmp_path / "m.json")
    assert figure.name == "�a� b"
    assert list(figure.landmarks) == ["left�[2J knee"]
    rows = [{"name": "\x1b]0;x\x07", "width": "1 m", "depth": "1 m", "height": "1 m"}]
    (tmp_path / "y.json").write_text(json.dumps(rows))
    assert bf.read_blocks(tmp_path / "y.json")[0].name == "�]0;x�"


# ---- numbers ----


@pytest.mark.parametrize("text", ["1,500", "2,000", "999,999"])
def test_a_number_that_can_be_read_in_two_ways_shows_both(text, tmp_path):
    small, large = text.replace(",", "."), text.replace(",", "")
    for ask in (lambda: number_of(text), lambda: length_mm(f"{text} mm")):
        with pytest.raises(bf.BadValueError, match=f"{float(small):g} or as {large}"):
            ask()
    (tmp_path / "y.csv").write_text(f'width (mm),depth (mm),height (mm)\n"{text}",900,900\n')
    with pytest.raises(bf.BadValueError, match=f"{float(small):g} or as {large}"):
        bf.read_blocks(tmp_path / "y.csv")
    (tmp_path / "p.csv").write_text(f'width (mm),depth (mm),height (mm),price\n900,900,900,"{text}"\n')
    with pytest.raises(bf.BadValueError, match=large):
        bf.read_blocks(tmp_path / "p.csv")


@pytest.mark.parametrize(
    ("cell", "unit", "mm"),
    [
        ("30 1/2", "in", 774.7), ("1/2", "in", 12.7), ("1,5", "m", 1500), ("0,500", "m", 500), ("1500.0", "mm", 1500),
        ("1,500.0", "mm", 1500), ("1.500,0", "mm", 1500), ("1 500", "mm", 1500), ("1'500", "mm", 1500),
        ("12,25", "in", 311.15),
        ("1.5e3", "mm", 1500), ("30 1/2 in", "mm", 774.7), ("2 ft 6 in", "mm", 762),
        ("1.500", "m", 1500),
    ],
)  # fmt: skip
def test_numbers_in_cells_as_people_write_them(cell, unit, mm, tmp_path):
    (tmp_path / "y.csv").write_text(f'width ({unit}),depth (mm),height (mm)\n"{cell}",900,900\n')
    assert bf.read_blocks(tmp_path / "y.csv")[0].size_mm[0] == pytest.approx(mm)


def test_a_dot_that_groups_thousands_is_asked_about(tmp_path):
    (tmp_path / "y.csv").write_text("width (mm);depth (mm);height (mm)\n1.500;900;900\n")
    with pytest.raises(bf.BadValueError, match="1.5 or as 1500"):
        bf.read_blocks(tmp_path / "y.csv")


@pytest.mark.parametrize(
    "ratio", ["1:1e999999999", "1e999999999", "9" * 5000, "1:" + "9" * 5000, "1/3:" * 500, "1:1/0"]
)
def test_ratios_without_end(ratio):
    start = time.monotonic()
    with pytest.raises(bf.BadValueError) as caught:
        ratio_value(ratio)
    assert time.monotonic() - start < 1
    assert len(str(caught.value)) < 400


# ---- the command line ----

SURVEY = ("survey", "figure.stl", "--unit", "mm", "--block", "300x400x500")
WRONG = [
    (*SURVEY, "--scale", "1e-12"), (*SURVEY, "--scale", "1e300"),
    (*SURVEY, "--scale", "nan"), (*SURVEY, "--scale", "-1"),
    (*SURVEY, "--ratio", "1:1e999999999"), (*SURVEY, "--any-rotation", "--lean", "5"), (*SURVEY, "--turn", "nan"),
    (*SURVEY, "--gap", "-1"), (*SURVEY, "--gap", "nan"),
    (*SURVEY, "--cover", "1,500 mm"), (*SURVEY, "--max-hole", "x" * 10**5),
    (*SURVEY, "--stone", "\x1b[31m"), (*SURVEY, "--front", "q" * 1000),
    (*SURVEY, "-o", "x\0.txt"), (*SURVEY, "-o", "s.doc"),
    ("survey", "\udce9.stl", "--unit", "mm", "--block", "300x400x500"),
    ("survey", "a\0b.stl", "--block", "300x400x500"),
    ("mark", *SURVEY[1:], "--points", "1000000000", "-o", "m"), ("mark", *SURVEY[1:], "--step", "1e-9mm", "-o", "m"),
    ("mark", *SURVEY[1:], "--step", "0.001", "-o", "m"), ("mark", *SURVEY[1:], "--paper", "A7", "-o", "m"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--jobs", "0"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--jobs", "100000000"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--best", "0"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--any-rotation", "--lean", "5"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--any-rotation", "--turn", "5"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--scale", "1e300"), ("compare",), ("frobnicate" * 100,), (),
]  # fmt: skip


@pytest.mark.parametrize("words", WRONG, ids=lambda words: " ".join(words)[-40:].encode("ascii", "replace").decode())
def test_wrong_words_end_in_one_short_line_before_any_work(words, tmp_path, capsys, monkeypatch):
    import blockfit.commands.options as module

    monkeypatch.chdir(tmp_path)
    trimesh.creation.box((100, 60, 200)).export("figure.stl")
    (tmp_path / "yard.csv").write_text("width (mm),depth (mm),height (mm)\n900,900,900\n")
    if words[:1] in (("mark",), ("compare",)):
        monkeypatch.setattr(module, "answer", lambda *_, **__: pytest.fail("work was begun"))
    before = sorted(tmp_path.iterdir())
    code, _, err = run(capsys, *words)
    assert code == 2
    if words:
        assert err.startswith("blockfit: ")
        assert err.count("\n") == 1
        assert len(err) < 410
        assert "\x1b" not in err
    assert sorted(tmp_path.iterdir()) == before


def test_a_block_in_inches_is_asked_about(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    trimesh.creation.box((0.5, 0.4, 1.4)).export("figure.stl")
    code, _, err = run(capsys, "survey", "figure.stl", "--unit", "m", "--block", "36x30x60")
    assert code == 2
    assert "were inches meant? write 36x30x60in" in err
    assert run(capsys, "survey", "figure.stl", "--unit", "m", "--block", "36x30x60in")[0] == 0
    assert run(capsys, "survey", "figure.stl", "--unit", "m", "--block", "36x30x60mm")[0] == 0


def test_our_own_faults_are_one_line_and_status_1(tmp_path, capsys, monkeypatch):
    import blockfit.commands.options as module

    def broken(*_, **__):
        raise ZeroDivisionError("by\x1b nought\n" * 100)

    monkeypatch.setattr(module, "read_figure", broken)
    code, _, err = run(capsys, *SURVEY)
    assert code == 1
    assert err.startswith("blockfit: a fault in blockfit, not in what was given; please report it: ZeroDivisionError")
    assert err.count("\n") == 1
    assert "\x1b" not in err


def test_a_terminal_without_our_letters_and_a_reader_that_leaves(tmp_path):
    figure = str(HERE / "data" / "kneeling.stl")
    words = [
        sys.executable,
        "-m",
        "blockfit",
        "survey",
        figure,
        "--unit",
        "m",
        "--block",
        "300x200x200",
        "--scale",
        "1",
    ]
    plain = {**os.environ, "PYTHONIOENCODING": "ascii"}
    told = subprocess.run(words, capture_output=True, env=plain, cwd=HERE.parent)
    assert (told.returncode, told.stderr) == (0, b"")
    left = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=HERE.parent)
    left.stdout.close()
    assert left.stderr.read() == b""
    left.stderr.close()
    assert left.wait() in (0, 1)


def test_a_survey_says_at_once_that_a_limit_is_not_known(monkeypatch):
    import blockfit.overview as module

    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(300, 300, 300), stance=bf.Stance.fixed())
    monkeypatch.setattr(module, "stone_cover", lambda *_: pytest.fail("work was begun"))
    with pytest.raises(bf.BadValueError, match="hoist_kg"):
        bf.survey(fit, limits={"hoist": 5})


def test_after_asking_for_setback_other_stances_are_compared_by_setback():
    """A post leaned to the left as modelled: any turn brings its slant to the side and gains depth behind it."""
    leaning = bf.Figure(
        cuboid(100, 100, 600).vertices @ np.array([[1, 0, 0], [0, 1, 0], [0, 0.4, 1]]), cuboid(1, 1, 1).faces
    )
    block = bf.Block.box(500, 500, 650)
    fit = bf.safest(leaning, block, scale=1, stance=bf.Stance.fixed(), seek="setback")
    told = bf.survey(fit)
    (turned,) = [other for name, other in told.gains if name == "any turn"]
    alone = bf.safest(leaning, block, scale=1, stance=bf.Stance.upright(180), seek="setback")
    assert turned.setback_mm == pytest.approx(alone.setback_mm) == pytest.approx(400, abs=1)
    assert f"any turn gains {turned.setback_mm - fit.setback_mm:.0f} mm of setback" in str(told)
    assert told.record()["other_stances"][0]["setback_mm"] == turned.setback_mm


def test_the_numbers_of_a_hostile_array():
    with pytest.raises(bf.BlockfitError):
        bf.Figure(np.full((3, 3), 1e308), [[0, 1, 2]])

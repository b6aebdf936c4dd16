"""Hostile files, made here: each ends in one short error, without the memory it asks for."""

import io
import json
import os
import resource
import struct
import zipfile

import pytest
import trimesh

import blockfit as bf
from blockfit.errors import plain_text
from blockfit.intake.guard import json_from

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
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(bf.BlockfitError, match=words) as caught:
        bf.read_figure(tmp_path / name, unit="mm")
    assert len(str(caught.value)) < 400
    assert str(caught.value) == plain_text(str(caught.value))
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
        with pytest.raises(bf.BlockfitError) as caught:
            read_table(tmp_path / name)
        assert len(str(caught.value)) < 400, text[:60]
        assert str(caught.value) == plain_text(str(caught.value))


def test_a_bracket_within_text_does_not_count():
    assert json_from(json.dumps(["[" * 1000 + '\\"']), "a") == ["[" * 1000 + '\\"']


def test_names_are_cleaned_as_they_are_read(tmp_path):
    trimesh.creation.box((10, 10, 10)).export(tmp_path / "a.stl")
    (tmp_path / "m.json").write_text(json.dumps({"left\x1b[2J\nknee": [0, 0, 0]}))
    figure = bf.read_figure(tmp_path / "a.stl", unit="mm", name="\u202ea\x07\n b", landmarks=tmp_path / "m.json")
    assert figure.name == "�a� b"
    assert list(figure.landmarks) == ["left�[2J knee"]
    rows = [{"name": "\x1b]0;x\x07", "width": "1 m", "depth": "1 m", "height": "1 m"}]
    (tmp_path / "y.json").write_text(json.dumps(rows))
    assert bf.read_blocks(tmp_path / "y.json")[0].name == "�]0;x�"


def test_parts_in_files_of_their_own_are_refused_and_not_lost(tmp_path):
    """3MF, production extension: object 1 of one model file is made of object 1 of another."""
    inner = MODEL.format(
        more="", objects="", item="1",
        vertices="".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in BOX.vertices),
        triangles="".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in BOX.faces),
    )  # fmt: skip
    spaces = (
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" '
        'xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06"'
    )
    part = '<component objectid="1" p:path="/3D/Objects/part.model"/>'
    outer = (
        f'<?xml version="1.0"?><model unit="millimeter" {spaces}><resources><object id="1"><components>{part}'
        '</components></object></resources><build><item objectid="1"/></build></model>'
    )
    file = tmp_path / "a.3mf"
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("3D/3dmodel.model", outer)
        archive.writestr("3D/Objects/part.model", inner)
    with pytest.raises(bf.UnreadableFileError, match="in files of their own within it"):
        bf.read_figure(file)

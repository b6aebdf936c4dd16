"""Files of the user are never damaged, and a journal answers only what was asked: nothing stale."""

import json
import os
from dataclasses import replace

import numpy as np
import pytest
from conftest import cuboid, run
from hypothesis import given, settings
from hypothesis import strategies as st

import blockfit as bf
from blockfit.sheets.yard.journal import digest_of

FIXED = bf.Stance.fixed()
FIGURE = cuboid(100, 200, 300)
BLOCK = bf.Block.box(400, 400, 700, name="a", stone="marble", price=100)
YARD = "name,width (mm),depth (mm),height (mm),price\na,400,400,700,100\nb,500,500,500,\n"


# ---- the journal ----


def changed(block, **fields):
    return replace(block, **fields)


SKIN = bf.Block.box(400, 400, 700, name="a", stone="marble", price=100, skin=20)
OTHERS = {
    "a larger figure": lambda how: ([cuboid(100, 200, 301)], [BLOCK], how),
    "a unit": lambda how: ([bf.Figure(FIGURE.vertices * 25.4, FIGURE.faces)], [BLOCK], how),
    "one vertex": lambda how: ([bf.Figure(FIGURE.vertices + 1e-9 * np.eye(8, 3), FIGURE.faces)], [BLOCK], how),
    "the tolerance": lambda how: ([bf.Figure.from_points(FIGURE.vertices, tolerance=3)], [BLOCK], how),
    "the skin": lambda how: ([FIGURE], [SKIN], how),
    "the stone": lambda how: ([FIGURE], [changed(BLOCK, stone=None)], how),
    "the price": lambda how: ([FIGURE], [changed(BLOCK, price=101.0)], how),
    "the bed": lambda how: ([FIGURE], [changed(BLOCK, bed="x")], how),
    "a flaw": lambda how: ([FIGURE], [BLOCK.with_flaws(bf.Flaw.ball((200, 200, 350), 30))], how),
    "the shape": lambda how: ([FIGURE], [bf.Block.convex(BLOCK.corners_mm, name="a")], how),
    "the cover": lambda how: ([FIGURE], [BLOCK], {**how, "cover": 7}),
    "the stance": lambda how: ([FIGURE], [BLOCK], {**how, "stance": bf.Stance.upright(5)}),
    "the scale": lambda how: ([FIGURE], [BLOCK], {**how, "scale": 0.5}),
    "the face": lambda how: ([FIGURE], [BLOCK], {**how, "stands_on": "any"}),
    "the layers": lambda how: ([FIGURE], [changed(BLOCK, bed="z")], {**how, "bed": "level"}),
    "the gap": lambda how: ([FIGURE], [BLOCK], {**how, "gap": 1e-2}),
    "offcuts": lambda how: ([FIGURE], [BLOCK], {**how, "scale": 1, "offcuts": True}),
    "no deepest cover": lambda how: ([FIGURE], [BLOCK], {**how, "deepest": False}),
}


@pytest.fixture
def asked(monkeypatch):
    """Counts the answers that are worked out and not taken from a journal."""
    import blockfit.yard as module

    real, asked = module._row, []
    monkeypatch.setattr(module, "_row", lambda *given: asked.append(given) or real(*given))
    return asked


@pytest.mark.parametrize("what", OTHERS)
def test_a_row_is_taken_up_only_where_everything_is_the_same(what, tmp_path, asked):
    file = tmp_path / "done.jsonl"
    plain = {"stance": FIXED, "jobs": 1}
    first = bf.compare(FIGURE, [BLOCK], resume=file, **plain)
    assert len(asked) == 1
    again = bf.compare(FIGURE, [BLOCK], resume=file, **plain)
    assert len(asked) == 1  # nothing twice
    assert [row.record() for row in again.rows] == [row.record() for row in first.rows]
    figures, blocks, how = OTHERS[what](plain)
    other = bf.compare(figures, blocks, resume=file, **how)
    assert len(asked) == 2
    alone = bf.compare(figures, blocks, **how)
    assert [row.record() for row in other.rows] == [row.record() for row in alone.rows]
    lines = len(file.read_text().splitlines())
    bf.compare(FIGURE, [BLOCK], resume=file, **plain)
    assert len(asked) == 3  # the first row is still there
    assert len(file.read_text().splitlines()) == lines == 3


def test_a_row_moves_with_its_block(tmp_path, asked):
    blocks = [bf.Block.box(400 + k, 400, 700, name=str(k)) for k in range(4)]
    bf.compare(FIGURE, blocks, stance=FIXED, jobs=1, resume=tmp_path / "j")
    del asked[:]
    more = [bf.Block.box(390, 400, 700, name="new"), *reversed(blocks)]
    rows = bf.compare(FIGURE, more, stance=FIXED, jobs=1, resume=tmp_path / "j").rows
    assert len(asked) == 1
    alone = bf.compare(FIGURE, more, stance=FIXED, jobs=1).rows
    assert [row.record() for row in rows] == [row.record() for row in alone]


def test_rows_that_were_cut_short_or_tampered_with_are_done_again(tmp_path, asked):
    file = tmp_path / "j"
    (row,) = bf.compare(FIGURE, [BLOCK], stance=FIXED, jobs=1, resume=file).rows
    header, line = file.read_text().splitlines()
    data = json.loads(line)
    wrong = [line[:-30], "[1, 2]", "null", "{}", "[" * 50_000, '{"key": ' + "9" * 6000 + "}"]
    wrong += [json.dumps({k: v for k, v in data.items() if k != name}) for name in ("scale", "verdict", "note")]
    for name, value in (
        ("scale", "3"),
        ("scale", None),
        ("verdict", "PERHAPS"),
        ("note", 5),
        ("price", [1]),
        ("scale", True),
    ):
        wrong.append(json.dumps({**data, name: value}))
    for text in wrong:
        file.write_text(header + "\n" + text)
        del asked[:]
        (again,) = bf.compare(FIGURE, [BLOCK], stance=FIXED, jobs=1, resume=file).rows
        assert (len(asked), again.record()) == (1, row.record()), text[:60]
        del asked[:]
        bf.compare(FIGURE, [BLOCK], stance=FIXED, jobs=1, resume=file)
        assert not asked  # and the new line did not run into the one cut short


@given(st.recursive(st.floats(allow_nan=False) | st.text() | st.booleans() | st.none(), st.lists, max_leaves=6))
@settings(max_examples=60)
def test_digests_differ_where_values_do(value):
    assert digest_of([value]) == digest_of([value])
    assert digest_of([value]) != digest_of([value, value])
    assert digest_of([value]) != digest_of([[value]])
    assert digest_of(value) != digest_of(repr(value))


# ---- what is written over ----


@pytest.fixture
def place(tmp_path):
    import trimesh

    trimesh.Trimesh(FIGURE.vertices, FIGURE.faces).export(tmp_path / "figure.stl")
    (tmp_path / "yard.csv").write_text(YARD)
    (tmp_path / "marks.json").write_text('{"nose": [0, 0, 1]}')
    for name in ("notes.txt", "other.csv", "other.json", "other.html", "words"):
        (tmp_path / name).write_text("name,width\nmine,3\n")
    return tmp_path


def contents(place):
    return {file.name: file.read_bytes() for file in place.iterdir() if file.is_file()}


COMPARE = ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--jobs", "1")
SURVEY = ("survey", "figure.stl", "--unit", "mm", "--block", "300x400x500", "--landmarks", "marks.json")


@pytest.mark.parametrize("given_options", [
    (*COMPARE, "-o", "yard.csv"), (*COMPARE, "-o", "other.csv"), (*COMPARE, "-o", "other.json"),
    (*COMPARE, "-o", "other.html"), (*COMPARE, "--resume", "yard.csv"), (*COMPARE, "--resume", "figure.stl"),
    (*COMPARE, "--resume", "words"), (*COMPARE, "-o", "linked.csv"), (*COMPARE, "-o", "./sub/../yard.csv"),
    (*COMPARE, "--resume", "new.csv", "-o", "new.csv"), (*COMPARE, "--resume", "sub"), (*COMPARE, "--resume", "pipe"),
    (*SURVEY, "-o", "notes.txt"), (*SURVEY, "-o", "other.html"), (*SURVEY, "--json", "marks.json"),
    (*SURVEY, "--json", "same.json", "-o", "same.json"), (*SURVEY, "--json", "other.json"),
    ("demo", "--json", "marks.json"), ("mark", *SURVEY[1:], "-o", "figure.stl"), ("mark", *SURVEY[1:], "-o", "used"),
])  # fmt: skip
def test_inputs_and_foreign_files_are_refused_before_anything_is_opened(given_options, place, capsys, monkeypatch):
    monkeypatch.chdir(place)
    (place / "sub").mkdir()
    (place / "used").mkdir()
    (place / "used" / "points.csv").write_text("my own points\n")
    (place / "linked.csv").symlink_to("yard.csv")
    os.mkfifo(place / "pipe")
    before = contents(place)
    code, out, err = run(capsys, *given_options)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert contents(place) == before
    assert (place / "used" / "points.csv").read_text() == "my own points\n"
    assert [file.name for file in (place / "used").iterdir()] == ["points.csv"]


def test_earlier_outputs_are_written_over(place, capsys, monkeypatch):
    monkeypatch.chdir(place)
    (place / "empty.csv").write_text("")
    for target in ("y.csv", "y.json", "y.html", "empty.csv", "y.csv", "y.json", "y.html"):
        assert run(capsys, *COMPARE, "-o", target)[0] == 0, target
    for target in ("s.txt", "s.json", "s.html", "s.txt", "s.json", "s.html"):
        assert run(capsys, *SURVEY, "-o", target)[0] == 0, target
    for _ in range(2):
        assert run(capsys, "mark", *SURVEY[1:], "--points", "12", "-o", "marks")[0] == 0
    assert not list(place.glob("**/*.part"))


def test_saving_from_python_leaves_foreign_files_alone(place):
    table = bf.compare(FIGURE, [BLOCK], stance=FIXED, jobs=1)
    with pytest.raises(bf.BadValueError, match="no earlier output"):
        table.save(place / "yard.csv")
    with pytest.raises(bf.BadValueError, match="is not an earlier table"):
        bf.compare(FIGURE, [BLOCK], stance=FIXED, jobs=1, stream=place / "yard.csv")
    assert (place / "yard.csv").read_text() == YARD


def stopped_after(monkeypatch, count):
    import blockfit.yard as module

    real, done = module._row, []

    def row(*given):
        done.append(1)
        if len(done) > count:
            raise KeyboardInterrupt
        return real(*given)

    monkeypatch.setattr(module, "_row", row)


def test_a_table_that_was_stopped_is_written_beside_and_says_so(place, capsys, monkeypatch):
    monkeypatch.chdir(place)
    lines = YARD + "".join(f"n{k},500,500,{500 + k},\n" for k in range(20))
    (place / "long.csv").write_text(lines)
    whole = ("compare", "figure.stl", "long.csv", "--unit", "mm", "--jobs", "1")
    for kind in ("csv", "json", "html"):
        assert run(capsys, *whole, "-o", f"y.{kind}")[0] == 0
    before = contents(place)
    for kind, words in (("csv", "stopped before all"), ("json", '"finished": false'), ("html", "Stopped before all")):
        with monkeypatch.context() as patch:
            stopped_after(patch, 9)
            code, out, err = run(capsys, *whole, "-o", f"y.{kind}")
        assert code == 130
        assert "STOPPED" in out
        assert f"y.partial.{kind}" in err
        assert words in (place / f"y.partial.{kind}").read_text()
        assert (place / f"y.{kind}").read_bytes() == before[f"y.{kind}"]


def test_a_stream_takes_its_name_only_when_it_is_whole(tmp_path, monkeypatch):
    blocks = [bf.Block.box(400 + k, 400, 700, name=str(k)) for k in range(20)]
    target = tmp_path / "all.csv"
    bf.compare(FIGURE, blocks[:3], stance=FIXED, jobs=1, stream=target)
    before = target.read_text()
    stopped_after(monkeypatch, 9)
    assert not bf.compare(FIGURE, blocks, stance=FIXED, jobs=1, stream=target).finished
    assert target.read_text() == before
    lines = (tmp_path / "all.partial.csv").read_text().splitlines()
    assert len(lines) == 1 + 8 + 1
    assert "stopped before all" in lines[-1]

"""Files of the user are never damaged; an output is whole, or stands beside and says that it is not."""

import os

import pytest
from conftest import FIXED, cuboid, no_room, run

import blockfit as bf

FIGURE = cuboid(100, 200, 300)
BLOCK = bf.Block.box(400, 400, 700, name="a", stone="marble", price=100)
YARD = "name,width (mm),depth (mm),height (mm),price\na,400,400,700,100\nb,500,500,500,\n"


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


@pytest.mark.slow
def test_earlier_outputs_are_written_over(place, capsys, monkeypatch):
    monkeypatch.chdir(place)
    (place / "empty.csv").write_text("")
    for target in ("y.csv", "y.json", "y.html", "empty.csv", "y.csv", "y.json", "y.html"):
        assert run(capsys, *COMPARE, "-o", target)[0] == 0, target
    for target in ("s.html", "s.txt", "s.html", "s.txt"):
        assert run(capsys, *SURVEY, "-o", target, "--json", "s.json")[0] == 0, target
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


def test_a_survey_saves_whole_or_not_at_all(tmp_path):
    survey = bf.survey(no_room(), alternatives=False)
    with pytest.raises(bf.BadValueError, match="txt or .json"):
        survey.save(tmp_path / "s.doc")
    survey.save(tmp_path / "s.json")
    assert [p.name for p in tmp_path.iterdir()] == ["s.json"]
    with pytest.raises(bf.UnreadableFileError, match="cannot be written"):
        survey.save(tmp_path / "missing" / "s.json")

"""`blockfit mark`: the sheets that it writes, and those that it leaves out."""

import os

import numpy as np
import pytest
import trimesh
from conftest import BRICK, KNEELING, run, slow_after

import blockfit as bf
from blockfit.commands.terms import check_output
from blockfit.sheets.saving import put_in_place


@pytest.mark.parametrize("which", slow_after(1, ["brick", "kneeling"]))
@pytest.mark.thorough
def test_the_command_line_writes_every_sheet(which, tmp_path):
    from blockfit.__main__ import cli

    trimesh.Trimesh(BRICK.vertices, BRICK.faces).export(tmp_path / "brick.stl")
    brick = f"{tmp_path / 'brick.stl'} --unit mm --block 300x200x250"
    figure = f"{KNEELING} --unit m --block 900x700x1600" if which == "kneeling" else brick
    arguments = f"mark {figure} --cover 20 --points 20 --step 300"
    cli.main([*arguments.split(), "-o", str(tmp_path / "marks")], standalone_mode=False)
    names = {file.name for file in (tmp_path / "marks").iterdir()}
    assert {"setting.txt", "points.csv", "planes.txt", "front.svg", "left.dxf", "top.pdf", "rulers.pdf"} <= names
    assert "ROUGHING OUT" in (tmp_path / "marks" / "planes.txt").read_text(encoding="utf-8")


@pytest.mark.slow
def test_sheets_of_an_earlier_run_do_not_stay_among_new_ones(capsys, tmp_path):
    """Fewer planes and pieces than last time: the others go; what is not ours stays, and is named."""
    figure, marks = tmp_path / "figure.stl", tmp_path / "marks"
    trimesh.Trimesh(BRICK.vertices, BRICK.faces).export(figure)
    asked = f"mark {figure} --unit mm --block 600x500x300 --cover 60 --points 9 -o {marks}"
    code, out, _ = run(capsys, *asked.split(), "--step", "20")
    before = {file.name for file in marks.iterdir()}
    assert code == 0
    assert "NOT of this run" not in out
    (marks / "mine.pdf").write_bytes(b"%PDF")
    code, out, _ = run(capsys, *asked.split(), "--step", "90", "--most-pieces", "1")
    after = {file.name for file in marks.iterdir()}
    assert code == 0
    assert "NOT of this run, do not cut by them: mine.pdf" in out
    gone = before - after
    assert any(name.startswith("front-plane-") for name in gone)
    assert any(name.startswith("piece-02") for name in gone)
    listed = set((marks / "sheets.txt").read_text(encoding="utf-8").splitlines()[2:])
    assert listed == after - {"mine.pdf", "sheets.txt"}
    assert not any(name.startswith(".") for name in after)


def test_a_list_that_is_not_ours_and_a_folder_in_a_sheets_place_are_left(tmp_path):
    made, folder = tmp_path / "made", tmp_path / "marks"
    made.mkdir()
    folder.mkdir()
    (made / "front.svg").write_text("new")
    (folder / "sheets.txt").write_text("my list\n\nmine.svg\n")
    (folder / "mine.svg").write_text("mine")
    with pytest.raises(bf.BadValueError, match="no list of ours"):
        put_in_place(made, folder)
    assert (folder / "mine.svg").exists()
    (folder / "sheets.txt").unlink()
    (folder / "front.svg").mkdir()
    with pytest.raises(bf.BadValueError, match="is a folder where a sheet"):
        put_in_place(made, folder)
    (folder / "front.svg").rmdir()
    assert put_in_place(made, folder) == ["mine.svg"]
    assert (folder / "sheets.txt").read_text().splitlines() == ["1 SHEETS, made together", "", "front.svg"]


def test_stopped_on_the_way_the_list_says_so(tmp_path, monkeypatch):
    made, folder = tmp_path / "made", tmp_path / "marks"
    made.mkdir()
    folder.mkdir()
    for name in ("a.svg", "b.svg"):
        (made / name).write_text("new")
    moves, move = [], os.replace

    def stopped(source, target):
        moves.append(target)
        if len(moves) == 3:
            raise KeyboardInterrupt
        move(source, target)

    monkeypatch.setattr(os, "replace", stopped)
    with pytest.raises(KeyboardInterrupt):
        put_in_place(made, folder)
    assert "HALF WRITTEN: do not cut by them" in (folder / "sheets.txt").read_text()


def test_options_that_exclude_each_other_and_targets_that_cannot_be(capsys, tmp_path):
    figure = tmp_path / "figure.stl"

    trimesh.Trimesh(BRICK.vertices, BRICK.faces).export(figure)
    common = (str(figure), "--unit", "mm", "--block", "300x200x250")
    code, out, err = run(capsys, "survey", *common, "--any-rotation", "--lean", "5")
    assert code == 2
    assert "give the one or the others" in err
    code, out, err = run(capsys, "mark", *common, "-o", str(tmp_path / "no" / "where"))
    assert code == 2
    assert "in one that exists" in err
    code, out, err = run(capsys, "mark", *common, "--cover", "100", "--scale", "1", "-o", str(tmp_path / "marks"))
    assert code == 0
    assert "does not fit" in out
    assert not (tmp_path / "marks").exists()
    (tmp_path / "a.html").mkdir()
    with pytest.raises(bf.BlockfitError, match="is a folder"):
        check_output(tmp_path / "a.html")


@pytest.mark.slow
def test_marks_of_points_alone_leave_out_what_needs_a_solid(capsys, tmp_path):
    cloud = tmp_path / "open.stl"

    across = np.linspace(-50, 50, 9)
    x, y = (grid.ravel() for grid in np.meshgrid(across, across))
    corner = np.arange(81).reshape(9, 9)[:-1, :-1].ravel()
    faces = np.stack([corner, corner + 1, corner + 10, corner, corner + 10, corner + 9], 1).reshape(-1, 3)
    trimesh.Trimesh(np.stack([x, y, x * y / 50], axis=1), faces).export(cloud)  # a saddle: nothing is inside it
    code, out, _ = run(
        capsys,
        "mark",
        str(cloud),
        "--unit",
        "mm",
        "--block",
        "300x200x250",
        "--max-hole",
        "0",
        "-o",
        str(tmp_path / "m"),
    )
    assert code == 0
    names = sorted(path.name for path in (tmp_path / "m").iterdir())
    assert names == ["points.csv", "points.txt", "setting.txt", "sheets.txt"]
    assert "setting.txt" in out

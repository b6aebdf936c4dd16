"""`blockfit survey` and `demo`: what they print and save, and what they say of bad input."""

import json
import re
import subprocess
import sys

import numpy as np
import pytest
import trimesh
from conftest import KNEELING, SHARED, needs_meshes, run

USUAL = ["survey", KNEELING, "--unit", "m", "--block", "900x700x1600", "--stone", "marble", "--cover", "20"]


def keys(data, path=""):
    if isinstance(data, dict):
        for key, value in data.items():
            yield from keys(value, f"{path}/{key}")
    elif isinstance(data, list):
        for value in data:
            yield from keys(value, path)
    else:
        yield path, data


def test_the_usual_survey(capsys, tmp_path):
    code, out, err = run(capsys, *USUAL, "--json", str(tmp_path / "s.json"), "-o", str(tmp_path / "s.txt"))
    assert (code, err) == (0, "")
    for words in (
        "FITS",
        "Largest scale",
        "proved",
        "Finished height",
        "How it stands",
        "Other stances",
        "Least cover",
        "set back",
        "Undercut",
        "Offcuts",
        "of it chips",
        "Repaired",
        "nothing needed repair",
        "silica",
        "qualified person",
        "Bolz & Tuve",
    ):
        assert words in " ".join(out.split()), words
    assert (tmp_path / "s.txt").read_text(encoding="utf-8") == out
    data = json.loads((tmp_path / "s.json").read_text(encoding="utf-8"))
    shown = float(re.search(r"Largest scale\s+(\d\.\d+)", out).group(1))
    assert shown <= data["fit"]["scale"] <= data["fit"]["scale_bound"]
    assert data["fit"]["scale"] - shown < 1e-4
    assert data["fit"]["placement"]["tilt_deg"] == 0
    assert abs(data["fit"]["placement"]["turn_deg"]) <= 30
    assert data["cover"]["by_face_mm"]["bottom"] == pytest.approx(0, abs=1e-9)
    for path, value in keys(data):
        if isinstance(value, float) and not re.search(r"(_mm|_mm2|_m2|_m3|_kg|_kg_m3|_deg|_mpa)(/|$)", path):
            last = path.rsplit("/", 1)[-1]
            assert last in {
                "scale", "scale_bound", "gap", "rotation", "into", "draw_out", "waste", "normal", "recovered", "price",
                "ratio",
                "range_low_factor", "range_high_factor", "wet_factor", "prop_share", "would_fit_at_scale",
                "jerk_factor", "over",
            } or "/carried_shares" in path or "/reach_by_face/" in path or "/measures/" in path, path  # fmt: skip


def test_a_figure_that_cannot_fit_gets_an_answer(capsys):
    code, out, _ = run(capsys, *USUAL, "--scale", "1")
    assert code == 0
    assert "CANNOT FIT (proved)" in out
    assert re.search(r"\d+ mm is missing on each of", out)
    assert re.search(r"at 0\.\d+ of full size it would fit", out)


def test_a_cover_that_leaves_no_room_gets_an_answer(capsys):
    code, out, _ = run(capsys, *USUAL[:-1], "360")
    assert code == 0
    assert "The cover alone is more than the block holds: 10 mm too much on each of front, back" in " ".join(
        out.split()
    )


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"--block": "0x700x1600"}, "must be more than 0"),
        ({"--block": "900x700"}, "width x depth x height"),
        ({"--block": "infx7x7"}, "not a length|unit for some"),
        ({"--stone": "marbel"}, "marble"),
        ({"--cover": "-3"}, "negative"),
        ({"--cover": "thick"}, "not a length"),
        ({"--unit": None}, "--unit"),
        ({"--turn": "400"}, "0 to 180"),
        ({"--ratio": "4:0"}, "ratio"),
        ({"-o": "survey.xls"}, ".txt or .json"),
        ({"--json": "nowhere/s.json"}, "no folder"),
        ({"--gap": "x"}, "not a valid float"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(capsys, change, match):
    arguments = list(USUAL)
    for option, value in change.items():
        if option in arguments:
            at = arguments.index(option)
            del arguments[at : at + 2]
        if value is not None:
            arguments += [option, value]
    code, out, err = run(capsys, *arguments)
    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert re.search(match, err), err


@pytest.mark.slow
def test_the_demo_and_the_module_run_as_programs(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "blockfit", "demo", "--json", str(tmp_path / "demo.json")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "lamplighter in L-14" in done.stdout
    assert done.stderr == ""
    assert json.loads((tmp_path / "demo.json").read_text(encoding="utf-8"))["fit"]["verdict"] == "FITS"


@needs_meshes
@pytest.mark.parametrize(
    ("name", "unit", "ratio"),
    [
        ("kneeling_arm_raised.stl", "m", "1"),
        ("striding.stl", "m", "1"),
        ("putto_scan.ply", "mm", "1:4"),
        ("dirty/kneeling_holes_specks.ply", "m", "1"),
        ("dirty/crouching_two_overlapping_shells.stl", "m", "1"),
    ],
)
def test_real_scans_end_in_a_survey(capsys, name, unit, ratio):
    code, out, err = run(
        capsys, "survey", str(SHARED / name), "--unit", unit, "--ratio", ratio, "--block", "900x700x1600",
        "--stone", "marble", "--cover", "20",
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert "FITS" in out
    assert np.all([section in out for section in ("PIECES TO SAVE", "WEIGHT", "THE FIGURE AS READ")])


@needs_meshes
def test_the_bust_asks_for_its_unit_and_gets_its_base(capsys):
    bust = str(SHARED / "bust_scan.obj")
    code, _, err = run(capsys, "survey", bust, "--block", "900x900x1200", "--up", "+y", "--front", "+z")
    assert code == 2
    assert "2.69 m if m" in err
    code, out, _ = run(
        capsys,
        "survey",
        bust,
        "--unit",
        "m",
        "--ratio",
        "0.3",
        "--block",
        "900x900x1200",
        "--up",
        "+y",
        "--front",
        "+z",
    )
    assert code == 0
    assert "closed 1 flat opening" in out


def test_a_block_in_inches_is_asked_about(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    trimesh.creation.box((0.5, 0.4, 1.4)).export("figure.stl")
    code, _, err = run(capsys, "survey", "figure.stl", "--unit", "m", "--block", "36x30x60")
    assert code == 2
    assert "were inches meant? write 36x30x60in" in err


@pytest.mark.slow
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_a_block_in_inches_or_small_is_taken_as_it_is_written(unit, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    trimesh.creation.box((0.5, 0.4, 1.4)).export("figure.stl")
    assert run(capsys, "survey", "figure.stl", "--unit", "m", "--block", f"36x30x60{unit}")[0] == 0

"""Outlines in FIGURE's place on the command line."""

import json

import pytest
from conftest import run

BLOCK = ("--block", "500x400x1300", "--stone", "marble", "--cover", "10")


def drawing(folder, name, wide, tall, hole=""):
    file = folder / f"{name}.svg"
    body = f'<rect width="{wide}" height="{tall}"/>{hole}'
    file.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {tall}">{body}</svg>')
    return str(file)


@pytest.mark.thorough
def test_a_survey_of_outlines_says_what_is_sure(tmp_path, capsys):
    window = '<rect x="10" y="40" width="20" height="30" fill="white"/>'
    front, side = drawing(tmp_path, "angel", 40, 120, window), drawing(tmp_path, "side", 30, 120)
    outlines = ("--front-outline", front, "--side-outline", side, "--height", "1.2 m")
    saved = tmp_path / "s.json"
    code, out, _ = run(capsys, "survey", *outlines, *BLOCK, "--json", str(saved))
    assert code == 0
    assert out.startswith("angel in 500 x 400 x 1300 mm")
    assert "FITS; sure" in out
    assert "NOT SURE" not in out
    assert "at most" in out
    record = json.loads(saved.read_text())
    assert record["figure"]["is_envelope"] is True
    assert record["figure"]["volume_m3"] == pytest.approx((40 * 120 - 20 * 30) * 30 * 1e-6)
    assert record["figure"]["size_mm"] == pytest.approx([400, 300, 1200])
    code, out, _ = run(capsys, "survey", *outlines, *BLOCK, "--scale", "2")
    assert code == 0
    plain = " ".join(out.split())
    assert "CANNOT FIT as the largest solid within its outlines (proved of that one only, NOT SURE" in plain


def test_what_outlines_lack_is_one_line(tmp_path, capsys):
    front, side = drawing(tmp_path, "front", 40, 120), drawing(tmp_path, "side", 30, 120)
    for words, said in (
        ((), "FIGURE"),
        (("--front-outline", front, "--height", "1200"), "without an end"),
        (("--front-outline", front, "--side-outline", side), "--height"),
        ((front, "--front-outline", front), "not both"),
        (("--front-outline", front, "--side-outline", side, "--up", "+y", "--height", "9"), "--up"),
        (("--front-outline", str(tmp_path / "none.svg"), "--side-outline", side, "--height", "9"), "none.svg"),
    ):
        code, out, err = run(capsys, "survey", *words, *BLOCK)
        assert (code, out) == (2, "")
        assert said in err
        assert err.count("\n") == 1

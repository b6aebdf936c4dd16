"""The page of how much stone is left: what it says, as data too, and that it needs nothing else."""

import base64
import json
import re

import pytest
from conftest import FIXED, cuboid, run

import blockfit as bf


@pytest.fixture(scope="module")
def left():
    fit = bf.safest(cuboid(100, 100, 200), bf.Block.box(160, 160, 240, stone="marble"), stance=FIXED, cover=20)
    stage = bf.stage_of(fit, lost=bf.Flaw.ball((30, 30, 100), 25, name="<corner>"))
    return bf.stone_left(fit, stage)


def test_the_page_says_what_is_printed_in_both_systems(left, tmp_path):
    bf.save_left(left, tmp_path / "left.html")
    page = (tmp_path / "left.html").read_text(encoding="utf-8")
    assert "READ FIRST</b> cut too deep at one place" in page
    assert "&lt;corner&gt;" in page
    assert "<corner>" not in page
    for words in ("Still to go", "Most stone on", "sq in", "cm²", "Five views of the figure"):
        assert words in page
    assert not re.findall(r'(?:src|href)="(?!data:)', page)  # nothing from elsewhere
    data = json.loads(base64.b64decode(re.search(r"application/json;base64,([^\"]+)", page).group(1)))
    bf.save_left(left, tmp_path / "left.json")
    assert {"made_by": "blockfit", **data} == json.loads((tmp_path / "left.json").read_text(encoding="utf-8"))
    assert data["regions"][0]["kind"] == "too deep"
    assert data["volume_m3"] == left.volume_m3
    bf.save_left(left, tmp_path / "left.txt", units="us")
    assert (tmp_path / "left.txt").read_text(encoding="utf-8") == left.text("us")


def test_what_is_not_ours_stays(left, tmp_path):
    with pytest.raises(bf.BadValueError, match="is saved as"):
        bf.save_left(left, tmp_path / "left.pdf")
    (tmp_path / "left.html").write_text("mine")
    with pytest.raises(bf.BadValueError, match="no earlier output"):
        bf.save_left(left, tmp_path / "left.html")


def test_from_the_command_line(left, tmp_path, capsys):
    left.fit.save(tmp_path / "a.blockfit")
    code, out, _ = run(capsys, "left", str(tmp_path / "a.blockfit"), "-o", str(tmp_path / "left.html"), "--us")
    assert code == 0
    assert " in, half of it less than " in out
    assert 'id="in-us" checked' in (tmp_path / "left.html").read_text(encoding="utf-8")
    code, _, err = run(capsys, "left", str(tmp_path / "a.blockfit"), "-o", str(tmp_path / "left.doc"))
    assert code == 2
    assert "saved as" in err

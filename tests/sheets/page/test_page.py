"""The page as text: one file, escaped and small."""

import json
import re

import pytest
from conftest import BRICK, SHARED, inked_share, needs_meshes, no_room

import blockfit as bf
from blockfit.sheets.page.scene import scene_json
from blockfit.sheets.pictures.drawings import measured_drawing, save_picture, weight_picture


def test_the_page_is_one_file_escaped_and_small(survey_page):
    text = survey_page.read_text(encoding="utf-8")
    assert survey_page.stat().st_size < 8e6
    own = re.sub(r"<script>/\*\*.*?</script>", "", text, flags=re.DOTALL)
    own = re.sub(r"data:image/png;base64,[A-Za-z0-9+/=]+", "data:,", own)
    assert "<img src=x" not in own
    assert 'A-3 "<b>"' not in own
    assert not re.search(r'(?:src|href)="(?!data:)', own)
    for words in ("Cautions", "How sure the numbers are", "qualified person", "Measured drawing"):
        assert words in own


@needs_meshes
def test_a_large_figures_page_stays_small(tmp_path):
    figure = bf.read_figure(SHARED / "kneeling_arm_raised.stl", unit="m")
    fit = bf.largest(figure, bf.Block.box(900, 700, 1600, stone="marble"), stance=bf.Stance.upright(30))
    bf.survey(fit, alternatives=False).save(tmp_path / "s.html")
    assert (tmp_path / "s.html").stat().st_size < 8e6


def test_what_is_missing_is_said_before_the_work(monkeypatch, tmp_path, capsys):
    import importlib.util

    from blockfit.__main__ import main

    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(SystemExit) as stopped:
        main(["survey", "no-such-file.stl", "--block", "900x700x1600", "-o", str(tmp_path / "s.html")])
    assert stopped.value.code == 2
    assert "blockfit[page]" in capsys.readouterr().err


def test_pages_and_pictures_without_a_placement_an_offcut_or_a_stone(tmp_path):
    bf.survey(no_room(), alternatives=False).save(tmp_path / "none.html")
    assert "There is no placement to draw" in (tmp_path / "none.html").read_text(encoding="utf-8")
    bare = bf.largest(BRICK, bf.Block.box(300, 200, 250), stance=bf.Stance.fixed())
    save_picture(measured_drawing(bare), tmp_path / "bare.png")
    litres = weight_picture(bf.weights(bare))
    assert litres.axes[0].get_xlabel() == "left, litres"
    assert litres.axes[0].patches[0].get_width() == pytest.approx(15)  # 0.3 x 0.2 x 0.25 m
    save_picture(litres, tmp_path / "weight.png")
    assert all(0.002 < inked_share(tmp_path / name) < 0.7 for name in ("bare.png", "weight.png"))
    told = json.loads(scene_json(bare, None, None))
    assert [trace["name"] for trace in told["data"]] == ["block", "figure"]

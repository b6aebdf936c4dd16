"""The page as text: one file, escaped and small."""

import json
import re

import pytest
from conftest import BRICK, FIXED, SHARED, inked_share, needs_meshes, no_room, slow_after
from hands_figures import manifold_of

import blockfit as bf
from blockfit.sheets.page.scene import feature_edges, scene_json
from blockfit.sheets.page.stages import stages_of
from blockfit.sheets.pictures.drawings import measured_drawing, save_picture, weight_picture


@pytest.fixture(scope="module", params=slow_after(1, ["brick", "kneeling"]))
def odd_names(request) -> bf.Survey:
    """A survey whose names would break a page that does not escape them."""
    if request.param == "kneeling":
        return request.getfixturevalue("page_survey")
    name, landmarks = "<img src=x onerror=alert(1)> & co", {"hand </script>": (0, 0, 50)}
    figure = bf.Figure(BRICK.vertices, BRICK.faces, name=name, landmarks=landmarks)
    block = bf.Block.box(300, 250, 250, stone="marble", name='A-3 "<b>"')
    cover = {"bottom": 0, "other": 20}
    return bf.survey(bf.safest(figure, block, scale=1, cover=cover, stance=FIXED, seek="setback"), alternatives=False)


@pytest.mark.thorough
def test_the_page_is_one_file_escaped_and_small(odd_names, tmp_path):
    survey_page = tmp_path / "survey.html"
    odd_names.save(survey_page)
    text = survey_page.read_text(encoding="utf-8")
    assert survey_page.stat().st_size < 3e6
    own = re.sub(r"data:image/png;base64,[A-Za-z0-9+/=]+", "data:,", text)
    assert "<img src=x" not in own
    assert 'A-3 "<b>"' not in own
    assert not re.search(r'(?:src|href)="(?!data:|#)', own)
    for words in ("Cautions", "How sure the numbers are", "qualified person", "Measured drawing"):
        assert words in own


@needs_meshes
def test_a_large_figures_page_stays_small(tmp_path):
    figure = bf.read_figure(SHARED / "kneeling_arm_raised.stl", unit="m")
    fit = bf.largest(figure, bf.Block.box(900, 700, 1600, stone="marble"), stance=bf.Stance.upright(30))
    bf.survey(fit, alternatives=False).save(tmp_path / "s.html")
    assert (tmp_path / "s.html").stat().st_size < 3e6


def test_what_is_missing_is_said_before_the_work(monkeypatch, tmp_path, capsys):
    import importlib.util

    from blockfit.__main__ import main

    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(SystemExit) as stopped:
        main(["survey", "no-such-file.stl", "--block", "900x700x1600", "-o", str(tmp_path / "s.html")])
    assert stopped.value.code == 2
    assert "blockfit[page]" in capsys.readouterr().err


@pytest.mark.thorough
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
    told = json.loads(scene_json(bare, stages_of(bare, None), None, None))
    assert {part["group"] for part in told["parts"]} == {"figure", "stone"}


def test_stages_are_exact_solids_that_grow_less(odd_names):
    """Volumes by manifold3d: what roughing out takes is what its own table says, and the figure is never cut."""
    stages = stages_of(odd_names.fit, odd_names.offcuts)
    volumes = [stage.volume_m3 for stage in stages]
    assert volumes == sorted(volumes, reverse=True)
    assert volumes[0] == pytest.approx(odd_names.fit.block.volume_m3)
    figure = manifold_of(odd_names.fit.solid().vertices, odd_names.fit.solid().faces)
    for stage in stages[:-1]:
        solid = manifold_of(stage.vertices, stage.faces)
        assert solid.volume() * 1e-9 == pytest.approx(stage.volume_m3, rel=1e-9)
        assert (figure - solid).volume() < 1  # mm³: nothing of the figure is gone


def test_feature_edges_of_a_box_are_its_twelve():
    brick = BRICK
    assert len(feature_edges(brick.vertices, brick.faces)) == 12

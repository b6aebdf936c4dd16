"""Bodies that nothing joins: each must stand by itself, or the figure is not said to."""

import re

import numpy as np
import pytest
from conftest import FIXED, ball, cuboid, figure_of, fit_in_marble, joined, run, solid_of

import blockfit as bf
from blockfit.carving.stages import Stage
from blockfit.facts.phrases import Phrase
from blockfit.sheets.page.stages import _stage
from blockfit.waste.statics import standing

PLINTH = cuboid(300, 300, 100)


def said(figure):
    held = standing(figure.vertices, figure.faces)
    return held.stands, [round(body.volume_m3 * 1e3, 3) for body in held.loose]


@pytest.mark.parametrize("gap", [0.01, 50])
def test_a_body_over_a_gap_falls(gap):
    high = cuboid(200, 200, 300, at=(50, 50, 100 + gap))
    assert said(joined(PLINTH, high)) == (False, [12.0])
    fit = fit_in_marble(solid_of(joined(PLINTH, high)))
    moved = bf.handling(fit)
    assert not moved.loads[-1].stands.stands
    assert len(moved.loads[-1].record()["joined_to_nothing"]) == 1
    assert not bf.thin_stone(fit, spacing=20).stands
    words = bf.survey(fit, plan=bf.offcuts(fit, most_pieces=0), alternatives=False, pitch=20).text()
    assert "JOINED TO NOTHING" in words
    assert "nothing was found that falls" not in words


def test_a_figure_over_its_plinth_falls_whichever_is_larger():
    assert said(joined(cuboid(300, 300, 20), cuboid(200, 200, 300, at=(50, 50, 25)))) == (False, [12.0])


def test_bodies_that_each_stand_do():
    apart = joined(cuboid(100, 100, 200), cuboid(100, 100, 600, at=(200, 0, 0)))
    held = standing(apart.vertices, apart.faces)
    assert (held.stands, held.loose) == (True, ())
    assert held.weakest_deg == pytest.approx(np.degrees(np.arctan2(50, 300)))  # of the taller, not of both together
    assert held.margin_mm == pytest.approx(50)


def test_one_that_leans_out_is_loose():
    pair = joined(cuboid(400, 400, 100, at=(-500, 0, 0)), LEANS)
    assert said(pair) == (False, [round(LEANS.volume_m3 * 1e3, 3)])


def test_hollows_and_crumbs_are_no_bodies():
    hollow = figure_of(solid_of(ball(200)) - solid_of(ball(150)))
    assert len(solid_of(hollow).decompose()) == 2
    stood = joined(cuboid(400, 400, 100), cuboid(10, 10, 10, at=(0, 0, 300)))  # 0.00006 of it
    assert said(stood) == (True, [])
    shell = figure_of(solid_of(cuboid(400, 400, 400)) - solid_of(cuboid(300, 300, 300, at=(50, 50, 50))))
    assert said(shell) == (True, [])


@pytest.mark.thorough
def test_the_command_line_says_it(capsys, tmp_path):
    gap = joined(PLINTH, cuboid(200, 200, 300, at=(50, 50, 110)))
    import trimesh

    trimesh.Trimesh(gap.vertices, gap.faces, process=False).export(tmp_path / "gap.stl")
    asked = ["survey", str(tmp_path / "gap.stl"), "--unit", "mm", "--block", "400x400x500", "--stone", "marble"]
    code, out, _ = run(capsys, *asked, "--scale", "1")
    assert code == 0
    assert "READ FIRST      PARTS OF THE FIGURE ARE JOINED TO NOTHING" in out
    assert "THEY ARE 2 BODIES" in out


@pytest.mark.thorough
def test_a_figure_in_one_piece_is_joined(kneeling):
    held = standing(kneeling.vertices, kneeling.faces)
    assert held.loose == ()
    assert (
        held.stands
        == bf.handling(bf.safest(kneeling, bf.Block.box(2000, 3000, 4000), stance=FIXED)).loads[-1].stands.stands
    )


def test_limits_and_standing_are_said_in_both_systems():
    """What `print` says of handling: each load whether it stands, each limit whether it is kept."""
    fit = fit_in_marble(solid_of(joined(PLINTH, cuboid(200, 200, 300, at=(50, 50, 150)))))
    moved = bf.handling(fit, openings=[("65 cm", "2 m")], hoist_kg=40, hook_height=900, floor_kg_m2=500, friction=0.6)
    metric, us = moved.text(), moved.text(units="us")
    for words in (metric, us):
        assert words.count("stands by itself") == len(moved.loads)
        assert "stands by itself NO: parts of it are joined to nothing" in words
        assert words.count("NOT KEPT:") == sum(not check.kept for check in moved.checks) > 0
        assert words.count("  kept:") == sum(check.kept for check in moved.checks) > 0
    assert not re.search(r"\d (?:mm|kg|cm²)", us)


LEANS = figure_of(
    solid_of(cuboid(1, 1, 1)).hull_points(
        np.array([[x + shift, y, z] for z, shift in ((0, 0), (400, 300)) for x in (0, 50) for y in (0, 50)], float)
    )
)


@pytest.mark.parametrize(
    ("stone", "why"),
    [
        (joined(PLINTH, cuboid(200, 200, 300, at=(50, 50, 150))), "parts of it are joined to nothing"),
        (LEANS, "it tips over the right"),
        (PLINTH, ""),
    ],
)
def test_why_it_does_not_stand_is_said_alike_everywhere(stone, why):
    assert standing(stone.vertices, stone.faces).falls == why
    printed = str(Stage(stone, ("as scanned",), ()))
    on_page = _stage(Phrase("The stone"), stone.vertices, stone.faces, 0).stands
    for words in (printed, on_page):
        assert ("DOES NOT STAND BY ITSELF: " + why in words) == bool(why)
        assert ("tips first to" in words or "it stands" in words) != bool(why)


@pytest.mark.parametrize("at", [90, 100, 99.999])
def test_shells_that_touch_or_cross_are_joined(at):
    """A figure put on its plinth in the model, not united with it."""
    assert said(joined(PLINTH, cuboid(200, 200, 300, at=(50, 50, at)))) == (True, [])


def test_a_body_in_a_hollow_is_one_of_its_own():
    shell = solid_of(cuboid(400, 400, 400)) - solid_of(cuboid(300, 300, 300, at=(50, 50, 50)))
    lying, floating = (figure_of(shell + solid_of(cuboid(100, 100, 100, at=(150, 150, z)))) for z in (50, 120))
    assert said(lying) == (True, [])
    assert said(floating) == (False, [1.0])


def test_many_crumbs_take_no_time():
    rows = np.random.default_rng(0).uniform([400, 0, 0], [700, 300, 300], size=(600, 3))
    crumbs = joined(PLINTH, *[cuboid(1, 1, 1, at=tuple(row)) for row in rows])
    assert said(crumbs) == (True, [])


def test_a_hollow_belongs_to_the_body_that_it_lies_in():
    """A hollow body under an arch of less stone: the arch's box holds it too, the arch does not."""
    post = solid_of(cuboid(100, 100, 200)) - solid_of(cuboid(80, 40, 40, at=(10, 50, 150)))
    arch = solid_of(cuboid(300, 60, 260, at=(-100, 20, 0))) - solid_of(cuboid(280, 60, 250, at=(-90, 20, 0)))
    body, gate = figure_of(post), figure_of(arch)
    assert gate.volume_m3 < body.volume_m3
    pair = joined(body, gate)
    alone = [standing(one.vertices, one.faces).stands for one in (body, gate)]
    held = standing(pair.vertices, pair.faces)
    assert held.stands == all(alone)
    assert all(one.volume_m3 > 0 for one in held.loose)
    assert held.weakest_deg == pytest.approx(
        min(standing(one.vertices, one.faces).weakest_deg for one in (body, gate)), abs=1e-6
    )

"""The sheet before the back: what it gathers, and what it says it was not given."""

import re

import pytest
from conftest import BRICK_BLOCK, ball, mushroom, slow_after

import blockfit as bf


@pytest.mark.parametrize("which", slow_after(1, ["mushroom", "kneeling"]))
@pytest.mark.thorough
def test_the_sheet_before_the_back(which, kneeling):
    shape, size = (kneeling, (900, 700, 1600)) if which == "kneeling" else (mushroom(), (400, 440, 450))
    vug = bf.Flaw.ball((40, 400, 420), 15, name="a vug")
    block = bf.Block.box(*size, stone="marble").with_flaws(vug)
    fit = bf.largest(shape, block, cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(30), scales=(0, 1))
    points = bf.pointing(fit, count=12)
    first = points.points[0]
    read = bf.check(fit, {first.name: first.block_mm})
    told = bf.before_the_back(fit, points=points, readings=read)
    for words in ("Setback left", "a vug", "1 of 12 read back", "From the back", "no stage was given"):
        assert words in told
    told = bf.before_the_back(fit, stage=bf.stage_of(fit), offcuts=bf.offcuts(fit, kerf=5, reserve=1, most_pieces=1))
    assert "in the stone as it stands" in told


@pytest.mark.thorough
def test_the_sheet_before_the_back_says_what_it_was_not_given():
    fit = bf.largest(ball(80, 2), BRICK_BLOCK, stance=bf.Stance.fixed(), scales=(0, 1))
    cut = bf.undercuts(fit)
    bare = bf.before_the_back(fit)
    assert "none is named" in bare
    assert "no table of points was given" in bare
    table = bf.pointing(fit, count=8)
    assert "none read back" in bf.before_the_back(fit, points=table, undercut=cut)


@pytest.mark.thorough
def test_without_a_stage_no_piece_is_said_to_be_free(kneeling):
    fit = bf.largest(kneeling, bf.Block.box(900, 700, 1600), cover={"bottom": 0, "other": 20})
    plan = bf.offcuts(fit, kerf=5, most_pieces=1)
    told = bf.before_the_back(fit, offcuts=plan)
    assert "May leave now" not in told
    assert "Wait for front" in told


@pytest.mark.thorough
def test_a_number_and_the_place_after_it_are_told_apart(kneeling):
    fit = bf.largest(kneeling, bf.Block.box(900, 700, 1600), cover={"bottom": 0, "other": 20})
    cut = bf.undercuts(fit)
    for units in ("metric", "us"):
        told = bf.before_the_back(fit, undercut=cut, units=units)
        lines = [line for line in told.splitlines() if line.startswith(("  From the back", "  Other undercuts"))]
        assert lines
        assert all(re.match(r" {2}(From the back|Other undercuts) +\d+\. ", line) for line in lines)

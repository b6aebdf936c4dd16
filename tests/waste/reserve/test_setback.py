"""How far a figure can go back: by hand, before cracks, in rough blocks, and in the stone as it stands."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from conftest import FIXED, cuboid

import blockfit as bf


def test_setback_by_hand():
    fit = bf.largest(
        cuboid(100, 100, 100), bf.Block.box(140, 300, 250, skin=5), cover={"bottom": 0, "other": 15}, stance=FIXED
    )
    reserve = bf.setback(fit)
    assert reserve.back_mm == pytest.approx(160)
    assert reserve.limit_face == "back"


def test_setback_before_a_slanting_back():
    # A wedge whose back comes forward at 45° as it rises: a cube of 100 goes back until its top edge meets it.
    wedge = bf.Block.from_planes([[0, -1, 0], [-1, 0, 0], [1, 0, 0], [0, 0, -1], [0, 1, 1]], [0, 0, 300, 0, 500])
    fit = bf.largest(cuboid(100, 100, 100), wedge, stance=FIXED, scales=(0, 1))
    assert bf.setback(fit).back_mm == pytest.approx(300)
    assert bf.setback(fit).limit_face == "face 1"


WAYS = {
    "back": (0, 1, 0),
    "front": (0, -1, 0),
    "left": (-1, 0, 0),
    "right": (1, 0, 0),
    "up": (0, 0, 1),
    "down": (0, 0, -1),
}


@pytest.mark.parametrize("way", WAYS)
def test_setback_stops_before_a_crack_every_way(way):
    """A thin disc across each way out, 60 mm off, with a margin of 10: 50 mm by hand; without it the block's face."""
    direction = np.array(WAYS[way], float)
    block = bf.Block.box(1000, 1000, 1000)
    figure = cuboid(200, 200, 200)
    open_fit = bf.safest(figure, block, stance=FIXED, cover=1)
    middle = open_fit.solid().vertices.mean(axis=0)
    flaw = bf.Flaw.disc(middle + 160 * direction, direction, 300, margin=10)
    fit = replace(open_fit, block=block.with_flaws(flaw))
    held = bf.setback(fit)
    assert getattr(held, f"{way}_mm") == pytest.approx(50 - 0.01, abs=2e-3)  # the crack is a plate 0.02 mm thick
    plain = bf.setback(open_fit)
    for other in WAYS:
        if not np.any(direction * np.array(WAYS[other])):
            assert getattr(held, f"{other}_mm") <= getattr(plain, f"{other}_mm") + 1e-9
    assert held.limit_face == ("crack" if way == "back" else plain.limit_face)


def test_setback_in_a_rough_block_keeps_the_cover_asked():
    """A rough block that is a box in disguise: the box's own answers, with the cover, by hand."""
    corners = np.array(list(itertools.product((0, 500), (0, 900), (0, 700))), float)
    box = trimesh.convex.convex_hull(corners).subdivide().subdivide()
    rough = replace(bf.Block.box(500, 900, 700), surface=bf.Figure(box.vertices, box.faces))
    plain = bf.largest(cuboid(200, 200, 400), bf.Block.box(500, 900, 700), cover=25, stance=FIXED, scales=(0, 1))
    fit = replace(plain, block=rough)
    for way in WAYS:
        asked, got = getattr(bf.setback(plain), f"{way}_mm"), getattr(bf.setback(fit), f"{way}_mm")
        assert got == pytest.approx(asked, abs=2e-3)


def test_setback_in_the_stone_as_it_stands():
    cube = cuboid(100, 100, 100)
    block = bf.Block.box(300, 500, 300, stone="marble")
    fit = bf.safest(cube, block, stance=FIXED, cover={"front": 20, "bottom": 0, "other": 0}, seek="setback")
    assert bf.setback(fit).back_mm == pytest.approx(380)
    # A hole drilled down through the block, its front at y = 300, in the figure's way.
    hole = cuboid(50, 50, 320, at=(125, 300, -10))
    stage = bf.stage_of(fit, gone=[("a drilled hole", hole)])
    told = bf.setback(fit, stage)
    assert told.back_mm == pytest.approx(300 - 120, abs=0.01)
    assert told.limit_face == "the stone as it stands"
    assert stage.gone == ("a drilled hole",)
    assert told.left_mm == pytest.approx(100)
    aside = bf.stage_of(fit, gone=[("a hole aside", cuboid(50, 50, 320, at=(0, 300, -10)))])
    assert bf.setback(fit, aside).back_mm == pytest.approx(380, abs=0.01)


@pytest.mark.slow
def test_setback_after_offcuts_agrees_with_the_plan(kneeling):
    width, depth, height = kneeling.size_mm
    block = bf.Block.box(width + 60, depth + 210, height + 60, stone="marble")
    fit = bf.safest(kneeling, block, stance=bf.Stance.upright(0), cover={"bottom": 0, "other": 1}, seek="setback")
    plan = bf.offcuts(fit, clearance=0, kerf=0, reserve=60, most_pieces=2)
    stage = bf.stage_of(fit, offcuts=plan)
    assert bf.setback(fit, stage).back_mm >= plan.pieces[-1].setback_mm - 0.01
    assert bf.setback(fit, bf.stage_of(fit, offcuts=plan, pieces=0)).back_mm == pytest.approx(
        bf.setback(fit).back_mm, abs=0.01
    )

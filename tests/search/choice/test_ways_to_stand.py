"""A block stood on another face, and how its layers may lie."""

import pytest
from conftest import BRICK, BRICK_BLOCK, assert_refused

import blockfit as bf


def test_a_block_on_its_side(kneeling):
    lying = bf.Block.box(1600, 700, 900, bed="x", skin={"front": 10})
    stance, cover = bf.Stance.upright(30), {"bottom": 0, "other": 20}
    down = bf.largest(kneeling, lying, cover=cover, stance=stance)
    up = bf.largest(kneeling, lying, cover=cover, stance=stance, stands_on="any")
    assert up.scale > 1.3 * down.scale
    assert up.stands_on == "left"
    assert up.block.size_mm == (700, 900, 1600)
    assert up.block.bed == "z"
    assert up.block.volume_m3 == pytest.approx(lying.volume_m3)
    assert up.scale_bound >= up.scale
    # The front's skin went with the stone.
    assert sorted(up.block.skin_mm) == sorted(lying.skin_mm)
    assert up.block_turn @ lying.normals[lying.names.index("left")] == pytest.approx([0, 0, -1])
    level = bf.largest(kneeling, lying, cover=cover, stance=stance, stands_on="any", layers="level")
    assert level.scale == up.scale
    upright = bf.largest(kneeling, lying, cover=cover, stance=stance, stands_on="any", layers="upright")
    assert upright.block.bed in ("x", "y")
    assert upright.scale < level.scale
    with pytest.raises(bf.BadValueError, match="no way to stand"):
        bf.largest(kneeling, lying, stands_on="bottom", layers="level")
    with pytest.raises(bf.BadValueError, match="not known"):
        bf.largest(kneeling, bf.Block.box(9, 9, 9), layers="level")
    with pytest.raises(bf.BadValueError, match="stands_on"):
        bf.largest(kneeling, lying, stands_on="lid")


def test_layers_asked_of_a_block_that_has_none():
    with pytest.raises(bf.BlockfitError, match="bed"):
        bf.largest(BRICK, BRICK_BLOCK, layers="level")


REFUSED = {
    "layers of no kind": (lambda: bf.largest(BRICK, BRICK_BLOCK, layers="slanted"), "layers='slanted'"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])

"""Cover over a figure, by hand."""

from conftest import FIXED, cuboid

import blockfit as bf


def test_cover_of_a_box_by_hand():
    fit = bf.largest(
        cuboid(100, 100, 100), bf.Block.box(140, 300, 250, skin=5), cover={"bottom": 0, "other": 15}, stance=FIXED
    )
    assert fit.scale == 1.0
    cover = bf.stone_cover(fit)
    assert cover.by_face == {"front": 15, "back": 175, "left": 15, "right": 15, "bottom": 0, "top": 140}
    assert cover.least_mm == 15
    assert cover.least_face in ("left", "front", "right")
    assert cover.per_vertex_mm.shape == (8,)

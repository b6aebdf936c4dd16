"""Blocks: sizes, skins, convex shapes from points and planes, and ways to stand."""

import numpy as np
import pytest
from conftest import WEDGE, assert_refused
from regular import SOLIDS

import blockfit as bf
from blockfit import BadValueError, Block
from blockfit.solids.standing import standings


@pytest.mark.parametrize("size", [0, -1, np.inf, np.nan, "900", "-3 in", "2 km"])
def test_blocks_without_a_size(size):
    with pytest.raises(ValueError, match="width"):
        Block.box(size, 10, 10)


def test_skin_must_leave_stone():
    with pytest.raises(BadValueError, match="no sound stone"):
        Block.box(100, 100, 100, skin=50)
    assert Block.box(100, 100, 100, skin={"front": "2 cm"}).sound_mm.tolist() == [-20, 100, 0, 100, 0, 100]


def test_convex_blocks_from_points_and_planes_agree():
    points = SOLIDS["dodecahedron"] * 1000
    block = Block.convex(points, stone="granite")
    assert len(block.names) == 12
    again = Block.from_planes(2 * block.normals, 2 * block.offsets_mm)
    assert again.volume_m3 == pytest.approx(block.volume_m3, rel=1e-9)
    # (15 + 7 √5)/4 is a regular dodecahedron's volume (any textbook, from memory).
    assert block.volume_m3 == pytest.approx((15 + 7 * 5**0.5) / 4, rel=1e-9)


def test_planes_that_do_not_close_or_leave_nothing():
    with pytest.raises(BadValueError, match="open"):
        Block.from_planes(np.vstack([np.eye(3), -np.eye(3)[:2]]), [1] * 5)
    with pytest.raises(BadValueError, match="no stone"):
        Block.from_planes(np.vstack([np.eye(3), -np.eye(3)]), [-1] * 6)
    with pytest.raises(BadValueError, match="no volume"):
        Block.convex([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]])


def test_standing_a_wedge_on_every_face_keeps_its_stone():
    ways = standings(WEDGE, "any")
    assert len(ways) == len(WEDGE.names)
    for way in ways:
        assert way.block.volume_m3 == pytest.approx(WEDGE.volume_m3)
        assert "bottom" in way.block.names
        assert way.block.corners_mm.min(axis=0) == pytest.approx(WEDGE.corners_mm.min(axis=0), abs=1e-6)


PLANES = np.vstack([np.eye(3), -np.eye(3)])
REFUSED = {
    "a price below 0": (lambda: bf.Block.box(1, 1, 1, price=-1), "price=-1"),
    "a bed that is no axis": (lambda: bf.Block.box(1, 1, 1, bed="w"), "bed='w'"),
    "a plane without direction": (lambda: bf.Block.from_planes([[0, 0, 0], *PLANES], [1] * 7), "row of length 0"),
    "too few names": (lambda: bf.Block.from_planes(PLANES, [1] * 6, ["a"]), "1 entries for 6"),
    "the same name twice": (lambda: bf.Block.from_planes(PLANES, [1] * 6, ["a"] * 6), "differ from each other"),
    "planes that leave a side open": (lambda: bf.Block.from_planes(PLANES[:5], [1] * 5), "left open"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])

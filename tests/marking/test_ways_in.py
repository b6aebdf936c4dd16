"""From where a depth rod measures, by hand."""

from dataclasses import replace

import numpy as np
import pytest
from conftest import cuboid

import blockfit as bf
from blockfit.marking.ways_in import way_in


def test_ways_in_by_hand():
    """A wedge that leans back by 100 in 800; a block measured out of square; a rough block that is a box."""
    wedge = bf.Block.convex([[x, y, z] for x in (0, 400) for y, z in ((0, 0), (300, 0), (300, 800), (100, 800))])
    edges = bf.Datum.edges(wedge)
    front = way_in(wedge, edges, "front")
    assert front.entry_mm(np.array([[200.0, 150, 200], [200, 150, 800], [500, 150, 200]])) == pytest.approx(
        [25, 100, np.nan], nan_ok=True
    )
    assert front.entry_mm(np.array([[200.0, 150, 200]]), 8.0) == pytest.approx([26])  # the worst place 8 mm aside
    assert way_in(wedge, edges, "back").entry_mm(np.array([[200.0, 150, 200]])) == pytest.approx([-300])
    # From above, half way down the slope at y = 50 the stone begins at z = 400.
    assert way_in(wedge, edges, "top").entry_mm(np.array([[200.0, 50, 10]])) == pytest.approx([-400])
    true = np.array([[x, y, z] for z in (0, 900) for y in (0, 400) for x in (0, 400)], float)
    leaning = true.copy()
    leaning[[4, 5], 1] += 12  # the front leans back at its top
    leaning[[1, 3, 5, 7], 0] += [0, 0, 8, 8]  # the right side leans out at its top
    block = bf.Block.box(400, 400, 900)
    datum = bf.Datum("as measured", np.zeros(3), leaning)
    at = np.array([[200.0, 100, 450]])
    assert way_in(block, datum, "front").entry_mm(at) == pytest.approx([6])
    assert way_in(block, datum, "right").entry_mm(at) == pytest.approx([-404])
    assert "as measured" in way_in(block, datum, "front").words
    rough = replace(block, surface=cuboid(400, 400, 900))
    for face in ("front", "right", "top", "back", "left", "bottom"):
        ours, boxes = (way_in(b, bf.Datum.edges(block), face).entry_mm(at)[0] for b in (rough, block))
        assert ours == pytest.approx(boxes, abs=1e-6)

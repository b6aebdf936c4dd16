"""Several ideas over one yard: checked with the rows and with single answers."""

from dataclasses import replace

import pytest
from conftest import FIXED, cuboid

import blockfit as bf


def test_what_each_idea_needs_and_costs_more():
    tall, low, huge = (cuboid(300, 300, high) for high in (900, 600, 5000))
    ideas = [replace(f, name=name) for f, name in ((tall, "raised"), (low, "folded"), (huge, "huge"))]
    yard = [bf.Block.box(400, 400, h, stone="marble", name=f"B{h}", price=h * 2) for h in (700, 1000, 1100)]
    found = bf.concepts(bf.compare(ideas, yard, scale=1, rank="cheapest", stance=FIXED, jobs=1))
    raised, folded, none = found.each
    assert (raised.figure, raised.row.block.name, raised.blocks) == ("raised", "B1000", 2)
    assert (folded.row.block.name, folded.blocks, folded.more_price) == ("B700", 3, 0)
    assert raised.more_price == 600
    # Waste by plain arithmetic: block less figure, at marble's 2,700 kg/m³.
    out = {"raised": 0.4 * 0.4 * 1.0 - 0.3 * 0.3 * 0.9, "folded": 0.4 * 0.4 * 0.7 - 0.3 * 0.3 * 0.6}
    assert raised.more_removed_kg == pytest.approx(2700 * (out["raised"] - out["folded"]))
    assert (none.row, none.blocks, none.more_price) == (None, 0, None)
    words = str(found)
    assert "600 more than the cheapest of these" in words
    assert "huge: no block of this yard is known to hold it" in words
    assert "lb" in found.text("us")

"""The yard's ranking: every row its own block's answer, ties in the order given, and the first few of the whole table.

Checked against single calls of `largest` and `safest`, and against sorting written out here anew."""

import math

import numpy as np
import pytest
from conftest import FIXED, cuboid, examples
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf

RANKS = ("largest", "cheapest", "least waste", "lightest")


def test_a_block_that_nearly_holds_it_has_its_own_scale():
    blocks = [bf.Block.box(295, 195, 690, name="near"), bf.Block.box(280, 450, 1500, name="far")]
    rows = bf.compare(cuboid(300, 200, 700), blocks, scale=1, stance=bf.Stance.upright(0), jobs=1).rows
    assert [row.block.name for row in rows] == ["near", "far"]
    assert [row.scale for row in rows] == pytest.approx([195 / 200, 280 / 300])
    assert {row.verdict for row in rows} == {"CANNOT_FIT"}


@given(st.integers(0, 10_000), st.sampled_from([None, 0.7, 1, 1.3]))
@examples(3, 12)
@pytest.mark.thorough
def test_rows_equal_single_calls(seed, scale):
    random = np.random.default_rng(seed)
    figure = bf.Figure.from_points(random.normal(size=(12, 3)) * random.uniform(30, 150, 3))
    blocks = [bf.Block.box(*random.uniform(200, 900, 3), name=str(k)) for k in range(6)]
    stance = bf.Stance.upright(float(random.uniform(0, 90)))
    rows = bf.compare(figure, blocks, scale=scale, cover=5, stance=stance, jobs=1).rows
    for row in rows:
        alone = bf.largest(figure, row.block, cover=5, stance=stance, gap=1e-3)
        assert row.scale == pytest.approx(alone.scale, rel=1e-12)
        if scale is not None:
            assert row.verdict == bf.safest(figure, row.block, scale=scale, cover=5, stance=stance).verdict.name
    found = [bf.largest(figure, row.block, cover=5, stance=stance).scale for row in rows]
    assert found == sorted(found, reverse=True)


def truth(figures, blocks, scale, rank):
    """The whole table as names, sorted anew by sizes alone: figures and blocks are boxes that stay as read."""
    lines = []
    for block in blocks:
        for figure in figures:
            largest = min(b / f for b, f in zip(block.size_mm, figure.size_mm, strict=True))
            fits = largest >= scale * (1 - 1e-12)
            waste = (block.volume_m3 - figure.volume_m3 * scale**3) / block.volume_m3
            value = {
                "largest": -largest,
                "cheapest": math.inf if block.price is None else block.price,
                "least waste": waste if fits else math.inf,
                "lightest": math.inf if block.mass_kg is None else block.mass_kg,
            }[rank]
            lines.append(((0 if fits or rank == "largest" else 1, round(value, 9)), (block.name, figure.name)))
    return [name for _, name in sorted(lines, key=lambda line: line[0])]  # sorted() keeps the order of equals


sides = st.sampled_from([200, 300, 300, 400, 450])
blocks_given = st.lists(
    st.tuples(sides, sides, sides, st.sampled_from([None, 10, 10, 20]), st.sampled_from([None, "marble"])),
    min_size=1,
    max_size=14,
)


@given(blocks_given, st.sampled_from(RANKS), st.integers(1, 20), st.booleans(), st.sampled_from([1, 0.9, 1.5]))
@examples(15, 60)
@pytest.mark.thorough
def test_the_best_few_are_the_first_of_the_whole_table(given_blocks, rank, best, two, scale):
    blocks = [
        bf.Block.box(*size, price=price, stone=stone, name=str(k))
        for k, (*size, price, stone) in enumerate(given_blocks)
    ]
    first, second = cuboid(200, 200, 300), cuboid(300, 200, 200)
    figures = [first, bf.Figure(second.vertices, second.faces, name="second")][: 2 if two else 1]
    how = {"scale": scale, "stance": FIXED, "rank": rank, "jobs": 1, "deepest": False}
    whole = [(row.block.name, row.figure) for row in bf.compare(figures, blocks, **how).rows]
    assert whole == truth(figures, blocks, scale, rank)
    few = [(row.block.name, row.figure) for row in bf.compare(figures, blocks, best=best, **how).rows]
    assert few == whole[:best]


def test_ties_by_rounding_alone_keep_the_order_given():
    names = ["b", "a", "d", "c"]
    blocks = [bf.Block.box(300 * (1 + k * 2e-16), 500 + k, 500 + k, name=name) for k, name in enumerate(names)]
    rows = bf.compare(cuboid(100, 100, 100), blocks, stance=FIXED, jobs=1).rows
    assert [row.block.name for row in rows] == names
    priced = [bf.Block.box(300 + 50 * k, 500, 500, price=10, name=name) for k, name in enumerate(names)]
    rows = bf.compare(cuboid(100, 100, 100), priced, stance=FIXED, rank="cheapest", jobs=1).rows
    assert [row.block.name for row in rows] == names


def test_the_search_stops_once_the_rest_is_proved_worse(monkeypatch):
    import blockfit.yard as module

    real, asked = module._row, []
    monkeypatch.setattr(module, "_row", lambda *given: asked.append(1) or real(*given))
    blocks = [bf.Block.box(1000 - k, 1000 - k, 1000 - k, price=k) for k in range(200)]
    for rank in ("largest", "cheapest"):
        asked.clear()
        rows = bf.compare(cuboid(100, 100, 100), blocks, rank=rank, best=2, stance=FIXED, jobs=1).rows
        assert [row.block.price for row in rows] == [0, 1]
        assert len(asked) < 50


def test_a_fault_in_one_row_is_said_in_it(monkeypatch):
    import blockfit.yard as module

    def broken(*_, **__):
        raise AssertionError("nine\nlives")

    monkeypatch.setattr(module, "answer", broken)
    (row,) = bf.compare(cuboid(1, 1, 1), [bf.Block.box(2, 2, 2)], jobs=1).rows
    assert (row.verdict, row.note) == ("FAILED", "a fault in blockfit, please report it: AssertionError nine lives")

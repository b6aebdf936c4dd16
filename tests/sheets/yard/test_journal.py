"""A journal answers only what was asked: nothing stale, nothing twice."""

import json
from dataclasses import replace

import numpy as np
import pytest
from conftest import FIXED, UPRIGHT, cuboid, random_yard
from hypothesis import given, settings
from hypothesis import strategies as st

import blockfit as bf
from blockfit.sheets.yard.journal import digest_of

FIGURE = cuboid(100, 200, 300)
BLOCK = bf.Block.box(400, 400, 700, name="a", stone="marble", price=100)


def changed(block, **fields):
    return replace(block, **fields)


SKIN = bf.Block.box(400, 400, 700, name="a", stone="marble", price=100, skin=20)
OTHERS = {
    "a larger figure": lambda how: ([cuboid(100, 200, 301)], [BLOCK], how),
    "a unit": lambda how: ([bf.Figure(FIGURE.vertices * 25.4, FIGURE.faces)], [BLOCK], how),
    "one vertex": lambda how: ([bf.Figure(FIGURE.vertices + 1e-9 * np.eye(8, 3), FIGURE.faces)], [BLOCK], how),
    "the tolerance": lambda how: ([bf.Figure.from_points(FIGURE.vertices, tolerance=3)], [BLOCK], how),
    "the skin": lambda how: ([FIGURE], [SKIN], how),
    "the stone": lambda how: ([FIGURE], [changed(BLOCK, stone=None)], how),
    "the price": lambda how: ([FIGURE], [changed(BLOCK, price=101.0)], how),
    "the bed": lambda how: ([FIGURE], [changed(BLOCK, bed="x")], how),
    "a flaw": lambda how: ([FIGURE], [BLOCK.with_flaws(bf.Flaw.ball((200, 200, 350), 30))], how),
    "the shape": lambda how: ([FIGURE], [bf.Block.convex(BLOCK.corners_mm, name="a")], how),
    "the cover": lambda how: ([FIGURE], [BLOCK], {**how, "cover": 7}),
    "the stance": lambda how: ([FIGURE], [BLOCK], {**how, "stance": bf.Stance.upright(5)}),
    "the scale": lambda how: ([FIGURE], [BLOCK], {**how, "scale": 0.5}),
    "the face": lambda how: ([FIGURE], [BLOCK], {**how, "stands_on": "any"}),
    "the layers": lambda how: ([FIGURE], [changed(BLOCK, bed="z")], {**how, "layers": "level"}),
    "the gap": lambda how: ([FIGURE], [BLOCK], {**how, "gap": 1e-2}),
    "offcuts": lambda how: ([FIGURE], [BLOCK], {**how, "scale": 1, "offcuts": True}),
    "no deepest cover": lambda how: ([FIGURE], [BLOCK], {**how, "deepest": False}),
}


@pytest.fixture
def asked(monkeypatch):
    """Counts the answers that are worked out and not taken from a journal."""
    import blockfit.yard as module

    real, asked = module._row, []
    monkeypatch.setattr(module, "_row", lambda *given: asked.append(given) or real(*given))
    return asked


@pytest.mark.parametrize("what", OTHERS)
def test_a_row_is_taken_up_only_where_everything_is_the_same(what, tmp_path, asked):
    file = tmp_path / "done.jsonl"
    plain = {"stance": FIXED, "jobs": 1}
    first = bf.compare(FIGURE, [BLOCK], resume=file, **plain)
    assert len(asked) == 1
    again = bf.compare(FIGURE, [BLOCK], resume=file, **plain)
    assert len(asked) == 1  # nothing twice
    assert [row.record() for row in again.rows] == [row.record() for row in first.rows]
    figures, blocks, how = OTHERS[what](plain)
    other = bf.compare(figures, blocks, resume=file, **how)
    assert len(asked) == 2
    alone = bf.compare(figures, blocks, **how)
    assert [row.record() for row in other.rows] == [row.record() for row in alone.rows]
    lines = len(file.read_text().splitlines())
    bf.compare(FIGURE, [BLOCK], resume=file, **plain)
    assert len(asked) == 3  # the first row is still there
    assert len(file.read_text().splitlines()) == lines == 3


def test_a_row_moves_with_its_block(tmp_path, asked):
    blocks = [bf.Block.box(400 + k, 400, 700, name=str(k)) for k in range(4)]
    bf.compare(FIGURE, blocks, stance=FIXED, jobs=1, resume=tmp_path / "j")
    del asked[:]
    more = [bf.Block.box(390, 400, 700, name="new"), *reversed(blocks)]
    rows = bf.compare(FIGURE, more, stance=FIXED, jobs=1, resume=tmp_path / "j").rows
    assert len(asked) == 1
    alone = bf.compare(FIGURE, more, stance=FIXED, jobs=1).rows
    assert [row.record() for row in rows] == [row.record() for row in alone]


def test_rows_that_were_cut_short_or_tampered_with_are_done_again(tmp_path, asked):
    file = tmp_path / "j"
    (row,) = bf.compare(FIGURE, [BLOCK], stance=FIXED, jobs=1, resume=file).rows
    header, line = file.read_text().splitlines()
    data = json.loads(line)
    wrong = [line[:-30], "[1, 2]", "null", "{}", "[" * 50_000, '{"key": ' + "9" * 6000 + "}"]
    wrong += [json.dumps({k: v for k, v in data.items() if k != name}) for name in ("scale", "verdict", "note")]
    for name, value in (
        ("scale", "3"),
        ("scale", None),
        ("verdict", "PERHAPS"),
        ("note", 5),
        ("price", [1]),
        ("scale", True),
    ):
        wrong.append(json.dumps({**data, name: value}))
    for text in wrong:
        file.write_text(header + "\n" + text)
        del asked[:]
        (again,) = bf.compare(FIGURE, [BLOCK], stance=FIXED, jobs=1, resume=file).rows
        assert (len(asked), again.record()) == (1, row.record()), text[:60]
        del asked[:]
        bf.compare(FIGURE, [BLOCK], stance=FIXED, jobs=1, resume=file)
        assert not asked  # and the new line did not run into the one cut short


@given(st.recursive(st.floats(allow_nan=False) | st.text() | st.booleans() | st.none(), st.lists, max_leaves=6))
@settings(max_examples=60)
def test_digests_differ_where_values_do(value):
    assert digest_of([value]) == digest_of([value])
    assert digest_of([value]) != digest_of([value, value])
    assert digest_of([value]) != digest_of([[value]])
    assert digest_of(value) != digest_of(repr(value))


def test_resuming_does_nothing_twice(tmp_path, monkeypatch):
    import blockfit.yard as module

    figure, blocks = cuboid(100, 200, 300), random_yard(12, 2)
    file = tmp_path / "done.jsonl"
    whole = bf.compare(figure, blocks, stance=UPRIGHT, jobs=1)
    real, count = module._row, 0

    def stops(*arguments):
        nonlocal count
        count += 1
        if count > 9:
            raise KeyboardInterrupt
        return real(*arguments)

    monkeypatch.setattr(module, "_row", stops)
    part = bf.compare(figure, blocks, stance=UPRIGHT, jobs=1, resume=file)
    assert not part.finished
    assert len(part.rows) == 8  # finished tasks only
    assert "STOPPED" in str(part)
    with file.open("a") as lines:
        lines.write('{"key": "cut sh')
    again = []
    monkeypatch.setattr(module, "_row", lambda *a: again.append(a) or real(*a))
    rest = bf.compare(figure, blocks, stance=UPRIGHT, jobs=1, resume=file)
    assert len(again) == 4
    other = bf.compare(figure, blocks, stance=UPRIGHT, cover=30, jobs=1, resume=file)
    assert len(again) == 4 + 12  # another question: nothing of the first counts
    assert max(row.scale for row in other.rows) < max(row.scale for row in whole.rows)
    assert [row.record() for row in rest.rows] == [row.record() for row in whole.rows]

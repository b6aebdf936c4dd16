"""Saved tables agree with each other, start no formula and stay whole under any name."""

import csv
import io
import json
import math

import pytest
from conftest import UPRIGHT, cuboid, random_yard

import blockfit as bf
from blockfit.errors import plain_text
from blockfit.sheets.yard.rows import rank_key


def test_saved_tables_agree_and_start_no_formula(tmp_path, kneeling):
    blocks = [*random_yard(3), bf.Block.box(900, 900, 1500, name="=cmd()<script>")]
    told = bf.compare(kneeling, blocks, stance=UPRIGHT, jobs=1)
    for name in ("y.csv", "y.json", "y.html"):
        told.save(tmp_path / name)
    rows = list(csv.DictReader(io.StringIO((tmp_path / "y.csv").read_text(encoding="utf-8"))))
    data = json.loads((tmp_path / "y.json").read_text(encoding="utf-8"))["rows"]
    assert [float(row["scale"]) for row in rows] == [row["scale"] for row in data] == [row.scale for row in told.rows]
    assert all(not cell.startswith(("=", "+", "-", "@")) or _is_number(cell) for row in rows for cell in row.values())
    page = (tmp_path / "y.html").read_text(encoding="utf-8")
    assert "<script>" in page
    assert "=cmd()<script>" not in page
    assert "http" not in page
    assert page.count("<tr") == len(rows) + 1
    with pytest.raises(bf.BadValueError):
        told.save(tmp_path / "y.xlsx")
    frame = told.frame()
    assert list(frame["scale"]) == [row.scale for row in told.rows]
    assert "ranked by largest" in str(told)


def _is_number(cell):
    try:
        return math.isfinite(float(cell))
    except ValueError:
        return False


def test_streaming_keeps_only_the_best(tmp_path, monkeypatch):
    import blockfit.yard as module

    monkeypatch.setattr(module, "_KEEP", 5)
    figure = cuboid(100, 200, 300)
    told = bf.compare(figure, iter(random_yard(40, 6)), stance=bf.Stance.fixed(), jobs=1, stream=tmp_path / "all.csv")
    lines = (tmp_path / "all.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 41
    assert [line.split(",")[0] for line in lines[1:4]] == ["B0", "B1", "B2"]
    whole = bf.compare(figure, random_yard(40, 6), stance=bf.Stance.fixed(), jobs=1)
    assert [row.block.name for row in told.rows] == [row.block.name for row in whole.rows[:5]]
    assert [rank_key(r, "largest") for r in told.rows] == sorted(rank_key(r, "largest") for r in told.rows)


NAMES = [
    "a\x1b[31mred",
    "a\nb",
    "a\r\nb",
    "=1+1",
    " =1+1",
    "\n=1+1",
    "\t@x",
    "\u202egnp.exe",
    "a;=1",
    "a\0b",
    "＝1",
    "\ud800",
    "x" * 5000,
]


@pytest.mark.thorough
def test_names_of_any_kind_keep_every_table_whole(tmp_path):
    import csv

    blocks = [bf.Block.box(300, 300, 300, name=name) for name in NAMES]
    table = bf.compare(cuboid(100, 100, 100), blocks, stance=bf.Stance.fixed(), jobs=1)
    for kind in ("csv", "json", "html"):
        table.save(tmp_path / f"y.{kind}")
        text = (tmp_path / f"y.{kind}").read_text(encoding="utf-8")
        assert not [c for c in text if c not in "\n\t" and plain_text(f"a{c}b") != f"a{c}b" and not c.isspace()]
    with (tmp_path / "y.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.reader(lines))
    assert {len(row) for row in rows} == {len(rows[0])}
    assert len(rows) == len(NAMES) + 1
    for row in rows[1:]:
        assert row[0].lstrip()[:1] not in ("=", "+", "-", "@", "＝")
    text = str(table)
    assert len(text.splitlines()) == len(NAMES) + 3
    assert all(len(line) < 260 for line in text.splitlines())
    fit = bf.largest(cuboid(100, 100, 100), bf.Block.box(300, 300, 300, name="\x1b[2J\nx"), stance=bf.Stance.fixed())
    assert "\x1b" not in str(bf.survey(fit, alternatives=False))


def test_a_block_that_fails_says_by_how_much_and_where(tmp_path):
    """By hand: 300 + 2·10 mm of cover in a width of 290 lacks 30 mm, 15 on each side; the other has room."""
    narrow = bf.Block.box(290, 400, 500, name="narrow", price=100, stone="marble")
    yard, asked = [narrow, bf.Block.box(400, 1000, 900, name="deep")], {"bottom": 0, "other": 10}
    table = bf.compare(cuboid(300, 200, 300), yard, scale=1, cover=asked, stance=bf.Stance.fixed(), jobs=1)
    by_name = {row.block.name: row for row in table.rows}
    short, deep = by_name["narrow"], by_name["deep"]
    assert short.verdict == "CANNOT_FIT"
    assert short.short_mm == pytest.approx(15)
    assert set(short.short_faces.split(", ")) == {"left", "right"}
    assert "15 mm is missing on each of left, right" in str(table)
    assert short.tall_mm == pytest.approx(270)  # at its largest: 270 of 300
    assert short.stone_price_per_m3 == pytest.approx(100 / 0.058)
    assert deep.tall_mm == pytest.approx(300)
    assert deep.reserve_mm > 0
    assert "11 3/4 in" in table.text(units="us")  # 300 mm, rounded down to a sixteenth
    for kind in ("csv", "json", "html"):
        table.save(tmp_path / f"y.{kind}", units="us")
        assert "left, right" in (tmp_path / f"y.{kind}").read_text(encoding="utf-8")

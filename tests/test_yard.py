"""The yard: reading lists, ranking, saving, and the same results however the work is divided."""

import csv
import io
import json
import math

import joblib
import numpy as np
import pytest
from conftest import cuboid
from hypothesis import given, settings
from hypothesis import strategies as st

import blockfit as bf
from blockfit.sheets.yard.ranking import rank_key
from blockfit.yard import _most_scale, _Shape, _Terms

UPRIGHT = bf.Stance.upright(30)
LIST = """name,width (in),depth,height_mm,stone,skin,price per m3,density,note
A-1,36,30 in,1500,marble,15 mm,800,,by the gate
A-2,40,900mm,1600,,0 mm,900,2650,weighed
=A3,20,500 mm,900,limestone,0 mm,500,,
"""


def yard(count, seed=0):
    random = np.random.default_rng(seed)
    return [
        bf.Block.box(
            *random.uniform(500, 1800, 3), stone="marble", name=f"B{k}", price=float(random.uniform(500, 5000))
        )
        for k in range(count)
    ]


# ---- reading ----


def test_units_in_headings_and_cells(tmp_path):
    (tmp_path / "yard.csv").write_text(LIST, encoding="utf-8")
    first, second, third = bf.read_blocks(tmp_path / "yard.csv")
    assert first.size_mm == pytest.approx((914.4, 762, 1500))
    assert first.skin_mm.max() == 15
    assert first.price == pytest.approx(800 * 0.9144 * 0.762 * 1.5)
    assert second.stone.density_kg_m3 == 2650
    assert second.stone.low_kg_m3 == second.stone.high_kg_m3
    assert third.name == "=A3"


def test_json_and_prices_by_weight(tmp_path):
    rows = [
        {"name": "q", "width": "1 m", "depth": "1 m", "height": "1 m", "stone": "granite", "price": "200 per tonne"}
    ]
    (tmp_path / "yard.json").write_text(json.dumps(rows), encoding="utf-8")
    (block,) = bf.read_blocks(tmp_path / "yard.json")
    assert block.price == pytest.approx(200 * 2.7)


def test_every_mistake_is_told_at_once(tmp_path):
    text = (
        "name,width,depth,height,stone,colour\na,900,1 m,1 m,marble,\nb,1 m,1 m,-1 m,marbel,\nc,1 m,1 m,1 m,marble,\n"
    )
    (tmp_path / "bad.csv").write_text(text + "d,1 m,1 m,1 m,marble,red\n", encoding="utf-8")
    with pytest.raises(bf.BadValueError) as told:
        bf.read_blocks(tmp_path / "bad.csv")
    words = str(told.value)
    for said in ("line 2", "'900'", "line 3", "'-1 m'", "did you mean marble", "line 5", "'colour'"):
        assert said in words, said
    assert [block.name for block in bf.read_blocks(tmp_path / "bad.csv", skip_bad=True)] == ["c"]


@pytest.mark.parametrize("text", ["", "name\n", "width,depth,height\n", "[1, 2]", "\x00\x00", '{"width": 3}'])
def test_files_that_are_no_yard(tmp_path, text):
    for name in ("y.csv", "y.json"):
        (tmp_path / name).write_text(text, encoding="utf-8")
        with pytest.raises(bf.BlockfitError):
            bf.read_blocks(tmp_path / name)
    with pytest.raises(bf.UnreadableFileError):
        bf.read_blocks(tmp_path / "missing.csv")


# ---- comparing ----


@pytest.fixture(scope="module")
def table(kneeling):
    return bf.compare(kneeling, yard(10), cover=10, stance=UPRIGHT, jobs=1)


def test_rows_agree_with_single_answers(table, kneeling):
    assert len(table.rows) == 10
    for row in table.rows:
        alone = bf.largest(kneeling, row.block, cover=10, stance=UPRIGHT)
        assert row.scale == pytest.approx(alone.scale, rel=1e-12)
        assert row.scale_bound >= row.scale
        assert row.block_kg == pytest.approx(row.block.volume_m3 * 2700)
        assert row.waste_share == pytest.approx(1 - kneeling.volume_m3 * row.scale**3 / row.block.volume_m3, rel=1e-9)
    scales = [row.scale for row in table.rows]
    assert scales == sorted(scales, reverse=True)


@given(st.integers(0, 1000))
@settings(max_examples=4)
def test_random_yards_agree_within_the_gap(seed):
    random = np.random.default_rng(seed)
    figure = bf.Figure.from_points(random.normal(size=(20, 3)) * [100, 60, 200])
    blocks = yard(4, seed)
    rows = bf.compare(figure, blocks, jobs=1).rows
    for row in rows:
        alone = bf.largest(figure, row.block, gap=1e-5)
        assert row.scale <= alone.scale_bound * (1 + 1e-9)
        assert row.scale >= alone.scale * (1 - 1e-3)


def test_serial_processes_and_a_cluster_agree_to_the_last_digit(kneeling):
    from dask.distributed import Client, LocalCluster

    blocks = yard(20, 3)
    how = {"cover": 10, "stance": UPRIGHT, "scale": 0.4}
    serial = bf.compare(kneeling, blocks, jobs=1, **how)
    processes = bf.compare(kneeling, blocks, jobs=2, **how)
    cluster = LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None)
    with cluster, Client(cluster), joblib.parallel_config(backend="dask"):
        away = bf.compare(kneeling, blocks, **how)
    told = [[row.record() for row in each.rows] for each in (serial, processes, away)]
    assert told[0] == told[1] == told[2]
    alone = bf.compare(kneeling, blocks[7:8], jobs=1, **how).rows[0]
    among = next(row for row in serial.rows if row.block is blocks[7])
    assert (alone.scale, alone.cover_mm) == (among.scale, among.cover_mm)


def test_cheapest_that_fits_least_waste_and_lightest(kneeling):
    blocks = yard(12, 5)
    for rank, key in (
        ("cheapest", lambda b: b.price),
        ("least waste", lambda b: b.volume_m3),
        ("lightest", lambda b: b.mass_kg),
    ):
        told = bf.compare(kneeling, blocks, scale=0.4, rank=rank, stance=UPRIGHT, cover=5, jobs=1, deepest=False)
        fitting = [b for b in blocks if bf.largest(kneeling, b, stance=UPRIGHT, cover=5).scale >= 0.4]
        assert [row.block for row in told.rows if row.verdict == "FITS"] == sorted(fitting, key=key)
        few = bf.compare(kneeling, blocks, scale=0.4, rank=rank, stance=UPRIGHT, cover=5, jobs=1, deepest=False, best=2)
        assert [row.block for row in few.rows] == sorted(fitting, key=key)[:2]


def test_the_best_few_are_the_best_of_all(table, kneeling):
    few = bf.compare(kneeling, yard(10), cover=10, stance=UPRIGHT, jobs=1, best=3)
    assert [row.block.name for row in few.rows] == [row.block.name for row in table.rows[:3]]


def test_cover_at_the_wanted_scale(kneeling):
    blocks = yard(4, 8)
    told = bf.compare(kneeling, blocks, scale=0.3, stance=UPRIGHT, jobs=1)
    for row in told.rows:
        alone = bf.safest(kneeling, row.block, scale=0.3, stance=UPRIGHT)
        assert (row.verdict == "FITS") == (alone.verdict is bf.Verdict.FITS)
        if row.verdict == "FITS":
            assert row.cover_mm == pytest.approx(alone.cover_mm, rel=1e-9)


@given(st.integers(0, 500))
@settings(max_examples=20)
def test_quick_bounds_are_bounds(seed):
    random = np.random.default_rng(seed)
    figure = bf.Figure.from_points(random.normal(size=(12, 3)) * random.uniform(20, 300, 3))
    block = bf.Block.box(*random.uniform(300, 1500, 3))
    asked = _Terms(bf.Ask(cover=5, gap=1e-2), None, False, False)
    assert _most_scale(_Shape.of(figure), block, asked) >= bf.largest(figure, block, cover=5, gap=1e-2).scale * (
        1 - 1e-12
    )


def test_a_block_that_fails_does_not_stop_the_rest():
    wedge = bf.Block.convex(
        [[0, 0, 0], [900, 0, 0], [0, 900, 0], [900, 900, 0], [0, 0, 900], [900, 0, 900]], name="wedge"
    )
    points = bf.Figure.from_points(cuboid(100, 100, 100).vertices)
    cracked = bf.Block.box(500, 500, 500, name="cracked").with_flaws(bf.Flaw.ball((250, 250, 250), 10))
    told = bf.compare(points, [cracked, bf.Block.box(300, 300, 300, name="sound"), wedge], stance=UPRIGHT, jobs=1)
    by_name = {row.block.name: row for row in told.rows}
    assert by_name["cracked"].verdict == "FAILED"
    assert "closed solid" in by_name["cracked"].note
    assert by_name["sound"].scale == pytest.approx(3)
    assert by_name["wedge"].verdict == "FITS"
    assert told.rows[-1].block.name == "cracked"


def test_several_figures_and_offcuts(kneeling):
    told = bf.compare(
        [kneeling, cuboid(200, 200, 500)], yard(2, 4), scale=0.3, stance=UPRIGHT, cover=20, offcuts=True, jobs=1
    )
    assert len(told.rows) == 4
    assert {row.figure for row in told.rows} == {"kneeling", "figure"}
    assert any(row.recovered for row in told.rows)


def test_ties_keep_the_order_given():
    block = bf.Block.box(300, 300, 300)
    same = [bf.Block.box(300, 300, 300, name=name) for name in "cab"]
    told = bf.compare(cuboid(100, 100, 100), [*same, block], stance=bf.Stance.fixed(), jobs=1)
    assert [row.block.name for row in told.rows][:3] == ["c", "a", "b"]


# ---- saving, resuming, streaming ----


def test_saved_tables_agree_and_start_no_formula(tmp_path, kneeling):
    blocks = [*yard(3), bf.Block.box(900, 900, 1500, name="=cmd()<script>")]
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


def test_resuming_does_nothing_twice(tmp_path, monkeypatch):
    import blockfit.yard as module

    figure, blocks = cuboid(100, 200, 300), yard(12, 2)
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


def test_streaming_keeps_only_the_best(tmp_path, monkeypatch):
    import blockfit.yard as module

    monkeypatch.setattr(module, "_KEEP", 5)
    figure = cuboid(100, 200, 300)
    told = bf.compare(figure, iter(yard(40, 6)), stance=bf.Stance.fixed(), jobs=1, stream=tmp_path / "all.csv")
    lines = (tmp_path / "all.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 41
    assert [line.split(",")[0] for line in lines[1:4]] == ["B0", "B1", "B2"]
    whole = bf.compare(figure, yard(40, 6), stance=bf.Stance.fixed(), jobs=1)
    assert [row.block.name for row in told.rows] == [row.block.name for row in whole.rows[:5]]
    assert [rank_key(r, "largest") for r in told.rows] == sorted(rank_key(r, "largest") for r in told.rows)


def test_bad_questions_raise():
    figure = cuboid(100, 100, 100)
    for wrong in ({"rank": "prettiest"}, {"best": 0}, {"scale": 0}):
        with pytest.raises(bf.BadValueError):
            bf.compare(figure, yard(1), jobs=1, **wrong)
    with pytest.raises(bf.BadValueError):
        bf.compare([], yard(1))


def test_the_command_line(tmp_path, capsys):
    from blockfit.__main__ import cli, main

    (tmp_path / "yard.csv").write_text(LIST, encoding="utf-8")
    arguments = ["compare", "tests/data/kneeling.stl", str(tmp_path / "yard.csv"), "--unit", "m", "--cover", "20"]
    more = ["--scale", "0.4", "--rank", "cheapest", "--jobs", "1", "-o", str(tmp_path / "yard.html")]
    cli.main([*arguments, *more], standalone_mode=False)
    out = capsys.readouterr().out
    assert "ranked by cheapest" in out
    assert (tmp_path / "yard.html").exists()
    (tmp_path / "bad.csv").write_text("width\n3\n", encoding="utf-8")
    with pytest.raises(SystemExit) as stopped:
        main(["compare", "tests/data/kneeling.stl", str(tmp_path / "bad.csv"), "--unit", "m"])
    assert stopped.value.code == 2
    assert "line 2" in capsys.readouterr().err

"""One figure, many blocks: the answers of single calls, however the work is divided."""

import joblib
import numpy as np
import pytest
from conftest import BRICK_BLOCK, UPRIGHT, cuboid, examples, random_yard
from hypothesis import given, settings
from hypothesis import strategies as st

import blockfit as bf
from blockfit.yard import _most_scale, _Shape, _Terms


@pytest.fixture(scope="module")
def table(kneeling):
    return bf.compare(kneeling, random_yard(10), cover=10, stance=UPRIGHT, jobs=1)


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
@examples(2, 4)
@pytest.mark.thorough
def test_random_yards_agree_within_the_gap(seed):
    random = np.random.default_rng(seed)
    figure = bf.Figure.from_points(random.normal(size=(20, 3)) * [100, 60, 200])
    blocks = random_yard(4, seed)
    rows = bf.compare(figure, blocks, jobs=1).rows
    for row in rows:
        alone = bf.largest(figure, row.block, gap=1e-5)
        assert row.scale <= alone.scale_bound * (1 + 1e-9)
        assert row.scale >= alone.scale * (1 - 1e-3)


@pytest.mark.slow
def test_serial_processes_and_a_cluster_agree_to_the_last_digit(kneeling):
    from dask.distributed import Client, LocalCluster

    blocks = random_yard(20, 3)
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
    blocks = random_yard(12, 5)
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
    few = bf.compare(kneeling, random_yard(10), cover=10, stance=UPRIGHT, jobs=1, best=3)
    assert [row.block.name for row in few.rows] == [row.block.name for row in table.rows[:3]]


def test_cover_at_the_wanted_scale(kneeling):
    blocks = random_yard(4, 8)
    told = bf.compare(kneeling, blocks, scale=0.3, stance=UPRIGHT, jobs=1)
    for row in told.rows:
        alone = bf.safest(kneeling, row.block, scale=0.3, stance=UPRIGHT)
        assert (row.verdict == "FITS") == (alone.verdict is bf.Verdict.FITS)
        if row.verdict == "FITS":
            assert row.cover_mm == pytest.approx(alone.cover_mm, rel=1e-9)


@given(st.integers(0, 500))
@settings(max_examples=20)
@pytest.mark.thorough
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


@pytest.mark.thorough
def test_several_figures_and_offcuts(kneeling):
    told = bf.compare(
        [kneeling, cuboid(200, 200, 500)], random_yard(1, 4), scale=0.3, stance=UPRIGHT, cover=20, offcuts=True, jobs=1
    )
    assert len(told.rows) == 2
    assert {row.figure for row in told.rows} == {"kneeling", "figure"}
    assert any(row.recovered for row in told.rows)


def test_ties_keep_the_order_given():
    block = bf.Block.box(300, 300, 300)
    same = [bf.Block.box(300, 300, 300, name=name) for name in "cab"]
    told = bf.compare(cuboid(100, 100, 100), [*same, block], stance=bf.Stance.fixed(), jobs=1)
    assert [row.block.name for row in told.rows][:3] == ["c", "a", "b"]


def test_bad_questions_raise():
    figure = cuboid(100, 100, 100)
    for wrong in ({"rank": "prettiest"}, {"best": 0}, {"scale": 0}):
        with pytest.raises(bf.BadValueError):
            bf.compare(figure, random_yard(1), jobs=1, **wrong)
    with pytest.raises(bf.BadValueError):
        bf.compare([], random_yard(1))


def test_a_fit_in_a_flat_figure_and_a_rank_without_a_scale():
    flat = bf.Figure.from_points([[0, 0, 0], [100, 0, 0], [0, 100, 0], [100, 100, 0]])
    table = bf.compare(
        flat, [bf.Block.box(300, 400, 500, price=20), bf.Block.box(30, 30, 30, price=1)], rank="cheapest", jobs=1
    )
    assert [row.verdict for row in table.rows] == ["FITS", "CANNOT_FIT"]
    assert table.scale == 1.0
    few = bf.compare(flat, [BRICK_BLOCK, BRICK_BLOCK], best=5, jobs=1, progress=True)
    assert len(few.rows) == 2

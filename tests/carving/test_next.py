"""What comes next: checked against stages whose history is known, and stones cut by hand."""

import re

import numpy as np
import pytest
from carving.scans import FIT
from conftest import cuboid, figure_of, solid_of, union

import blockfit as bf

TABLE = bf.roughing(FIT, step=80, allowance=12)
POINTS = bf.pointing(FIT, count=16, faces=("front",), landmarks=False)
CUT = bf.undercuts(FIT, pitch=8)
PLAN = bf.offcuts(FIT, clearance=12, kerf=8, least_weight_kg=10, reserve="all")


@pytest.mark.parametrize("done", [0, 1, 2])
def test_the_planes_that_are_not_done_are_next(done):
    stage = bf.stage_of(FIT, planes=TABLE, to=done)
    told = bf.what_next(FIT, stage, planes=TABLE)
    assert [plane.number for plane in told.planes] == list(range(done + 1, len(TABLE.planes) + 1))
    first = TABLE.planes[done]
    assert told.planes[0].left_m3 == pytest.approx(first.total_m3 - (TABLE.planes[done - 1].total_m3 if done else 0))
    assert f"Plane {done + 1} from the front" in str(told)


def test_all_planes_done():
    told = bf.what_next(FIT, bf.stage_of(FIT, planes=TABLE), planes=TABLE)
    assert told.planes == ()
    assert "all that were given are done" in str(told)


def test_points_say_what_is_left_to_their_stops():
    """In the block as bought nothing is cut: what is left is the whole stop; 20 mm off the front it is 20 mm less."""
    bought = bf.what_next(FIT, bf.stage_of(FIT), points=POINTS)
    stops = {p.number: p.stop_mm for p in POINTS.points if p.stop_mm}
    assert {p.number: pytest.approx(p.left_mm, abs=1e-6) for p in bought.points} == stops
    shaved = bf.stage_of(FIT, gone=[("the front", cuboid(2000, 70, 3000, at=(-500, -50, -500)))])
    told = bf.what_next(FIT, shaved, points=POINTS)
    assert {p.number: pytest.approx(p.left_mm + 20, abs=1e-6) for p in told.points} == {
        number: stop for number, stop in stops.items() if stop > 20.5
    }
    assert told.points_reached == sum(stop <= 20.5 for stop in stops.values())
    cut = bf.what_next(FIT, bf.stage_of(FIT, points=POINTS), points=POINTS)
    assert cut.points == ()
    assert cut.points_reached == len(stops)


def test_pieces_that_are_gone_broken_or_kept():
    assert len(PLAN.pieces) > 1
    told = bf.what_next(FIT, bf.stage_of(FIT, offcuts=PLAN, pieces=1), offcuts=PLAN, planes=TABLE)
    assert 1 not in [piece.number for piece in told.pieces]
    late = [k for k, piece in enumerate(PLAN.pieces, 1) if piece.stage != "before carving"]
    waits = [piece.number for piece in told.pieces if "front" in piece.why_not]
    assert waits == [k for k in late if k > 1]
    middle = np.array(PLAN.pieces[1].centre_mm)
    broken = bf.stage_of(FIT, lost=bf.Flaw.ball(middle, 120))
    piece = next(p for p in bf.what_next(FIT, broken, offcuts=PLAN).pieces if p.number == 2)
    assert piece.share < 0.98
    assert "still there" in piece.why_not


def test_undercuts_open_as_stone_before_them_goes():
    cut = CUT
    assert cut.regions
    whole = bf.what_next(FIT, bf.stage_of(FIT), undercut=cut)
    assert all(u.why_not for u in whole.undercuts if u.before_mm > 40)
    finished = bf.what_next(FIT, bf.stage_of(FIT, scan=FIT.solid()), undercut=cut)
    assert not [u for u in finished.undercuts if np.isfinite(u.before_mm) and u.before_mm > 1]
    assert finished.must_wait == tuple(
        f"undercut {u.number}, {u.place}: {u.why_not}" for u in finished.undercuts if u.why_not
    )
    assert "Not yet" in str(whole)


@pytest.mark.thorough
def test_the_sheet_before_the_back_says_what_is_not_done():
    told = bf.before_the_back(FIT, bf.stage_of(FIT, planes=TABLE, to=1), planes=TABLE, points=POINTS, offcuts=PLAN)
    assert "Planes not done 2 from the front" in told
    assert f"0 of {sum(bool(p.stop_mm) for p in POINTS.points)} points are at their stops" in told
    assert "Must wait" in told


@pytest.mark.parametrize("taken", [0, 1, len(PLAN.pieces)])
def test_no_piece_is_on_two_lines_of_the_sheet(taken):
    """What has gone, may go and must wait are three different things."""
    told = bf.before_the_back(
        FIT, bf.stage_of(FIT, offcuts=PLAN, pieces=taken), planes=TABLE, offcuts=PLAN, undercut=CUT
    )
    lines = told.replace("\n" + " " * 18, " ").splitlines()
    named = {
        label: set(re.findall(pattern, " ".join(line for line in lines if line.startswith(f"  {label}"))))
        for label, pattern in {
            "Already gone": r"offcut \d+",
            "May leave now": r"offcut \d+",
            "Must wait": r"(offcut \d+): ",
        }.items()
    }
    assert sum(map(len, named.values())) == len(set.union(*named.values())) == len(PLAN.pieces)
    assert len(named["Already gone"]) == taken


def test_what_must_wait_is_written_in_the_units_asked_for():
    told = bf.before_the_back(FIT, bf.stage_of(FIT), undercut=CUT, units="us")
    assert "of stone lie before it" in told
    assert " mm" not in told


def test_a_piece_waits_for_those_that_its_cuts_would_free_as_well():
    """What is told free weighs, cut there and then, what the plan says: by other hands."""
    for taken in range(len(PLAN.pieces)):
        stage = bf.stage_of(FIT, offcuts=PLAN, pieces=taken)
        told = bf.what_next(FIT, stage, offcuts=PLAN, planes=TABLE)
        free = {piece.number for piece in told.pieces if not piece.why_not}
        firsts = {piece.number for piece in told.pieces if "must go first" in piece.why_not}
        stone = solid_of(stage.stone)
        for number, piece in enumerate(PLAN.pieces[taken:], taken + 1):
            freed = stone
            for cut in piece.cuts:
                freed = freed.trim_by_plane(cut.normal.tolist(), cut.offset_mm)
            more_m3 = freed.volume() * 1e-9 - piece.volume_m3
            if more_m3 < 1e-5:
                assert number not in firsts
            if more_m3 > 0.02 * piece.volume_m3 + 1e-4:
                assert number not in free
        assert taken + 1 not in firsts


def test_planes_are_open_where_the_figure_widens_behind_them():
    """A T seen from above: the deeper outline lets less stone go, and none of it has gone."""
    wide, stem = cuboid(300, 100, 300, at=(0, 200, 0)), cuboid(100, 200.5, 300, at=(100, 0, 0))
    fit = bf.safest(
        figure_of(union(solid_of(wide), solid_of(stem))), bf.Block.box(400, 400, 400), stance=bf.Stance.fixed()
    )
    table = bf.roughing(fit, step=40, allowance=5)
    for done in range(len(table.planes)):
        told = bf.what_next(fit, bf.stage_of(fit, planes=table, to=done), planes=table)
        coming = [k for k in range(done + 1, len(table.planes) + 1) if table.planes[k - 1].removed_m3 > 1e-4]
        assert [plane.number for plane in told.planes] == coming
        for plane in told.planes:
            assert plane.left_m3 == pytest.approx(table.planes[plane.number - 1].removed_m3, rel=1e-6)

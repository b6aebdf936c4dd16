"""The job from the command line: what happened goes into its log, and what no sheet names is refused."""

import shutil

import numpy as np
import pytest
from conftest import HERE, cuboid, run

import blockfit as bf
from blockfit.filing.package import SCHEMA

NEWEST = HERE / "data" / "jobs" / f"schema-{SCHEMA}.blockfit"


@pytest.fixture
def job(tmp_path):
    """A job of a standing figure: two pieces taken, some planes and points in its tables."""
    return shutil.copy(NEWEST, tmp_path / "standing.blockfit")


@pytest.fixture
def stl(tmp_path):
    """A brick with a nose towards the front, as a file in mm."""
    import trimesh

    brick = trimesh.creation.box((200, 100, 300))
    brick.apply_translation((100, 50, 150))
    brick.export(tmp_path / "brick.stl")
    return str(tmp_path / "brick.stl")


ASKED = ("--unit", "mm", "--block", "400x300x500", "--stone", "marble", "--scale", "1", "--cover", "20")


@pytest.mark.thorough
def test_a_survey_makes_a_job_that_stands_in_the_figures_place(stl, tmp_path, capsys):
    place = str(tmp_path / "brick.blockfit")
    more = ("--seek", "setback", "--lift-limit", "60", "--least-weight", "5")
    code, first, _ = run(capsys, "survey", stl, *ASKED, *more, "--job", place)
    assert code == 0
    assert "brick.blockfit; done: nothing yet; there are offcuts 1-" in first
    kept = bf.open_job(place)
    assert kept.fit.ask.seek is bf.Seek.SETBACK
    assert kept.asked["lift_limit_kg"] == 60
    assert [entry.what for entry in kept.log] == ["placed", "planned"]
    code, again, _ = run(capsys, "survey", place)
    assert code == 0
    assert again == first  # the same placement, the same plan, to the last letter
    placed = kept.fit.solid().vertices  # 20 mm asked before it, none under it, and as far forward as that allows
    assert placed.min(axis=0)[1:] == pytest.approx((20, 0), abs=1e-6)
    assert len(bf.open_job(place).log) == 2


def test_what_a_job_keeps_cannot_be_asked_again(job, capsys):
    for words in (("--unit", "mm"), ("--block", "1x1x1"), ("--scale", "0.5"), ("--seek", "cover"), ("--skin", "3")):
        code, _, err = run(capsys, "survey", str(job), *words)
        assert code == 2
        assert f"{words[0]} is for a new figure: a job keeps" in err


def test_a_plan_stays_once_a_piece_has_left(job, capsys):
    code, _, err = run(capsys, "survey", str(job), "--kerf", "10")
    assert code == 2
    assert "pieces of this one have left: the plan stays" in err


def brick_job(place):
    """A brick in any stance, so that a survey has no others to try."""
    bf.largest(cuboid(200, 100, 300), bf.Block.box(400, 300, 500, stone="marble"), cover=60).save(place)
    return str(place)


@pytest.mark.slow
def test_another_plan_before_a_piece_has_left_is_kept_and_logged(tmp_path, capsys):
    place = brick_job(tmp_path / "brick.blockfit")
    assert run(capsys, "survey", place, "--least-weight", "3")[0] == 0
    first = bf.open_job(place)
    assert run(capsys, "survey", place, "--least-weight", "3", "--kerf", "25")[0] == 0
    after = bf.open_job(place)
    assert [entry.what for entry in after.log] == ["placed", "planned", "planned"]
    assert after.plan.kerf_mm == 25 != first.plan.kerf_mm
    assert after.asked["kerf"] == 25
    assert after.asked["least_weight_kg"] == 3


def test_done_is_noted_in_order(job, capsys):
    code, out, _ = run(capsys, "done", str(job))
    assert code == 0
    assert out.startswith("done: offcuts 1-2; there are offcuts 1-")
    code, out, _ = run(capsys, "done", str(job), "planes 1-2", "Front points", "plane 3", "--note", "by hand")
    assert code == 0
    assert "front planes 1-2, front points, front plane 3: by hand" in out
    entry = bf.open_job(job).log[-1]
    assert entry.about == ("front plane 1", "front plane 2", "front points", "front plane 3")
    code, out, _ = run(capsys, "done", str(job), "points", "--when", "2026-10-02T16:00")
    assert "2026-10-02 16:00  done      left points" in out


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("offcut 1", "done already"),
        ("offcut 5", "comes after offcuts 3-4"),
        ("offcut 99", "there are offcuts 1-"),
        ("offcuts 4-3", "there are offcuts 1-"),
        ("offcut", "there are offcuts 1-"),
        ("planes 2-3", "comes after front plane 1"),
        ("plane 0", "there are front planes 1-"),
        ("back planes 1-2", "which face? There are front"),
        ("top points", "which face? There are front, left"),
        ("offkut 3", "did you mean offcuts?"),
        ("the nose", "is nothing on the sheets"),
        ("", "is nothing on the sheets"),
        ("offcut 1\x1b[2J", "is nothing on the sheets"),
        ("offcut 99999999999999999999", "is nothing on the sheets"),
    ],
)
def test_what_no_sheet_names_is_refused_and_nothing_is_written(job, name, why, capsys):
    before = bf.open_job(job).log
    code, _, err = run(capsys, "done", str(job), name)
    assert code == 2
    assert why in err
    assert err.count("\n") == 1
    assert "\x1b" not in err
    assert [entry.key for entry in bf.open_job(job).log] == [entry.key for entry in before]


def test_readings_are_checked_and_kept(job, tmp_path, capsys):
    """A place 30 mm before the figure's front has 30 mm on it; one 10 mm inside is too deep by 10 mm."""
    fit = bf.open_job(job).fit
    front = fit.solid()
    low = front.vertices.min(axis=0)
    x, y, z = front.vertices[front.vertices[:, 1] == low[1]].mean(axis=0)
    rows = [f"before,{x},{(y - 30) / 25.4} in,{z}", f"inside,{x},{y + 10},{z}"]
    (tmp_path / "r.csv").write_text("name,across,in,up\n" + "\n".join(rows) + "\n", encoding="utf-8")
    code, out, _ = run(capsys, "check", str(job), str(tmp_path / "r.csv"), "--error", "1", "--note", "after lunch")
    assert code == 0
    assert "2 readings, 1 TOO DEEP: after lunch" in out
    checked = bf.open_job(job).log[-1].about
    by_name = {reading.name: reading for reading in checked.readings}
    assert by_name["inside"].left_mm == pytest.approx(-10, abs=1e-6)
    assert by_name["before"].left_mm == pytest.approx(30, abs=1e-6)
    code, out, _ = run(capsys, "lost", str(job), "--readings")
    assert code == 0
    assert "a place cut too deep, 10.0 mm at most" in out


def test_losses_are_noted(job, capsys, tmp_path):
    code, out, _ = run(capsys, "lost", str(job), "--ball", "450 -5 900 6cm", "--ball", "1,2,3,4", "--margin", "5")
    assert code == 0
    assert "a ball of 60 mm around 450, -5, 900" in out
    balls = bf.open_job(job).log[-1].about
    assert [(ball.radius_mm, ball.margin_mm) for ball in balls] == [(60, 5), (4, 5)]
    import trimesh

    trimesh.creation.icosphere(radius=20).export(tmp_path / "chip.stl")
    assert run(capsys, "lost", str(job), "--solid", str(tmp_path / "chip.stl"))[0] == 0
    assert bf.open_job(job).log[-1].about[0].surface.is_solid
    for wrong in (("--ball", "1 2 3"), ("--ball", "1 2 3 0"), ("--ball", "1 2 3 1e308"), ("--ball", "a b c d"), ()):
        assert run(capsys, "lost", str(job), *wrong)[0] == 2


def test_the_log_is_shown_and_written_to(job, capsys):
    code, out, _ = run(capsys, "log", str(job))
    assert code == 0
    assert out.startswith("standing boxes in B-1, scale 1.0000\n")
    assert out.count("\n") == 1 + 6
    code, out, _ = run(capsys, "log", str(job), "--note", "the client came " + "and liked it " * 20)
    assert code == 0
    assert out.rstrip().splitlines()[-1].startswith(" " * 30)  # wrapped under its words
    assert max(map(len, out.splitlines())) <= 110
    assert run(capsys, "log", str(job), "--when", "2026-01-01")[0] == 2
    assert run(capsys, "log", str(job), "--note", "x", "--when", "yesterday")[0] == 2


@pytest.mark.slow
def test_marks_are_made_once_and_stay(tmp_path, capsys):
    place, folder = brick_job(tmp_path / "brick.blockfit"), tmp_path / "marks"
    words = ("mark", place, "-o", str(folder))
    assert run(capsys, *words, "--points", "12", "--step", "10")[0] == 0
    first = {file.name: file.read_bytes() for file in folder.iterdir() if file.suffix in (".txt", ".csv")}
    assert run(capsys, *words)[0] == 0  # without a word: the same tables
    assert {name: (folder / name).read_bytes() for name in first} == first
    assert [entry.what for entry in bf.open_job(place).log] == ["placed", "planned", "marked"]
    run(capsys, "done", place, "planes 1")
    code, _, err = run(capsys, *words, "--step", "20")
    assert code == 2
    assert "some from the front are worked: they stay" in err
    assert run(capsys, *words, "--face", "left")[0] == 0
    assert [table.face for table in bf.open_job(place).planes] == ["front", "left"]
    run(capsys, "done", place, "front points")
    code, _, err = run(capsys, *words, "--points", "20")
    assert code == 2
    assert "some of these have been cut: they stay" in err


def test_a_figure_is_no_job_and_a_job_no_mesh(stl, job, capsys):
    for command in (
        ("done", stl, "offcut 1"),
        ("log", stl),
        ("lost", stl, "--ball", "1 2 3 4"),
        ("check", stl, "r.csv"),
    ):
        code, _, err = run(capsys, *command)
        assert code == 2
        assert "is no job; blockfit survey FIGURE … --job" in err
    code, _, err = run(capsys, "compare", str(job), "yard.csv")
    assert code == 2
    code, _, err = run(capsys, "log", "nothing.blockfit")
    assert code == 2
    assert "No such file" in err


def test_a_job_at_work_is_not_written_over_by_a_new_one(stl, job, capsys):
    before = job.read_bytes()
    code, _, err = run(capsys, "survey", stl, *ASKED, "--job", str(job))
    assert code == 2
    assert "something has happened" in err
    assert job.read_bytes() == before


# ---- everything that Python can be asked ----


@pytest.mark.slow
def test_own_tools_flaws_and_a_rough_block(stl, tmp_path, capsys):
    (tmp_path / "tools.csv").write_text(
        "name,kerf (in),drift,depth,makes,both sides\nour saw,1/2,4,,1,no\nour disc,6,2,180,2,yes\n", encoding="utf-8"
    )
    (tmp_path / "flaws.csv").write_text(
        "kind;name;across;in;up;radius;nx;ny;nz;margin\nball;knot;380;280;480;8;;;;2\n"
        "disc;crack;390;150;250;3 cm;1;0;0;\nbeyond;rot;;;;;0;0;1;\n".replace(";1;\nb", ";1;\nb"),
        encoding="utf-8",
    )
    code, _, err = run(capsys, "survey", stl, *ASKED, "--flaws", str(tmp_path / "flaws.csv"))
    assert code == 2
    assert "flaws.csv, line 4" in err  # the third has no offset
    text = (tmp_path / "flaws.csv").read_text().replace("beyond;rot;;;;;0;0;1;", "")
    (tmp_path / "flaws.csv").write_text(text)
    place = str(tmp_path / "b.blockfit")
    more = ("--tools", str(tmp_path / "tools.csv"), "--flaws", str(tmp_path / "flaws.csv"), "--least-weight", "5")
    code, out, err = run(capsys, "survey", stl, *ASKED, *more, "--tool", "12x250x90", "--job", place)
    assert code == 0, err
    held = bf.open_job(place)
    assert [flaw.name for flaw in held.fit.block.flaws] == ["knot", "crack"]
    assert held.asked["sawing"]["methods"][0] == bf.Method("our saw", kerf_mm=12.7, drift_mm=4)
    assert held.asked["sawing"]["methods"][1].opposed
    assert {cut.method for piece in held.plan.pieces for cut in piece.cuts} <= {"our saw", "our disc"}
    import trimesh

    rough = trimesh.creation.box((400, 300, 500))
    rough.apply_translation((200, 150, 250))
    rough.export(tmp_path / "rough.ply")
    words = ("--unit", "mm", "--scale", "1", "--rough", str(tmp_path / "rough.ply"), "--stone", "marble")
    code, out, err = run(capsys, "survey", stl, *words)
    assert code == 0, err
    assert "FITS" in out
    for wrong in ((*words, "--block", "1x1x1"), (*words, "--bed", "z"), words[:4]):
        assert run(capsys, "survey", stl, *wrong)[0] == 2


def test_what_is_sought_is_said_once(stl, capsys):
    words = ("survey", stl, "--unit", "mm", "--block", "400x300x500")
    assert "give it without --scale" in run(capsys, *words, "--scale", "1", "--seek", "scale")[2]
    assert "give --scale too" in run(capsys, *words, "--seek", "setback")[2]
    assert run(capsys, *words, "--seek", "nonsense")[0] == 2


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "is empty"),
        ("name,across,in,up\n", "no readings"),
        ("name,across,in,upp\na,1,2,3\n", "did you mean up?"),
        ("name,across,in,up\na,1,2\n", "line 2: up is missing"),
        ("name,across,in,up\na,1,2,x\n", "line 2"),
        ("name,across,in,up\na,1,2,3\na,1,2,3\n", "twice"),
        ("name,across,in,up\na,1,2,3,4\n", "5 cells under 4 headings"),
        ("name,across (furlong),in,up\na,1,2,3\n", "furlong"),
        ("name,across,across,up\na,1,2,3\n", "same heading"),
        ("name,across,in,up\na,1e400,2,3\n", "line 2"),
        ("name,across,in,up\na,1e308,2,3\n", "over a kilometre"),
        ('name,across,in,up\n"a,1,2,3\n', "no table"),
        ("a,1,2,3\n" * 3, "line 2"),
    ],
)
def test_tables_that_cannot_be_read_say_where(job, tmp_path, text, why, capsys):
    (tmp_path / "r.csv").write_text(text, encoding="utf-8")
    before = job.read_bytes()
    code, _, err = run(capsys, "check", str(job), str(tmp_path / "r.csv"))
    assert code == 2
    assert why in err
    assert job.read_bytes() == before


def test_readings_in_feet_and_inches_and_without_headings(tmp_path):
    from blockfit.intake.tables import read_places

    (tmp_path / "a.csv").write_text("brow, 14 1/2 in, -3, 2 ft 6 in\n,1,2,3\n")
    assert read_places(tmp_path / "a.csv") == {"brow": (368.3, -3.0, 762.0), "reading 2": (1.0, 2.0, 3.0)}
    (tmp_path / "b.csv").write_text("up (in);x (cm);y;name\n-1/2;12,5;7;nose\n")
    assert read_places(tmp_path / "b.csv") == {"nose": (125.0, 7.0, -12.7)}


def test_own_tools_and_flaws_are_read(tmp_path):
    from blockfit.commands.sawing import sawing_of
    from blockfit.intake.tables import read_flaws

    (tmp_path / "t.csv").write_text("name,kerf (in),drift,depth,makes,both sides\nsaw,1/2,4,,1,no\ndisc,6,2,180,2,x\n")
    asked = {"kerf": None, "reserve": "all", "lift_limit": None, "least_weight": 20, "clearance": "20"}
    asked |= dict.fromkeys(("cuts", "weight", "shape", "holds", "most_pieces"))
    asked |= dict.fromkeys(("price", "sawing_cost", "rate", "hours_piece", "hours_m2"))
    saw, disc = sawing_of({**asked, "tools": tmp_path / "t.csv"})["sawing"]["methods"]
    assert saw == bf.Method("saw", kerf_mm=12.7, drift_mm=4)
    assert (disc.kerf_mm, disc.depth_mm, disc.makes, disc.opposed) == (
        6 * 25.4,
        180,
        2,
        True,
    )  # the heading says inches
    (tmp_path / "f.csv").write_text(
        "kind,name,across,in,up,radius,nx,ny,nz,across 2,in 2,up 2,offset,margin\n"
        "ball,knot,1,2,3,8,,,,,,,,2\ndisc,crack,1,2,3,3 cm,0,0,-2\nbox,hole,0,0,0,,,,,10,20,30\n"
        "beyond,rot,,,,,0,0,1,,,,400\n"
    )
    knot, crack, hole, rot = read_flaws(tmp_path / "f.csv")
    assert (knot.kind, knot.radius_mm, knot.margin_mm, knot.centre.tolist()) == ("ball", 8, 2, [1, 2, 3])
    assert np.abs(crack.surface.vertices[:, 2] - 3).max() < 0.02
    assert hole.surface.size_mm == (10, 20, 30)
    assert (rot.kind, rot.offset_mm) == ("beyond", 400)
    for wrong, why in (
        ("ball,a,1,2,3", "radius is missing"),
        ("star,a,1,2,3", "must be ball"),
        ("box,a,1,1,1,,,,,0,0,0", "below"),
    ):
        (tmp_path / "w.csv").write_text(f"kind,name,across,in,up,radius,nx,ny,nz,across 2,in 2,up 2\n{wrong}\n")
        with pytest.raises(bf.BadValueError, match=f"w.csv, line 2: .*{why}"):
            read_flaws(tmp_path / "w.csv")

"""The stone as it stands in a job, and the placement that is taken after a loss.

What is checked here is done to solids with manifold3d, from what the job's file says."""

import shutil
from dataclasses import replace

import manifold3d
import numpy as np
import pytest
from conftest import HERE, run
from filing.same_values import same
from scipy.spatial.transform import Rotation

import blockfit as bf
from blockfit.filing.package import SCHEMA

NEWEST = HERE / "data" / "jobs" / f"schema-{SCHEMA}.blockfit"


@pytest.fixture
def job(tmp_path):
    """A standing figure of boxes; two pieces have left, and a ball at the shoulder is lost."""
    return shutil.copy(NEWEST, tmp_path / "standing.blockfit")


def solid(figure):
    mesh = manifold3d.Mesh64(np.array(figure.vertices), np.array(figure.faces, np.uint64))
    made = manifold3d.Manifold(mesh)
    assert made.status() == manifold3d.Error.NoError
    return made


@pytest.mark.thorough
def test_what_was_done_and_lost_is_gone(job, capsys):
    """Block less pieces, planes and a ball, cut again from the tables by hand."""
    from blockfit.jobs.stone import stone_now

    assert run(capsys, "done", str(job), "planes 1-2")[0] == 0
    held = bf.open_job(job)
    stone = solid(held.plan.pieces[1].left)
    for plane in held.planes[0].planes[:2]:
        depth = plane.depth_mm
        slab = manifold3d.Manifold.cube((800, depth, 1400))
        for part in getattr(plane.keep, "geoms", [plane.keep]):
            rings = [np.array(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
            column = manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd).extrude(depth)
            slab -= column.rotate((90, 0, 0)).translate((0, depth, 0))
        stone -= slab
    ball = next(entry.about[0] for entry in held.log if entry.what == "lost")
    stone -= manifold3d.Manifold.sphere(ball.radius_mm, 256).translate(tuple(ball.centre))
    now = stone_now(held)
    assert now.stone.volume_m3 == pytest.approx(stone.volume() * 1e-9, rel=1e-5)
    assert now.gone[:2] == ("offcut 1", "offcut 2")
    code, out, _ = run(capsys, "left", str(job))
    assert code == 0
    assert "planes 1 to 2 from the front" in out
    assert "HOW MUCH STONE IS LEFT" in out


@pytest.mark.slow
def test_a_rung_is_taken_and_the_fit_before_stays_in_the_log(job, capsys):
    before = bf.open_job(job)
    words = ("recover", str(job), "--effort", "0.1", "--turn", "2", "--lean", "0", "--margin", "3")
    code, out, _ = run(capsys, *words, "--take", "a", "--why", "the client agreed")
    assert code == 0
    assert out.startswith("WHERE THE FIGURE STILL GOES")
    after = bf.open_job(job)
    assert after.log[-1].what == "moved"
    assert "straight back" in after.log[-1].words
    assert after.log[-1].words.endswith(": the client agreed")
    same(before.fit, after.log[-1].about)
    assert (after.plan, after.points, after.planes) == (None, None, ())
    # By other hands: the figure lies in what is left of the stone, clear of the ball by the margin.
    figure, stone = solid(after.fit.solid()), solid(after.stage.stone)
    assert (figure - stone).volume() < 1.0  # mm³
    ball = next(entry.about[0] for entry in before.log if entry.what == "lost")
    kept = manifold3d.Manifold.sphere(ball.radius_mm + 3 - 0.05, 128).translate(tuple(ball.centre))
    assert (figure ^ kept).is_empty()
    moved = after.fit.placement.shift_mm - before.fit.placement.shift_mm
    assert moved[1] > 5
    assert np.abs(moved[[0, 2]]).max() < 1e-9
    # What is done from now on is counted anew, and the survey plans nothing in a block that is no more.
    assert run(capsys, "done", str(job))[1].startswith("done: nothing yet; nothing is planned or marked yet")
    code, out, _ = run(capsys, "survey", str(job))
    assert code == 0
    assert "stone_left says what is left" in " ".join(out.split())


def test_a_rung_that_is_none_cannot_be_taken(job, capsys):
    assert run(capsys, "recover", str(job), "--take", "d")[0] == 2
    assert run(capsys, "recover", str(job), "--why", "x")[0] == 2


@pytest.mark.thorough
def test_a_scan_is_laid_into_the_job_by_marks(job, tmp_path, capsys):
    """The stone as it stands, turned and shifted as a scanner would see it: the motion is found back."""
    from blockfit.jobs.stone import stone_now

    stone = stone_now(bf.open_job(job)).stone
    turn = Rotation.from_euler("xyz", [5, -8, 30], degrees=True).as_matrix()
    shift = np.array([120.0, -40, 300])
    refined = solid(stone).refine_to_length(40).to_mesh64()
    seen = np.array(refined.vert_properties) @ turn.T + shift
    import trimesh

    trimesh.Trimesh(seen, np.array(refined.tri_verts, np.int64), process=False).export(tmp_path / "stone.ply")
    places = stone.vertices[:: len(stone.vertices) // 5]
    rows = [",".join(map(str, (f"m{k}", *(turn @ at + shift), *at))) for k, at in enumerate(places)]
    (tmp_path / "marks.csv").write_text("name,scan x,scan y,scan z,across,in,up\n" + "\n".join(rows) + "\n")
    marked = (str(tmp_path / "stone.ply"), "--marks", str(tmp_path / "marks.csv"))
    code, out, err = run(capsys, "scan", str(job), *marked, "--note", "before the summer")
    assert code == 0, err
    assert "as scanned" in out
    held = bf.open_job(job)
    entry = held.log[-1]
    assert entry.words.endswith("before the summer")
    assert np.allclose(entry.about["transform"][:3, :3], turn.T, atol=1e-3)
    assert np.allclose(entry.about["transform"][:3, 3], -turn.T @ shift, atol=0.5)
    assert held.stage.stone.volume_m3 == pytest.approx(stone.volume_m3, rel=2e-3)
    assert bf.open_job(job).stage.known is not None
    code, out, _ = run(
        capsys, "lost", str(job), "--scan", str(tmp_path / "stone.ply"), "--marks", str(tmp_path / "marks.csv")
    )
    assert code == 0
    assert bf.open_job(job).log[-1].what == "lost"


@pytest.mark.slow
def test_the_sheet_before_the_back_says_what_has_gone(job, capsys):
    code, out, _ = run(capsys, "before-back", str(job))
    assert code == 0
    assert out.startswith("BEFORE TURNING TO THE BACK")
    assert "offcut 1, offcut 2" in out
    assert f"0 of {len(bf.open_job(job).points.points)} read back" in out
    assert "Planes not done 1 from the front" in out
    assert run(capsys, "done", str(job), "planes 1-2")[0] == 0
    assert "Planes not done 3 from the front" in run(capsys, "before-back", str(job))[1]


def test_what_was_noted_before_a_scan_gives_way_to_what_it_shows(job):
    """Pieces and losses from before are in the scan, or were wrong; what comes after it is taken off."""
    from blockfit.jobs.done import done_so_far
    from blockfit.jobs.stone import stone_now

    held = bf.open_job(job)
    whole = bf.stage_of(held.fit, scan=held.plan.pieces[1].left)
    seen = replace(held, stage=whole).noted("scan", "as scanned")
    assert held.lost_so_far
    assert not seen.lost_so_far
    now = stone_now(seen)
    assert now.stone.volume_m3 == pytest.approx(whole.stone.volume_m3, rel=1e-9)
    assert len(set(now.gone)) == len(now.gone)
    assert done_so_far(seen) == done_so_far(held)
    ball = bf.Flaw.ball(held.fit.solid().vertices[0], 30, name="chip")
    assert stone_now(bf.jobs.lose(seen, ball)).stone.volume_m3 < now.stone.volume_m3


@pytest.mark.thorough
def test_a_job_in_which_work_has_begun_is_surveyed_into_a_copy(job, tmp_path, capsys):
    copy = tmp_path / "copy.blockfit"
    code, _, err = run(capsys, "survey", str(job), "--job", str(copy))
    assert code == 0, err
    before, after = bf.open_job(job), bf.open_job(copy)
    assert [str(entry) for entry in after.log] == [str(entry) for entry in before.log]
    same(before.plan, after.plan)


def test_a_survey_of_scanned_stone_says_where_its_reserve_is(job):
    """It plans and weighs nothing in a block that is no more, whether the job has a plan or not."""
    held = bf.open_job(job)
    stage = bf.stage_of(held.fit, scan=held.plan.pieces[1].left)
    told = bf.survey(held.fit, stage=stage, plan=held.plan, alternatives=False)
    words = " ".join(str(told).split())
    assert (told.handling, told.weights, told.offcuts) == (None, None, None)
    assert "never more than there is, in the stone as it stands" in words
    assert "(exact, in the block as bought)" in words  # the least cover
    assert "As delivered" not in words
    assert "saw offcut 1" not in words
    assert told.record()["setback_in"] == "the stone as it stands"


def test_large_tables_of_places_come_back_to_the_last_bit(tmp_path):
    held = bf.open_job(NEWEST)
    many = np.random.default_rng(0).normal(size=(5000, 3))
    stage = replace(held.stage, seen=many)
    replace(held, stage=stage, path=None).save(tmp_path / "a.blockfit")
    same(stage, bf.open_job(tmp_path / "a.blockfit").stage)


def test_a_loss_where_there_is_no_stone_is_refused(job, capsys):
    for ball, words in (
        ("9000 9000 9000 60", "no stone"),
        ("300 300 300 9000", "takes all of the stone"),
    ):
        code, _, err = run(capsys, "lost", str(job), "--ball", ball)
        assert code == 2, ball
        assert words in err
    before = len(bf.open_job(job).log)
    ends = np.reshape(solid(bf.open_job(job).fit.solid()).bounding_box(), (2, 3))
    place = " ".join(f"{at:.1f}" for at in ends.mean(axis=0)) + " 40"
    code, out, _ = run(capsys, "lost", str(job), "--ball", place)
    assert (code, len(bf.open_job(job).log)) == (0, before + 1)
    assert "l of the stone" in out
    held = bf.open_job(job)
    assert run(capsys, "lost", str(job), "--ball", place)[0] == 2, "the same twice"
    assert len(held.log) == before + 1


def test_readings_outside_the_block_are_named_in_the_log(job, tmp_path, capsys):
    (tmp_path / "r.csv").write_text("name,across,in,up\na,100,15000,100\n")
    assert "1 OUTSIDE THE BLOCK" in run(capsys, "check", str(job), str(tmp_path / "r.csv"))[1]
    assert "OUTSIDE THE BLOCK" in run(capsys, "log", str(job))[1]

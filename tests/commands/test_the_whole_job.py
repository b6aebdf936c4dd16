"""The whole story told by the command line: from the survey to the log, on a figure of boxes."""

import numpy as np
import pytest
import trimesh
from conftest import run
from jobs.corpus import statue

import blockfit as bf


def told(capsys, *words):
    code, out, err = run(capsys, *map(str, words))
    assert code == 0, err
    return out


@pytest.mark.slow
def test_a_job_from_yard_to_finish(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    figure = statue()
    trimesh.Trimesh(figure.vertices, figure.faces, process=False).export("statue.ply")
    asked = ("--unit", "mm", "--block", "800x600x1400", "--stone", "limestone", "--skin", "10", "--cover", "20")
    more = ("--scale", "1", "--seek", "setback", "--lift-limit", "300", "--least-weight", "60")
    job = "statue.blockfit"
    told(capsys, "survey", "statue.ply", *asked, *more, "--job", job, "-o", "survey.txt", "--json", "survey.json")
    first = bf.open_job(job).fit
    assert first.figure.source == "statue.ply"

    told(capsys, "mark", job, "--points", "8", "--step", "100", "-o", "sheets")
    assert "offcut 1" in told(capsys, "done", job, "offcut 1", "planes 1-2", "--when", "2026-03-20")
    left = told(capsys, "left", job)
    assert "Gone: offcut 1; planes 1 to 2 from the front" in left

    low = first.solid().vertices[first.solid().vertices[:, 1].argmin()]
    (tmp_path / "r.csv").write_text(f"brow,{low[0]},{low[1] - 8},{low[2]}\n")
    assert "1 reading, none too deep" in told(capsys, "check", job, "r.csv", "--error", "1")
    assert "read back" in told(capsys, "before-back", job)

    told(capsys, "lost", job, "--ball", f"{low[0]} {low[1]} {low[2]} 12", "--note", "a chip")
    ladder = told(capsys, "recover", job, "--turn", "0", "--lean", "0", "--effort", "0.1")
    assert "a) straight back" in ladder
    told(capsys, "recover", job, "--turn", "0", "--lean", "0", "--effort", "0.1", "--take", "a", "--why", "agreed")

    held = bf.open_job(job)
    assert [entry.what for entry in held.log] == ["placed", "planned", "marked", "done", "readings", "lost", "moved"]
    moved = held.fit.placement.shift_mm - first.placement.shift_mm
    assert moved[1] == pytest.approx(12, abs=0.2)  # a ball of 12 mm at the figure's foremost flat: 12 mm back clears it
    assert np.abs(moved[[0, 2]]).max() < 1e-9
    surveyed = told(capsys, "survey", job)
    assert "the block as bought, which is no more" in " ".join(surveyed.split())
    told(capsys, "mark", job, "--points", "8", "--step", "100", "-o", "sheets2")
    assert "done: nothing yet; there are front planes" in told(capsys, "done", job)
    log = told(capsys, "log", job)
    assert log.count("\n") >= 9
    assert "a chip" in log


@pytest.mark.slow
def test_a_second_figure_is_sought_before_the_work_begins(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    box = trimesh.creation.box((100, 100, 200))
    box.export("brick.stl")
    fit = bf.largest(bf.read_figure("brick.stl", unit="mm"), bf.Block.box(150, 400, 250), stance=bf.Stance.fixed())
    fit.save("a.blockfit")
    out = told(
        capsys, "second", "a.blockfit", "brick.stl", "--unit", "mm", "--clearance", "5", "--note", "from the same"
    )
    assert "brick at " in out
    entry = bf.open_job("a.blockfit").log[-1]
    assert entry.what == "second"
    assert entry.words.endswith("from the same")

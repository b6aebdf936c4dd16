"""Ctrl-C, killed workers and killed parents: real processes and real signals."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import trimesh
from conftest import HERE, KNEELING, slow_after

from blockfit.interrupts import is_command

pytestmark = pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="signals of POSIX")
COMMAND = [sys.executable, "-m", "blockfit"]
SCRIPT = [str(Path(sys.executable).parent / "blockfit")]
SURVEY = ["survey", KNEELING, "--unit", "m", "--block", "900x700x1600", "--stone", "marble", "--cover", "20"]


@pytest.fixture
def yard(tmp_path):
    lines = [f"b{k},{600 + k % 300},{700 + k % 200},{1200 + k % 100}" for k in range(3000)]
    (tmp_path / "yard.csv").write_text("name,width (mm),depth (mm),height (mm)\n" + "\n".join(lines) + "\n")
    return ["compare", KNEELING, str(tmp_path / "yard.csv"), "--unit", "m", "--any-rotation", "--jobs", "2"]


@pytest.fixture
def begun():
    """Starts commands; whatever is left of them ends with the test."""
    started = []

    def begin(words, **more):
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        started.append(subprocess.Popen(words, text=True, start_new_session=True, **pipes, **more))
        return started[-1]

    yield begin
    for process in started:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()


def group(process):
    """The processes of a group that are alive, with the words they were started by."""
    lines = subprocess.run(
        ["ps", "-A", "-ww", *(w for name in ("pid", "pgid", "stat", "args") for w in ("-o", name + "="))],
        capture_output=True,
        text=True,
    ).stdout
    fields = [line.split(None, 3) for line in lines.splitlines()]
    return {int(f[0]): f[3] for f in fields if int(f[1]) == process.pid and not f[2].startswith("Z")}


def until(ready, seconds=30.0):
    """Wait for something that must come; a test that would wait for ever ends instead."""
    for _ in range(round(seconds / 0.05)):
        if ready():
            return
        time.sleep(0.05)
    pytest.fail("never came to it")


@pytest.mark.slow
@pytest.mark.parametrize("delay", [1.5, 2.5, 4.0])
def test_an_interrupt_ends_a_survey_and_its_helper(delay, kneeling, tmp_path, begun):
    """Figures of 10,000 faces and more are surveyed by two processes."""
    finer = trimesh.Trimesh(kneeling.vertices, kneeling.faces, process=False).subdivide()
    finer.export(tmp_path / "finer.stl")
    assert len(finer.faces) > 10_000
    words = ["survey", "finer.stl", "--unit", "mm", *SURVEY[4:], "-o", "s.txt"]
    process = begun([*COMMAND, *words], cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(HERE.parent)})
    time.sleep(delay)
    os.killpg(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=20)
    assert (process.returncode, err) == (130, "blockfit: stopped\n")
    until(lambda: not group(process))


@pytest.mark.parametrize("delay", slow_after(2, [0.3, 1.2, 0.1, 0.6, 2.5]))
@pytest.mark.parametrize("start", slow_after(1, [COMMAND, SCRIPT]), ids=["module", "script"])
def test_an_interrupt_ends_a_survey_in_one_line(start, delay, tmp_path, begun):
    if not Path(start[0]).exists():
        pytest.skip("the script is not installed")
    process = begun([*start, *SURVEY, "-o", str(tmp_path / "s.txt")], cwd=HERE.parent)
    time.sleep(delay)
    os.killpg(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=20)
    if "site" in err and "blockfit" not in err:
        pytest.skip("Python itself was still starting")
    assert (process.returncode, err) == (130, "blockfit: stopped\n")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("delay", slow_after(1, [1.2, 0.7, 4.0]))
def test_an_interrupt_ends_a_comparison_and_its_workers(yard, delay, tmp_path, begun):
    process = begun([*COMMAND, *yard, "-o", str(tmp_path / "y.csv")], cwd=HERE.parent)
    time.sleep(delay)
    os.killpg(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=20)
    assert process.returncode == 130
    assert err.startswith("blockfit: stopped")
    assert err.count("\n") == 1
    until(lambda: not group(process))
    assert not (tmp_path / "y.csv").exists()
    assert (tmp_path / "y.partial.csv").exists() == ("y.partial.csv" in err)


def workers(process):
    return [pid for pid, words in group(process).items() if "popen_loky" in words]


@pytest.mark.slow
def test_workers_end_with_a_parent_that_is_killed(yard, begun):
    process = begun([*COMMAND, *yard], cwd=HERE.parent)
    until(lambda: len(workers(process)) == 2)
    time.sleep(1.0)
    process.kill()
    until(lambda: not group(process))
    process.communicate()


@pytest.mark.slow
def test_a_worker_that_is_killed_is_said_and_its_rows_are_kept(yard, tmp_path, begun):
    journal = tmp_path / "j"
    process = begun([*COMMAND, *yard, "--resume", str(journal), "-o", str(tmp_path / "y.csv")], cwd=HERE.parent)
    until(lambda: journal.exists() and len(journal.read_text().splitlines()) > 20)
    os.kill(workers(process)[0], signal.SIGKILL)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 1
    assert "a worker process was killed" in err
    assert "--resume" in err
    assert "at work on" in err
    assert err.count("\n") == 1
    kept = len(journal.read_text().splitlines()) - 1
    assert kept >= 20
    assert len((tmp_path / "y.partial.csv").read_text().splitlines()) == kept + 2  # the heading and the last line


def test_a_program_that_imports_the_library_keeps_its_own_interrupt():
    code = (
        "import signal; before = signal.getsignal(signal.SIGINT); import blockfit; "
        "print(signal.getsignal(signal.SIGINT) is before)"
    )
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=HERE.parent).stdout == "True\n"
    )
    assert not is_command()

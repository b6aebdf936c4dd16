"""Wrong words end in one short line before any work; our own faults say that they are ours."""

import os
import subprocess
import sys

import pytest
import trimesh
from conftest import HERE, KNEELING, run

SURVEY = ("survey", "figure.stl", "--unit", "mm", "--block", "300x400x500")
WRONG = [
    (*SURVEY, "--scale", "1e-12"), (*SURVEY, "--scale", "1e300"),
    (*SURVEY, "--scale", "nan"), (*SURVEY, "--scale", "-1"),
    (*SURVEY, "--ratio", "1:1e999999999"), (*SURVEY, "--any-rotation", "--lean", "5"), (*SURVEY, "--turn", "nan"),
    (*SURVEY, "--gap", "-1"), (*SURVEY, "--gap", "nan"),
    (*SURVEY, "--cover", "1,500 mm"), (*SURVEY, "--max-hole", "x" * 10**5),
    (*SURVEY, "--stone", "\x1b[31m"), (*SURVEY, "--front", "q" * 1000),
    (*SURVEY, "-o", "x\0.txt"), (*SURVEY, "-o", "s.doc"),
    ("survey", "\udce9.stl", "--unit", "mm", "--block", "300x400x500"),
    ("survey", "a\0b.stl", "--block", "300x400x500"),
    ("mark", *SURVEY[1:], "--points", "1000000000", "-o", "m"), ("mark", *SURVEY[1:], "--step", "1e-9mm", "-o", "m"),
    ("mark", *SURVEY[1:], "--step", "0.001", "-o", "m"), ("mark", *SURVEY[1:], "--paper", "A7", "-o", "m"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--jobs", "0"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--jobs", "100000000"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--best", "0"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--any-rotation", "--lean", "5"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--any-rotation", "--turn", "5"),
    ("compare", "figure.stl", "yard.csv", "--unit", "mm", "--scale", "1e300"), ("compare",), ("frobnicate" * 100,), (),
]  # fmt: skip


@pytest.mark.parametrize("words", WRONG, ids=lambda words: " ".join(words)[-40:].encode("ascii", "replace").decode())
def test_wrong_words_end_in_one_short_line_before_any_work(words, tmp_path, capsys, monkeypatch):
    import blockfit.commands.options as module

    monkeypatch.chdir(tmp_path)
    trimesh.creation.box((100, 60, 200)).export("figure.stl")
    (tmp_path / "yard.csv").write_text("width (mm),depth (mm),height (mm)\n900,900,900\n")
    if words[:1] in (("mark",), ("compare",)):
        monkeypatch.setattr(module, "answer", lambda *_, **__: pytest.fail("work was begun"))
    before = sorted(tmp_path.iterdir())
    code, _, err = run(capsys, *words)
    assert code == 2
    if words:
        assert err.startswith("blockfit: ")
        assert err.count("\n") == 1
        assert len(err) < 410
        assert "\x1b" not in err
    assert sorted(tmp_path.iterdir()) == before


def test_our_own_faults_are_one_line_and_status_1(tmp_path, capsys, monkeypatch):
    import blockfit.commands.options as module

    def broken(*_, **__):
        raise ZeroDivisionError("by\x1b nought\n" * 100)

    monkeypatch.setattr(module, "read_figure", broken)
    code, _, err = run(capsys, *SURVEY)
    assert code == 1
    assert err.startswith("blockfit: a fault in blockfit, not in what was given; please report it: ZeroDivisionError")
    assert err.count("\n") == 1
    assert "\x1b" not in err


@pytest.mark.slow
def test_a_terminal_without_our_letters_and_a_reader_that_leaves(tmp_path):
    words = [
        sys.executable,
        "-m",
        "blockfit",
        "survey",
        KNEELING,
        "--unit",
        "m",
        "--block",
        "300x200x200",
        "--scale",
        "1",
    ]
    plain = {**os.environ, "PYTHONIOENCODING": "ascii"}
    told = subprocess.run(words, capture_output=True, env=plain, cwd=HERE.parent)
    assert (told.returncode, told.stderr) == (0, b"")
    left = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=HERE.parent)
    left.stdout.close()
    assert left.stderr.read() == b""
    left.stderr.close()
    assert left.wait() in (0, 1)

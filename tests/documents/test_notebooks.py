"""The notebooks run, with warnings as errors, and their committed outputs are there to be seen."""

import json
import subprocess
import sys

import pytest
from conftest import HERE, HURRIED

NOTEBOOKS = sorted((HERE.parent / "notebooks").glob("*.ipynb"))
HURRY = "\n".join(
    f"import {module.__name__}; {module.__name__}.{name} = {value}" for (module, name), value in HURRIED.items()
)
RUN = """
import sys
import nbformat
from nbclient import NotebookClient
book = nbformat.read(sys.argv[1], as_version=4)
book.cells.insert(0, nbformat.v4.new_code_cell(sys.argv[2]))
NotebookClient(book, timeout=400, kernel_name="python3").execute()
"""


def test_there_are_six():
    assert [book.stem[0] for book in NOTEBOOKS] == ["1", "2", "3", "4", "5", "6"]


@pytest.mark.parametrize("book", NOTEBOOKS, ids=lambda book: book.stem)
@pytest.mark.slow
def test_it_runs(book, tmp_path):
    assert 'simplefilter(\\"error\\")' in book.read_text(encoding="utf-8")
    done = subprocess.run([sys.executable, "-c", RUN, str(book), HURRY], capture_output=True, text=True, cwd=tmp_path)
    assert done.returncode == 0, done.stderr[-3000:]


@pytest.mark.parametrize("book", NOTEBOOKS, ids=lambda book: book.stem)
def test_its_outputs_are_committed(book):
    cells = json.loads(book.read_text(encoding="utf-8"))["cells"]
    outputs = [output for cell in cells if cell["cell_type"] == "code" for output in cell["outputs"]]
    assert any("image/png" in output.get("data", {}) for output in outputs)
    assert not any(output["output_type"] == "error" for output in outputs)
    assert book.stat().st_size < 1_000_000


OTHER = """FILE, UNIT, RATIO = {file!r}, "m", "2:1"
BLOCK = YARD = None
"""
SCANS = [book for book in NOTEBOOKS if not book.stem.startswith("5")]  # the fifth begins with a drawing


@pytest.mark.slow
@pytest.mark.parametrize("book", SCANS, ids=lambda book: book.stem)
def test_it_runs_on_another_scan(book, tmp_path):
    """Its first cell is all that changes: file, unit, ratio, block or yard."""
    pages = json.loads(book.read_text(encoding="utf-8"))
    code = [cell for cell in pages["cells"] if cell["cell_type"] == "code"]
    assert "".join(code[0]["source"]).startswith("FILE = None")
    code[0]["source"] = OTHER.format(file=str(HERE / "data" / "kneeling.stl"))
    (tmp_path / "other.ipynb").write_text(json.dumps(pages), encoding="utf-8")
    words = [sys.executable, "-c", RUN, str(tmp_path / "other.ipynb"), HURRY]
    done = subprocess.run(words, capture_output=True, text=True, cwd=tmp_path)
    assert done.returncode == 0, done.stderr[-3000:]

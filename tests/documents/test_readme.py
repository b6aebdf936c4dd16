"""Everything in the README runs, and prints what it says."""

import doctest
import re
import shlex

import pytest
from conftest import HERE, slow_after

from blockfit.__main__ import main

README = (HERE.parent / "README.md").read_text(encoding="utf-8")


@pytest.mark.slow
def test_the_python_example_runs(monkeypatch):
    monkeypatch.chdir(HERE.parent)
    examples = doctest.DocTestParser().get_examples(README)
    assert examples
    failed, tried = doctest.testfile(str(HERE.parent / "README.md"), module_relative=False, encoding="utf-8")
    assert tried == len(examples)
    assert failed == 0


@pytest.mark.parametrize("block", slow_after(1, re.findall(r"```console\n\$ (.*?)```", README, re.DOTALL)[::-1]))
def test_the_commands_print_what_the_readme_shows(block, capsys, monkeypatch):
    monkeypatch.chdir(HERE.parent)
    command, shown = block.split("\n", 1)
    main(shlex.split(command)[1:])
    assert shown.strip() in capsys.readouterr().out


def test_the_job_comes_first():
    assert "carve" in README.split("\n\n")[1]


@pytest.mark.slow
def test_the_job_in_thirty_lines_runs(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(HERE.parent)
    script = re.findall(r"```py\n(.*?)```", README, re.DOTALL)[0]
    assert script.count("\n") <= 32
    exec(compile(script, "README.md", "exec"), {"folder": str(tmp_path)})
    out = capsys.readouterr().out
    for words in ("THE STONE AS IT STANDS", "stone on it", "WHERE THE FIGURE STILL GOES", "moved     a) straight back"):
        assert words in out

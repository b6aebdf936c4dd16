"""The words of the command line: help under headings, near words offered, and completion by the shell."""

import os
import subprocess
import sys

import pytest
from conftest import HERE, KNEELING, run

import blockfit as bf

COMMANDS = ("survey", "mark", "compare", "demo")


@pytest.mark.parametrize("command", COMMANDS)
def test_help_lists_every_option_once_under_a_heading(command, capsys):
    from blockfit.__main__ import cli

    code, out, _ = run(capsys, command, "--help")
    assert code == 0
    names = [max(option.opts, key=len) for option in cli.commands[command].params if option.opts[0].startswith("-")]
    first = [line.split()[:2] for line in out.splitlines() if line.startswith("  -")]
    shown = [words[1] if words[0].endswith(",") else words[0] for words in first]
    assert sorted(shown) == sorted([*names, "--help"])
    assert out.rstrip().splitlines()[-1].startswith("  --help")


def test_survey_groups_its_options(capsys):
    _, out, _ = run(capsys, "survey", "--help")
    headings = [line for line in out.splitlines() if line.endswith(":") and not line.startswith(" ")]
    assert headings[0] == "The figure's file:"
    assert headings[-1] == "Options:"
    assert len(headings) >= 6
    assert out.index("The block:") < out.index("--stone") < out.index("What is asked:") < out.index("--cover")


@pytest.mark.parametrize(
    ("words", "near"),
    [(("surve",), "survey"), (("compair",), "compare"), (("survey", "x.stl", "--blok", "1x1x1"), "--block")],
)
def test_a_word_that_is_near_one_says_so(words, near, capsys):
    code, _, err = run(capsys, *words)
    assert code == 2
    assert near in err
    assert "id you mean" in err


def test_a_word_that_is_near_nothing_lists_what_there_is(capsys):
    code, _, err = run(capsys, "zzzz")
    assert code == 2
    assert all(command in err for command in COMMANDS)


@pytest.mark.parametrize(("typed", "offered"), [("blockfit su", "survey"), ("blockfit survey --landm", "--landmarks")])
def test_the_shell_completes_commands_and_options(typed, offered):
    words = {"COMP_WORDS": typed, "COMP_CWORD": str(len(typed.split()) - 1), "_BLOCKFIT_COMPLETE": "bash_complete"}
    done = subprocess.run(
        [sys.executable, "-m", "blockfit"], env={**os.environ, **words}, capture_output=True, text=True, check=False
    )
    assert done.stdout.split() == [f"plain,{offered}"]
    assert done.stderr == ""


def asked_by(*words):
    import click

    from blockfit.commands.options import ASKING, ask_of, figure_and

    found = []

    @click.command()
    @figure_and(ASKING)
    def command(figure, **options):
        found.append(ask_of(options))

    command.main(["figure.stl", *words], standalone_mode=False)
    return found[0]


def test_a_command_asks_as_closely_as_python_does(capsys, monkeypatch):
    """The default gap is that of `largest`; screening a yard keeps its own."""
    from blockfit.commands import compare

    assert asked_by().gap == bf.Ask().gap == 1e-5
    assert asked_by("--gap", "0.01").gap == 0.01
    given = []

    def noted(figure, blocks, **asked):
        given.append(asked)
        raise bf.BadValueError("noted, and no further")

    monkeypatch.setattr(compare, "compare", noted)
    for words in ((), ("--gap", "0.02")):
        code, _, err = run(capsys, "compare", KNEELING, str(HERE / "data" / "yard.csv"), "--unit", "m", *words)
        assert (code, "no further" in err) == (2, True)
    assert "gap" not in given[0]
    assert given[1]["gap"] == 0.02

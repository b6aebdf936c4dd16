"""``blockfit done``, ``lost`` and ``log``: what happened to the stone goes into the job's log."""

import textwrap
from pathlib import Path

import click

from blockfit.commands.cases import LOGGED, job_argument, job_of, with_options
from blockfit.commands.headings import Command, headed
from blockfit.errors import BadValueError, safe_lines
from blockfit.intake.scan import read_figure
from blockfit.jobs.done import done, done_words
from blockfit.jobs.losses import lose
from blockfit.solids.flaw import Flaw
from blockfit.units import length_mm

__all__ = ["done_command", "log_command", "lost_command"]

_WORDS_AT = 30  # of a line of the log
_WIDE = 100

_lost = headed("What was lost")


@click.command("done", cls=Command)
@job_argument
@click.argument("names", nargs=-1)
@with_options(*LOGGED)
def done_command(job: Path, names: tuple[str, ...], note: str, when: str | None) -> None:
    """Note in JOB what was done, by the NAMES on its sheets: "offcut 1", "planes 1-6", "front points".

    They are done in their order. Without names it shows what is done, and what there is.
    """
    held = job_of(job)
    if not names:
        click.echo(safe_lines(done_words(held)))
        return
    after = done(held, *names, note=note, when=when).save()
    click.echo(safe_lines(str(after.log[-1])))


@click.command("lost", cls=Command)
@job_argument
@_lost("--ball", multiple=True, help='Middle and radius of what broke off: "across in up radius", mm. May be repeated.')
@_lost("--solid", type=click.Path(path_type=Path), help="Mesh of what broke off, in the block's frame.")
@_lost("--unit", default="mm", show_default=True, help="Unit of the mesh.")
@_lost("--readings", is_flag=True, help="The places that the last readings found too deep.")
@_lost("--margin", default="0", show_default=True, help="To be kept clear of what was lost.")
@with_options(*LOGGED)
def lost_command(
    job: Path,
    ball: tuple[str, ...],
    solid: Path | None,
    unit: str,
    readings: bool,
    margin: str,
    note: str,
    when: str | None,
) -> None:
    """Note in JOB what was lost of the stone; blockfit recover then says where the figure still goes."""
    held = job_of(job)
    lost = [_ball(text, margin) for text in ball]
    if solid is not None:
        body = read_figure(solid, unit=unit, up="+z", front="-y")
        lost.append(Flaw.solid(body, margin=_plain_mm(margin, "--margin"), name=body.name))
    after = lose(held, *lost, readings=readings, note=note, when=when).save()
    click.echo(safe_lines(str(after.log[-1])))


@click.command("log", cls=Command)
@job_argument
@with_options(*LOGGED)
def log_command(job: Path, note: str, when: str | None) -> None:
    """Show what happened in JOB, oldest first; with --note, write a line into it first."""
    held = job_of(job)
    if note:
        held = held.noted("note", note, when=when).save()
    elif when is not None:
        raise BadValueError("--when is for a line of the log: give --note too")
    lines = [
        part
        for line in str(held).splitlines()
        for part in textwrap.wrap(line, _WIDE, subsequent_indent=" " * _WORDS_AT)
    ]
    click.echo(safe_lines("\n".join(lines)))


def _ball(text: str, margin: str) -> Flaw:
    parts = text.replace(",", " ").split()
    if len(parts) != 4:
        raise BadValueError(f'--ball={text!r} must be four lengths: "across in up radius", such as "450 150 900 60"')
    x, y, z, radius = (_plain_mm(part, "--ball") for part in parts)
    if radius <= 0:
        raise BadValueError(f"--ball={text!r}: its radius must be above 0")
    return Flaw.ball((x, y, z), radius, margin=_plain_mm(margin, "--margin"), name="what broke off")


def _plain_mm(text: str, name: str) -> float:
    """Return mm, also below 0; a bare number counts as mm."""
    try:
        return length_mm(float(text), name)
    except ValueError as error:
        if isinstance(error, BadValueError):
            raise
        return length_mm(text, name)

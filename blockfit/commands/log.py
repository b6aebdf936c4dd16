"""``blockfit done``, ``lost``, ``recover`` and ``log``: what happened to the stone goes into the job's log."""

import textwrap
from pathlib import Path
from typing import Any

import click

from blockfit.commands.cases import LOGGED, job_argument, job_of, with_options
from blockfit.commands.headings import Command, headed
from blockfit.commands.options import US, units_name
from blockfit.commands.stone import SCANNED, registered
from blockfit.commands.terms import length_of, teller
from blockfit.errors import BadValueError, safe_lines
from blockfit.intake.scan import read_figure
from blockfit.jobs.done import done, done_words
from blockfit.jobs.losses import lose
from blockfit.jobs.moves import ladder, taken
from blockfit.solids.flaw import Flaw
from blockfit.units import length_mm

__all__ = ["done_command", "log_command", "lost_command", "recover_command"]

_WORDS_AT = 30  # of a line of the log
_WIDE = 100
_MOST_MM = 1e6

_lost, _limits, _taking = map(headed, ("What was lost", "How far it may move", "Taking a placement"))


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
@_lost("--scan", type=click.Path(path_type=Path), help="Scan of the stone that shows it.")
@_lost("--readings", is_flag=True, help="The places that the last readings found too deep.")
@_lost("--margin", default="0", show_default=True, help="To be kept clear of what was lost.")
@with_options(*SCANNED, *LOGGED, *US)
def lost_command(
    job: Path, ball: tuple[str, ...], solid: Path | None, scan: Path | None, readings: bool, margin: str, **options: Any
) -> None:
    """Note in JOB what was lost of the stone; blockfit recover then says where the figure still goes."""
    held = job_of(job)
    lost = [_ball(text, margin) for text in ball]
    if solid is not None:
        body = read_figure(solid, unit=options["unit"], up="+z", front="-y")
        lost.append(Flaw.solid(body, margin=_plain_mm(margin, "--margin"), name=body.name))
    before = len(held.log)
    if lost or readings or scan is None:
        held = lose(held, *lost, readings=readings, note=options["note"], when=options["when"])
    if scan is not None:
        held = registered(held, scan, "lost", options)
    held = held.save()
    click.echo(safe_lines("\n".join(map(str, held.log[before:]))))


@click.command("recover", cls=Command)
@job_argument
@_limits("--turn", type=float, default=5, show_default=True, help="How far it may be turned, in degrees.")
@_limits("--lean", type=float, default=5, show_default=True, help="How far it may be leaned, in degrees.")
@_limits("--aside", default="30", show_default=True, help="How far it may move sideways.")
@_limits("--least-scale", type=float, default=0.5, show_default=True, help="Least share of its scale of any use.")
@_limits("--margin", default="0", show_default=True, help="To be kept clear of what was lost, besides its own.")
@_limits("--effort", type=float, default=1, show_default=True, help="Multiplies the places that are tried.")
@_taking("--take", type=click.Choice(("a", "b", "c")), help="Take this placement: the job then has it.")
@_taking("--why", default="", help="Why, for the log.")
@_taking("--when", help="When, such as 2026-03-02.  [default: now]")
@with_options(*US)
def recover_command(  # noqa: PLR0913
    job: Path,
    turn: float,
    lean: float,
    aside: str,
    least_scale: float,
    margin: str,
    effort: float,
    take: str | None,
    why: str,
    when: str | None,
    us: bool,
) -> None:
    """Show where the figure in JOB still goes in the stone as it stands, clear of what was lost.

    a) straight back, b) back with a small turn and lean, c) the largest within the limits; checked by exact solids.
    With --take the job has that placement from now on: pieces, points and planes were for the other one, and are made
    anew by survey and mark.
    """
    if why and take is None:
        raise BadValueError("--why is for a placement that is taken: give --take too")
    held = job_of(job)
    step = teller()
    step("looking where it still goes")
    limits = {"turn": turn, "lean": lean, "aside": length_of(aside, "--aside"), "least_scale": least_scale}
    margin_mm = length_of(margin, "--margin")
    found = ladder(held, margin=margin_mm, effort=effort, **limits)
    step("")
    click.echo(safe_lines(found.text(units_name(us))), nl=False)
    if take is not None:
        after = taken(held, found, take, why=why, margin=margin_mm, when=when).save()
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
    if max(abs(x), abs(y), abs(z), radius) > _MOST_MM:
        raise BadValueError(f"--ball={text!r} is over a kilometre; check the unit")
    return Flaw.ball((x, y, z), radius, margin=_plain_mm(margin, "--margin"), name="what broke off")


def _plain_mm(text: str, name: str) -> float:
    """Return mm, also below 0; a bare number counts as mm."""
    try:
        return length_mm(float(text), name)
    except ValueError as error:
        if isinstance(error, BadValueError):
            raise
        return length_mm(text, name)

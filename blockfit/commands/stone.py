"""``blockfit check``, ``scan``, ``left`` and ``before-back``: the stone as it stands, in a job."""

from pathlib import Path
from typing import Any

import click

from blockfit.carving.left import stone_left
from blockfit.commands.cases import LOGGED, job_argument, job_of, with_options
from blockfit.commands.headings import Command, Decorator, headed
from blockfit.commands.options import US, figure_of, figure_options, units_name
from blockfit.commands.terms import check_output, length_of, teller
from blockfit.errors import BadValueError, safe_lines
from blockfit.facts.measures import Rounding
from blockfit.facts.systems import units_of
from blockfit.intake.scan import read_scan
from blockfit.intake.tables import read_marks, read_places
from blockfit.jobs.done import Done, done_so_far
from blockfit.jobs.job import Job
from blockfit.jobs.readings import last_readings, read_back
from blockfit.jobs.scans import scanned
from blockfit.jobs.stone import stone_now
from blockfit.sheets.page.left import save_left
from blockfit.sheets.survey.last_look import before_the_back
from blockfit.waste.rescued.second import largest_from_waste

__all__ = [
    "SCANNED",
    "before_back_command",
    "check_command",
    "left_command",
    "registered",
    "scan_command",
    "second_command",
]

_readings, _scan, _second, _written = map(headed, ("The readings", "The scan", "The second figure", "What is written"))

SCANNED: tuple[Decorator, ...] = (
    _scan("--marks", type=click.Path(path_type=Path), help="CSV file of crosses known on the scan and in the block."),
    _scan("--unit", default="mm", show_default=True, help="Unit of the scan's file."),
    _scan("--scan-scale", type=float, help="Stone to scan, if it has another size and no marks say so."),
    _scan("--mark-error", default="2", show_default=True, help="How well marks are known along every axis."),
)
"""The options of every command that takes in a scan of the stone."""


@click.command("check", cls=Command)
@job_argument
@click.argument("readings", type=click.Path(path_type=Path))
@_readings("--error", default="2", show_default=True, help="What each reading may be wrong by.")
@with_options(*LOGGED, *US)
def check_command(job: Path, readings: Path, error: str, note: str, when: str | None, us: bool) -> None:
    """Compare READINGS with the figure in JOB: how much stone is still on it, or how much too deep it was cut.

    READINGS is a CSV file of name, across, in, up, in mm or with units, from where the job's points are measured (the
    block's edges, unless they say otherwise).
    """
    held = job_of(job)
    after, told = read_back(held, read_places(readings), error=length_of(error, "--error"), note=note, when=when)
    after.save()
    click.echo(safe_lines(told.text(units_name(us))))
    click.echo(safe_lines(after.log[-1].words))


def registered(job: Job, scan: Path, what: str, options: dict[str, Any]) -> Job:
    """Return the job with a scan of the stone taken in, having said how it lies, and what is left."""
    step, units = teller(), units_name(options["us"])
    step(f"reading {scan.name}")
    surface = read_scan(scan, unit=options["unit"])
    marks = None if options["marks"] is None else read_marks(options["marks"])
    step("laying it into the block")
    after, laid = scanned(
        job,
        surface,
        marks,
        scale=options["scan_scale"],
        mark_error=length_of(options["mark_error"], "--mark-error"),
        what=what,
        note=options["note"],
        when=options["when"],
    )
    step("")
    for name, off in laid.marks_mm.items():
        click.echo(safe_lines(f"  mark {name}: {units_of(units).close(off, Rounding.NEAREST)} off"))
    click.echo(safe_lines(laid.stage.text(units)), nl=False)
    return after


@click.command("scan", cls=Command)
@job_argument
@click.argument("stone", type=click.Path(path_type=Path))
@with_options(*SCANNED, *LOGGED, *US)
def scan_command(job: Path, stone: Path, **options: Any) -> None:
    """Take a scan of the STONE as it stands into JOB: laid into the block by marks and by what is left of its surface.

    Marks are crosses on the stone, three or more and not in a line, in a CSV file of name, scan x, scan y, scan z (on
    the scan, as read) and across, in, up (in the block).
    """
    registered(job_of(job), stone, "scan", options).save()


@click.command("left", cls=Command)
@job_argument
@_readings("--front", type=click.Choice(("front", "back", "left", "right")), default="front", help="Side worked from.")
@_written("-o", "--output", type=click.Path(path_type=Path), help="Also write to a .html, .txt or .json file.")
@with_options(*US)
def left_command(job: Path, front: str, output: Path | None, us: bool) -> None:
    """Show the stone in JOB as it stands, and how much of it is still over the figure."""
    check_output(output)
    held = job_of(job)
    stage = stone_now(held)
    click.echo(safe_lines(stage.text(units_name(us))))
    if held.fit.figure.is_solid:
        left = stone_left(held.fit, stage, front=front)
        click.echo(safe_lines(left.text(units_name(us))), nl=False)
        if output is not None:
            save_left(left, output, units=units_name(us))


@click.command("before-back", cls=Command)
@job_argument
@with_options(*US)
def before_back_command(job: Path, us: bool) -> None:
    """Show on one sheet what cannot be undone in JOB once the work turns to the back."""
    held = job_of(job)
    stage, readings = stone_now(held), last_readings(held)
    sheet = before_the_back(
        held.fit,
        stage=stage,
        planes=held.planes,
        offcuts=held.plan,
        points=held.points,
        readings=readings,
        units=units_name(us),
    )
    click.echo(safe_lines(sheet), nl=False)


@click.command("second", cls=Command)
@job_argument
@click.argument("other", type=click.Path(path_type=Path))
@figure_options
@_second("--cuts", type=click.IntRange(1, 3), default=1, show_default=True, help="Flat cuts that free it.")
@_second("--clearance", default="20", show_default=True, help="Stone that the cuts leave over the first figure.")
@_second("--kerf", default="10", show_default=True, help="Width of the cuts.")
@_second("--second-cover", default="5", show_default=True, help="Stone to keep over the second figure.")
@with_options(*LOGGED, *US)
def second_command(job: Path, **options: Any) -> None:
    """Find the largest OTHER figure that flat cuts free from the waste in JOB, beside its figure."""
    held = job_of(job)
    if done_so_far(held) != Done() or held.stage is not None:
        raise BadValueError("work on the stone has begun: a second figure is sought in the block as bought")
    other = figure_of({**options, "figure": options["other"]})
    found = largest_from_waste(
        held.fit,
        other,
        cuts=options["cuts"],
        clearance=length_of(options["clearance"], "--clearance"),
        kerf=length_of(options["kerf"], "--kerf"),
        cover=length_of(options["second_cover"], "--second-cover"),
    )
    click.echo(safe_lines(found.text(units_name(options["us"]))))
    note = f": {options['note']}" if options["note"] else ""
    held.noted("second", f"{other.name}: {found}{note}", when=options["when"]).save()

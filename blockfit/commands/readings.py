"""``blockfit check``: readings taken back from the stone."""

from pathlib import Path

import click

from blockfit.commands.cases import LOGGED, job_argument, job_of, with_options
from blockfit.commands.headings import Command, headed
from blockfit.commands.terms import length_of
from blockfit.errors import safe_lines
from blockfit.intake.tables import read_places
from blockfit.jobs.readings import read_back

__all__ = ["check_command"]

_readings = headed("The readings")


@click.command("check", cls=Command)
@job_argument
@click.argument("readings", type=click.Path(path_type=Path))
@_readings("--error", default="2", show_default=True, help="What each reading may be wrong by.")
@with_options(*LOGGED)
def check_command(job: Path, readings: Path, error: str, note: str, when: str | None) -> None:
    """Compare READINGS with the figure in JOB: how much stone is still on it, or how much too deep it was cut.

    READINGS is a CSV file of name, across, in, up, in mm or with units, from where the job's points are measured (the
    block's edges, unless they say otherwise).
    """
    held = job_of(job)
    after, told = read_back(held, read_places(readings), error=length_of(error, "--error"), note=note, when=when)
    after.save()
    click.echo(safe_lines(str(told)))
    click.echo(safe_lines(after.log[-1].words))

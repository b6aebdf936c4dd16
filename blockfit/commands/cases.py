"""What stands in FIGURE's place: a figure's file, that is fitted as asked, or a job, whose placement stays as it is."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from blockfit.commands.headings import Decorator, headed
from blockfit.commands.options import HEADINGS, fit_of
from blockfit.commands.sawing import PIECES, sawing_of
from blockfit.errors import BadValueError
from blockfit.filing.job_file import is_job_file
from blockfit.jobs.done import done_so_far
from blockfit.jobs.job import Job, open_job
from blockfit.jobs.tables import planned
from blockfit.search.result import Fit, placed_entry
from blockfit.waste.offcuts.plan import OffcutPlan

__all__ = ["LOGGED", "case_of", "given", "job_argument", "job_of", "kept_job", "plan_for", "with_options"]

_log = headed("What the log says")

LOGGED: tuple[Decorator, ...] = (
    _log("--note", default="", help="Words for the log."),
    _log("--when", help="When it happened, such as 2026-03-02 or 2026-03-02T09:30.  [default: now]"),
)
"""The options of every command that writes into a job's log."""

job_argument: Decorator = click.argument("job", type=click.Path(path_type=Path))


def with_options(*options: Decorator) -> Decorator:
    """Return what gives a command all of these, in order."""

    def give(command: Callable[..., None]) -> Callable[..., None]:
        for option in reversed(options):
            command = option(command)
        return command

    return give


def job_of(path: Path) -> Job:
    """Return the job in a file. Raises `BadValueError` for a figure's file, and says how a job is made."""
    if not is_job_file(path):
        raise BadValueError(f"{path.name} is no job; blockfit survey FIGURE … --job NAME.blockfit makes one")
    return open_job(path)


def case_of(step: Callable[[str], None], options: dict[str, Any]) -> tuple[Fit, Job | None]:
    """Return the fit that is asked about, and the job that it is from, if it is from one."""
    if options["figure"] is None or not is_job_file(options["figure"]):
        return fit_of(step, options), None
    wrong = given(*HEADINGS)
    if wrong:
        raise BadValueError(f"{wrong[0]} is for a new figure: a job keeps its figure, block, question and placement")
    step(f"opening {options['figure'].name}")
    job = open_job(options["figure"])
    return job.fit, job


def given(*headings: str) -> list[str]:
    """Return the options under these headings that were given on the command line, as they are written."""
    context = click.get_current_context()
    return [
        max(option.opts, key=len)
        for option in context.command.params
        if getattr(option, "heading", None) in headings
        and option.name is not None
        and context.get_parameter_source(option.name) is ParameterSource.COMMANDLINE
    ]


def plan_for(job: Job | None, options: dict[str, Any]) -> tuple[dict[str, Any], OffcutPlan | None]:
    """Return what is asked of `blockfit.offcuts`, and the plan that a job keeps, unless another is asked for."""
    if job is None:
        return sawing_of(options), None
    again = given(PIECES)
    if again and done_so_far(job).pieces:
        raise BadValueError(f"{again[0]} asks for another plan, and pieces of this one have left: the plan stays")
    if again or job.plan is None:
        return sawing_of(options), None
    return {name: job.asked[name] for name in sawing_of(options) if name in job.asked}, job.plan


def kept_job(
    job: Job | None, new: Path | None, fit: Fit, plan: OffcutPlan | None, asked: Mapping[str, Any]
) -> Job | None:
    """Return the job as it is now on file: a new one in ``new``, or the one at work where its plan has changed."""
    if new is not None:
        copy = Job(fit, (placed_entry(fit),)) if job is None else replace(job, path=None)
        return (copy if plan is None or plan is copy.plan else planned(copy, plan, asked=asked)).save(new)
    if job is None or plan is None or plan is job.plan:
        return None
    return planned(job, plan, asked=asked).save()

"""``blockfit mark``: everything that goes on the stone and the studio wall."""

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from blockfit.commands.cases import case_of, given, kept_job, plan_for
from blockfit.commands.headings import Command, headed
from blockfit.commands.options import fitting, units_name
from blockfit.commands.sawing import sawing
from blockfit.commands.terms import length_of, teller
from blockfit.errors import BadValueError, plain_text, shown_name
from blockfit.jobs.done import done_so_far
from blockfit.jobs.job import Job
from blockfit.jobs.tables import marked
from blockfit.marking.pointing import Pointing, pointing
from blockfit.marking.roughing import Roughing, roughing
from blockfit.marking.setting import setting
from blockfit.search.result import Fit, Verdict
from blockfit.sheets.saving import check_folder, put_in_place, write_whole
from blockfit.sheets.templates.cut_sheets import cut_sheets, piece_sheets
from blockfit.sheets.templates.files import PAPERS_MM, save_template
from blockfit.sheets.templates.sheet import Sheet, face_sheet, plane_sheets, ruler_sheet
from blockfit.waste.offcuts.plan import OffcutPlan, offcuts

__all__ = ["mark_command"]

_LEAST_STEP_MM = 1.0  # between planes for roughing out

_marks, _points, _planes = map(headed, ("Marks and sheets", "Points", "Planes for roughing out"))


@click.command("mark", cls=Command)
@fitting
@sawing
@_points(
    "--points",
    "count",
    type=click.IntRange(3, 5000),
    default=120,
    show_default=True,
    help="How many points to carry over.",
)
@_planes("--step", default="50", show_default=True, help="Distance of the planes for roughing out.")
@_planes("--allowance", default="15", show_default=True, help="Stone that roughing out leaves over the figure.")
@_planes("--face", default="front", show_default=True, help="Face that roughing out goes in from.")
@_marks(
    "--paper",
    type=click.Choice(tuple(PAPERS_MM)),
    help="Tile the templates on A4, A3 or Letter.  [default: one large page]",
)
@_marks("--date", default="", help="Date to print on the templates.")
@_marks("-o", "--output", required=True, type=click.Path(path_type=Path), help="Folder to write the sheets to.")
def mark_command(  # noqa: PLR0913
    count: int,
    us: bool,
    step: str,
    allowance: str,
    face: str,
    paper: str | None,
    date: str,
    output: Path,
    **options: Any,
) -> None:
    """Mark FIGURE's block: how to set the model, the points, the planes, the cuts, and templates at full size.

    A job in FIGURE's place keeps its tables: the same sheets are written again, unless others are asked for.
    """
    check_folder(output)
    step_mm, allowance_mm = length_of(step, "--step"), length_of(allowance, "--allowance")
    if step_mm < _LEAST_STEP_MM:
        raise BadValueError(f"--step={step!r} must be at least {_LEAST_STEP_MM:g} mm")
    date = plain_text(date)[:40]
    tell, units = teller(), units_name(us)
    fit, job = case_of(tell, options)
    if fit.verdict is not Verdict.FITS:
        click.echo(f"{fit.figure.name} does not fit in {fit.block.name} as asked; blockfit survey says what is missing")
        if output.is_dir() and any(output.iterdir()):
            click.echo(f"what {shown_name(output)} holds is of an earlier run: do not cut by it")
        return
    tell("marking")
    points = _kept_points(job) or pointing(fit, count=count, inches=us)
    planes = None
    if fit.figure.is_solid:
        planes = _kept_planes(job, face) or roughing(fit, face=face, step=step_mm, allowance=allowance_mm)
    asked, plan = plan_for(job, options)
    if planes is not None and plan is None and (job is None or job.stage is None):  # else the block is no more
        plan = offcuts(fit, **_flat(asked), compare=False)
    texts = {"setting.txt": setting(fit).text(units), "points.txt": points.text(units), "points.csv": points.csv(units)}
    sheets: list[tuple[str, Sheet]] = []
    if planes is not None:
        texts["planes.txt"] = planes.text(units)
        sheets = _sheets_of(fit, planes, points, plan, date, units)
    # The job holds what the sheets say before any sheet is there to be cut by.
    if planes is not None:
        job = kept_job(job, None, fit, plan, asked) or job
    _keep(job, points, planes)
    output.mkdir(exist_ok=True)
    with TemporaryDirectory(prefix=".sheets-", dir=output) as made:
        for name, body in texts.items():
            write_whole(Path(made) / name, body)
        for name, sheet in sheets:
            for kind in (".svg", ".dxf", ".pdf"):
                save_template(sheet, Path(made) / (name + kind), paper=paper if kind == ".pdf" else None)
        others = put_in_place(Path(made), output)
    tell("")
    written = [*texts, *([f"{len(sheets)} templates, each as .svg, .dxf and .pdf"] if sheets else [])]
    click.echo(f"written to {output}: {', '.join(written)}")
    if others:
        click.echo(f"NOT of this run, do not cut by them: {', '.join(map(shown_name, others))}")


def _sheets_of(
    fit: Fit, planes: Roughing, points: Pointing, plan: OffcutPlan | None, date: str, units: str
) -> list[tuple[str, Sheet]]:
    """Return all templates by name: faces, planes, rulers, pieces and cuts."""
    sides = ("front", "back", "left", "right", "top")
    named = [(side, face_sheet(fit, side, date=date, units=units)) for side in sides]
    plates = plane_sheets(fit, planes, date=date, units=units)
    named += [(f"{planes.face}-plane-{number:02d}", sheet) for number, sheet in enumerate(plates, 1)]
    named.append(("rulers", ruler_sheet(max(fit.block.size_mm), points.factor, date=date, units=units)))
    if plan is not None:
        pieces = piece_sheets(plan, units=units, date=date)
        named += [(f"piece-{number:02d}", sheet) for number, sheet in enumerate(pieces, 1)]
        named += cut_sheets(plan, units=units, date=date)
    return named


def _kept_points(job: Job | None) -> Pointing | None:
    """Return the points that a job keeps, unless others are asked for."""
    again = given("Points")
    if job is None or job.points is None or not again:
        return None if job is None else job.points
    if done_so_far(job).points:
        raise BadValueError(f"{again[0]} asks for other points, and some of these have been cut: they stay")
    return None


def _kept_planes(job: Job | None, face: str) -> Roughing | None:
    """Return the planes from a face that a job keeps, unless others are asked for."""
    again = [name for name in given("Planes for roughing out") if name != "--face"]
    kept = None if job is None else next((table for table in job.planes if table.face == face), None)
    if job is None or kept is None or not again:
        return kept
    if done_so_far(job).of("plane", face):
        raise BadValueError(f"{again[0]} asks for other planes, and some from the {face} are worked: they stay")
    return None


def _keep(job: Job | None, points: Pointing, planes: Roughing | None) -> None:
    """Keep tables that are new in the job."""
    if job is None:
        return
    new_points = None if points is job.points else points
    new_planes = None if planes is None or planes in job.planes else planes
    if new_points is not None or new_planes is not None:
        marked(job, points=new_points, planes=new_planes).save()


def _flat(asked: dict[str, Any]) -> dict[str, Any]:
    """Return what is asked of `offcuts`, by its own names."""
    return {**{name: one for name, one in asked.items() if name != "sawing"}, **asked["sawing"]}

"""``blockfit mark``: everything that goes on the stone and the studio wall."""

from pathlib import Path
from typing import Any

import click

from blockfit.commands.headings import Command, headed
from blockfit.commands.options import fit_of, fitting
from blockfit.commands.sawing import sawing, sawing_of
from blockfit.commands.terms import length_of, teller
from blockfit.errors import BadValueError, plain_text
from blockfit.marking.pointing import pointing
from blockfit.marking.roughing import roughing
from blockfit.marking.setting import setting
from blockfit.search.result import Verdict
from blockfit.sheets.saving import check_folder, write_whole
from blockfit.sheets.templates.cut_sheets import cut_sheets, piece_sheets
from blockfit.sheets.templates.files import PAPERS_MM, save_template
from blockfit.sheets.templates.sheet import face_sheet, plane_sheets, ruler_sheet
from blockfit.waste.offcuts.plan import offcuts

__all__ = ["mark_command"]

_LEAST_STEP_MM = 1.0  # between planes for roughing out

_marks = headed("Marks and sheets")


@click.command("mark", cls=Command)
@fitting
@sawing
@_marks(
    "--points",
    "count",
    type=click.IntRange(3, 5000),
    default=120,
    show_default=True,
    help="How many points to carry over.",
)
@_marks("--inches", is_flag=True, help="Read the model in inches and sixteenths.")
@_marks("--step", default="50", show_default=True, help="Distance of the planes for roughing out.")
@_marks("--allowance", default="15", show_default=True, help="Stone that roughing out leaves over the figure.")
@_marks("--face", default="front", show_default=True, help="Face that roughing out goes in from.")
@_marks(
    "--paper",
    type=click.Choice(tuple(PAPERS_MM)),
    help="Tile the templates on A4, A3 or Letter.  [default: one large page]",
)
@_marks("--date", default="", help="Date to print on the templates.")
@_marks("-o", "--output", required=True, type=click.Path(path_type=Path), help="Folder to write the sheets to.")
def mark_command(
    count: int,
    inches: bool,
    step: str,
    allowance: str,
    face: str,
    paper: str | None,
    date: str,
    output: Path,
    **options: Any,
) -> None:
    """Mark FIGURE's block: how to set the model, the points, the planes, the cuts, and templates at full size."""
    check_folder(output)
    step_mm, allowance_mm = length_of(step, "--step"), length_of(allowance, "--allowance")
    if step_mm < _LEAST_STEP_MM:
        raise BadValueError(f"--step={step!r} must be at least {_LEAST_STEP_MM:g} mm")
    date = plain_text(date)[:40]
    tell = teller()
    fit = fit_of(tell, options)
    if fit.verdict is not Verdict.FITS:
        click.echo(
            f"{fit.figure.name} does not fit in {fit.block.name} as asked; blockfit survey tells what is missing"
        )
        return
    tell("marking")
    points = pointing(fit, count=count, inches=inches)
    planes = None
    if fit.figure.is_solid:
        planes = roughing(fit, face=face, step=step_mm, allowance=allowance_mm)
    output.mkdir(exist_ok=True)
    write_whole(output / "setting.txt", str(setting(fit)))
    write_whole(output / "points.txt", str(points))
    write_whole(output / "points.csv", points.csv())
    written = ["setting.txt", "points.txt", "points.csv"]
    if planes is not None:
        write_whole(output / "planes.txt", str(planes))
        sheets = [face_sheet(fit, side, date=date, inches=inches) for side in ("front", "back", "left", "right", "top")]
        named = list(zip(("front", "back", "left", "right", "top"), sheets, strict=True))
        plates = plane_sheets(fit, planes, date=date, inches=inches)
        named += [(f"{face}-plane-{number:02d}", sheet) for number, sheet in enumerate(plates, 1)]
        named.append(("rulers", ruler_sheet(max(fit.block.size_mm), points.factor, date=date)))
        asked = sawing_of(options)
        plan = offcuts(fit, **asked.pop("sawing"), **asked, compare=False)
        units = "us" if inches else "metric"
        named += [(f"piece-{n:02d}", sheet) for n, sheet in enumerate(piece_sheets(plan, units=units, date=date), 1)]
        named += cut_sheets(plan, units=units, date=date)
        for name, sheet in named:
            for kind in (".svg", ".dxf", ".pdf"):
                save_template(sheet, output / (name + kind), paper=paper if kind == ".pdf" else None)
        written += ["planes.txt", f"{len(named)} templates, each as .svg, .dxf and .pdf"]
    tell("")
    click.echo(f"written to {output}: {', '.join(written)}")

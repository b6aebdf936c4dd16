"""``blockfit compare``: one figure against every block of a yard."""

import sys
from pathlib import Path
from typing import Any

import click

from blockfit.commands.headings import Command, headed
from blockfit.commands.options import ASKING, READING, US, ask_of, figure_and, figure_of, units_name
from blockfit.commands.terms import check_output
from blockfit.endings import leave
from blockfit.errors import safe_lines
from blockfit.intake.yard_file import read_blocks
from blockfit.sheets.yard.rows import RANKS
from blockfit.yard import compare

__all__ = ["compare_command"]

_yard = headed("The yard")


@click.command("compare", cls=Command)
@figure_and(READING, ASKING, US)
@click.argument("yard", type=click.Path(path_type=Path))
@_yard("--rank", type=click.Choice(RANKS), default="largest", show_default=True, help="What is best.")
@_yard("--best", type=click.IntRange(1), help="Show the best so many, and stop once the rest is proved worse.")
@_yard("--skip-bad", is_flag=True, help="Leave out rows of the yard that cannot be read.")
@_yard("--jobs", type=int, help="Processes.  [default: all cores]")
@_yard("--resume", type=click.Path(path_type=Path), help="File of finished rows to continue from.")
@_yard("-o", "--output", type=click.Path(path_type=Path), help="Write the table to .csv, .json or .html.")
def compare_command(yard: Path, output: Path | None, us: bool, **options: Any) -> None:
    """Compare FIGURE against every block in YARD, a CSV or JSON file, and rank them."""
    check_output(output, (".csv", ".json", ".html"), [options["figure"], yard, *filter(None, [options["resume"]])])
    check_output(options["resume"], (), [options["figure"], yard])
    ask = ask_of(options)
    blocks = read_blocks(yard, skip_bad=options["skip_bad"])
    asked = {name: getattr(ask, name) for name in ("cover", "stance", "stands_on", "layers")}
    if options["gap"] is not None:
        asked["gap"] = ask.gap
    shared = {name: options[name] for name in ("scale", "rank", "best", "jobs", "resume")}
    table = compare(figure_of(options), blocks, progress=sys.stderr.isatty(), **asked, **shared)
    click.echo(safe_lines(table.text(units_name(us))), nl=False)
    written = "" if output is None else f"; the rows so far are in {table.save(output, units=units_name(us))}"
    if not table.finished:
        leave((table.stopped or "stopped") + written, 1 if table.stopped else 130)

"""``blockfit survey``: every answer about one figure in one block."""

from pathlib import Path
from typing import Any

import click

from blockfit.commands.cases import case_of, kept_job, plan_for
from blockfit.commands.headings import Command, headed
from blockfit.commands.options import fitting, outlines_of, units_name
from blockfit.commands.sawing import sawing
from blockfit.commands.terms import check_output, hand_over, length_of, teller
from blockfit.errors import shown_name
from blockfit.filing.job_file import check_new_job
from blockfit.jobs.done import done_words
from blockfit.jobs.stone import stone_now
from blockfit.overview import survey
from blockfit.sheets.page.document import page_can_be_made
from blockfit.units import floor_load_kg_m2, mass_kg, sizes_mm
from blockfit.waste.reach.tools import Tool

__all__ = ["survey_command"]

_LEAST_FACES, _MOST_FACES = 10_000, 1_000_000  # of figures that a second process helps with: it takes time and memory

_limits = headed("What your place and gear carry")
_undercuts = headed("Undercuts")
_output = headed("What is written")


@click.command("survey", cls=Command)
@fitting
@sawing
@_limits("--door", multiple=True, help="Opening to pass, width x height, such as 800x2000. May be repeated.")
@_limits("--hook-height", help="Free height under the hook.")
@_limits("--floor-limit", help='What the floor carries, such as 500 (kg/m²) or "100 psf".')
@_limits("--table-limit", help="What the table or banker carries (kg, or with a unit).")
@_limits("--hoist-limit", help="What the weakest of hoist, gantry and slings carries (kg, or with a unit).")
@_undercuts("--tool", help="What must reach: diameter x length, such as 12x250; a third size is the room for a hand.")
@_undercuts("--pitch", help="Distance of the columns that undercuts are measured by.")
@_output("--job", "job_file", type=click.Path(path_type=Path), help="Make a job of it: a new .blockfit file.")
@_output("--brief", "detail", flag_value="brief", help="Print the ten lines that decide, and stop.")
@_output("--all", "detail", flag_value="all", help="List everything, also what is small and far from any limit.")
@_output("-o", "--output", type=click.Path(path_type=Path), help="Write the survey to a .html, .txt or .json file.")
@_output("--json", "as_json", type=click.Path(path_type=Path), help="Write the survey as JSON.")
def survey_command(  # noqa: PLR0913
    us: bool,
    detail: str | None,
    door: tuple[str, ...],
    hook_height: str | None,
    floor_limit: str | None,
    table_limit: str | None,
    hoist_limit: str | None,
    tool: str | None,
    pitch: str | None,
    job_file: Path | None,
    output: Path | None,
    as_json: Path | None,
    **options: Any,
) -> None:
    """Survey FIGURE in one block: fit, stone cover, undercuts, offcuts and weights.

    The figure stands on the bottom, upright, facing the front within 30°, unless you say otherwise. A job in FIGURE's
    place is surveyed as it was placed and planned. Where there are only drawings, outlines stand in its place.
    """
    files = [options[name] for name in ("figure", "landmarks", "rough", "flaws", "tools")]
    inputs = [*filter(None, files), *outlines_of(options).values()]
    check_output(output, inputs=inputs)
    check_output(as_json, inputs=[*inputs, *filter(None, [output])])
    for target in (output, as_json):
        if target is not None and target.suffix.lower() == ".html":
            page_can_be_made()
    if job_file is not None:
        check_new_job(job_file)
    step = teller()
    fit, job = case_of(step, options)
    asked, plan = plan_for(job, options)
    told = survey(
        fit,
        **asked,
        plan=plan,
        stage=None if job is None or job.stage is None else stone_now(job),
        limits={
            "openings": [sizes_mm(opening, name="--door", count=2) for opening in door],
            "hook_height": None if hook_height is None else length_of(hook_height, "--hook-height"),
            "floor_kg_m2": None if floor_limit is None else floor_load_kg_m2(floor_limit, "--floor-limit"),
            "table_kg": None if table_limit is None else mass_kg(table_limit, "--table-limit"),
            "hoist_kg": None if hoist_limit is None else mass_kg(hoist_limit, "--hoist-limit"),
        },
        tool=None if tool is None else _tool(tool),
        pitch=None if pitch is None else length_of(pitch, "--pitch"),
        jobs=2 if _LEAST_FACES <= len(fit.figure.faces) <= _MOST_FACES else 1,
        progress=step,
    )
    step("")
    hand_over(told, output, as_json, units_name(us), detail or "usual")
    kept = kept_job(job, job_file, fit, told.offcuts, asked) or job
    if kept is not None:
        click.echo(f"\nthe job is in {shown_name(kept.path or '')}; {done_words(kept)}")


def _tool(text: str) -> Tool:
    count = text.lower().replace("×", "x").count("x") + 1
    sizes = sizes_mm(text, count=3 if count == 3 else 2, name="--tool")
    return Tool(sizes[0], sizes[1], hand=sizes[2] if len(sizes) > 2 else 0)

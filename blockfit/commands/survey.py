"""``blockfit survey``: every answer about one figure in one block."""

from pathlib import Path
from typing import Any

import click

from blockfit.commands.headings import Command, headed
from blockfit.commands.options import fit_of, fitting
from blockfit.commands.sawing import sawing, sawing_of
from blockfit.commands.terms import check_output, hand_over, length_of, teller
from blockfit.overview import survey
from blockfit.sheets.page.document import page_can_be_made
from blockfit.units import sizes_mm

__all__ = ["survey_command"]

_limits = headed("What your place and gear carry")
_undercuts = headed("Undercuts")
_output = headed("What is written")


@click.command("survey", cls=Command)
@fitting
@sawing
@_limits("--door", multiple=True, help="Opening to pass, width x height, such as 800x2000. May be repeated.")
@_limits("--hook-height", help="Free height under the hook.")
@_limits("--floor-limit", type=float, help="What the floor carries, in kg per m².")
@_limits("--table-limit", type=float, help="What the table or banker carries, in kg.")
@_limits("--hoist-limit", type=float, help="What the weakest of hoist, gantry and slings carries, in kg.")
@_undercuts("--pitch", help="Distance of the columns that undercuts are measured by.")
@_output("--pounds", is_flag=True, help="Show pounds beside kilograms.")
@_output("-o", "--output", type=click.Path(path_type=Path), help="Write the survey to a .html, .txt or .json file.")
@_output("--json", "as_json", type=click.Path(path_type=Path), help="Write the survey as JSON.")
def survey_command(
    pounds: bool,
    door: tuple[str, ...],
    hook_height: str | None,
    floor_limit: float | None,
    table_limit: float | None,
    hoist_limit: float | None,
    pitch: str | None,
    output: Path | None,
    as_json: Path | None,
    **options: Any,
) -> None:
    """Survey FIGURE in one block: fit, stone cover, undercuts, offcuts and weights.

    The figure stands on the bottom, upright, facing the front within 30°, unless you say otherwise.
    """
    inputs = [options["figure"], *filter(None, [options["landmarks"]])]
    check_output(output, inputs=inputs)
    check_output(as_json, inputs=[*inputs, *filter(None, [output])])
    for target in (output, as_json):
        if target is not None and target.suffix.lower() == ".html":
            page_can_be_made()
    step = teller()
    fit = fit_of(step, options)
    told = survey(
        fit,
        **sawing_of(options),
        pounds=pounds,
        limits={
            "openings": [sizes_mm(opening, name="--door", count=2) for opening in door],
            "hook_height": None if hook_height is None else length_of(hook_height, "--hook-height"),
            "floor_kg_m2": floor_limit,
            "table_kg": table_limit,
            "hoist_kg": hoist_limit,
        },
        pitch=None if pitch is None else length_of(pitch, "--pitch"),
        progress=step,
    )
    step("")
    hand_over(told, output, as_json)

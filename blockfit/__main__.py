"""The command line: survey one figure in one block, or try the demo."""

import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from blockfit.endings import Commands, ended, leave
from blockfit.errors import BadValueError, UnitNeededError, plain_text, safe_lines
from blockfit.intake.demo import demo_blocks, demo_figure
from blockfit.intake.scan import read_figure
from blockfit.intake.yard_file import read_blocks
from blockfit.marking.pointing import pointing
from blockfit.marking.roughing import roughing
from blockfit.marking.setting import setting
from blockfit.overview import Survey, survey
from blockfit.search.ask import Ask, Seek, standing_cover
from blockfit.search.choice.fit import answer
from blockfit.search.result import Fit, Verdict
from blockfit.sheets.page.document import page_can_be_made
from blockfit.sheets.saving import check_folder, check_target, write_whole
from blockfit.sheets.templates.files import PAPERS_MM, save_template
from blockfit.sheets.templates.sheet import face_sheet, plane_sheets, ruler_sheet
from blockfit.sheets.words import kg, rounded_down
from blockfit.sheets.yard.ranking import RANKS
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.stance import Stance
from blockfit.units import MM_PER_UNIT, length_mm, sizes_mm
from blockfit.yard import compare

__all__ = ["main"]

_LEAST_STEP_MM = 1.0  # between planes for roughing out


@click.group(cls=Commands)
@click.version_option(package_name="blockfit")
def cli() -> None:
    """Does the figure fit in the block, how must it stand, and what happens to the stone."""


_READING = (
    click.option("--unit", help="Unit of the figure's file: mm, cm, m, in, ft. Needed unless the format states it."),
    click.option("--ratio", default="1", show_default=True, help="Maquette to figure, such as 1:4."),
    click.option("--up", help="The file's axis that points up, such as +y.  [default: +z]"),
    click.option("--front", help="The file's axis towards which the figure looks, such as +z.  [default: -y]"),
    click.option("--landmarks", type=click.Path(path_type=Path), help="CSV or JSON file of name, x, y, z."),
    click.option("--max-hole", help="Widest hole to cap, at full size, such as 80mm."),
)
"""The options of every command that reads a figure."""

_ASKING = (
    click.option(
        "--cover", default="0", show_default=True, help="Sound stone to keep over the figure (mm, or with a unit)."
    ),
    click.option(
        "--bottom-cover", default="0", show_default=True, help="The same under it: 0 stands it on the bottom."
    ),
    click.option("--scale", type=float, help="Scale wanted; without it the largest that fits is found."),
    click.option(
        "--turn", type=float, default=30, show_default=True, help="How far it may be turned either way, in degrees."
    ),
    click.option("--lean", type=float, default=0, show_default=True, help="How far it may be leaned, in degrees."),
    click.option("--any-rotation", is_flag=True, help="Turn and lean it in any way at all."),
    click.option(
        "--stands-on", default="bottom", show_default=True, help="Face on which the block may be stood, or any."
    ),
    click.option("--layers", default="any", show_default=True, help="How the bed may lie: any, level or upright."),
    click.option(
        "--gap", type=float, default=1e-3, show_default=True, help="Relative gap left between answer and bound."
    ),
)
"""The options of every command that asks where a figure fits."""

_BLOCK = (
    click.option(
        "--block", "size", required=True, help="Width x depth x height, such as 900x750x1500 (mm) or 36x30x60in."
    ),
    click.option("--stone", help="Kind of stone, for the weights."),
    click.option("--skin", default="0", show_default=True, help="Weathered outside to be discarded on every face."),
    click.option("--bed", help="Axis square to the block's layers: x, y or z."),
)
"""The options of every command that is given one block."""

_Command = Callable[..., None]
_Option = Callable[[_Command], _Command]


def _figure_and(*groups: Sequence[_Option]) -> _Option:
    """Return what gives a command the argument FIGURE and these groups of options, in order."""
    argument: _Option = click.argument("figure", type=click.Path(path_type=Path))
    options: list[_Option] = [argument, *(option for group in groups for option in group)]

    def given(command: _Command) -> _Command:
        for option in reversed(options):
            command = option(command)
        return command

    return given


_fitting = _figure_and(_READING, _BLOCK, _ASKING)


def _figure_of(options: dict[str, Any]) -> Figure:
    """Return the figure that the shared options name."""
    hole = options["max_hole"]
    reading = {name: options[name] for name in ("unit", "ratio", "up", "front", "landmarks")}
    return read_figure(options["figure"], max_hole=None if hole is None else _length(hole, "--max-hole"), **reading)


def _ask_of(options: dict[str, Any]) -> Ask:
    """Return what the shared options ask."""
    scale = _scale_of(options)
    cover = _length(options["cover"], "--cover"), _length(options["bottom_cover"], "--bottom-cover")
    return Ask(
        seek=Seek.SCALE if scale is None else Seek.COVER,
        scale=1.0 if scale is None else scale,
        cover=standing_cover(*cover),
        stance=_stance_of(options),
        gap=options["gap"],
        stands_on=options["stands_on"],
        layers=options["layers"],
    )


def _fit_of(step: Callable[[str], None], options: dict[str, Any]) -> Fit:
    """Return the fit that the shared options ask for."""
    width, depth, height = sizes_mm(options["size"], name="--block")
    skin = _length(options["skin"], "--skin")
    block = Block.box(width, depth, height, stone=options["stone"], skin=skin, bed=options["bed"])
    ask = _ask_of(options)
    step(f"reading {options['figure'].name}")
    read = _figure_of(options)
    _ask_for_inches(options["size"], block, read)
    step("fitting")
    return answer(read, block, ask)


def _scale_of(options: dict[str, Any]) -> float | None:
    """Return the scale wanted, if it is one that a figure of stone can have."""
    scale: float | None = options["scale"]
    if scale is not None and not 1e-6 <= scale <= 1e6:
        raise BadValueError(f"--scale={scale:g} must be from 0.000001 to 1,000,000")
    return scale


def _stance_of(options: dict[str, Any]) -> Stance:
    any_rotation, lean, turn = options["any_rotation"], options["lean"], options["turn"]
    if any_rotation and (lean or turn != 30):
        raise BadValueError("--any-rotation leaves no limit for --lean or --turn; give the one or the others")
    return Stance.free() if any_rotation else Stance(lean, turn)


def _ask_for_inches(size: str, block: Block, figure: Figure) -> None:
    """Raise where sizes without a unit make a block far smaller than the figure, and inches would not."""
    bare = not any(letter.isalpha() and letter not in "xX" for letter in size) and not set(size) & set("\"'″′")
    largest_mm, tallest_mm = max(block.size_mm), max(figure.size_mm)
    if bare and largest_mm * 8 < tallest_mm and largest_mm * MM_PER_UNIT["in"] * 3 > tallest_mm:
        raise UnitNeededError(
            f"--block {size} is read as millimetres, and the figure is {tallest_mm / 1000:.3g} m long: were inches "
            f"meant? write {size.strip()}in, or {size.strip()}mm"
        )


@cli.command("survey")
@_fitting
@click.option("--lift-limit", type=float, help="Heaviest piece that can be lifted, in kg.")
@click.option("--least-weight", type=float, default=20, show_default=True, help="Lightest piece worth saving, in kg.")
@click.option("--clearance", default="20", show_default=True, help="Stone that offcuts leave over the figure.")
@click.option("--kerf", help="Width of every cut, whatever makes it.  [default: by method]")
@click.option(
    "--reserve",
    default="all",
    show_default=True,
    help="Setback that offcuts keep until the front is finished: all of it, 0 or a length.",
)
@click.option("--pounds", is_flag=True, help="Show pounds beside kilograms.")
@click.option("--door", multiple=True, help="Opening to pass, width x height, such as 800x2000. May be repeated.")
@click.option("--hook-height", help="Free height under the hook.")
@click.option("--floor-limit", type=float, help="What the floor carries, in kg per m².")
@click.option("--table-limit", type=float, help="What the table or banker carries, in kg.")
@click.option("--hoist-limit", type=float, help="What the weakest of hoist, gantry and slings carries, in kg.")
@click.option("--pitch", help="Distance of the columns that undercuts are measured by.")
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), help="Write the survey to a .html, .txt or .json file."
)
@click.option("--json", "as_json", type=click.Path(path_type=Path), help="Write the survey as JSON.")
def survey_command(
    lift_limit: float | None,
    least_weight: float,
    clearance: str,
    kerf: str | None,
    reserve: str,
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
    _check_target(output, inputs=inputs)
    _check_target(as_json, inputs=[*inputs, *filter(None, [output])])
    for target in (output, as_json):
        if target is not None and target.suffix.lower() == ".html":
            page_can_be_made()
    step = _teller()
    fit = _fit_of(step, options)
    told = survey(
        fit,
        lift_limit_kg=lift_limit,
        least_weight_kg=least_weight,
        clearance=_length(clearance, "--clearance"),
        kerf=None if kerf is None else _length(kerf, "--kerf"),
        reserve="all" if reserve.strip().lower() == "all" else _length(reserve, "--reserve"),
        pounds=pounds,
        limits={
            "openings": [sizes_mm(opening, name="--door", count=2) for opening in door],
            "hook_height": None if hook_height is None else _length(hook_height, "--hook-height"),
            "floor_kg_m2": floor_limit,
            "table_kg": table_limit,
            "hoist_kg": hoist_limit,
        },
        pitch=None if pitch is None else _length(pitch, "--pitch"),
        progress=step,
    )
    step("")
    _tell(told, output, as_json)


@cli.command("compare")
@_figure_and(_READING, _ASKING)
@click.argument("yard", type=click.Path(path_type=Path))
@click.option("--rank", type=click.Choice(RANKS), default="largest", show_default=True, help="What is best.")
@click.option("--best", type=click.IntRange(1), help="Look for so many only.")
@click.option("--skip-bad", is_flag=True, help="Leave out rows of the yard that cannot be read.")
@click.option("--jobs", type=int, help="Processes.  [default: all cores]")
@click.option("--resume", type=click.Path(path_type=Path), help="File of finished rows to continue from.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write the table to .csv, .json or .html.")
def compare_command(yard: Path, output: Path | None, **options: Any) -> None:
    """Compare FIGURE against every block in YARD, a CSV or JSON file, and rank them."""
    _check_target(output, (".csv", ".json", ".html"), [options["figure"], yard, *filter(None, [options["resume"]])])
    _check_target(options["resume"], (), [options["figure"], yard])
    ask = _ask_of(options)
    blocks = read_blocks(yard, skip_bad=options["skip_bad"])
    asked = {name: getattr(ask, name) for name in ("cover", "stance", "gap", "stands_on", "layers")}
    shared = {name: options[name] for name in ("scale", "rank", "best", "jobs", "resume")}
    table = compare(_figure_of(options), blocks, progress=sys.stderr.isatty(), **asked, **shared)
    click.echo(safe_lines(str(table)), nl=False)
    written = "" if output is None else f"; the rows so far are in {table.save(output)}"
    if not table.finished:
        leave((table.stopped or "stopped") + written, 1 if table.stopped else 130)


@cli.command("mark")
@_fitting
@click.option(
    "--points",
    "count",
    type=click.IntRange(3, 5000),
    default=120,
    show_default=True,
    help="How many points to carry over.",
)
@click.option("--inches", is_flag=True, help="Read the model in inches and sixteenths.")
@click.option("--step", default="50", show_default=True, help="Distance of the planes for roughing out.")
@click.option("--allowance", default="15", show_default=True, help="Stone that roughing out leaves over the figure.")
@click.option("--face", default="front", show_default=True, help="Face that roughing out goes in from.")
@click.option(
    "--paper",
    type=click.Choice(tuple(PAPERS_MM)),
    help="Tile the templates on A4, A3 or Letter.  [default: one large page]",
)
@click.option("--date", default="", help="Date to print on the templates.")
@click.option("-o", "--output", required=True, type=click.Path(path_type=Path), help="Folder to write the sheets to.")
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
    """Mark FIGURE's block: how to set the model, the points, the planes, and templates at full size."""
    check_folder(output)
    step_mm, allowance_mm = _length(step, "--step"), _length(allowance, "--allowance")
    if step_mm < _LEAST_STEP_MM:
        raise BadValueError(f"--step={step!r} must be at least {_LEAST_STEP_MM:g} mm")
    date = plain_text(date)[:40]
    tell = _teller()
    fit = _fit_of(tell, options)
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
        for name, sheet in named:
            for kind in (".svg", ".dxf", ".pdf"):
                save_template(sheet, output / (name + kind), paper=paper if kind == ".pdf" else None)
        written += ["planes.txt", f"{len(named)} templates, each as .svg, .dxf and .pdf"]
    tell("")
    click.echo(f"written to {output}: {', '.join(written)}")


@cli.command("demo")
@click.option("--json", "as_json", type=click.Path(path_type=Path), help="Write the survey as JSON.")
def demo_command(as_json: Path | None) -> None:
    """Try it on an invented figure: a lamplighter at 1:4, scanned, and a small yard of limestone."""
    _check_target(as_json)
    step = _teller()
    step("making the maquette and its scan")
    figure = demo_figure()
    ask = Ask(cover=standing_cover(20), stance=Stance.upright(30))
    step("fitting it in the yard's blocks")
    fits = [answer(figure, block, ask) for block in demo_blocks()]
    step("")
    click.echo(
        "The lamplighter, a quarter-size maquette, in an invented yard of limestone (skin 15 mm, cover 20 mm):\n"
    )
    for fit in fits:
        size = " x ".join(f"{side:,.0f}" for side in fit.block.size_mm)
        enough = "full size fits" if fit.scale >= 1 else "full size does not fit"
        weight = kg(fit.block.mass_kg)
        click.echo(
            f"  {fit.block.name}  {size:>21} mm  {weight:>9}  price {fit.block.price:>5.0f}   "
            f"largest scale {rounded_down(fit.scale, 3):.3f}, {enough}"
        )
    holding = [fit for fit in fits if fit.scale >= 1]
    chosen = min(holding, key=lambda fit: fit.block.price or 0.0).block
    click.echo(f"\nThe cheapest that holds it at full size is {chosen.name}:\n")
    fit = answer(figure, chosen, replace(ask, seek=Seek.COVER))
    told = survey(fit, lift_limit_kg=300, progress=step)
    step("")
    _tell(told, None, as_json)


def _length(text: str, name: str) -> float:
    """Return mm; a bare number counts as mm here, where ``--block`` does so too."""
    try:
        return length_mm(float(text), name, least=0)
    except ValueError as error:
        if isinstance(error, BadValueError):
            raise
        return length_mm(text, name, least=0)


def _check_target(
    path: Path | None, kinds: tuple[str, ...] = (".html", ".txt", ".json"), inputs: Iterable[Path] = ()
) -> None:
    if path is not None:
        check_target(path, kinds, inputs)


def _tell(told: Survey, output: Path | None, as_json: Path | None) -> None:
    click.echo(safe_lines(str(told)), nl=False)
    for target in (output, as_json):
        if target is not None:
            told.save(target)


def _teller() -> Callable[[str], None]:
    """Return what shows the step under way on a terminal's stderr, and nothing elsewhere."""
    if not sys.stderr.isatty():
        return lambda step: None
    return lambda step: click.echo(f"\r\033[K{plain_text(step) + ' …' if step else ''}", err=True, nl=False)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line: exit 0 for any answer, 2 for bad input, 130 when stopped, 1 for our own faults."""
    with ended():
        cli.main(arguments, prog_name="blockfit", standalone_mode=False)


if __name__ == "__main__":
    main()

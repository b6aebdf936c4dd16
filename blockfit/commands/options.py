"""The options that commands share, in groups, and what they name: the figure, the block, the question, the fit."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from blockfit.commands.headings import Decorator, headed
from blockfit.commands.terms import length_of
from blockfit.drawings.outlines import figure_from_outlines
from blockfit.errors import BadValueError, UnitNeededError
from blockfit.intake.scan import read_figure
from blockfit.intake.tables import read_flaws
from blockfit.search.ask import GAP, YARD_GAP, Ask, Seek, standing_cover
from blockfit.search.choice.fit import answer
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.stance import Stance
from blockfit.units import MM_PER_UNIT, sizes_mm

__all__ = [
    "block_of",
    "ASKING",
    "BLOCK",
    "HEADINGS",
    "READING",
    "US",
    "ask_of",
    "figure_and",
    "figure_of",
    "figure_options",
    "outlines_of",
    "fit_of",
    "fitting",
    "units_name",
]

_LEAST_SCALE, _MOST_SCALE = 1e-6, 1e6  # between them every statue and every miniature
_SEEKS = {"scale": Seek.SCALE, "cover": Seek.COVER, "setback": Seek.SETBACK}

HEADINGS = ("The figure's file", "Outlines in FIGURE's place", "The block", "What is asked")
"""Under which the options stand that lead to a fit."""

_figure, _outline, _block, _asked = map(headed, HEADINGS)

READING = (
    _figure("--unit", help="Unit of the figure's file: mm, cm, m, in, ft. Needed unless the format states it."),
    _figure("--ratio", default="1", show_default=True, help="Maquette to figure, such as 1:4."),
    _figure("--up", help="The file's axis that points up, such as +y.  [default: +z]"),
    _figure("--front", help="The file's axis towards which the figure looks, such as +z.  [default: -y]"),
    _figure("--landmarks", type=click.Path(path_type=Path), help="CSV or JSON file of name, x, y, z."),
    _figure("--max-hole", help="Widest hole to cap, at full size, such as 80mm."),
)
"""The options of every command that reads a figure."""

OUTLINES = (
    _outline("--front-outline", type=click.Path(path_type=Path), help="SVG, DXF, PNG or JPEG, seen from before."),
    _outline("--side-outline", type=click.Path(path_type=Path), help="The same from the left, its front to the right."),
    _outline("--top-outline", type=click.Path(path_type=Path), help="The same from above, its front downwards."),
    _outline("--back-outline", type=click.Path(path_type=Path), help="The same from behind."),
    _outline("--height", help="The figure's height at full size, such as 1200 (mm) or 4ft, to which they are scaled."),
    _outline("--outline-tolerance", default="2", show_default=True, help="By how much they may disagree."),
    _outline("--lines", is_flag=True, help="Pictures are line drawings: take what their lines enclose."),
)
"""The options of every command that takes outlines where there is no maquette yet."""

ASKING = (
    _asked("--cover", default="0", show_default=True, help="Sound stone to keep over the figure (mm, or with a unit)."),
    _asked("--bottom-cover", default="0", show_default=True, help="The same under it: 0 stands it on the bottom."),
    _asked("--scale", type=float, help="Scale wanted; without it the largest that fits is found."),
    _asked(
        "--turn", type=float, default=30, show_default=True, help="How far it may be turned either way, in degrees."
    ),
    _asked("--lean", type=float, default=0, show_default=True, help="How far it may be leaned, in degrees."),
    _asked("--any-rotation", is_flag=True, help="Turn and lean it in any way at all."),
    _asked("--stands-on", default="bottom", show_default=True, help="Face on which the block may be stood, or any."),
    _asked("--layers", default="any", show_default=True, help="How the bed may lie: any, level or upright."),
    _asked(
        "--gap",
        type=float,
        help=f"Relative gap left between answer and bound.  [default: {GAP:g}; for each block of a yard {YARD_GAP:g}]",
    ),
)
"""The options of every command that asks where a figure fits."""

SEEKING = (
    _asked(
        "--seek",
        type=click.Choice(tuple(_SEEKS)),
        help="What is made as large as possible.  [default: scale, or cover if a scale is given]",
    ),
)

BLOCK = (
    _block("--block", "size", help="Width x depth x height, such as 900x750x1500 (mm) or 36x30x60in."),
    _block("--rough", type=click.Path(path_type=Path), help="Mesh of a rough block instead, as it lies."),
    _block("--rough-unit", default="mm", show_default=True, help="Unit of the rough block's mesh."),
    _block("--stone", help="Kind of stone, for the weights."),
    _block("--skin", default="0", show_default=True, help="Weathered outside to be discarded on every face."),
    _block("--bed", help="Axis square to the block's layers: x, y or z."),
    _block("--flaws", type=click.Path(path_type=Path), help="CSV file of cracks, cavities, bad stone."),
)
"""The options of every command that is given one block."""


US = (
    headed("What is written")(
        "--us", is_flag=True, help="Feet and inches, pounds, square feet and psi in all that is printed and drawn."
    ),
)
"""The option of every command that prints."""


def units_name(us: bool) -> str:
    """Return the name of the unit system that ``--us`` asks for."""
    return "us" if us else "metric"


def figure_and(*groups: Sequence[Decorator], required: bool = True) -> Decorator:
    """Return what gives a command the argument FIGURE and these groups of options, in order."""
    argument: Decorator = click.argument("figure", type=click.Path(path_type=Path), required=required)
    options: list[Decorator] = [argument, *(option for group in groups for option in group)]

    def given(command: Callable[..., None]) -> Callable[..., None]:
        for option in reversed(options):
            command = option(command)
        return command

    return given


def figure_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options of every command that reads a figure."""
    for option in reversed(READING):
        command = option(command)
    return command


fitting = figure_and(READING, OUTLINES, BLOCK, ASKING, SEEKING, US, required=False)


def figure_of(options: dict[str, Any]) -> Figure:
    """Return the figure that the shared options name: a file's, or that of outlines."""
    if inputs := outlines_of(options):
        return _from_outlines(inputs, options)
    hole = options["max_hole"]
    reading = {name: options[name] for name in ("unit", "ratio", "up", "front", "landmarks")}
    return read_figure(options["figure"], max_hole=None if hole is None else length_of(hole, "--max-hole"), **reading)


def ask_of(options: dict[str, Any]) -> Ask:
    """Return what the shared options ask."""
    scale = _scale_of(options)
    sought = _SEEKS.get(options.get("seek") or "", Seek.SCALE if scale is None else Seek.COVER)
    if sought is Seek.SCALE and scale is not None:
        raise BadValueError("--seek scale finds the largest scale: give it without --scale")
    if sought is not Seek.SCALE and scale is None:
        raise BadValueError(f"--seek {options['seek']} is asked at one size: give --scale too, such as --scale 1")
    cover = length_of(options["cover"], "--cover"), length_of(options["bottom_cover"], "--bottom-cover")
    close = {} if options["gap"] is None else {"gap": options["gap"]}
    return Ask(
        seek=sought,
        scale=1.0 if scale is None else scale,
        cover=standing_cover(*cover),
        stance=_stance_of(options),
        stands_on=options["stands_on"],
        layers=options["layers"],
        **close,
    )


def fit_of(step: Callable[[str], None], options: dict[str, Any], *, certificate: bool = False) -> Fit:
    """Return the fit that the shared options ask for."""
    ask = ask_of(options)
    block = block_of(options)
    step(f"reading {options['figure'].name if options['figure'] else 'outlines'}")
    read = figure_of(options)
    if options["size"] is not None:
        _ask_for_inches(options["size"], block, read)
    step("fitting")
    return answer(read, block, ask, certificate=certificate)


def block_of(options: dict[str, Any]) -> Block:
    """Return the block that the shared options name: sawn, or rough as it lies."""
    size, rough = options["size"], options["rough"]
    if (size is None) == (rough is None):
        raise BadValueError("name one block: --block 900x750x1500, or --rough with its mesh")
    skin = length_of(options["skin"], "--skin")
    flaws = [] if options["flaws"] is None else read_flaws(options["flaws"])
    if size is not None:
        width, depth, height = sizes_mm(size, name="--block")
        block = Block.box(width, depth, height, stone=options["stone"], skin=skin, bed=options["bed"])
        return block.with_flaws(*flaws) if flaws else block
    if options["bed"] is not None:
        raise BadValueError("--bed is asked of a sawn block; a rough one is taken as it lies")
    return Block.scanned(rough, unit=options["rough_unit"], stone=options["stone"], skin=skin, flaws=flaws)


def outlines_of(options: dict[str, Any]) -> dict[str, Any]:
    """Return the outlines given in FIGURE's place, by view. Raises where neither is given."""
    found = {view: options.get(f"{view}_outline") for view in ("front", "side", "top", "back")}
    given = {view: path for view, path in found.items() if path is not None}
    if not given and options["figure"] is None:
        raise click.UsageError("Missing argument 'FIGURE': a file, or outlines in its place (--front-outline, …).")
    return given


def _from_outlines(inputs: dict[str, Any], options: dict[str, Any]) -> Figure:
    """Return the largest solid with these outlines."""
    for name in ("figure", "up", "front", "landmarks", "max_hole"):
        if options[name] is not None:
            shown = "FIGURE" if name == "figure" else "--" + name.replace("_", "-")
            raise BadValueError(f"{shown} is for a figure's file: give that, or outlines, not both")
    height = None if options["height"] is None else length_of(options["height"], "--height")
    return figure_from_outlines(
        **inputs,
        height=height,
        unit=options["unit"],
        ratio=options["ratio"],
        tolerance=length_of(options["outline_tolerance"], "--outline-tolerance"),
        lines=True if options["lines"] else None,
        name=next(iter(inputs.values())).stem,
    )


def _scale_of(options: dict[str, Any]) -> float | None:
    """Return the scale wanted, if it is one that a figure of stone can have."""
    scale: float | None = options["scale"]
    if scale is not None and not _LEAST_SCALE <= scale <= _MOST_SCALE:
        raise BadValueError(f"--scale={scale:g} must be from {_LEAST_SCALE:f} to {_MOST_SCALE:,.0f}")
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

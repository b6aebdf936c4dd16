"""The options about pieces to save, shared by the commands that plan them."""

import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from blockfit.commands.headings import headed
from blockfit.commands.terms import length_of
from blockfit.errors import BadValueError, BlockfitError, shown_name
from blockfit.intake.tables import table_rows
from blockfit.units import KG_PER_LB, M3_PER_CU_FT, mass_kg, number_of, sizes_mm
from blockfit.waste.cuts.methods import Method
from blockfit.waste.offcuts.prices import Prices
from blockfit.waste.offcuts.wishes import CUTS

__all__ = ["PIECES", "sawing", "sawing_of"]

PIECES = "Pieces to save"
"""The heading of these options."""

_pieces = headed(PIECES)
_TOOLS = ("name", "kerf", "drift", "overrun", "depth", "makes", "both sides", "note")

_OPTIONS = (
    _pieces("--lift-limit", help='Heaviest piece that can be lifted, such as 300 (kg) or "600 lb".'),
    _pieces("--least-weight", default="20", show_default=True, help='Lightest piece worth saving, such as "50 lb".'),
    _pieces("--clearance", default="20", show_default=True, help="Stone that offcuts leave over the figure."),
    _pieces("--kerf", help="Width of every cut, whatever makes it.  [default: by method]"),
    _pieces(
        "--reserve",
        default="all",
        show_default=True,
        help="Setback that offcuts keep until the front is finished: all of it, 0 or a length.",
    ),
    _pieces("--tools", type=click.Path(path_type=Path), help="CSV file of what makes your cuts; see the README."),
    _pieces("--cuts", type=click.Choice(CUTS), help="Cuts parallel to faces, square to one, or any.  [default: any]"),
    _pieces("--weight", help='What every piece is to weigh, such as "250-300 kg".'),
    _pieces("--shape", type=click.Choice(("lump", "slab")), help="Shape of the pieces.  [default: any]"),
    _pieces("--holds", help="Box that every piece must hold, width x depth x height."),
    _pieces("--most-pieces", type=click.IntRange(0), help="No more pieces than that."),
    _pieces(
        "--price",
        help='What a cubic metre saved brings you, such as 400, or by size: "0.05 m3: 400; 0.5 m3: 900". Pieces are '
        "then chosen by what they are worth, and none that does not pay.",
    ),
    _pieces("--sawing-cost", type=float, help="With --price: your cost of a square metre sawn."),
    _pieces("--rate", type=float, help="With --price: your own rate for an hour."),
    _pieces("--hours-piece", type=float, help="With --price: hours of handling a piece."),
    _pieces("--hours-m2", type=float, help="With --price: hours of your own to saw a square metre."),
)


def sawing(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options about pieces to save; `sawing_of` reads them."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def sawing_of(options: dict[str, Any]) -> dict[str, Any]:
    """Return what the options ask of `blockfit.survey`, by its own names; wishes are under ``sawing``."""
    kerf, reserve, lift = options["kerf"], options["reserve"], options["lift_limit"]
    return {
        "lift_limit_kg": None if lift is None else mass_kg(lift, "--lift-limit"),
        "least_weight_kg": mass_kg(options["least_weight"], "--least-weight"),
        "clearance": length_of(options["clearance"], "--clearance"),
        "kerf": None if kerf is None else length_of(kerf, "--kerf"),
        "reserve": "all" if reserve.strip().lower() == "all" else length_of(reserve, "--reserve"),
        "sawing": {
            "cuts": options["cuts"],
            "weight_kg": None if options["weight"] is None else _weights_of(options["weight"]),
            "shape": options["shape"] or "any",
            "holds": None if options["holds"] is None else sizes_mm(options["holds"], name="--holds"),
            "most_pieces": options["most_pieces"],
            "methods": None if options["tools"] is None else _methods_from(options["tools"]),
            "prices": _prices_of(options),
        },
    }


def _weights_of(text: str) -> tuple[float, float]:
    """Return the least and the most kg of ``250-300 kg`` or ``550-660 lb``."""
    found = re.fullmatch(r"\s*([\d.]{1,12})\s*(?:-|–|to)\s*([\d.]{1,12})\s*(kg|lb)?\s*", text)
    if found is None:
        raise BadValueError(f'--weight={text!r} must be two weights, such as "250-300 kg"')
    unit = KG_PER_LB if found[3] == "lb" else 1.0
    return number_of(found[1], "--weight") * unit, number_of(found[2], "--weight") * unit


def _prices_of(options: dict[str, Any]) -> Prices | None:
    """Return the prices and rates asked, ``None`` without a price."""
    price = options["price"]
    names = {"sawing_cost": "sawing_m2", "rate": "rate_hour", "hours_piece": "hours_piece", "hours_m2": "hours_m2"}
    rates = {names[name]: options[name] for name in names if options[name] is not None}
    if price is None:
        if rates:
            raise BadValueError("prices and rates need --price as well: what a cubic metre saved brings you")
        return None
    if ":" not in price:
        return Prices(number_of(price, "--price"), **rates)
    return Prices([_step_of(step, price) for step in price.split(";")], **rates)


def _step_of(step: str, price: str) -> tuple[float, float]:
    """Return the size in m³ from which a price holds, and the price, of ``0.05 m3: 400``."""
    found = re.fullmatch(r"\s*([\d.,]{1,12})\s*(m3|m³|cu ft)\s*:\s*([\d.,]{1,12})\s*", step)
    if found is None:
        raise BadValueError(
            f'--price={price!r} must be a price, or prices by size, such as "0.05 m3: 400; 0.5 m3: 900"'
        )
    unit = M3_PER_CU_FT if found[2] == "cu ft" else 1.0
    return number_of(found[1], "--price") * unit, number_of(found[3], "--price")


def _methods_from(path: Path) -> tuple[Method, ...]:
    """Return the ways to cut in a CSV file, in order of preference; ``depth`` may stay empty: no limit."""
    methods = []
    for row in table_rows(path, _TOOLS):
        try:
            methods.append(
                Method(
                    row.text("name", "a cut"),
                    kerf_mm=row.length("kerf"),
                    drift_mm=row.length("drift", 0.0),
                    overrun_mm=row.length("overrun", 0.0),
                    depth_mm=row.length("depth", math.inf),
                    makes=int(row.number("makes", 1.0)),
                    opposed=row.flag("both sides"),
                )
            )
        except BlockfitError as error:
            shown = str(error)
            raise BadValueError(shown if shown.startswith(row.place) else f"{row.place}: {shown}") from error
    if not methods:
        raise BadValueError(f"{shown_name(path)} holds headings and no tools")
    return tuple(methods)

"""The options about pieces to save, shared by the commands that plan them."""

from collections.abc import Callable
from typing import Any

from blockfit.commands.headings import headed
from blockfit.commands.terms import length_of

__all__ = ["sawing", "sawing_of"]

_pieces = headed("Pieces to save")

_OPTIONS = (
    _pieces("--lift-limit", type=float, help="Heaviest piece that can be lifted, in kg."),
    _pieces("--least-weight", type=float, default=20, show_default=True, help="Lightest piece worth saving, in kg."),
    _pieces("--clearance", default="20", show_default=True, help="Stone that offcuts leave over the figure."),
    _pieces("--kerf", help="Width of every cut, whatever makes it.  [default: by method]"),
    _pieces(
        "--reserve",
        default="all",
        show_default=True,
        help="Setback that offcuts keep until the front is finished: all of it, 0 or a length.",
    ),
)


def sawing(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options about pieces to save; `sawing_of` reads them."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def sawing_of(options: dict[str, Any]) -> dict[str, Any]:
    """Return what the options ask of `blockfit.offcuts`, by its own names."""
    kerf, reserve = options["kerf"], options["reserve"]
    return {
        "lift_limit_kg": options["lift_limit"],
        "least_weight_kg": options["least_weight"],
        "clearance": length_of(options["clearance"], "--clearance"),
        "kerf": None if kerf is None else length_of(kerf, "--kerf"),
        "reserve": "all" if reserve.strip().lower() == "all" else length_of(reserve, "--reserve"),
    }

"""What every command does alike: lengths as written, targets checked, steps shown, a survey handed over."""

import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import click

from blockfit.errors import BadValueError, plain_text, safe_lines
from blockfit.overview import Survey
from blockfit.sheets.saving import check_target
from blockfit.units import length_mm

__all__ = ["check_output", "hand_over", "length_of", "teller"]


def length_of(text: str, name: str) -> float:
    """Return mm; a bare number counts as mm here, where ``--block`` does so too."""
    try:
        return length_mm(float(text), name, least=0)
    except ValueError as error:
        if isinstance(error, BadValueError):
            raise
        return length_mm(text, name, least=0)


def check_output(
    path: Path | None, kinds: tuple[str, ...] = (".html", ".txt", ".json"), inputs: Iterable[Path] = ()
) -> None:
    """Refuse before the work a file that could not be written after it; ``None`` is no file."""
    if path is not None:
        check_target(path, kinds, inputs)


def hand_over(
    told: Survey, output: Path | None, as_json: Path | None, units: str = "metric", detail: str = "usual"
) -> None:
    """Print a survey, and save it where asked."""
    click.echo(safe_lines(told.text(units, detail)), nl=False)
    for target in (output, as_json):
        if target is not None:
            told.save(target, units=units)


def teller() -> Callable[[str], None]:
    """Return what shows the step under way on a terminal's stderr, and nothing elsewhere."""
    if not sys.stderr.isatty():
        return lambda step: None
    return lambda step: click.echo(f"\r\033[K{plain_text(step) + ' …' if step else ''}", err=True, nl=False)

"""Tables that carvers write themselves: readings, marks, flaws, own tools, as CSV with headings.

Lengths are mm unless the heading, as in ``up (in)``, or the cell, as in ``14 1/2 in``, says another unit. A mistake is
reported with its line, its column and what was expected."""

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import numpy as np

from blockfit.errors import BadValueError, BlockfitError, UnreadableFileError, plain_text, shown_name
from blockfit.intake.guard import separator_of, text_of
from blockfit.intake.scan import read_figure
from blockfit.solids.flaw import Flaw
from blockfit.units import length_mm, number_of, unit_mm

__all__ = ["TableRow", "read_flaws", "read_marks", "read_places", "table_rows"]

_MOST_BYTES = 64 << 20
_MOST_ROWS = 1_000_000
_MOST_NAME = 120
_MOST_MM = 1e6
_PLAIN = re.compile(r"[+-]?(?:\d{1,20}(?:\.\d{0,25})?|\.\d{1,25})(?:e[+-]?\d{1,3})?", re.IGNORECASE)
_YES, _NO = ("yes", "y", "true", "1", "x"), ("no", "n", "false", "0", "")
_HEADING = re.compile(r"([a-z][a-z0-9 ]*?)\s*(?:[(\[]\s*([a-z\"'″′]+)\s*[)\]])?")
_PLACE = ("across", "in", "up")
_ON_SCAN = ("scan x", "scan y", "scan z")
_OTHER_NAMES = {"x": "across", "y": "in", "z": "up"}
_FLAWS = ("kind", "name", *_PLACE, "radius", "nx", "ny", "nz", "across 2", "in 2", "up 2", "offset", "margin", "file")


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row: where it stands, its cells by heading, and the unit that each heading names (``""`` for none)."""

    place: str
    cells: dict[str, str]
    units: dict[str, str]

    def has(self, *names: str) -> bool:
        """Tell whether all of these cells hold something."""
        return all(self.cells.get(name, "").strip() for name in names)

    def text(self, name: str, default: str = "") -> str:
        """Return a cell's text without what cannot be shown."""
        return plain_text(self.cells.get(name, "")[: 4 * _MOST_NAME])[:_MOST_NAME] or default

    def length(self, name: str, default: float | None = None, *, least: float | None = None) -> float:
        """Return a cell's length in mm; ``default`` if it is empty and there is one."""
        text = self._needed(name, "a length, such as 35 or 14 1/2 in", default is None)
        if not text:
            return default or 0.0
        try:
            bare = not re.search(r"[a-zA-Z\"'″′]", text) or _PLAIN.fullmatch(text)
            factor = unit_mm(self.units.get(name) or "mm")
            value = _number(text, name) * factor if bare else length_mm(text, name)
            if abs(value) > _MOST_MM:
                raise BadValueError(f"{name}={text[:40]!r} is over a kilometre; check the unit")
            return length_mm(value, name) if least is None else length_mm(value, name, least=least)
        except BlockfitError as error:
            raise BadValueError(f"{self.place}: {error}") from error

    def number(self, name: str, default: float | None = None) -> float:
        """Return a cell's plain number."""
        text = self._needed(name, "a number", default is None)
        if not text:
            return default or 0.0
        try:
            return _number(text, name)
        except BlockfitError as error:
            raise BadValueError(f"{self.place}: {error}") from error

    def flag(self, name: str) -> bool:
        """Return whether a cell says yes."""
        text = self.cells.get(name, "").strip().lower()
        if text not in (*_YES, *_NO):
            raise BadValueError(f"{self.place}: {name}={text[:40]!r} must be yes or no")
        return text in _YES

    def _needed(self, name: str, expected: str, needed: bool) -> str:
        text = self.cells.get(name, "").strip()
        if needed and not text:
            raise BadValueError(f"{self.place}: {name} is missing; expected {expected}")
        return text


def _number(text: str, name: str) -> float:
    """Return a plain number, with all the digits that a program writes, or as people write it."""
    if _PLAIN.fullmatch(text):
        return float(text)
    return (-1.0 if text.startswith("-") else 1.0) * number_of(text.lstrip("+-"), name)


def table_rows(path: str | Path, known: Sequence[str], bare: Sequence[str] = ()) -> list[TableRow]:
    """Return the rows of a CSV file (commas or semicolons) with headings among ``known``, in any order.

    A file whose first line is no heading has the columns ``bare``, if those are given.
    """
    file = Path(path)
    name, text = shown_name(file), text_of(file, _MOST_BYTES)
    separator, before = separator_of(text)
    try:
        lines = list(csv.reader(text.splitlines()[before:], delimiter=separator, strict=True))
    except csv.Error as error:
        raise UnreadableFileError(f"{name} is no table that can be read: {error}") from error
    numbered = [(k, cells) for k, cells in enumerate(lines, 1 + before) if any(cell.strip() for cell in cells)]
    if not numbered:
        raise BadValueError(f"{name} is empty")
    if len(numbered) > _MOST_ROWS:
        raise BadValueError(f"{name} has {len(numbered):,} rows; at most {_MOST_ROWS:,} are read")
    headings, units, start = _headings(numbered[0][1], known, bare, name)
    rows = []
    for k, cells in numbered[start:]:
        if len(cells) > len(headings) and any(cell.strip() for cell in cells[len(headings) :]):
            raise BadValueError(f"{name}, line {k}: {len(cells)} cells under {len(headings)} headings")
        rows.append(TableRow(f"{name}, line {k}", dict(zip(headings, cells, strict=False)), units))
    return rows


def _headings(
    cells: Sequence[str], known: Sequence[str], bare: Sequence[str], name: str
) -> tuple[list[str], dict[str, str], int]:
    """Return the columns' names, their units, and how many rows the heading takes."""
    found = [_HEADING.fullmatch(cell.strip().lower().replace("_", " ")) for cell in cells]
    words = [
        _OTHER_NAMES.get(one.group(1), one.group(1)) if one else cell for one, cell in zip(found, cells, strict=True)
    ]
    if bare and not set(words) & set(known):
        return list(bare), {}, 0
    for word in words:
        if word not in known:
            near = get_close_matches(word, known, n=1, cutoff=0.6)
            meant = f"did you mean {near[0]}? " if near else ""
            raise BadValueError(
                f"{name}: column {plain_text(word)[:40]!r} is not known; {meant}known: {', '.join(known)}"
            )
    if len(set(words)) < len(words):
        raise BadValueError(f"{name}: two columns have the same heading")
    units = {word: (one.group(2) or "") if one else "" for word, one in zip(words, found, strict=True)}
    for word, unit in units.items():
        if unit:
            unit_mm(unit, f"{name}, column {word}")
    return words, units, 1


def read_places(path: str | Path) -> dict[str, tuple[float, float, float]]:
    """Return named places (across, in, up) in mm: readings taken back from the stone.

    Columns ``name, across, in, up`` (or ``name, x, y, z``); without headings in that order. A name may stay empty.
    Raises `BadValueError` for a name that comes twice.
    """
    places: dict[str, tuple[float, float, float]] = {}
    for k, row in enumerate(table_rows(path, ("name", *_PLACE, "note"), ("name", *_PLACE)), 1):
        name = row.text("name", f"reading {k}")
        if name in places:
            raise BadValueError(f"{row.place}: {name!r} is there twice; give each reading a name of its own")
        across, depth, up = (row.length(axis) for axis in _PLACE)
        places[name] = (across, depth, up)
    if not places:
        raise BadValueError(f"{shown_name(path)} holds headings and no readings")
    return places


def read_marks(path: str | Path) -> dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]]:
    """Return marked crosses known twice, in mm: their place on a scan, and in the block.

    Columns ``name, scan x, scan y, scan z, across, in, up``; without headings in that order.
    """
    marks = {}
    for k, row in enumerate(table_rows(path, ("name", *_ON_SCAN, *_PLACE, "note"), ("name", *_ON_SCAN, *_PLACE)), 1):
        name = row.text("name", f"mark {k}")
        if name in marks:
            raise BadValueError(f"{row.place}: {name!r} is there twice; give each mark a name of its own")
        x, y, z, across, depth, up = (row.length(axis) for axis in (*_ON_SCAN, *_PLACE))
        marks[name] = (x, y, z), (across, depth, up)
    return marks


def read_flaws(path: str | Path) -> list[Flaw]:
    """Return the flaws of a CSV file, in the block's frame.

    ``kind`` is ``ball`` (``across in up radius``), ``disc``, a round crack (and ``nx ny nz``, square to it), ``box``
    (from ``across in up`` to ``across 2, in 2, up 2``), ``beyond``, all bad stone past a plane (``nx ny nz offset``),
    or ``solid`` (``file``, a mesh in mm in the block's frame). ``margin`` is kept clear of it.
    """
    flaws = []
    for row in table_rows(path, (*_FLAWS, "note")):
        kind = row.text("kind").lower()
        margin, name = row.length("margin", 0.0, least=0), row.text("name", kind)
        try:
            flaws.append(_flaw(row, kind, margin, name, Path(path).parent))
        except BlockfitError as error:
            shown = str(error)
            raise BadValueError(shown if shown.startswith(row.place) else f"{row.place}: {shown}") from error
    if not flaws:
        raise BadValueError(f"{shown_name(path)} holds headings and no flaws")
    return flaws


def _flaw(row: TableRow, kind: str, margin: float, name: str, folder: Path) -> Flaw:
    if kind == "solid":
        return Flaw.solid(
            read_figure(folder / row.text("file"), unit="mm", up="+z", front="-y"), margin=margin, name=name
        )
    if kind == "beyond":
        normal = [row.number(axis) for axis in ("nx", "ny", "nz")]
        return Flaw.beyond(normal, row.length("offset"), margin=margin, name=name)
    place = np.array([row.length(axis) for axis in _PLACE]) if kind in ("ball", "disc", "box") else np.zeros(3)
    if kind == "ball":
        return Flaw.ball(place, row.length("radius", least=0), margin=margin, name=name)
    if kind == "disc":
        normal = [row.number(axis) for axis in ("nx", "ny", "nz")]
        return Flaw.disc(place, normal, row.length("radius", least=0), margin=margin, name=name)
    if kind == "box":
        return Flaw.box(place, [row.length(f"{axis} 2") for axis in _PLACE], margin=margin, name=name)
    raise BadValueError(f"kind={kind[:40]!r} must be ball, disc, box, beyond or solid")

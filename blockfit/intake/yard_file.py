"""Reading a yard: a CSV or JSON file of blocks, every mistake reported at once with its place and what was expected."""

import csv
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import IO, Any

from blockfit.errors import BadValueError, BlockfitError, UnreadableFileError, plain_text, shown_name
from blockfit.intake.guard import (
    MOST_MESH_BYTES,
    encoding_of,
    json_from,
    no_text,
    regular_file,
    separator_of,
    text_of,
)
from blockfit.kinds import kinds_checked
from blockfit.solids.block import Block
from blockfit.solids.stone import Stone, find_stone
from blockfit.units import ambiguous, length_mm, number_of, unit_mm

__all__ = ["iter_blocks", "read_blocks"]

_SIZES = ("width", "depth", "height")
_KNOWN = (*_SIZES, "name", "stone", "skin", "bed", "price", "density", "note")
_PER = {"block": "block", "t": "tonne", "tonne": "tonne", "ton": "tonne", "m3": "m3", "m³": "m3", "kg": "kg"}
_MOST_LINE = 1 << 20  # letters of one line
_MOST_NAME = 200
_MOST_WORDS = 380  # letters of an error that lists mistakes
_MOST_PRICE = 1e12
_LEAST_MM = 10.0  # a size below that, written as 1.500, is taken for one whose dot groups thousands


@kinds_checked
def read_blocks(path: str | Path, *, skip_bad: bool = False) -> list[Block]:
    r"""Return the blocks of a yard file.

    Columns, in any order: ``width depth height`` (with a unit in the heading, such as ``width (in)``, or in every
    cell), and if you like ``name stone skin bed price density note``. A price is for the block, or ``per tonne`` or
    ``per m3`` in the heading or the cell; it is turned into the block's. ``density`` is kg/m³, measured. A JSON file
    holds a list of objects with the same keys. Raises `BadValueError` with every mistake: line, column, value and
    what was expected; ``skip_bad`` leaves those rows out instead.

    Sizes come back in mm. Also raises `BadValueError` where no block is left, and `UnreadableFileError` for a file that
    is missing or no table.

    >>> import pathlib, tempfile
    >>> import blockfit as bf
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder) / "yard.csv"
    ...     text = file.write_text("name,width (in),depth (in),height (in),stone\nA-3,36,30,60,marble\nA-4,0,30,60,\n")
    ...     blocks = bf.read_blocks(file, skip_bad=True)
    >>> [(block.name, block.size_mm, block.stone.name) for block in blocks]
    [('A-3', (914.4, 762.0, 1524.0), 'marble')]
    """
    blocks, wrong = [], []
    for place, block in iter_blocks(path):
        if isinstance(block, Block):
            blocks.append(block)
        else:
            wrong += [f"{place}: {mistake}" for mistake in block]
    if wrong and not skip_bad:
        raise BadValueError(_all_mistakes(shown_name(path), wrong))
    if not blocks:
        raise BadValueError(f"{shown_name(path)} holds no block that can be read")
    return blocks


def _all_mistakes(name: str, wrong: list[str]) -> str:
    """Return as many mistakes as one message can hold, and how many more there are."""
    for count in range(len(wrong), 1, -1):
        more = f"; and {len(wrong) - count} more" if count < len(wrong) else ""
        text = f"{name}: " + "; ".join(wrong[:count]) + more
        if len(text) <= _MOST_WORDS:
            return text
    return f"{name}: {wrong[0]}" + (f"; and {len(wrong) - 1} more" if len(wrong) > 1 else "")


@kinds_checked
def iter_blocks(path: str | Path) -> Iterator[tuple[str, Block | list[str]]]:
    r"""Yield each row's place in the file, and its block or what is wrong with it; one row in memory at a time.

    The place is ``line 2`` or ``block 2``, the mistakes a list of sentences; columns are those of `read_blocks`.
    Raises, once it is asked for rows, `BadValueError` for a file that is empty or whose JSON is no list, and
    `UnreadableFileError` for one that is missing or no table.

    >>> import pathlib, tempfile
    >>> import blockfit as bf
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder) / "yard.csv"
    ...     text = file.write_text("name,width (in),depth (in),height (in),stone\nA-3,36,30,60,marble\nA-4,0,30,60,\n")
    ...     rows = list(bf.iter_blocks(file))
    >>> rows[0][0], rows[0][1].name, rows[1]
    ('line 2', 'A-3', ('line 3', ["column 'width (in)': '0' must be more than 0"]))
    """
    file = Path(path)
    try:
        if file.suffix.lower() == ".json":
            yield from _json_blocks(file)
        else:
            regular_file(file, MOST_MESH_BYTES)
            with file.open("rb") as start:
                encoding = encoding_of(start.read(2))
            with file.open(encoding=encoding, newline="") as lines:
                yield from _csv_blocks(lines, shown_name(file))
    except UnicodeDecodeError as error:
        raise no_text(file) from error
    except csv.Error as error:
        raise UnreadableFileError(f"{shown_name(file)} is no table that can be read: {error}") from error
    except OSError as error:
        if isinstance(error, BlockfitError):
            raise
        raise UnreadableFileError(f"{shown_name(file)} cannot be read: {error.strerror or error}") from error


def _json_blocks(file: Path) -> Iterator[tuple[str, Block | list[str]]]:
    rows = json_from(text_of(file), shown_name(file))
    if not isinstance(rows, list):
        raise BadValueError(f"{shown_name(file)}: a yard is a list of blocks, [{{…}}, {{…}}]")
    for number, row in enumerate(rows, 1):
        if isinstance(row, dict):
            yield f"block {number}", _block({str(k): v for k, v in row.items()}, number)
        else:
            yield f"block {number}", [f"{_shown(row)} is no object with width, depth and height"]


def _csv_blocks(lines: IO[str], name: str) -> Iterator[tuple[str, Block | list[str]]]:
    separator, before = separator_of(lines.read(4096))
    lines.seek(0)
    for _ in range(before):
        lines.readline()
    reader = csv.DictReader(_bounded(lines, name), delimiter=separator, strict=True)
    if not reader.fieldnames:
        raise BadValueError(f"{name} is empty")
    number = 0
    for cells in reader:
        extra = [cell for cell in cells.pop(None, None) or () if cell.strip()]
        told = {heading: cell for heading, cell in cells.items() if cell is not None and cell.strip()}
        number += bool(told or extra)
        place = f"line {reader.line_num + before}"
        if extra:
            yield place, [f"{len(extra)} more cells than headings"]
        elif told:
            yield place, _block(told, number)


def _bounded(lines: IO[str], name: str) -> Iterator[str]:
    """Yield the lines of a file, none of them endless."""
    while line := lines.readline(_MOST_LINE):
        if len(line) == _MOST_LINE:
            raise UnreadableFileError(f"{name} has a line of more than {_MOST_LINE:,} letters; it is no table")
        yield line


def _shown(value: Any) -> str:
    """Return a cell as an error shows it."""
    text = plain_text(repr(value)[:200])
    return text if len(text) <= 40 else text[:30] + "…" + text[-8:]


def _block(cells: dict[str, Any], number: int) -> Block | list[str]:
    """Return the block of a row, or its mistakes."""
    wrong: list[str] = []
    told: dict[str, tuple[str, str | None, Any]] = {}
    for heading, value in cells.items():
        name, unit = _heading(heading)
        if name not in _KNOWN:
            wrong.append(f"column {_shown(heading)} is not known; known are {', '.join(_KNOWN)}")
        elif name in told:
            wrong.append(f"column {_shown(heading)} says {name} again")
        else:
            told[name] = (heading, unit, value)
    for size in _SIZES:
        if size not in told:
            wrong.append(f"column {size} is missing or empty; expected a length")

    def ask(name: str, read: Any, expected: str) -> Any:
        if name not in told:
            return None
        heading, unit, value = told[name]
        try:
            return read(value, unit)
        except (BlockfitError, ValueError, TypeError, OverflowError) as error:
            wrong.append(f"column {_shown(heading)}: {_shown(value)} {_why(error) or f'should be {expected}'}")
            return None

    sizes = [ask(size, _size, "a length with a unit, such as 900 mm") for size in _SIZES]
    skin = ask("skin", _length, "a length with a unit, such as 15 mm") or 0.0
    stone = ask("stone", lambda value, unit: find_stone(str(value)), "a stone of the table")
    density = ask("density", lambda value, unit: _density(value), "a density in kg/m³, measured")
    bed = ask("bed", lambda value, unit: _bed(value), "x, y or z, the axis square to the layers")
    price = ask("price", _price, "a price, such as 2400, or 900 per tonne")
    if wrong:
        return wrong
    try:
        if density is not None:
            name = stone.name if stone else "stone as measured"
            stone = Stone(name, density, density, density, source="density measured, from the yard's list")
        called = (
            plain_text(str(told["name"][2])[: 4 * _MOST_NAME])[:_MOST_NAME] if "name" in told else f"block {number}"
        )
        block = Block.box(*sizes, stone=stone, name=called, skin=skin, bed=bed)
        return block if price is None else replace(block, price=_for_block(block, *price))
    except BlockfitError as error:
        return [str(error)]


def _heading(text: str) -> tuple[str, str | None]:
    """Return a heading's name and unit: ``Width (in)``, ``width_mm``, ``price per m3``."""
    plain = text.strip().lower()
    match = re.fullmatch(r"price\s*[_ (/]*\s*(?:per|/)?\s*[_ ]*(block|tonne|ton|t|m3|m³|kg)\)?", plain)
    if match:
        return "price", match.group(1)
    match = re.fullmatch(r"([a-z]+)[\s_]*[(\[]?\s*([a-z\"'/³0-9]*)\s*[)\]]?", plain)
    if match is None:
        return plain, None
    return match.group(1), match.group(2) or None


def _why(error: Exception) -> str:
    """Return the reason of an error without the value, which is shown already, and without the examples."""
    if not isinstance(error, BlockfitError):
        return ""
    reason = re.split(r"; write for instance|\? known:", str(error))[0]
    verb = re.search(r"^\w+=\S.*? (?=is |has |must |can )", reason)
    if verb or reason.startswith("must "):
        return reason[verb.end() :] if verb else reason
    return f"({reason})"


def _length(value: Any, unit: str | None) -> float:
    if isinstance(value, bool):
        raise BadValueError("no length")
    text = str(value).strip()
    factor = None if unit is None else unit_mm(unit, "unit")
    plain = re.fullmatch(r"[\d.,/eE+\-'’\s]+", text) and text[-1] not in "'’"
    millimetres = number_of(text, "length") * factor if plain and factor else length_mm(text, "length")
    grouped = re.match(r"[1-9]\d{0,2}\.\d{3}(?!\d)", text)
    if grouped and isinstance(value, str) and millimetres < _LEAST_MM:
        raise ambiguous(grouped.group(), "length")
    return length_mm(millimetres, "length", least=0)


def _size(value: Any, unit: str | None) -> float:
    size = _length(value, unit)
    if size <= 0:
        raise BadValueError("must be more than 0")
    return size


def _density(value: Any) -> float:
    number = number_of(str(value), "density")
    if not 0 < number < 30_000:
        raise ValueError
    return number


def _bed(value: Any) -> str:
    axis = str(value).strip().lower()
    if axis not in ("x", "y", "z"):
        raise ValueError
    return axis


def _price(value: Any, unit: str | None) -> tuple[float, str]:
    match = re.fullmatch(r"\s*([\d.,'’\s+\-eE]+?)\s*(?:(?:per|/)\s*(block|tonne|ton|t|m3|m³|kg))?\s*", str(value), re.I)
    if match is None:
        raise ValueError
    per = (match.group(2) or unit or "block").lower()
    if per not in _PER:
        raise BadValueError(f"per {per} is not known: per block, tonne, m3 or kg")
    price = number_of(match.group(1), "price")
    if isinstance(value, str) and price < 10 and _PER[per] != "kg" and re.match(r"[1-9]\.\d{3}(?!\d)", match.group(1)):
        raise ambiguous(match.group(1), "price")
    if not 0 <= price <= _MOST_PRICE:
        raise ValueError
    return price, _PER[per]


def _for_block(block: Block, price: float, per: str) -> float:
    """Return the price of the whole block."""
    if per == "block":
        return price
    if per == "m3":
        return price * block.volume_m3
    if block.mass_kg is None:
        raise BadValueError(f"{block.name}: a price per {per} needs a stone or a density")
    return price * block.mass_kg / (1000 if per == "tonne" else 1)

"""Rows of a yard as they come: written to a CSV file, and kept in a journal from which the work can be resumed.

A row in a journal counts only where everything that its answer depends on is the same to the last bit."""

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from functools import cache
from pathlib import Path
from typing import IO, Any

import numpy as np

from blockfit.errors import BadValueError, UnreadableFileError, shown_name
from blockfit.sheets.saving import partial_path
from blockfit.sheets.yard.rows import Row, csv_heading, csv_line, csv_stopped
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure

__all__ = ["Journal", "RowWriter", "digest_of"]

_HEADER = '{"journal": "rows of a blockfit yard", "form": 2}\n'
_MOST_BYTES = 1 << 30


class RowWriter:
    """Writes rows to a CSV file as they come, or nowhere.

    They are written to a file beside it, ``….partial.csv``, which takes its name once all rows are there.
    """

    def __init__(self, path: str | Path | None) -> None:
        """Open the file beside, if one is asked for; an existing file must be an earlier table of ours, or empty."""
        self._file: IO[str] | None = None
        if path is None:
            return
        self._target = Path(path)
        self._beside = partial_path(self._target)
        start = csv_heading().rstrip("\n")
        for file in (self._target, self._beside):
            _check_earlier(file, start, "an earlier table of blockfit")
        try:
            self._file = open(self._beside, "w", encoding="utf-8", newline="")  # noqa: SIM115
            self._file.write(csv_heading())
        except OSError as error:
            raise UnreadableFileError(f"{shown_name(path)} cannot be written: {error.strerror or error}") from error

    def write(self, row: Row) -> None:
        """Add a row."""
        if self._file is not None:
            self._file.write(csv_line(row))

    def close(self, *, finished: bool) -> None:
        """Close the file, and give it its name if all rows are there; otherwise it says that it was stopped."""
        if self._file is None or self._file.closed:
            return
        if not finished:
            self._file.write(csv_stopped())
        self._file.close()
        if finished:
            os.replace(self._beside, self._target)


class Journal:
    """Finished rows in a file, a line of JSON each; a line that was cut short or tampered with is done again."""

    def __init__(self, path: str | Path | None, question: Any) -> None:
        """Open the file, if there is one. Raises `BadValueError` for a file that is no journal, before touching it."""
        self._question = digest_of(question)
        self._done: dict[str, dict[str, Any]] = {}
        self._file: IO[str] | None = None
        if path is None:
            return
        file = Path(path)
        _check_earlier(file, _HEADER.rstrip("\n"), "a journal of blockfit")
        try:
            cut_short = self._read(file) if file.exists() else False
            self._file = open(file, "a", encoding="utf-8")  # noqa: SIM115
            if self._file.tell() == 0:
                self._file.write(_HEADER)
            elif cut_short:
                self._file.write("\n")
        except (OSError, UnicodeDecodeError) as error:
            raise UnreadableFileError(f"{shown_name(file)} cannot be resumed from: {error}") from error

    def _read(self, file: Path) -> bool:
        """Note the rows that are whole; return whether the last line lacks its end."""
        text = file.read_text(encoding="utf-8", errors="replace")
        for line in text.splitlines()[1:]:
            try:
                row = json.loads(line)
                self._done[row["key"]] = row
            except (ValueError, KeyError, TypeError, RecursionError):
                continue
        return bool(text) and not text.endswith("\n")

    def key(self, figure: str, block: Block) -> str:
        """Return what tells an answer from all others, given the figure's digest."""
        return "" if self._file is None else digest_of((self._question, figure, block))

    def known(self, key: str, order: int, figure: str, block: Block) -> Row | None:
        """Return the row of an earlier run, as the row ``order`` of this one, if it was finished and is whole."""
        data = self._done.get(key)
        if data is None:
            return None
        row = Row.restored(data, block)
        if row is None:
            del self._done[key]  # what is done again is noted again
            return None
        return replace(row, order=order, figure=figure)

    def add(self, key: str, row: Row) -> None:
        """Note a finished row."""
        if self._file is not None and key not in self._done:
            self._file.write(json.dumps({"key": key, **row.record()}) + "\n")
            self._file.flush()

    def close(self) -> None:
        """Close the file."""
        if self._file is not None:
            self._file.close()


def _check_earlier(file: Path, start: str, what: str) -> None:
    """Raise `BadValueError` if a file holds anything that does not begin as ours do."""
    try:
        if not file.exists():
            return
        if not file.is_file():
            raise BadValueError(f"{shown_name(file)} is no file that could be written; name a new one")
        if file.stat().st_size > _MOST_BYTES:
            raise BadValueError(f"{shown_name(file)} is larger than 1 GB; name a new file")
        with file.open("rb") as lines:
            head = lines.read(len(start.encode()))
    except (OSError, ValueError) as error:
        if isinstance(error, BadValueError):
            raise
        raise UnreadableFileError(f"{shown_name(file)} cannot be read: {error}") from error
    if head and not start.encode().startswith(head):
        raise BadValueError(f"{shown_name(file)} exists and is not {what}; nothing was changed: name a new file")


def digest_of(value: Any) -> str:
    """Return the digest of a value: of every field of dataclasses, every number of arrays; the search's own included.

    >>> from blockfit.sheets.yard.journal import digest_of
    >>> digest_of((1.0, "a")) == digest_of((1.0, "a")), digest_of(("1.0", "a")) == digest_of((1.0, "a"))
    (True, False)
    """
    mixed = hashlib.sha256(_version().encode())
    _mix(mixed, value)
    return mixed.hexdigest()


def _mix(mixed: Any, value: Any) -> None:
    if isinstance(value, Figure):  # repairs and landmarks change no row
        value = ("figure", value.vertices, value.faces, value.name, value.margin_mm)
    if isinstance(value, np.ndarray):
        mixed.update(f"array {value.dtype.str} {value.shape}|".encode())
        mixed.update(np.ascontiguousarray(value).tobytes())
    elif is_dataclass(value):
        mixed.update(f"{type(value).__name__} {len(fields(value))}|".encode())
        for field in fields(value):
            _mix(mixed, (field.name, getattr(value, field.name)))
    elif isinstance(value, Mapping):
        _mix(mixed, ("mapping", sorted(map(tuple, value.items()), key=lambda pair: str(pair[0]))))
    elif isinstance(value, tuple | list):
        mixed.update(f"{len(value)} of|".encode())
        for one in value:
            _mix(mixed, one)
    else:  # numbers, text, flags, None
        plain = value.item() if isinstance(value, np.generic) else value
        text = f"{type(plain).__name__} {plain!r}"
        mixed.update(f"{len(text)} {text}|".encode("utf-8", "surrogatepass"))


@cache
def _version() -> str:
    """Return the digest of the package's own code: whatever changes there may change an answer."""
    root = Path(__file__).parents[2]
    mixed = hashlib.sha256()
    for file in sorted(root.rglob("*.py")):
        mixed.update(f"{file.relative_to(root).as_posix()}|".encode())
        mixed.update(file.read_bytes())
    return mixed.hexdigest()

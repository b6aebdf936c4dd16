"""Rows of a yard as they come: written to a CSV file, and kept in a journal from which the work can be resumed."""

import json
from pathlib import Path
from typing import Any

from blockfit.errors import UnreadableFileError
from blockfit.sheets.ranking import Row, csv_heading, csv_line
from blockfit.solids.block import Block

__all__ = ["Journal", "RowWriter"]


class RowWriter:
    """Writes rows to a CSV file as they come, or nowhere."""

    def __init__(self, path: str | Path | None) -> None:
        """Open the file, if there is one."""
        try:
            self._file = None if path is None else open(path, "w", encoding="utf-8", newline="")  # noqa: SIM115
        except OSError as error:
            raise UnreadableFileError(f"{path} cannot be written: {error.strerror or error}") from error
        if self._file is not None:
            self._file.write(csv_heading())

    def write(self, row: Row) -> None:
        """Add a row."""
        if self._file is not None:
            self._file.write(csv_line(row))

    def close(self) -> None:
        """Close the file."""
        if self._file is not None:
            self._file.close()


class Journal:
    """Finished rows in a file, a line of JSON each; a line that was cut short is done again."""

    def __init__(self, path: str | Path | None, question: str) -> None:
        """Open the file, if there is one; only rows that answered the same question count."""
        self._question = question
        self._done: dict[str, dict[str, Any]] = {}
        self._file = None
        if path is None:
            return
        file = Path(path)
        try:
            if file.exists():
                for line in file.read_text(encoding="utf-8").splitlines():
                    try:
                        row = json.loads(line)
                        self._done[row["key"]] = row
                    except (json.JSONDecodeError, KeyError, TypeError):
                        continue
            self._file = open(file, "a", encoding="utf-8")  # noqa: SIM115
        except (OSError, UnicodeDecodeError) as error:
            raise UnreadableFileError(f"{file.name} cannot be resumed from: {error}") from error

    def known(self, order: int, block: Block) -> Row | None:
        """Return the row of an earlier run, if it was finished."""
        if self._file is None:
            return None
        data = self._done.get(self._key(order, block))
        return None if data is None else Row.restored(data, block)

    def add(self, row: Row) -> None:
        """Note a finished row."""
        key = self._key(row.order, row.block)
        if self._file is not None and key not in self._done:
            self._file.write(json.dumps({"key": key, **row.record()}) + "\n")
            self._file.flush()

    def close(self) -> None:
        """Close the file."""
        if self._file is not None:
            self._file.close()

    def _key(self, order: int, block: Block) -> str:
        """Return what tells a pair and its question from all others."""
        return f"{order}|{block.name}|{'x'.join(f'{side:.3f}' for side in block.size_mm)}|{self._question}"

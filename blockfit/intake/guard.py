"""What every file that is taken in must be: a regular file, of a bearable size, not nested without end.

Nothing is opened that could block or never end. Limits are far beyond any honest file, and errors name them."""

import json
import os
import re
import stat
from pathlib import Path
from typing import Any

from blockfit.errors import BadValueError, UnreadableFileError, shown_name

__all__ = ["MOST_MESH_BYTES", "MOST_TABLE_BYTES", "bytes_of", "json_from", "regular_file", "text_of"]

MOST_MESH_BYTES = 2 << 30
MOST_TABLE_BYTES = 256 << 20
_DEEPEST = 40  # brackets within brackets; ours need two
_DIGITS = 30  # of a whole number in JSON
_STRING_OR_BRACKET = re.compile(r'"(?:[^"\\]|\\.)*"?|[\[\]{}]', re.DOTALL)


def regular_file(path: Path, most_bytes: int) -> int:
    """Return a file's size. Raises `UnreadableFileError` for what is no regular file, or is too large."""
    name = shown_name(path)
    try:
        known = os.stat(path)
    except (OSError, ValueError) as error:  # ValueError: a name with a null character
        raise UnreadableFileError(f"{name}: {getattr(error, 'strerror', None) or error}") from error
    if stat.S_ISDIR(known.st_mode):
        raise UnreadableFileError(f"{name} is a folder; name a file")
    if not stat.S_ISREG(known.st_mode):
        raise UnreadableFileError(f"{name} is no regular file but a pipe or a device; save it as a file first")
    if known.st_size > most_bytes:
        raise UnreadableFileError(
            f"{name} has {known.st_size / 1e6:,.0f} MB; at most {most_bytes / 1e6:,.0f} MB are read"
        )
    return known.st_size


def bytes_of(path: Path, most_bytes: int) -> bytes:
    """Return what a file holds. Raises `UnreadableFileError`."""
    size = regular_file(path, most_bytes)
    try:
        with path.open("rb") as data:
            return data.read(size)  # no more than it had: it may be growing
    except (OSError, MemoryError) as error:
        raise UnreadableFileError(f"{shown_name(path)}: {getattr(error, 'strerror', None) or error}") from error


def text_of(path: Path, most_bytes: int = MOST_TABLE_BYTES) -> str:
    """Return a file's text, UTF-8 with or without its mark. Raises `UnreadableFileError`."""
    try:
        return bytes_of(path, most_bytes).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableFileError(
            f"{shown_name(path)} is no text in UTF-8: {error.reason} at byte {error.start}"
        ) from error


def json_from(text: str, name: str) -> Any:
    """Return JSON as plain values. Raises `BadValueError` for what is none, nests too deep or has endless numbers."""
    depth = 0
    for found in _STRING_OR_BRACKET.finditer(text):
        sign = found.group()
        depth += 1 if sign in "[{" else -1 if sign in "]}" else 0
        if depth > _DEEPEST:
            raise BadValueError(f"{name} nests more than {_DEEPEST} brackets; it holds something else")
    try:
        return json.loads(text, parse_int=_whole)
    except (ValueError, RecursionError) as error:
        raise BadValueError(f"{name} is no JSON that can be read: {error}") from error


def _whole(digits: str) -> int:
    if len(digits) > _DIGITS:
        raise BadValueError(f"a number of {len(digits):,} digits")
    return int(digits)

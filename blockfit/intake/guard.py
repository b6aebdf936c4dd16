"""What every file that is taken in must be: a regular file, of a bearable size, not nested without end.

Nothing is opened that could block or never end. Limits are far beyond any honest file, and errors name them."""

import json
import os
import re
import stat
from pathlib import Path
from typing import Any

from blockfit.errors import BadValueError, UnreadableFileError, shown_name

__all__ = [
    "MOST_MESH_BYTES",
    "MOST_TABLE_BYTES",
    "bytes_of",
    "encoding_of",
    "json_from",
    "no_text",
    "regular_file",
    "separator_of",
    "text_of",
]

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
    """Return a file's text, UTF-8 with or without its mark, or UTF-16 with it. Raises `UnreadableFileError`."""
    data = bytes_of(path, most_bytes)
    try:
        return data.decode(encoding_of(data))
    except UnicodeDecodeError as error:
        raise no_text(path) from error


def encoding_of(start: bytes) -> str:
    """Return how a text is encoded, by its first bytes: UTF-16 marks itself, as spreadsheets write it."""
    return "utf-16" if start[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"


def no_text(path: Path) -> UnreadableFileError:
    """Return the error for a text whose letters are in an older code, and the way out."""
    return UnreadableFileError(f"{shown_name(path)} is not saved as UTF-8; save it again as text, or CSV, in UTF-8")


def separator_of(text: str) -> tuple[str, int]:
    r"""Return what parts the cells of a CSV text, and how many lines come before its table.

    Some spreadsheets say it in a first line ``sep=;``; otherwise it is what the first line has most of.

    >>> from blockfit.intake.guard import separator_of
    >>> separator_of("name;width\nA;900"), separator_of("sep=;\nname;width")
    ((';', 0), (';', 1))
    """
    first = text.split("\n", 1)[0].strip()
    if len(first) == 5 and first.lower().startswith("sep="):
        return first[4], 1
    return max(",;\t", key=first.count), 0


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

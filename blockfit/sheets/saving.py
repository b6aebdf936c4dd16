"""Files that appear whole or not at all."""

import os
from pathlib import Path

from blockfit.errors import UnreadableFileError

__all__ = ["write_whole"]


def write_whole(file: Path, body: str) -> None:
    """Write a text file so that it appears whole or not at all, readable as any other file of the user's."""
    beside = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        beside.write_text(body, encoding="utf-8")
        os.replace(beside, file)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise UnreadableFileError(f"{file.name} cannot be written: {error.strerror or error}") from error

"""Files that appear whole or not at all."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from blockfit.errors import BlockfitError, UnreadableFileError, shown_name

__all__ = ["whole"]


@contextmanager
def whole(file: Path) -> Iterator[Path]:
    """Yield a path beside a file to write to; what is written there takes the file's place at the end, or not at all.

    Raises `UnreadableFileError` where it cannot be written; the earlier file then stays as it was, as on Ctrl-C.
    """
    beside = file.with_name(f".{file.name[-100:]}.{os.getpid()}.part{file.suffix}")
    try:
        yield beside
        os.replace(beside, file)
    except (OSError, ValueError) as error:
        if isinstance(error, BlockfitError):
            raise
        reason = getattr(error, "strerror", None) or error
        raise UnreadableFileError(f"{shown_name(file)} cannot be written: {reason}") from error
    finally:
        beside.unlink(missing_ok=True)

"""Files that are replaced whole or not at all: one writer at a time, the last states kept beside."""

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from blockfit.errors import BlockfitError, UnreadableFileError, shown_name
from blockfit.writing import whole

__all__ = ["KEPT", "earlier_path", "replaced"]

KEPT = 3
"""How many earlier states of a job stay beside it."""

_PATIENCE_S = 30.0  # until another writer is done
_STEP_S = 0.05


def earlier_path(file: Path, back: int) -> Path:
    """Return where the state so many savings back is kept, beside the file.

    >>> from pathlib import Path
    >>> from blockfit.filing.files import earlier_path
    >>> earlier_path(Path("kneeling.blockfit"), 1).name
    'kneeling.earlier-1.blockfit'
    """
    return file.with_name(f"{file.stem}.earlier-{back}{file.suffix}")


def replaced(file: Path, body: bytes, may: Callable[[], None]) -> None:
    """Write a file whole; the one that was there becomes the last of the earlier states.

    ``may`` is asked while no other writer can come between, and raises where the file must stay as it is. A writer that
    is killed leaves the file as it was, or as it was to be. Raises `UnreadableFileError` where nothing can be written.
    """
    try:
        with _alone(file):
            may()
            if file.exists() and file.read_bytes() == body:
                return
            with whole(file) as beside:
                _written(beside, body)
                _kept_earlier(file)
            _settled(file.parent)
    except OSError as error:
        if isinstance(error, BlockfitError):
            raise
        raise UnreadableFileError(f"{shown_name(file)} cannot be written: {error.strerror or error}") from error


def _written(file: Path, body: bytes) -> None:
    with file.open("wb") as out:
        out.write(body)
        out.flush()
        os.fsync(out.fileno())


def _kept_earlier(file: Path) -> None:
    """Move the earlier states one back, and make the file itself the first of them, without taking it away."""
    if not file.exists():
        return
    for back in range(KEPT - 1, 0, -1):
        if earlier_path(file, back).exists():
            os.replace(earlier_path(file, back), earlier_path(file, back + 1))
    copy = file.with_name(f".{file.name[-100:]}.{os.getpid()}.copy")
    try:
        _written(copy, file.read_bytes())
        os.replace(copy, earlier_path(file, 1))
    finally:
        copy.unlink(missing_ok=True)


def _settled(folder: Path) -> None:
    """See that a folder's names are on the disk too, where the system can be asked for that."""
    if sys.platform != "win32":
        held = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(held)
        except OSError:  # some file systems have no such thing
            pass
        finally:
            os.close(held)


@contextmanager
def _alone(file: Path) -> Iterator[None]:
    """Within it no other process writes the file; a lock whose writer was killed is open again by itself."""
    lock = file.with_name(f".{file.name[-100:]}.lock")
    held = _locked(lock)
    try:
        yield
    finally:
        if sys.platform != "win32":
            lock.unlink(missing_ok=True)  # while it is held: whoever waits for it looks whether it is still there
        os.close(held)


def _locked(lock: Path) -> int:
    until = time.monotonic() + _PATIENCE_S
    while True:
        held = os.open(lock, os.O_RDWR | os.O_CREAT, 0o644)
        if _try_lock(held) and _still_there(held, lock):
            return held
        os.close(held)
        if time.monotonic() > until:
            raise UnreadableFileError(f"{lock.name[1:-5]} is being written by another program; try again")
        time.sleep(_STEP_S)


def _still_there(held: int, lock: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(held), os.stat(lock))
    except OSError:
        return False


if sys.platform == "win32":
    import msvcrt

    def _try_lock(held: int) -> bool:
        try:
            msvcrt.locking(held, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _try_lock(held: int) -> bool:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True

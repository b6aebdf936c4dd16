"""A job's parts written to one file and read back: the same values, to the last bit."""

import contextlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from blockfit.errors import BadValueError, BlockfitError, UnreadableFileError, shown_name
from blockfit.filing.files import KEPT, earlier_path, replaced
from blockfit.filing.log import Entry
from blockfit.filing.package import Package, packed, unpacked
from blockfit.filing.values import Known, Reader, Writer
from blockfit.intake.guard import MOST_MESH_BYTES, bytes_of

__all__ = ["check_new_job", "is_job_file", "read_parts", "write_parts"]

_HEAD = b"job.json"
_LOG = "log"
PREPARED = ("placed", "planned", "marked")
"""Entries before which nothing has happened to the stone."""


def is_job_file(path: Path) -> bool:
    """Tell whether a file is a job, by its name or by how it begins."""
    if path.suffix.lower() == ".blockfit":
        return True
    try:
        with path.open("rb") as data:
            head = data.read(64)
    except (OSError, ValueError):
        return False
    return head[:4] == b"PK\3\4" and head[30 : 30 + len(_HEAD)] == _HEAD


def write_parts(path: Path, parts: Mapping[str, Any], *, fresh: bool, known: Known | None = None) -> None:
    """Write a job's parts, ``log`` among them, in the place of an earlier state of the same job.

    A file whose log is not how this log begins has been changed by another hand, and stays. ``fresh`` is for a new job:
    it takes the place only of one to which nothing has happened. Nothing is written that could not be read again by
    ``known``. Raises `BadValueError`, `UnreadableFileError`.
    """
    _check_place(path)
    writer = Writer()
    plain = {name: writer.plain(value) for name, value in parts.items()}
    unknown = writer.classes - set(writer.classes if known is None else known.classes)
    if unknown:
        raise BadValueError(f"{sorted(unknown)[0]} cannot be kept in a job file")
    body = packed(plain, writer.surfaces)
    replaced(path, body, lambda: _check_earlier(path, parts[_LOG], fresh))


def read_parts(path: Path, known: Known) -> dict[str, Any]:
    """Return a job's parts by name. Raises `UnreadableFileError`, which names an earlier state that is whole."""
    name = shown_name(path)
    try:
        package = unpacked(bytes_of(path, MOST_MESH_BYTES), name)
        reader = Reader(known, package.schema, package.surface)
        try:
            return {part: reader.value(package.json(part)) for part in package.parts}
        except (BlockfitError, RecursionError, UnicodeDecodeError) as error:
            raise UnreadableFileError(f"{name} is damaged: {error}") from error
    except UnreadableFileError as error:
        raise UnreadableFileError(f"{error}{_way_out(path)}") from error


def check_new_job(path: Path) -> None:
    """Refuse before an hour's work what `write_parts` would refuse after it, for a new job."""
    _check_place(path)
    _check_earlier(path, (), fresh=True)


def _way_out(path: Path) -> str:
    """Return where an earlier state of a job is that cannot be opened."""
    for back in range(1, KEPT + 1):
        earlier = earlier_path(path, back)
        with contextlib.suppress(BlockfitError):
            unpacked(bytes_of(earlier, MOST_MESH_BYTES), earlier.name)
            return f"; the state before is whole in {shown_name(earlier)}"
    return ""


def _check_place(path: Path) -> None:
    name = shown_name(path)
    if path.is_dir():
        raise BadValueError(f"{name} is a folder; name a file, such as kneeling.blockfit")
    if not path.parent.is_dir():
        raise BadValueError(f"{name}: there is no folder {shown_name(path.parent)}")


def _check_earlier(path: Path, log: Sequence[Entry], fresh: bool) -> None:
    """Raise `BadValueError` where a file is there that is not an earlier state of this job."""
    if not path.exists():
        return
    name = shown_name(path)
    try:
        earlier = _log_of(unpacked(bytes_of(path, MOST_MESH_BYTES), name))
    except UnreadableFileError as error:
        raise BadValueError(f"{name} is there and no whole job: nothing was changed; name a new file") from error
    ours = [list(entry.key) for entry in log]
    happened = [words for _, what, words in earlier if what not in PREPARED]
    if fresh and not happened:
        return
    if fresh:
        raise BadValueError(
            f"{name} holds a job to which something has happened ({happened[-1][:80]}); nothing was changed: "
            "open it, or name a new file"
        )
    if earlier != ours[: len(earlier)]:
        newer = next((one for k, one in enumerate(earlier) if ours[k : k + 1] != [one]), earlier[-1])
        raise BadValueError(
            f"{name} has been changed since it was opened ({newer[0][:16]}: {newer[2][:80]}); nothing was written: "
            "open it again, and repeat what you did"
        )


def _log_of(package: Package) -> list[list[str]]:
    """Return the entries' times, kinds and words."""
    try:
        told = [entry["fields"] for entry in package.json(_LOG)]
        return [[str(one["when"]), str(one["what"]), str(one["words"])] for one in told]
    except (KeyError, TypeError, BlockfitError) as error:
        raise UnreadableFileError("its log cannot be read") from error

"""Files that appear whole or not at all, and never in the place of anything that is not ours."""

import json
import os
import stat
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from blockfit.errors import BadValueError, safe_lines, shown_name
from blockfit.writing import whole

__all__ = [
    "as_json",
    "check_folder",
    "check_free",
    "check_target",
    "is_ours",
    "partial_path",
    "put_in_place",
    "write_as",
    "write_whole",
]

SIGNATURE = '"made_by": "blockfit"'
"""What every JSON file of ours says first."""

_LOOKED_AT = 8192  # bytes at the head of a file by which it is known
_OURS = {
    ".csv": ("block,figure,verdict,scale,scale_bound,",),
    ".json": (SIGNATURE,),
    ".proof": ("form.npy",),  # the first part of a certificate
    ".html": ('<meta name="generator" content="blockfit">',),
    ".txt": ("\n  Stance asked ",),
}

LIST_OF_SHEETS = "sheets.txt"
"""Which files of a folder of sheets were made together, by name, below two lines."""

_TOGETHER, _HALF = "made together", "HALF WRITTEN: do not cut by them, run blockfit mark again"
_SHEETS = (".txt", ".csv", ".svg", ".dxf", ".pdf")
_FIRST_SHEET, _SHEET_BEGINS = "setting.txt", "SETTING THE MODEL"  # by which a folder of sheets is known


def write_whole(file: Path, body: str) -> None:
    """Write a text file so that it appears whole or not at all, readable as any other file of the user's.

    Control characters, which names may hold, do not get into it.
    """
    with whole(file) as beside:
        beside.write_text(safe_lines(body), encoding="utf-8", errors="replace", newline="")


def write_as(path: str | Path, what: str, bodies: Mapping[str, Callable[[], str]]) -> None:
    """Write what its ending asks for, of several ``bodies`` by ending; raises where it is no earlier output of ours."""
    file = Path(path)
    body = bodies.get(file.suffix.lower())
    if body is None:
        *first, last = bodies
        raise BadValueError(f"{shown_name(file)}: {what} is saved as {', '.join(first)} or {last}")
    check_free(file)
    write_whole(file, body())


def as_json(record: Mapping[str, Any]) -> str:
    """Return plain data as JSON that says first who made it."""
    return "{\n " + SIGNATURE + "," + json.dumps(record, indent=1, ensure_ascii=False)[1:] + "\n"


def put_in_place(made: Path, folder: Path) -> list[str]:
    """Move all files of a folder into another, as the sheets that it holds; return what else lies there.

    Sheets of an earlier run that are not made again go: a plane of last month among today's would be cut by. Which
    files are ours is listed in `LIST_OF_SHEETS`; what is not listed stays, and is returned.
    """
    names = sorted(file.name for file in made.iterdir())
    taken = [name for name in names if (folder / name).is_dir()]
    if taken:
        raise BadValueError(f"{shown_name(folder / taken[0])} is a folder where a sheet is to be; nothing was changed")
    listed = folder / LIST_OF_SHEETS
    said = listed.read_text(encoding="utf-8", errors="replace").splitlines() if listed.is_file() else []
    if said and not said[0].endswith((_TOGETHER, _HALF)):
        raise BadValueError(f"{shown_name(listed)} is no list of ours; nothing was changed: name a new folder")
    old = [name for name in said[2:] if Path(name).name == name and Path(name).suffix in _SHEETS]
    # Stopped on the way, the list still says what is there, and that it is not to be cut by.
    write_whole(listed, "\n".join([f"{len(names)} SHEETS, {_HALF}", "", *sorted({*old, *names})]) + "\n")
    for name in old:
        if name not in names:
            (folder / name).unlink(missing_ok=True)
    for name in names:
        os.replace(made / name, folder / name)
    write_whole(listed, "\n".join([f"{len(names)} SHEETS, {_TOGETHER}", "", *names]) + "\n")
    return sorted(
        file.name
        for file in folder.iterdir()
        if file.suffix in _SHEETS and file.name not in (*names, LIST_OF_SHEETS)
    )  # fmt: skip


def partial_path(file: Path) -> Path:
    """Return where a table that was stopped is written: beside the file asked for.

    >>> from pathlib import Path
    >>> from blockfit.sheets.saving import partial_path
    >>> partial_path(Path("yard.csv")).name
    'yard.partial.csv'
    """
    return file.with_name(f"{file.stem}.partial{file.suffix}")


def is_ours(file: Path) -> bool:
    """Tell whether a file is empty, or by how it begins an earlier output of this project."""
    try:
        if not stat.S_ISREG(file.stat().st_mode):
            return False
        with file.open("rb") as data:
            head = data.read(_LOOKED_AT)
    except OSError:
        return False
    text = head.decode("utf-8", "replace")
    return not head or any(mark in text for mark in _OURS.get(file.suffix.lower(), ()))


def check_free(file: Path) -> None:
    """Raise `BadValueError` where a file exists that is no earlier output of ours: it would be lost."""
    if os.path.lexists(file) and not is_ours(file):
        raise BadValueError(
            f"{shown_name(file)} exists and is no earlier output of blockfit; nothing was changed: "
            "name a new file, or move that one away"
        )


def check_target(file: Path, kinds: tuple[str, ...], inputs: Iterable[Path] = ()) -> None:
    """Refuse before an hour's work what could not be written after it, or would take the place of an input."""
    name = shown_name(file)
    if kinds and file.suffix.lower() not in kinds:
        among = f"{', '.join(kinds[:-1])} or {kinds[-1]}" if len(kinds) > 1 else kinds[0]
        raise BadValueError(f"{name}: this is saved as {among}")
    try:
        if file.is_dir():
            raise BadValueError(f"{name} is a folder; name a file")
        if not file.parent.is_dir():
            raise BadValueError(f"{name}: there is no folder {shown_name(file.parent)}")
        if not os.access(file.parent, os.W_OK):
            raise BadValueError(f"{name}: nothing can be written in {shown_name(file.parent)}")
        for other in inputs:
            if file.resolve() == other.resolve() or (file.exists() and other.exists() and file.samefile(other)):
                raise BadValueError(f"{name} is what is read; name another file to write")
    except (OSError, ValueError) as error:
        if isinstance(error, BadValueError):
            raise
        raise BadValueError(f"{name} cannot be written: {error}") from error
    if kinds:  # others know their own
        check_free(file)


def check_folder(folder: Path) -> None:
    """Refuse a folder for sheets that cannot be made, or that holds files which are no earlier sheets of ours."""
    name = shown_name(folder)
    try:
        if not folder.parent.is_dir() or (os.path.lexists(folder) and not folder.is_dir()):
            raise BadValueError(f"{name}: name a folder, in one that exists")
        if not os.access(folder if folder.is_dir() else folder.parent, os.W_OK):
            raise BadValueError(f"{name}: nothing can be written there")
        held = [file.name for file in folder.iterdir() if file.suffix in _SHEETS] if folder.is_dir() else []
        first = folder / _FIRST_SHEET
        ours = first.is_file() and first.read_bytes()[:_LOOKED_AT].decode("utf-8", "replace").startswith(_SHEET_BEGINS)
    except (OSError, ValueError) as error:
        if isinstance(error, BadValueError):
            raise
        raise BadValueError(f"{name} cannot be written: {error}") from error
    if held and not ours:
        raise BadValueError(
            f"{name} holds files that are no earlier sheets of blockfit, such as {shown_name(sorted(held)[0])}; "
            "nothing was changed: name a new folder"
        )

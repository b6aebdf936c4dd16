"""The job file: one zip of JSON and PLY with a digest of every part, and what is refused when one is opened.

Nothing is ever unpacked to disk or run. A file that was cut short, changed, or written to harm is refused before more
memory is taken than it is worth."""

import hashlib
import io
import json
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from blockfit.errors import BadValueError, UnreadableFileError
from blockfit.intake.guard import json_from

__all__ = ["CONTENTS", "MADE_BY", "SCHEMA", "Package", "packed", "unpacked"]

SCHEMA = 2
"""The version of what a job file says; see DEVELOPERS.md before a class that is kept there is changed."""

CONTENTS = "job.json"
MADE_BY = "blockfit"
_NAME = re.compile(r"[a-z]{1,20}\.json|surfaces/[a-z0-9-]{1,60}\.ply")
_MOST_ENTRIES = 5000
_MOST_INFLATED = 2 << 30
_MOST_CONTENTS = 4 << 20
_MOST_RATIO = 150  # that a part grows by when unpacked; dense scans grow by three, the emptiest tables by some fifty
_SMALL = 1 << 20  # below which no ratio matters
_STAMP = (1980, 1, 1, 0, 0, 0)  # the same values make the same file


@dataclass(frozen=True, slots=True, eq=False)
class Package:
    """What a job file holds: its schema, the parts' names in order, and the unpacked bytes by file name."""

    schema: int
    parts: tuple[str, ...]
    files: Mapping[str, bytes]

    def json(self, part: str) -> Any:
        """Return a part's JSON."""
        return json_from(self.files[f"{part}.json"].decode("utf-8"), part)

    def surface(self, name: str) -> bytes:
        """Return a surface's PLY. Raises `BadValueError` if there is none of that name."""
        if name not in self.files:
            raise BadValueError(f"{name[:80]!r} is not in it")
        return self.files[name]


def packed(parts: Mapping[str, Any], surfaces: Mapping[str, bytes]) -> bytes:
    """Return the file that holds these parts (plain JSON, by name) and surfaces (PLY, by name)."""
    files = {f"{name}.json": _json(value) for name, value in parts.items()} | dict(sorted(surfaces.items()))
    contents = {
        "made_by": MADE_BY,
        "what": "one figure in one block, and what has happened to the stone since; mm, block frame",
        "schema": SCHEMA,
        "version": _our_version(),
        "parts": list(parts),
        "sha256": {name: hashlib.sha256(body).hexdigest() for name, body in files.items()},
    }
    contents["digest"] = _digest(contents)
    if len(files) >= _MOST_ENTRIES or sum(map(len, files.values())) > _MOST_INFLATED // 2:
        raise BadValueError("the job has grown beyond what one file may hold; save it with fewer or lighter scans")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in {CONTENTS: _json(contents), **files}.items():
            entry = zipfile.ZipInfo(name, _STAMP)
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, body, zipfile.ZIP_DEFLATED, 1 if name.endswith(".ply") else 6)
    return out.getvalue()


def unpacked(data: bytes, name: str) -> Package:
    """Return what a job file holds. Raises `UnreadableFileError`, saying what is wrong, for one that is not whole."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            contents = _contents(archive, entries, name)
            _check_entries(entries, name)
            files = {entry.filename: archive.read(entry) for entry in entries if entry.filename != CONTENTS}
    except UnreadableFileError:
        raise
    except Exception as error:  # zipfile and zlib raise whatever a damaged file makes them meet
        raise UnreadableFileError(f"{name} is no whole job file: cut short or damaged ({_reason(error)})") from error
    _check_digests(contents, files, name)
    return Package(contents["schema"], tuple(contents["parts"]), files)


def _contents(archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo], name: str) -> dict[str, Any]:
    """Return the table of contents, checked for itself: first of all whose file it is, and how new."""
    found = [entry for entry in entries if entry.filename == CONTENTS]
    if len(found) != 1 or found[0].file_size > _MOST_CONTENTS:
        raise UnreadableFileError(f"{name} is no job file of blockfit: it has no table of contents")
    contents = json_from(archive.read(found[0]).decode("utf-8"), name)
    if not isinstance(contents, dict) or contents.get("made_by") != MADE_BY:
        raise UnreadableFileError(f"{name} is no job file of blockfit")
    schema = contents.get("schema")
    if type(schema) is int and schema > SCHEMA:
        raise UnreadableFileError(
            f"{name} was written by a later version of blockfit (its schema is {schema}, this one reads up to "
            f"{SCHEMA}): install the newer version to open it"
        )
    digest, parts, sums = contents.pop("digest", None), contents.get("parts"), contents.get("sha256")
    sound = type(schema) is int and schema >= 1 and isinstance(parts, list) and isinstance(sums, dict)
    if not sound or digest != _digest(contents) or not all(isinstance(part, str) for part in parts or ()):
        raise UnreadableFileError(f"{name} is damaged: its table of contents has been changed")
    return contents


def _check_entries(entries: list[zipfile.ZipInfo], name: str) -> None:
    """Refuse what no job file of ours has: names that lead elsewhere, twins, ciphers, far more than it weighs."""
    names = [entry.filename for entry in entries]
    odd = [one for one in names if not _NAME.fullmatch(one)]
    if odd:
        raise UnreadableFileError(f"{name} holds {odd[0][:80]!r}, which no job file has; it is not opened")
    if len(set(names)) < len(names) or len(names) > _MOST_ENTRIES:
        raise UnreadableFileError(f"{name} holds a part twice, or {len(names):,} parts; it is not opened")
    if any(entry.flag_bits & 1 or entry.compress_type not in (0, 8) for entry in entries):
        raise UnreadableFileError(f"{name} holds a part that is locked or packed in a way that is not read")
    inflated = sum(entry.file_size for entry in entries)
    swollen = any(entry.file_size > _SMALL + _MOST_RATIO * entry.compress_size for entry in entries)
    if inflated > _MOST_INFLATED or swollen:
        raise UnreadableFileError(
            f"{name} would unpack to {inflated / 1e6:,.0f} MB, far more than it weighs or is read; it is not opened"
        )


def _check_digests(contents: Mapping[str, Any], files: Mapping[str, bytes], name: str) -> None:
    sums = contents["sha256"]
    lost = [one for one in sums if one not in files] + [p for p in contents["parts"] if f"{p}.json" not in files]
    if lost or set(files) - set(sums):
        missing = lost[0] if lost else sorted(set(files) - set(sums))[0]
        raise UnreadableFileError(f"{name} is damaged: {missing[:80]} is missing, or was put in by another program")
    for one, body in files.items():
        if hashlib.sha256(body).hexdigest() != sums[one]:
            raise UnreadableFileError(f"{name} is damaged: {one} is not what was written")


def _json(value: Any) -> bytes:
    try:
        return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
    except UnicodeEncodeError:  # half a letter in a name: kept as it is, by its number
        return json.dumps(value, allow_nan=False, separators=(",", ":")).encode()


def _digest(contents: Mapping[str, Any]) -> str:
    told = json.dumps(contents, sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(told.encode()).hexdigest()


def _reason(error: Exception) -> str:
    return (str(error) or type(error).__name__)[:100]


def _our_version() -> str:
    # Reads e-mail headers, which takes a tenth of the time of importing blockfit: only where it is asked.
    from importlib.metadata import PackageNotFoundError, version  # noqa: PLC0415

    try:
        return version("blockfit")
    except PackageNotFoundError:  # run from its folder
        return "not installed"

"""Mesh files as they come: bare arrays, and the unit where the format states one; trimesh's one home.

Nothing is repaired here; what cannot be read raises `UnreadableFileError`."""

import hashlib
import io
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.errors import UnreadableFileError, shown_name
from blockfit.geometry.arrays import Array, Ints, distinct_rows
from blockfit.intake.containers import MOST_FACES, check_container
from blockfit.intake.guard import MOST_MESH_BYTES, bytes_of

__all__ = ["FORMATS", "RawMesh", "read_mesh"]

FORMATS = ("stl", "ply", "obj", "off", "glb", "3mf")
_STATED_UNITS = {
    "glb": "m",  # glTF 2.0: all linear distances are metres
    "micron": "micron",
    "millimeter": "mm",
    "millimeters": "mm",
    "centimeter": "cm",
    "centimeters": "cm",
    "inch": "in",
    "inches": "in",
    "foot": "ft",
    "feet": "ft",
    "meter": "m",
    "meters": "m",
}


@dataclass(frozen=True, slots=True, eq=False)
class RawMesh:
    """Vertices (n, 3) in the file's unit and faces (m, 3), as stored; the unit if the format states it.

    ``digest`` is the file's SHA-256, in hexadecimal.
    """

    vertices: Array
    faces: Ints
    unit: str | None
    format: str
    digest: str


def read_mesh(path: Path) -> RawMesh:
    """Return the triangles of a file. Raises `UnreadableFileError`, naming what is wrong and what to do."""
    name, kind = shown_name(path), path.suffix.lower().lstrip(".")
    if kind not in FORMATS:
        raise UnreadableFileError(f"{name}: blockfit reads {', '.join(FORMATS)}; export the figure as one of them")
    data = bytes_of(path, MOST_MESH_BYTES)
    if not data:
        raise UnreadableFileError(f"{name} is empty (0 bytes); export it again")
    if kind == "stl":
        _check_stl(name, data)
    check_container(name, data, kind)
    vertices, faces, unit = _load(name, data, kind)
    if len(faces) == 0:
        raise UnreadableFileError(f"{name}: {_why_empty(data, kind, len(vertices))}")
    if len(faces) > MOST_FACES:
        raise UnreadableFileError(f"{name} has {len(faces):,} faces; at most {MOST_FACES:,} are read")
    return RawMesh(vertices, faces, unit, kind, hashlib.sha256(data).hexdigest())


def _load(name: str, data: bytes, kind: str) -> tuple[Array, Ints, str | None]:
    import trimesh

    options: dict[str, Any] = {"skip_materials": True} if kind in ("obj", "ply", "glb") else {}
    try:
        scene = trimesh.load_scene(io.BytesIO(data), file_type=kind, process=False, **options)
        parts = [part for part in scene.dump() if isinstance(part, trimesh.Trimesh)]
        unit = "m" if kind == "glb" else _STATED_UNITS.get(str(scene.units).lower()) if scene.units else None
    except MemoryError as error:
        raise UnreadableFileError(f"{name} needs more memory than there is; export it with fewer faces") from error
    except Exception as error:  # trimesh raises whatever its parsers meet
        raise UnreadableFileError(
            f"{name} cannot be read as {kind.upper()}: {_one_line(error)}; the file is damaged or cut short, "
            "so copy or export it again"
        ) from error
    if not parts:
        clouds = [np.array(part.vertices, np.float64) for part in scene.dump() if hasattr(part, "vertices")]
        return np.concatenate([np.zeros((0, 3)), *clouds]), np.zeros((0, 3), np.int64), unit
    if any(np.shape(part.vertices)[1:] != (3,) for part in parts):
        raise UnreadableFileError(f"{name}: its vertices have not three coordinates each; export it again")
    starts = np.cumsum([0] + [len(part.vertices) for part in parts])
    vertices = np.concatenate([np.array(part.vertices, np.float64) for part in parts])
    faces = [np.array(part.faces, np.int64) + start for part, start in zip(parts, starts, strict=False)]
    joined = np.concatenate(faces)
    if len(joined) and (joined.min() < 0 or joined.max() >= len(vertices)):
        raise UnreadableFileError(f"{name}: faces name vertices that are not in the file; export it again")
    if kind == "stl":  # it holds every corner once for each face: six times as many as there are
        vertices, where = distinct_rows(vertices)
        joined = where[joined]
    return vertices, joined, unit


def _check_stl(name: str, data: bytes) -> None:
    """Tell a binary file that is cut short from one that is text: trimesh would take it for text."""
    if len(data) < 84 or _is_text_stl(data):
        return
    promised = struct.unpack("<I", data[80:84])[0]
    held = (len(data) - 84) // 50
    if promised > held:
        raise UnreadableFileError(
            f"{name} is cut short: it promises {promised:,} triangles and holds {held:,}; copy or export it again"
        )


def _is_text_stl(data: bytes) -> bool:
    start = data[:1024].lstrip().lower()
    return start.startswith(b"solid") and b"facet" in start and b"\0" not in data[:1024]


def _why_empty(data: bytes, kind: str, vertices: int) -> str:
    if kind == "ply" and b"tristrips" in data[:4096]:
        return "its triangles are stored as strips, which are not read; export it with plain faces"
    if vertices:
        return f"it holds {vertices:,} points but no triangles; for points use Figure.from_points"
    return "it holds no triangles; the file is damaged or holds something else, so export it again"


def _one_line(error: Exception) -> str:
    text = " ".join(str(error).split()) or type(error).__name__
    return text if len(text) < 160 else text[:157] + "..."

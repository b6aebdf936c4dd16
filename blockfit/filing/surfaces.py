"""Surfaces as PLY (Greg Turk's polygon file format, binary, little-endian): doubles as they are, triangles by number.

Any mesh program opens them; only what `ply_bytes` wrote is read back here."""

import hashlib
import re
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Ints

__all__ = ["ply_bytes", "ply_name", "ply_surface"]

_HEADER = """ply
format binary_little_endian 1.0
comment blockfit; mm
element vertex {}
property double x
property double y
property double z
element face {}
property list uchar int vertex_indices
end_header
"""
_PATTERN = re.compile(re.escape(_HEADER).replace(r"\{\}", r"(\d{1,10})").encode())
_FACE = np.dtype([("count", "u1"), ("corners", "<i4", (3,))])


def ply_bytes(vertices: Array, faces: Ints) -> bytes:
    """Return a surface as a PLY file: ``vertices`` (n, 3), ``faces`` (m, 3), none of them changed by it."""
    rows = np.empty(len(faces), _FACE)
    rows["count"] = 3
    rows["corners"] = faces
    head = _HEADER.format(len(vertices), len(faces)).encode()
    return head + np.ascontiguousarray(vertices, "<f8").tobytes() + rows.tobytes()


def ply_name(name: str, body: bytes) -> str:
    """Return what a surface's file is called: its name as plain letters, and its digest.

    >>> from blockfit.filing.surfaces import ply_name
    >>> ply_name("Kneeling Ã 3", b"ply")
    'surfaces/kneeling-3-c7a41639644b3cdd.ply'
    """
    letters = re.sub(r"[^a-z0-9]+", "-", name.lower())[:40].strip("-")
    return f"surfaces/{letters or 'surface'}-{hashlib.sha256(body).hexdigest()[:16]}.ply"


def ply_surface(body: bytes, name: str) -> tuple[Any, Any]:
    """Return the vertices (n, 3) and faces (m, 3) of a PLY file of ours. Raises `BadValueError` for any other."""
    head = _PATTERN.match(body)
    if head is None:
        raise BadValueError(f"{name} is no surface that blockfit writes")
    count, many = int(head.group(1)), int(head.group(2))
    start, middle = head.end(), head.end() + 24 * count
    if len(body) != middle + _FACE.itemsize * many:
        raise BadValueError(f"{name} promises {count} vertices and {many} faces, and is of another length")
    vertices = np.frombuffer(body, "<f8", 3 * count, start).reshape(-1, 3).astype(np.float64)
    vertices.flags.writeable = False
    rows = np.frombuffer(body, _FACE, many, middle)
    if (rows["count"] != 3).any():
        raise BadValueError(f"{name} has faces that are no triangles")
    return vertices, rows["corners"].astype(np.int64).reshape(-1, 3)

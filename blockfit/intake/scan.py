"""Reading a maquette: file, unit, ratio and axes in; a figure at full size out, with all that was repaired."""

import csv
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.errors import (
    BadValueError,
    OpenSurfaceError,
    UnitNeededError,
    UnreadableFileError,
    plain_text,
    shown_name,
)
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.surface import compacted, is_closed, signed_volume
from blockfit.geometry.tolerances import NOT_ZERO, NOTHING_MM
from blockfit.intake.files import RawMesh, read_mesh
from blockfit.intake.guard import json_from, text_of
from blockfit.intake.rebuild import rebuilt
from blockfit.intake.repair import repair_surface, untangled
from blockfit.kinds import kinds_checked
from blockfit.measure.booleans import Solid, keep_body, solid_from
from blockfit.solids.block import reads_surfaces
from blockfit.solids.figure import Figure, Repair
from blockfit.units import MM_PER_UNIT, Length, Ratio, length_mm, ratio_value, unit_mm

__all__ = ["read_figure", "read_scan", "repaired"]

_SAME_EXTENT = 0.005  # of the longest side: what dropping a vertex or rebuilding may change without a word
_LEAST_MM, _MOST_MM = 1e-3, 1e9  # a figure shorter than the first, or further away than the second, has another unit
_MM_PER_MICRON = 1e-3
"""Exact by definition."""
_MOST_NAME = 120
_MOST_MARKS = 10_000
_MOST_MARK_BYTES = 16 << 20
_AXES = {"x": 0, "y": 1, "z": 2}


@kinds_checked
def read_figure(  # noqa: PLR0913
    path: str | Path,
    *,
    unit: str | None = None,
    ratio: Ratio = 1,
    up: str | None = None,
    front: str | None = None,
    landmarks: str | Path | Mapping[str, Sequence[float]] | None = None,
    max_hole: Length | None = None,
    pitch: Length | None = None,
    name: str | None = None,
) -> Figure:
    r"""Return the figure in a mesh file (STL, PLY, OBJ, OFF, GLB, 3MF), at full size and repaired.

    ``unit`` is the file's; it may be left out only where the format states it. ``ratio`` "1:4" makes the
    maquette four times larger. ``up`` and ``front`` are the file's axes that become +z and −y (default "+z",
    "-y"; for GLB, whose standard says so, "+y" and "+z"). ``landmarks`` are named points in the file's unit and
    axes: a mapping, or a CSV or JSON file of name, x, y, z. ``max_hole`` is the widest hole to cap (full size);
    ``pitch`` that of a rebuilt solid, should one be needed. What was repaired is listed in ``figure.repairs``.

    Raises `UnreadableFileError`, `UnitNeededError` or `BadValueError`.

    The vertices come back (n, 3) in mm, at full size; where nothing had to be repaired they are the file's, scaled and
    turned. What closes a hole is an estimate. A file that is missing, cut short or empty is unreadable; a unit is
    needed where neither you nor the format says it; axes, sizes and options out of range are bad values.

    >>> import pathlib, tempfile
    >>> import blockfit as bf
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder) / "corner.obj"
    ...     text = file.write_text("v 0 0 0\nv 4 0 0\nv 0 3 0\nv 0 0 6\nf 1 3 2\nf 1 2 4\nf 1 4 3\nf 2 3 4\n")
    ...     figure = bf.read_figure(file, unit="cm", ratio="1:10", landmarks={"tip": (0, 0, 6)})
    >>> figure.size_mm, figure.is_solid, round(figure.volume_m3, 6), figure.landmarks["tip"]
    ((400.0, 300.0, 600.0), True, 0.012, (0.0, 0.0, 600.0))
    """
    file = Path(path)
    raw = read_mesh(file)
    factor = ratio_value(ratio)
    axes = _axes(raw, up, front)
    scale = _unit_of(raw, unit, shown_name(file)) * factor
    repairs = _resolution(raw, scale)
    with np.errstate(over="ignore", invalid="ignore"):  # what is not finite is reported and dropped below
        vertices = (raw.vertices * scale) @ axes.T
    _check_size(compacted(vertices, raw.faces)[0], shown_name(file))
    hole = None if max_hole is None else length_mm(max_hole, "max_hole", least=0)
    step = None if pitch is None else length_mm(pitch, "pitch", least=NOTHING_MM)
    vertices, faces, news, solid = _repaired(vertices, raw.faces, hole, step, raw.format != "stl", shown_name(file))
    marks = {key: tuple((axes @ (np.array(p) * scale)).tolist()) for key, p in _landmarks(landmarks).items()}
    figure = Figure(
        vertices,
        faces,
        repairs=(*repairs, *news),
        landmarks=marks,
        name=plain_text(name or file.stem)[:_MOST_NAME],
        ratio=factor,
        source=shown_name(file)[:_MOST_NAME],
        source_sha256=raw.digest,
    )
    if solid is not None:
        figure.__dict__["is_solid"] = True  # just tried, and it takes long for millions of faces
        keep_body(figure, solid)
    return figure


@kinds_checked
def read_scan(path: str | Path, *, unit: str | None = None) -> Figure:
    r"""Return a scan of the stone in a mesh file as it is: in mm, neither turned nor repaired, holes and table in it.

    ``unit`` is the file's; for photogrammetry without a scale any unit will do. `register` lays it into the block, and
    tells the stone in it from the rest. Raises `UnreadableFileError`, `UnitNeededError` or `BadValueError`.

    Vertices come back (n, 3) in mm, in the file's own axes; faces whose corners are not finite are dropped.

    >>> import pathlib, tempfile
    >>> import blockfit as bf
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder) / "stone.obj"
    ...     text = file.write_text("v 0 0 0\nv 4 0 0\nv 0 3 0\nv 0 0 6\nf 1 3 2\nf 1 2 4\nf 1 4 3\n")
    ...     scan = bf.read_scan(file, unit="cm")
    >>> scan.size_mm, scan.is_solid, scan.repairs
    ((40.0, 30.0, 60.0), False, ())
    """
    file = Path(path)
    raw = read_mesh(file)
    scale = _unit_of(raw, unit, shown_name(file))
    sound = np.asarray(np.isfinite(raw.vertices).all(axis=1))
    vertices, faces = compacted(raw.vertices, raw.faces[sound[raw.faces].all(axis=1)])
    with np.errstate(over="ignore"):
        _check_size(vertices * scale, shown_name(file))
    name = plain_text(file.stem)[:_MOST_NAME]
    return Figure(vertices * scale, faces, name=name, source=shown_name(file)[:_MOST_NAME], source_sha256=raw.digest)


def _check_size(corners: Array, name: str) -> None:
    """Refuse what no stone is carved to, before repairs meet numbers too small or too large to reckon with."""
    finite = corners[np.isfinite(corners).all(axis=1)]
    size = float(np.ptp(finite, axis=0).max()) if len(finite) else 0.0
    far = float(np.abs(finite).max()) if len(finite) else 0.0
    if size < _LEAST_MM or far > _MOST_MM:
        what = f"{size:.3g} mm long" if size < _LEAST_MM else f"{far / 1e6:.3g} km from its origin"
        raise BadValueError(f"{name}: the figure is {what}; check the unit and the ratio")


@reads_surfaces
def _read_block(source: Any, unit: str | None) -> Figure:
    """Return the stone in a mesh file, its axes as they are: what `Block.scanned` calls."""
    return read_figure(source, unit=unit, up="+z", front="-y")


def repaired(
    vertices: Array,
    faces: Ints,
    *,
    max_hole_mm: float | None = None,
    pitch_mm: float | None = None,
    joins_are_news: bool = True,
    name: str = "figure",
) -> tuple[Array, Ints, list[Repair]]:
    """Return a surface in mm repaired as far as it goes, and what was done; the arrays given stay as they are."""
    return _repaired(vertices, faces, max_hole_mm, pitch_mm, joins_are_news, name)[:3]


def _repaired(
    vertices: Array, faces: Ints, max_hole_mm: float | None, pitch_mm: float | None, joins_are_news: bool, name: str
) -> tuple[Array, Ints, list[Repair], Solid | None]:
    """Return the same, and the solid inside, ``None`` where there is none."""
    ours, triangles, done = repair_surface(vertices, faces, max_hole_mm, joins_are_news=joins_are_news)
    if len(triangles) == 0:
        raise UnreadableFileError(
            f"{name}: nothing is left of the surface after dropping what has no area; check the file"
        )
    solid = _solid_in(ours, triangles)
    if solid is None:
        loose, fewer, news = untangled(ours, triangles)
        if news:
            loose, fewer, more = repair_surface(loose, fewer, max_hole_mm, joins_are_news=False)
            solid = _solid_in(loose, fewer)
            if solid is not None:
                ours, triangles, done = loose, fewer, [*done, *news, *more]
    if solid is None:
        ours, triangles, news = rebuilt(ours, triangles, pitch_mm)
        done += news
        if news:
            ours, triangles, more = repair_surface(ours, triangles, max_hole_mm, joins_are_news=False)
            done += more
        solid = _solid_in(ours, triangles)
    if solid is None:
        text = "could not be closed: good for fitting (its hull), not for volumes, weights or undercuts"
        done.append(Repair("no solid", text))
    return ours, triangles, [*_extents_changed(vertices, faces, ours), *done], solid


def _extents_changed(vertices: Array, faces: Ints, ours: Array) -> list[Repair]:
    """Say first, before all repairs, that the figure does not reach as far as its file, or further."""
    used = compacted(vertices, faces)[0]
    used = used[np.isfinite(used).all(axis=1)]
    if len(used) == 0:
        return []
    before, after = np.stack([used.min(axis=0), used.max(axis=0)]), np.stack([ours.min(axis=0), ours.max(axis=0)])
    by = float(np.abs(after - before).max())
    if by <= _SAME_EXTENT * float(np.ptp(before, axis=0).max()):
        return []
    sizes = [" x ".join(f"{side:,.4g}" for side in np.ptp(ends, axis=0)) for ends in (before, after)]
    text = f"reading changed the extents by {by:,.4g} mm, from {sizes[0]} to {sizes[1]} mm: is a part missing?"
    return [Repair("extents", text, (("by_mm", by),))]


def _solid_in(vertices: Array, faces: Ints) -> Solid | None:
    if not (is_closed(faces) and signed_volume(vertices, faces) > 0):
        return None
    try:
        return solid_from(vertices, faces)
    except OpenSurfaceError:
        return None


def _unit_of(raw: RawMesh, unit: str | None, name: str) -> float:
    """Return mm per unit of the file; where nobody says, show what each unit would mean."""
    if unit is not None:
        return unit_mm(unit)
    if raw.unit == "micron":
        return _MM_PER_MICRON
    if raw.unit is not None:
        return MM_PER_UNIT[raw.unit]
    finite = raw.vertices[np.isfinite(raw.vertices).all(axis=1)]
    size = float(np.ptp(finite, axis=0).max()) if len(finite) else 0.0
    would = ", ".join(f"{_plain(size * MM_PER_UNIT[u])} if {u}" for u in ("mm", "cm", "m", "in"))
    raise UnitNeededError(
        f"{name}: {raw.format.upper()} files do not say their unit; give unit= (--unit): "
        f"the longest side would be {would}"
    )


def _plain(millimetres: float) -> str:
    return f"{millimetres:.3g} mm" if millimetres < 1000 else f"{millimetres / 1000:.3g} m"


def _axes(raw: RawMesh, up: str | None, front: str | None) -> Array:
    """Return the rotation (3, 3) that takes the file's up to +z and its front to −y."""
    default_up, default_front = ("+y", "+z") if raw.format == "glb" else ("+z", "-y")
    upward = _axis(default_up if up is None else up, "up")
    if front is None and np.abs(_axis(default_front, "front") @ upward) > 0.5:
        raise BadValueError(f"up={up!r} needs front= as well: the axis towards which the figure looks")
    ahead = _axis(default_front if front is None else front, "front")
    if abs(float(upward @ ahead)) > 0.5:
        raise BadValueError(f"up={up!r} and front={front!r} lie on one axis; they must be square to each other")
    return np.stack([np.cross(-ahead, upward), -ahead, upward])


def _axis(text: str, name: str) -> Array:
    letter = text.strip().lower().lstrip("+-")
    if letter not in _AXES or len(text.strip()) > 2:
        raise BadValueError(f"{name}={text!r} must be one of +x, -x, +y, -y, +z, -z")
    return np.asarray(np.eye(3)[_AXES[letter]]) * (-1.0 if text.strip().startswith("-") else 1.0)


def _resolution(raw: RawMesh, scale: float) -> list[Repair]:
    """Tell where 32-bit coordinates, far from the origin, are coarser than the figure can bear."""
    if raw.format not in ("stl", "glb") or len(raw.vertices) == 0:
        return []
    low, high = raw.vertices.min(axis=0), raw.vertices.max(axis=0)
    if not np.isfinite([low, high]).all():
        finite = raw.vertices[np.isfinite(raw.vertices).all(axis=1)]
        if len(finite) == 0:
            return []
        low, high = finite.min(axis=0), finite.max(axis=0)
    far, size = float(np.abs([low, high]).max()), float((high - low).max())
    step = far * 2.0**-23
    if step * 20_000 < size:
        return []
    text = (
        f"the file lies {far / max(size, NOT_ZERO):.3g} times its size from its origin, where 32-bit "
        f"numbers are {step * scale:.2g} mm apart: move it to the origin and export it again"
    )
    return [Repair("coarse coordinates", text, (("step_mm", step * scale),))]


def _landmarks(source: str | Path | Mapping[str, Sequence[float]] | None) -> dict[str, tuple[float, float, float]]:
    if source is None:
        return {}
    if isinstance(source, Mapping):
        rows: list[tuple[str, Any]] = [(f"landmark {name}", (name, *point)) for name, point in source.items()]
    else:
        rows = _landmark_rows(Path(source))
    if len(rows) > _MOST_MARKS:
        raise BadValueError(f"{len(rows):,} landmarks are too many; at most {_MOST_MARKS:,} are read")
    marks: dict[str, tuple[float, float, float]] = {}
    for where, row in rows:
        shown = repr(row)[:80]
        try:
            name, x, y, z = row
            point = (float(x), float(y), float(z))
        except (TypeError, ValueError, OverflowError) as error:
            raise BadValueError(f"{where}: {shown} should be name, x, y, z") from error
        if not all(map(math.isfinite, point)):
            raise BadValueError(f"{where}: {shown} has a value that is not finite")
        marks[plain_text(str(name)[:400])[:_MOST_NAME]] = point
    return marks


def _landmark_rows(path: Path) -> list[tuple[str, Any]]:
    name, text = shown_name(path), text_of(path, _MOST_MARK_BYTES)
    try:
        if path.suffix.lower() == ".json":
            data = json_from(text, name)
            items = (
                [(k, *v) for k, v in data.items()]
                if isinstance(data, dict)
                else [(row["name"], row["x"], row["y"], row["z"]) for row in data]
            )
            return [(f"{name}, entry {i + 1}", item) for i, item in enumerate(items)]
        rows = [(f"{name}, line {i + 1}", row) for i, row in enumerate(csv.reader(text.splitlines())) if any(row)]
    except (ValueError, TypeError, KeyError, csv.Error) as error:
        if isinstance(error, BadValueError):
            raise
        raise BadValueError(f"{name}: should hold name, x, y, z for each landmark ({error})") from error
    return rows[1:] if rows and [cell.strip().lower() for cell in rows[0][1]][:1] == ["name"] else rows

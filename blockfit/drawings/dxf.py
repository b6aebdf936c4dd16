"""Outlines in DXF files; ezdxf is read here only."""

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.drawings.strokes import area_of_outlines, closed_rings
from blockfit.errors import BadValueError, MissingExtraError, UnreadableFileError, shown_name
from blockfit.geometry.arrays import Array
from blockfit.intake.guard import regular_file

__all__ = ["dxf_area"]

_MOST_BYTES = 64 << 20
_FINE = 20_000  # of the drawing's size: how far a chord may leave its curve
_SEGMENTS = 64  # of a curve at least, or one that turns back may be taken for straight
_ARC = 1.4e-4  # of the drawing's size: how far the cubics by which arcs are drawn leave them, 2.8e-4 of a radius
_JOIN = 1e-6  # of the drawing's size: ends so near are one
# Units as the format numbers them in $INSUNITS (Autodesk's DXF reference, header variables).
_UNITS = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 10: 914.4, 14: 100.0}
_DRAWN = ("LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE")


def dxf_area(path: Path) -> tuple[Any, float | None, float, list[str]]:
    """Return the area that a DXF's lines and curves enclose, mm per unit if it says so, what curves cost, and notes.

    Outlines within outlines are openings, outlines that cross are united; open lines and arcs are joined where their
    ends meet.
    """
    name = shown_name(path)
    drawing = _read(path, name)
    paths, notes = _paths(drawing)
    if not paths:
        raise BadValueError(f"{name} has no lines or curves in its model space; explode blocks and hatches to outlines")
    corners = np.concatenate([np.array([tuple(v)[:2] for v in p.control_vertices()]) for p in paths])
    size = float(np.ptp(corners, axis=0).max())
    if not (np.isfinite(size) and size > 0):
        raise BadValueError(f"{name} has no size: there is no outline in it")
    fine = size / _FINE
    rings: list[Array] = []
    lines: list[Array] = []
    for one in paths:
        points = np.array([tuple(v)[:2] for v in one.flattening(fine, segments=_SEGMENTS)], np.float64)
        closed = one.is_closed or float(np.abs(points[0] - points[-1]).max()) <= _JOIN * size
        (rings if closed and len(points) > 3 else lines).append(points)
    joined, left_over = closed_rings(lines, _JOIN * size)
    area, twice = area_of_outlines([*rings, *joined])
    notes += [twice] if twice else []
    if left_over > 1e-3 * size:
        notes.append(f"lines of {left_over:.3g} units in all close nothing and were left out")
    if area.is_empty:
        raise BadValueError(f"{name}: its lines enclose nothing; close the outline")
    curved = any(one.has_curves for one in paths)
    chord = 2 * fine + _ARC * size if curved else 0.0
    return area, _UNITS.get(int(drawing.header.get("$INSUNITS", 0))), chord, notes


def _paths(drawing: Any) -> tuple[list[Any], list[str]]:
    """Return every line and curve of the model space as a path, those of placed blocks too, and what was left out."""
    from ezdxf.disassemble import recursive_decompose
    from ezdxf.path import make_path

    found: list[Any] = []
    hidden: set[str] = set()
    others: Counter[str] = Counter()
    for placed, entity in ((whole, part) for whole in drawing.modelspace() for part in recursive_decompose([whole])):
        layer, outer = entity.dxf.get("layer", "0"), placed.dxf.get("layer", "0")
        layer = outer if layer == "0" else layer  # what is drawn on layer 0 of a block is on that of the block
        off = [name for name in (layer, outer) if not _is_shown(drawing, name)]
        if off or entity.dxf.get("invisible", 0) or placed.dxf.get("invisible", 0):
            hidden.add(off[0] if off else layer)
        elif entity.dxftype() not in _DRAWN:
            others[entity.dxftype()] += 1
        elif len(one := make_path(entity)):
            found.append(one)
    notes = (
        [f"layers switched off, or things hidden on them, were left out: {', '.join(sorted(hidden))}"] if hidden else []
    )
    if others:
        notes.append("left out: " + ", ".join(f"{count} {kind}" for kind, count in sorted(others.items())))
    return found, notes


def _is_shown(drawing: Any, layer: str) -> bool:
    if layer not in drawing.layers:
        return True
    found = drawing.layers.get(layer)
    return not (found.is_off() or found.is_frozen())


def _read(path: Path, name: str) -> Any:
    try:
        from ezdxf import filemanagement
        from ezdxf.lldxf.const import DXFError
    except ImportError as error:
        raise MissingExtraError("DXF files need ezdxf: pip install 'blockfit[drawings]'") from error
    regular_file(path, _MOST_BYTES)
    try:
        return filemanagement.readfile(str(path))
    except (OSError, DXFError, ValueError, KeyError, IndexError, RecursionError) as error:
        raise UnreadableFileError(f"{name}: no DXF that can be read ({error})") from error

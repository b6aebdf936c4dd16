"""Outlines in DXF files; ezdxf is read here only."""

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.drawings.areas import combined
from blockfit.drawings.strokes import JOIN, LEFT_OVER, area_of_outlines, closed_rings, inked
from blockfit.errors import BadValueError, MissingExtraError, UnreadableFileError, shown_name
from blockfit.geometry.arrays import Array
from blockfit.intake.guard import regular_file

__all__ = ["dxf_area"]

_MOST_BYTES = 64 << 20
_FINE = 20_000  # of the drawing's size: how far a chord may leave its curve
_SEGMENTS = 64  # of a curve at least, or one that turns back may be taken for straight
_ARC = 1.4e-4  # of the drawing's size: how far the cubics by which arcs are drawn leave them, 2.8e-4 of a radius
# Units as the format numbers them in $INSUNITS (Autodesk's DXF reference, header variables).
_UNITS = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 10: 914.4, 14: 100.0}
_FILLED = ("HATCH", "MPOLYGON", "SOLID", "TRACE", "3DFACE", "REGION")
_GAP, _MORE = 0.05, 0.01  # of their length, of the area found: lines so nearly closed around more are an outline
_DRAWN = ("LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE")
_SPARE = 1e-3  # of the outline's size: filled areas may reach so far past it, by the width of a line


def dxf_area(path: Path) -> tuple[Any, float | None, float, list[str]]:
    """Return the area that a DXF's lines and curves enclose, mm per unit if it says so, what curves cost, and notes.

    Outlines within outlines are openings, outlines that cross are united; open lines and arcs are joined where their
    ends meet.
    """
    name = shown_name(path)
    drawing = _read(path, name)
    paths, widths, filled, notes = _paths(drawing)
    if not paths:
        raise BadValueError(f"{name} has no lines or curves in its model space; explode blocks and hatches to outlines")
    corners = np.concatenate([np.array([tuple(v)[:2] for v in p.control_vertices()]) for p in paths])
    size = float(np.ptp(corners, axis=0).max())
    if not (np.isfinite(size) and size > 0):
        raise BadValueError(f"{name} has no size: there is no outline in it")
    fine = size / _FINE
    rings: list[Array] = []
    lines: list[Array] = []
    broad: list[tuple[Array, bool, float]] = []
    for one, width in zip(paths, widths, strict=True):
        points = np.array([tuple(v)[:2] for v in one.flattening(fine, segments=_SEGMENTS)], np.float64)
        closed = one.is_closed or float(np.abs(points[0] - points[-1]).max()) <= JOIN * size
        (rings if closed and len(points) > 3 else lines).append(points)
        broad += [(points, closed, width)] if width > 0 else []
    joined, left_over = closed_rings(lines, JOIN * size)
    area, twice = area_of_outlines([*rings, *joined])
    notes += [twice] if twice else []
    if area.is_empty:
        raise BadValueError(f"{name}: its lines enclose nothing; close the outline")
    _refuse_filled(filled, area, name)
    if left_over > LEFT_OVER * size:
        if gap := _nearly_closed(lines, area):
            raise BadValueError(
                f"{name}: lines past the rest are all but a closed outline, their ends {gap:.3g} units apart; "
                "close it, or take them out"
            )
        notes.append(f"lines of {left_over:.3g} units in all close nothing and were left out")
    for points, closed, width in broad:  # an outline drawn with a broad line is stone to the line's outer side
        area = combined(area, inked([points] if closed else [], [] if closed else [points], width, "butt"), "add")
    curved = any(one.has_curves for one in paths)
    chord = 2 * fine + _ARC * size if curved else 0.0
    return area, _UNITS.get(int(drawing.header.get("$INSUNITS", 0))), chord, notes


def _paths(drawing: Any) -> tuple[list[Any], list[float], list[Any], list[str]]:
    """Return every line and curve of the model space as a path, those of placed blocks too, how broad each is drawn,
    filled areas that are not read, and what was left out."""
    from ezdxf.disassemble import recursive_decompose
    from ezdxf.path import make_path

    found: list[Any] = []
    widths: list[float] = []
    filled: list[Any] = []
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
            filled += [entity] if entity.dxftype() in _FILLED else []
        elif len(one := make_path(entity)):
            found.append(one)
            widths.append(_width(entity))
    notes = (
        [f"layers switched off, or things hidden on them, were left out: {', '.join(sorted(hidden))}"] if hidden else []
    )
    if others:
        notes.append("left out: " + ", ".join(f"{count} {kind}" for kind, count in sorted(others.items())))
    return found, widths, filled, notes


def _refuse_filled(filled: list[Any], area: Any, name: str) -> None:
    """Raise where filled areas, which are not read, reach past what lines enclose: they may be the figure."""
    from ezdxf import bbox

    if not filled:
        return
    found = bbox.extents(filled)
    low, high = np.reshape(area.bounds, (2, 2))
    spare = _SPARE * float((high - low).max())
    if found.has_data and (
        (np.array(found.extmin)[:2] < low - spare).any() or (np.array(found.extmax)[:2] > high + spare).any()
    ):
        kinds = ", ".join(sorted({entity.dxftype() for entity in filled}))
        raise BadValueError(f"{name} has filled areas ({kinds}) past what its lines enclose; give them outlines")


def _nearly_closed(lines: list[Array], area: Any) -> float | None:
    """Return how far apart the ends of lines lie that are all but an outline around more than an area, or ``None``."""
    import shapely

    whole = shapely.line_merge(shapely.union_all([shapely.LineString(line) for line in lines]))
    for chain in shapely.get_parts(whole):
        corners = np.array(chain.coords)
        gap = float(np.linalg.norm(corners[0] - corners[-1]))
        if len(corners) > 3 and 0 < gap <= _GAP * chain.length:
            inside = shapely.make_valid(shapely.Polygon(corners))
            if inside.difference(area.convex_hull).area > _MORE * area.area:
                return gap
    return None


def _width(entity: Any) -> float:
    """Return how broad a polyline is drawn, at its broadest; 0 for what has no width of its own."""
    if entity.dxftype() != "LWPOLYLINE":
        return 0.0
    own = [max(start, end) for start, end in entity.get_points("se")]
    return float(max([entity.dxf.get("const_width", 0.0), *own]))


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

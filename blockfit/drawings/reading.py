"""Any outline taken in: a file, a shapely area, an array, a photograph; an area in its own units out."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.drawings.areas import checked_area, grown_outward, is_area, linear, ranges, simplified_outward
from blockfit.drawings.areas import corners_of_area as corners_in
from blockfit.drawings.dxf import dxf_area
from blockfit.drawings.pictures import PICTURES, Raster, area_of_picture, cells_of, picture_cells
from blockfit.drawings.svg import svg_area
from blockfit.drawings.views import DrawnView, Photo
from blockfit.errors import BadValueError, shown_name
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import NOTHING_MM
from blockfit.units import Length, length_mm, unit_mm

__all__ = ["Drawn", "Reading", "drawn"]

_MOST_CORNERS = 12_000  # of one outline: finer ones are simplified, outwards
_CELLS_ACROSS = 4_000  # cells that an outline without pixels is simplified by, along its longer side


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """How outlines are to be read: the files' ``unit``, a ``pixel``'s length, ``threshold`` and ``lines``."""

    unit: str | None = None
    pixel: Length | None = None
    threshold: float | None = None
    lines: bool | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """An outline as read: its ``area`` in units of its own, v upwards, seen from ``view``.

    ``unit_mm`` is one unit in mm, if known; ``cell`` the units to which it is resolved, 0 where it is exact;
    ``is_placed`` tells that its coordinates are the figure's own. ``photo`` and ``eye`` (2,), where its lens points in
    the area's units, correct a photograph.
    """

    view: DrawnView
    area: Any
    unit_mm: float | None
    cell: float = 0.0
    is_placed: bool = False
    photo: Photo | None = None
    eye: Array | None = None
    notes: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The view's name."""
        return self.view.name


def drawn(view: DrawnView, given: Any, how: Reading) -> Drawn:
    """Return an outline as read. Raises `BadValueError`, `UnreadableFileError` or `MissingExtraError`."""
    if isinstance(given, Photo):
        return _photo(view, given, how)
    if isinstance(given, Mapping):
        raise BadValueError(f"{view.name}: a mapping is no outline; give a path, a shapely area, an array, or Photo(…)")
    if is_area(given):
        return _lighter(Drawn(view, checked_area(given, view.name), 1.0, is_placed=True))
    if isinstance(given, str | Path):
        return _file(view, Path(given), how)
    return _pixels(view, cells_of(given, view.name), view.name, how)


def _file(view: DrawnView, path: Path, how: Reading) -> Drawn:
    kind, name = path.suffix.lower(), f"{view.name} {shown_name(path)}"
    if kind in PICTURES:
        found = _pixels(view, picture_cells(path, threshold=how.threshold), name, how)
        return Drawn(found.view, found.area, found.unit_mm, found.cell, notes=(*found.notes, _PARALLEL))
    if kind not in (".svg", ".dxf"):
        raise BadValueError(f"{name}: outlines are read from .svg, .dxf, .png and .jpg files; {kind or 'none'} is none")
    area, stated, chord, notes = svg_area(path) if kind == ".svg" else dxf_area(path)
    area = grown_outward(checked_area(area, name), chord)  # a chord may lie within its curve
    if chord:
        notes.append(f"grown by {chord:.3g} units, which chords may miss of curves")
    millimetres = stated if how.unit is None else unit_mm(how.unit)
    return _lighter(Drawn(view, area, millimetres, notes=tuple(notes)))


_PARALLEL = "parallel"  # marks a picture that was taken as seen square on from far away


def _pixels(view: DrawnView, cells: Raster, name: str, how: Reading) -> Drawn:
    area, notes = area_of_picture(cells, name, lines=how.lines)
    size = None if how.pixel is None else length_mm(how.pixel, "pixel", least=NOTHING_MM)
    return _lighter(Drawn(view, area, size, cell=1.0, notes=tuple(notes)))


def _photo(view: DrawnView, photo: Photo, how: Reading) -> Drawn:
    """Return a photograph's outline, turned upright, its units mm where a bar says so, about its mark if it has one."""
    if view.name == "top" and (photo.distance is not None or photo.mark is not None):
        raise BadValueError("top: a photograph from above is not corrected; give front, side, back or three_quarter")
    picture = photo.picture
    if isinstance(picture, str | Path):
        path = Path(picture)
        if path.suffix.lower() not in PICTURES:
            raise BadValueError(f"{view.name} {shown_name(path)}: a photograph is a .png or .jpg file")
        cells = picture_cells(path, threshold=how.threshold)
    else:
        cells = cells_of(picture, view.name)
    tall, wide = cells.dark.shape
    area, notes = area_of_picture(cells, view.name, lines=how.lines)
    mark = None if photo.mark is None else np.array([photo.mark[0], tall - photo.mark[1]])
    middle = (wide / 2, tall / 2) if photo.centre is None else photo.centre
    eye = np.array([middle[0], tall - middle[1]])
    turn = photo.upright()
    about = eye if mark is None else mark
    area = linear(area, turn, -turn @ about)
    size: float | None = None
    if photo.bar is not None:
        first, second, long = photo.bar
        size = float(long) / float(np.hypot(first[0] - second[0], first[1] - second[1]))
        notes.append(f"{size:.4g} mm a pixel by its bar")
    return _lighter(
        Drawn(view, area, size, 1.0, mark is not None and size is not None, photo, turn @ (eye - about), tuple(notes))
    )


def _lighter(one: Drawn) -> Drawn:
    """Return an outline of many corners as one of fewer that holds it."""
    if corners_in(one.area) <= _MOST_CORNERS:
        return one
    longest = float(np.ptp(ranges(one.area), axis=1).max())
    area, by = simplified_outward(one.area, one.cell or longest / _CELLS_ACROSS)
    if corners_in(area) >= corners_in(one.area):
        return one
    unit = "pixels" if one.cell else "units"
    note = f"{corners_in(one.area):,} corners drawn as {corners_in(area):,}, outwards by {by:.2g} {unit} at most"
    return Drawn(
        one.view, area, one.unit_mm, one.cell, one.is_placed, one.photo, one.eye, (*one.notes, note)
    )  # fmt: skip

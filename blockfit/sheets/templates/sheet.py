"""One plane drawing at full size, before it becomes a file: outlines, ticks, words, in mm, seen from outside a face."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blockfit.facts.measures import Rounding
from blockfit.facts.systems import US, UnitSystem, units_of
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import CLOSE, NOTHING_MM
from blockfit.kinds import above_0, kinds_checked
from blockfit.marking.roughing import AXES, Roughing
from blockfit.measure.sections import footprint, rings_of
from blockfit.measure.shadows import Shadow
from blockfit.measure.views import face_view
from blockfit.search.result import Fit
from blockfit.sheets.templates.contours import high_points, inner_contours
from blockfit.waste.placed import placed_solid

__all__ = ["Label", "Line", "Sheet", "face_sheet", "plane_sheets", "ruler_sheet"]

_SQUARE = 100.0
_CROSS = np.array([[[-2.0, 0.0], [2.0, 0.0]], [[0.0, -2.0], [0.0, 2.0]]])
_CORNERS = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
_NEIGHBOURS = {
    "front": ("left", "right", "bottom", "top"),
    "back": ("right", "left", "bottom", "top"),
    "left": ("back", "front", "bottom", "top"),
    "right": ("front", "back", "bottom", "top"),
    "top": ("left", "right", "front", "back"),
    "bottom": ("left", "right", "back", "front"),
}
"""What lies to the left, right, below and above when one looks at a face from outside."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A line through (n, 2) points, closed or not; ``weight`` is outline, inner, block, tick or square."""

    points: Array
    closed: bool
    weight: str


@dataclass(frozen=True, slots=True)
class Label:
    """Words whose lower left corner is at (x, y), letters ``size`` mm high."""

    x: float
    y: float
    text: str
    size: float


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """A drawing at full size: x to the right, y up, from 0 to ``width`` and ``height`` mm.

    Closed outlines are shaded where they go round an odd number of times: what stays.

    ``lines`` have their points (n, 2) and ``labels`` their places in mm, to be printed at 100 %.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> sheet = bf.face_sheet(fit, "front")
    >>> sheet.title, sheet.width > 600, sheet.height > 700
    ('front: outline of the whole figure, with depths from this face', True, True)
    >>> max(float(line.points[:, 0].max()) for line in sheet.lines) <= sheet.width
    True
    """

    title: str
    width: float
    height: float
    lines: tuple[Line, ...]
    labels: tuple[Label, ...]


@kinds_checked
def face_sheet(fit: Fit, face: str, *, date: str = "", units: str = "metric") -> Sheet:
    """Return the whole figure's outline as seen from outside a face, on that face of the block.

    Lengths are mm on the stone; the outline is exact, and shown depths are rounded down. Raises `OpenSurfaceError` for
    a figure that is no solid, and `BadValueError` for one that does not fit, an unknown face or other units.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> bf.face_sheet(fit, "left").title
    'left: outline of the whole figure, with depths from this face'
    """
    figure = placed_solid(fit, "templates")
    view = face_view(face)
    far = float((fit.block.corners_mm @ view.into).max()) + 1
    rings = rings_of(Shadow(figure.vertices, figure.faces, AXES[face], view.into).up_to(far))
    shown = units_of(units)
    start = float((fit.block.corners_mm @ view.into).min())
    inside = [Line(line, False, "inner") for line in inner_contours(figure.vertices, figure.faces, view)]
    depths: list[Label] = []
    for place, depth in high_points(figure.vertices, figure.faces, view):
        inside += [Line(place + cross, False, "inner") for cross in _CROSS]
        x, y = place.tolist()
        depths.append(Label(x + 3, y + 2, shown.length(depth - start), 4))
    what = "outline of the whole figure, with depths from this face"
    return _sheet(fit, face, what, rings, date, shown, inside, depths)


@kinds_checked
def plane_sheets(fit: Fit, planes: Roughing, *, date: str = "", units: str = "metric") -> list[Sheet]:
    """Return a sheet for every plane of a roughing: the outline of what must stay there.

    Lengths are mm on the stone; outlines are exact, with the allowance of the planes, and shown depths rounded down.
    Raises `BadValueError` for units that are not ``"metric"`` or ``"us"``.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> planes = bf.roughing(fit, step=100, allowance=10, until=250)
    >>> [sheet.title for sheet in bf.plane_sheets(fit, planes)][:2]
    ['front: plane 1, 100.0 mm in: what must stay', 'front: plane 2, 200.0 mm in: what must stay']
    """
    shown = units_of(units)
    return [
        _sheet(
            fit,
            planes.face,
            f"{p.name}, {shown.fine(p.depth_mm, Rounding.DOWN)} in: what must stay",
            rings_of(p.keep),
            date,
            shown,
        )
        for p in planes.planes
    ]


@kinds_checked
def ruler_sheet(block_mm: float, factor: float, *, date: str = "", units: str = "metric") -> Sheet:
    """Return two rulers side by side: the block's, and the same lengths at the maquette's size.

    A length read on the model's ruler has the same number as on the block's: that is what the numbers are for.

    ``block_mm`` is the length of the block's ruler in mm, ``factor`` takes lengths on the model to the block: 4 for a
    maquette at 1:4. Exact, if printed at 100 %. Raises `BadValueError` for what is not above 0 and for units that are
    not ``"metric"`` or ``"us"``.

    >>> import blockfit as bf
    >>> sheet = bf.ruler_sheet(500, 4)
    >>> sheet.title, sheet.width, sheet.height
    ('rulers', 530, 85)
    """
    above_0(block_mm, "block_mm", "a length in mm")
    above_0(factor, "factor")
    lines: list[Line] = []
    us = units_of(units) is US
    step, half, whole = (25.4, 6, 12) if us else (10.0, 5, 10)
    unit = "inches" if us else "mm"
    labels = [Label(10, 72, f"block 1:1, and model 1:{factor:g}, both numbered in {unit} on the block  {date}", 4)]
    for base, scale in ((45.0, 1.0), (15.0, 1 / factor)):
        for k in range(0, int(block_mm / step + CLOSE) + 1, 1 if scale >= 0.5 else half):
            x = 10 + k * step * scale
            tall = 10 if k % whole == 0 else 7 if k % half == 0 else 4
            lines.append(Line(np.array([[x, base], [x, base + tall]]), False, "tick"))
            if k % whole == 0:
                labels.append(Label(x + 0.8, base + 10.5, str(k if us else round(k * step)), 3))
        lines.append(Line(np.array([[10, base], [10 + block_mm * scale, base]]), False, "outline"))
    return Sheet("rulers", block_mm + 30, 85, tuple(lines), tuple(labels))


def _sheet(  # noqa: PLR0913
    fit: Fit, face: str, what: str, rings: list[Array], date: str, units: UnitSystem, inside: Sequence[Line] = (),
    depths: Sequence[Label] = (),
) -> Sheet:  # fmt: skip
    """Return a sheet with the block's outline, its ticks, the check square, and words that leave no doubt.

    ``inside`` and ``depths`` are drawn within the figure, on the view's own axes.
    """
    view = face_view(face)
    axes = AXES[face]
    flat = np.stack([view.right, view.up])[:, list(axes)]  # from the block's axes to the sheet's
    corners = fit.block.corners_mm[:, list(axes)] @ flat.T
    low, high = corners.min(axis=0), corners.max(axis=0)
    margin = np.array([60.0, 70.0])
    shift = margin - low
    size = high - low
    lines: list[Line] = []
    lines.extend(Line(ring @ flat.T + shift, True, "outline") for ring in rings)
    x0, y0 = margin.tolist()
    x1, y1 = (margin + size).tolist()
    lines.extend(Line(line.points + shift, line.closed, line.weight) for line in inside)
    lines.append(Line(footprint(corners) + shift, True, "block"))
    square = max(x1 + 20, 190.0)
    lines.append(Line(_CORNERS * _SQUARE + np.array([square, y0]), True, "square"))
    lines.extend(_ticks(x0, x1, y0, y1, units))
    left, right, below, above = _NEIGHBOURS[face]
    middle_x, middle_y = (x0 + x1) / 2, (y0 + y1) / 2
    zero = flat.T @ (low)
    origin = " and ".join(f"{'xyz'[axis]} = {units.fine(zero[k] + 0.0)}" for k, axis in enumerate(axes))
    labels = [
        Label(x0, y1 + 34, f"{fit.figure.name} in {fit.block.name}: {face} face, seen from outside", 7),
        Label(x0, y1 + 22, f"{what}  {date}".rstrip(), 6),
        Label(middle_x, y1 + 8, f"UP ↑  {above}" if face not in ("top", "bottom") else f"↑ {above}", 6),
        Label(middle_x, y0 - 22, below, 6),
        Label(2, middle_y, left, 6),
        Label(x1 + 20, middle_y, right, 6),
        Label(
            x0,
            y0 - 34,
            f"datum: this corner of the block, {origin}; ticks every {'inch' if units is US else '10 mm'}",
            4,
        ),
        Label(x0, y0 - 46, "full size: print at 100 %, and measure the square", 4),
        Label(square + 4, y0 + 46, "100 mm square", 5),
        *(Label(d.x + float(shift[0]), d.y + float(shift[1]), d.text, d.size) for d in depths),
        *_numbers(x0, x1, y0, y1, units),
    ]
    width = max(square + _SQUARE + 20, x1 + 120)
    return Sheet(f"{face}: {what}", width, max(y1 + 50, y0 + _SQUARE + 20), tuple(lines), tuple(labels))


def _numbers(x0: float, x1: float, y0: float, y1: float, units: UnitSystem) -> list[Label]:
    """Return the numbers of the long ticks along the lower and the left edge: mm, or feet."""
    step = 304.8 if units is US else 100.0
    names = [f"{k} ft" if units is US else f"{100 * k}" for k in range(int(max(x1 - x0, y1 - y0) / step + CLOSE) + 1)]
    right, top = x1 + NOTHING_MM, y1 + NOTHING_MM
    low = [Label(x0 + k * step - 3, y0 - 17, name, 3) for k, name in enumerate(names) if x0 + k * step <= right]
    left = [Label(x0 - 24, y0 + k * step - 1, name, 3) for k, name in enumerate(names) if y0 + k * step <= top]
    return low + left


def _ticks(x0: float, x1: float, y0: float, y1: float, units: UnitSystem) -> list[Line]:
    """Return ticks along all four edges, long ones every 50 and 100 mm, or every inch and foot."""
    step, half, whole = (25.4, 6, 12) if units is US else (10.0, 5, 10)
    lines = []
    for start, end, fixed, outward, level in (
        (x0, x1, y0, -1, True), (x0, x1, y1, 1, True), (y0, y1, x0, -1, False), (y0, y1, x1, 1, False),
    ):  # fmt: skip
        for k in range(int((end - start) / step + CLOSE) + 1):
            tall = outward * (12 if k % whole == 0 else 8 if k % half == 0 else 4)
            at = start + k * step
            ends = [[at, fixed], [at, fixed + tall]] if level else [[fixed, at], [fixed + tall, at]]
            lines.append(Line(np.array(ends), False, "tick"))
    return lines

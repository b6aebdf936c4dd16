"""Outlines brought to one size and one place, and what in them no solid can have. mm, figure frame.

Outlines that share an axis must reach equally far along it. What differs within the tolerance is stretched to the
longer, since stone must not be lost, and the stretch is kept as a margin; what differs by more is a contradiction."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from blockfit.drawings.areas import linear, ranges
from blockfit.drawings.reading import Drawn
from blockfit.drawings.views import DrawnView
from blockfit.errors import BadValueError, Contradiction, UnitNeededError
from blockfit.geometry.arrays import Array

__all__ = ["BESIDE", "NEAR", "Placed", "agreed", "sized"]

NEAR = 0.98  # of the way to the lens: the figure does not reach so far
BESIDE = 0.05  # sine of the angle between two views: nearer ones bound the figure too far away
_SAME = 1e-9  # of the figure's size: what rounding makes of equal lengths
_ALONG = ("width", "depth", "height")
_LETTERS = "xyz"


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """An outline in mm: ``area`` in its view, wrong by up to ``blur_mm``, moved and stretched by up to ``moved_mm``.

    ``cell_mm`` is a pixel, 0 where it is exact. ``eye`` (3,) is where a photograph's lens was, to the right, up, and
    towards the viewer; ``None``: seen square on.
    ``is_placed`` tells that its place is known, ``slack_mm`` by how much perspective may make lengths differ.
    """

    view: DrawnView
    area: Any
    cell_mm: float = 0.0
    blur_mm: float = 0.0
    moved_mm: float = 0.0
    slack_mm: float = 0.0
    is_placed: bool = False
    eye: Array | None = None
    is_exact_photo: bool = False
    notes: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The view's name."""
        return self.view.name

    @property
    def doubt_mm(self) -> float:
        """How far the true outline may lie from this one."""
        return self.blur_mm + self.moved_mm


def sized(outlines: Sequence[Drawn], height_mm: float | None, ratio: float) -> list[Placed]:
    """Return outlines in mm: by the height, by sizes of their own, or by the axes that they share with others."""
    upright = [one for one in outlines if one.view.up[2] == 1.0]
    known = [one for one in outlines if one.unit_mm is not None]
    factor = ratio
    if height_mm is not None and (by := [one for one in upright if one.unit_mm is not None]):
        factor = height_mm / (_length(by[0].area, 1) * float(by[0].unit_mm or 1.0))
    tall = height_mm
    if tall is None and (by := [one for one in known if one in upright]):
        tall = _length(by[0].area, 1) * float(by[0].unit_mm or 1.0) * factor
    sizes = {id(one): float(one.unit_mm or 1.0) * factor for one in known}
    for one in upright:
        if id(one) not in sizes:
            if tall is None:
                raise _unknown(one)
            sizes[id(one)] = tall / _length(one.area, 1)
    for one in outlines:
        if id(one) not in sizes:
            sizes[id(one)] = _size_of_plan(one, [(other, sizes[id(other)]) for other in upright])
    return _allowed_for([_in_mm(one, sizes[id(one)], one.unit_mm is not None, factor) for one in outlines])


def _unknown(one: Drawn) -> UnitNeededError:
    wide, tall = np.ptp(ranges(one.area), axis=1).tolist()
    what = "pixels" if one.cell else "units"
    return UnitNeededError(
        f"{one.name}: it is {wide:,.4g} x {tall:,.4g} {what}, and nothing says how long they are; give height= "
        "(--height), the figure's own height, or unit= for a drawing or pixel= for a picture"
    )


def _size_of_plan(plan: Drawn, upright: Sequence[tuple[Drawn, float]]) -> float:
    """Return mm per unit of the view from above: by the width and the depth that other outlines show."""
    found = []
    for axis, own in ((0, 0), (1, 1)):
        lengths = [
            _length(one.area, 0) * size
            for one, size in upright
            if one.view.axes[0] is not None and one.view.axes[0][0] == axis
        ]
        if lengths:
            found.append(max(lengths) / _length(plan.area, own))
    if not found:
        raise _unknown(plan)
    return math.exp(sum(map(math.log, found)) / len(found))


def _in_mm(one: Drawn, size: float, is_measured: bool, factor: float) -> Placed:
    """Return an outline in mm.

    A pixel that shows part of the figure may be dark or not: outlines may be wrong by one pixel, and a scale taken
    from how many are dark from end to end by one more at either end.
    """
    area = linear(one.area, size * np.eye(2), np.zeros(2))
    wide, tall = np.ptp(ranges(area), axis=1).tolist()
    longest = max(1.0, wide / tall, tall / wide if one.name == "top" else 0.0)
    blur = one.cell * size * (1.0 if is_measured else 1.0 + longest)
    eye, exact = None, False
    photo = one.photo
    if photo is not None and photo.distance is not None and one.eye is not None:
        eye, exact = np.array([*(one.eye * size), float(photo.distance) * factor]), photo.is_exact
    return Placed(one.view, area, one.cell * size, blur, 0.0, 0.0, one.is_placed, eye, exact, one.notes)


def _allowed_for(placed: Sequence[Placed]) -> list[Placed]:
    """Return outlines with what perspective may make of the photographs among them, by the depth that others show."""
    slack = [0.0] * len(placed)
    for _ in range(2):  # again, now that the others' own widths are known to be wrong by as much
        slack = [_perspective_mm(one, placed, slack) for one in placed]
    return [
        replace(one, slack_mm=by, blur_mm=one.blur_mm + (0.0 if one.is_exact_photo else by))
        for one, by in zip(placed, slack, strict=True)
    ]


def _perspective_mm(one: Placed, placed: Sequence[Placed], slack: Sequence[float]) -> float:
    """Return how far off perspective may put an edge of a photograph whose scale was taken from its own ends.

    What lies a half depth h before the middle looks A/(A − h) as large from a distance A, measured from where the lens
    points: of an edge at r that is r·h/(A − h).
    """
    if one.eye is None:
        return 0.0
    half = 0.5 * _depth_of(one, placed, slack)
    away = float(one.eye[2])
    if not math.isfinite(half):
        raise BadValueError(
            f"{one.name}: nothing says how deep the figure is there, and so what perspective makes of it"
        )
    if half >= NEAR * away:
        raise BadValueError(
            f"{one.name}: its distance of {away:,.0f} mm to the figure's middle would lie within the figure, which is "
            f"{2 * half:,.0f} mm deep there; measure from the lens to the middle, at the figure's own size"
        )
    reach = float(np.linalg.norm(np.abs(ranges(one.area) - one.eye[:2, None]).max(axis=1)))
    return reach * half / (away - half)


def _depth_of(one: Placed, placed: Sequence[Placed], slack: Sequence[float]) -> float:
    """Return how deep the figure may be along a level view, by the widths that others show; inf where none does."""
    toward, wide = np.cross(one.view.right, one.view.up), _length(one.area, 0)
    found = []
    for other, by in zip(placed, slack, strict=True):
        if other.view.up[2] == 0.0:  # from above: as deep as the rectangle that holds its outline
            across, back = (np.ptp(ranges(other.area), axis=1) + 2 * by).tolist()
            found.append(abs(toward[0]) * across + abs(toward[1]) * back)
        elif (sine := abs(float(other.view.right @ toward))) > BESIDE:
            # Two strips, as wide as both outlines, have a parallelogram in common.
            found.append(
                (_length(other.area, 0) + 2 * by + wide * abs(float(other.view.right @ one.view.right))) / sine
            )
    return min(found, default=math.inf)


def _length(area: Any, along: int) -> float:
    return float(np.ptp(ranges(area)[along]))


def agreed(outlines: Sequence[Placed], tolerance_mm: float) -> tuple[list[Placed], list[Contradiction], list[str]]:
    """Return outlines moved to one place and stretched to one size, contradictions in their sizes, and notes."""
    placed = list(outlines)
    wrong: list[Contradiction] = []
    notes: list[str] = []
    for axis in range(3):
        sharing = [(k, own) for k, one in enumerate(placed) for own in (0, 1) if _axis(one, own) == axis]
        if not sharing:
            continue
        spans = {k: _span(placed[k], own) for k, own in sharing}
        low, high = _common(placed, spans, axis, tolerance_mm)
        lengths = {k: float(np.ptp(span)) for k, span in spans.items()}
        wrong += _contradiction(placed, lengths, axis, tolerance_mm)
        for k, own in sharing:
            if placed[k].is_exact_photo:
                continue
            placed[k], note = _stretched(placed[k], own, spans[k], np.array([low, high]), high - low)
            notes += [note] if note else []
    return placed, wrong, notes


def _axis(one: Placed, own: int) -> int | None:
    named = one.view.axes[own]
    return None if named is None else named[0]


def _sign(one: Placed, own: int) -> int:
    named = one.view.axes[own]
    return 1 if named is None else named[1]


def _span(one: Placed, own: int) -> Array:
    """Return (2,) from where to where an outline reaches along the figure's axis."""
    return np.sort(_sign(one, own) * ranges(one.area)[own])


def _common(placed: Sequence[Placed], spans: dict[int, Array], axis: int, tolerance_mm: float) -> tuple[float, float]:
    """Return from where to where the figure reaches: as long as the longest, where the first that knows its place is.

    Along the depth the view from above knows best: the side's own place is mirrored.
    """
    first = sorted(spans, key=lambda k: (not placed[k].is_placed, axis == 1 and placed[k].name != "top"))
    near = spans[first[0]]
    size = float(max(np.ptp(span) for span in spans.values()))
    alike = [spans[k] for k in first if placed[k].is_placed]
    if alike and all(np.abs(span - near).max() <= tolerance_mm for span in alike):
        low, high = float(min(span[0] for span in alike)), float(max(span[1] for span in alike))
        if high - low >= size:
            return low, high
    middle = float(near.mean()) if placed[first[0]].is_placed else size / 2 if axis == 2 else 0.0
    if float(np.ptp(near)) == size and placed[first[0]].is_placed:
        return float(near[0]), float(near[1])
    return middle - size / 2, middle + size / 2


def _contradiction(
    placed: Sequence[Placed], lengths: dict[int, float], axis: int, tolerance_mm: float
) -> list[Contradiction]:
    short, long = min(lengths, key=lambda k: lengths[k]), max(lengths, key=lambda k: lengths[k])
    by = lengths[long] - lengths[short]
    # Perspective moves both ends; of a photograph that is not exact its blur has that once already.
    spare = sum(placed[k].blur_mm + (2 if placed[k].is_exact_photo else 1) * placed[k].slack_mm for k in (short, long))
    if by <= tolerance_mm + spare + _SAME * lengths[long]:
        return []
    a, b = placed[long].name, placed[short].name
    shown = f"{_ALONG[axis]}: {a} {lengths[long]:,.1f} mm, {b} {lengths[short]:,.1f} mm"
    change = (
        f"scale {b} by {lengths[long] / lengths[short]:.4f} along {_LETTERS[axis]} (or {a} by "
        f"{lengths[short] / lengths[long]:.4f}); the least change moves each end of both by {by / 4:,.1f} mm"
    )
    text = f"{shown}, {by:,.1f} mm apart"
    return [Contradiction(where=_ALONG[axis], outlines=(a, b), by_mm=by, text=text, change=change)]


def _stretched(one: Placed, own: int, span: Array, to: Array, size: float) -> tuple[Placed, str]:
    """Return an outline moved and stretched to reach from end to end along one of its axes."""
    if np.abs(span - to).max() <= _SAME * size:
        return one, ""
    factor = float(np.ptp(to) / np.ptp(span))
    same = abs(factor - 1) <= _SAME
    factor = 1.0 if same else factor
    sign = _sign(one, own)
    matrix, shift = np.eye(2), np.zeros(2)
    matrix[own, own] = factor
    shift[own] = sign * float(to.mean()) - factor * sign * float(span.mean())
    eye = one.eye
    if eye is not None:
        eye = eye.copy()
        eye[own] = factor * eye[own] + shift[own]
    stretched = 0.0 if same else float(abs(np.ptp(to) - np.ptp(span))) / 2
    # Where its place was known, moving it is an error too.
    moved = stretched if not one.is_placed else max(stretched, float(np.abs(span - to).max()))
    far = one.is_placed and float(np.abs(span - to).max()) > stretched + _SAME * size and moved > 0.1 * size
    note = ""
    if far:
        note, moved = (
            f"{one.name} was moved by {moved:,.1f} mm along {_LETTERS[own]} of its own to meet the others",
            stretched,
        )
    elif moved > 0.05:
        note = f"{one.name} was moved or stretched by up to {moved:,.1f} mm to meet the others"
    area = linear(one.area, matrix, shift)
    return replace(one, area=area, eye=eye, moved_mm=max(one.moved_mm, moved)), note

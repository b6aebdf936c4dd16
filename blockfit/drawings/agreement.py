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
from blockfit.drawings.views import View
from blockfit.errors import Contradiction, UnitNeededError
from blockfit.geometry.arrays import Array

__all__ = ["Placed", "agreed", "sized"]

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

    view: View
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
    return [_in_mm(one, sizes[id(one)], one.unit_mm is not None, factor) for one in outlines]


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
    eye, slack, exact = None, 0.0, False
    photo = one.photo
    if photo is not None and photo.distance is not None and one.eye is not None:
        away = float(photo.distance) * factor
        eye = np.array([*(one.eye * size), away])
        # What lies half its width before or behind the middle looks so much larger or smaller at its ends.
        slack = 0.5 * max(wide, tall) * 0.5 * wide / away
        exact = photo.is_exact
        blur += 0.0 if exact else slack
    return Placed(one.view, area, one.cell * size, blur, 0.0, slack, one.is_placed, eye, exact, one.notes)


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
    spare = sum(placed[k].blur_mm + placed[k].slack_mm for k in (short, long))
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

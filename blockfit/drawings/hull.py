"""The largest solid with given outlines, exact, and how far its outlines fall short of them. mm, figure frame."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from blockfit.drawings.agreement import BESIDE, NEAR, Placed
from blockfit.drawings.areas import (
    area_from_rings,
    beyond,
    corners_of_area,
    intervals,
    ranges,
    rounded_outward,
    straightened,
    unpinched,
    with_box,
)
from blockfit.errors import BadValueError, Contradiction
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import CLOSE
from blockfit.measure.booleans import Solid, arrays_of, prism_towards, shadow_rings
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.sections import rings_of

__all__ = ["Lack", "hull_of_outlines", "lacking", "margin_of", "with_stone_for"]

_MANY = 500  # corners: beyond, stairs of pixels are straightened where only a margin is sought


def hull_of_outlines(outlines: Sequence[Placed], *, grown: bool = False) -> Solid:
    """Return the common part of what lies behind every outline, or with ``grown`` within each outline's doubt of it.

    Raises `BadValueError` where the outlines leave it without an end.
    """
    apart = _apart([one.view.right for one in outlines] + [one.view.up for one in outlines])
    corners = [np.abs(ranges(one.area)).max() for one in outlines]
    far = 3 * float(max(corners)) / apart  # beyond all that two views so far apart have in common
    prisms = []
    for one in outlines:
        area = unpinched(_within_doubt(one) if grown else one.area)
        near = far if one.eye is None else min(far, NEAR * float(one.eye[2]))
        prisms.append(prism_towards(rings_of(area), one.view.right, one.view.up, -far, near, one.eye))
    whole = prisms[0]
    for prism in prisms[1:]:
        whole = whole ^ prism
    return whole


def _within_doubt(one: Placed) -> Any:
    """Return all that an outline's doubt may add to it; for one of many corners a little more."""
    if not one.cell_mm or corners_of_area(one.area) <= _MANY:
        return rounded_outward(one.area, one.doubt_mm)
    straight, by = straightened(one.area, one.cell_mm)
    return rounded_outward(straight, one.doubt_mm + by)


def _apart(ways: list[Array]) -> float:
    """Return the sine of the widest angle between two of the views sideways; raise where they bound nothing."""
    level = np.array([way[:2] for way in ways if way[2] == 0.0]).reshape(-1, 2)
    sines = np.abs(level[:, None, 0] * level[None, :, 1] - level[:, None, 1] * level[None, :, 0])
    most = float(sines.max(initial=0.0))
    if most < BESIDE or not any(way[2] == 1.0 for way in ways):
        raise BadValueError(
            "these outlines leave the figure without an end: its width, depth and height must each be seen; give front "
            "and side, or front and top, or another view well to the side"
        )
    return most


def margin_of(solid: Solid, outlines: Sequence[Placed]) -> float:
    """Return how far any figure may reach beyond the hull of a solid, its outlines wrong by no more than their doubt.

    Every such figure lies in the common part of the grown outlines. A ball's growth of a convex hull is convex, so it
    holds that common part if it holds the corners of its hull: the margin is the farthest of them.
    """
    if all(one.doubt_mm == 0 for one in outlines):
        return 0.0
    around, _ = arrays_of(hull_of_outlines(outlines, grown=True).hull())
    vertices, faces = arrays_of(solid.hull())
    _, nearest = SurfaceDistance(vertices, faces).nearest(around)
    apart = np.linalg.norm(around - nearest, axis=1)  # none is inside: the grown hull holds this one
    return max(float(apart.max()), *(one.doubt_mm for one in outlines))


@dataclass(frozen=True, slots=True, eq=False)
class Lack:
    """Stone that outline number ``one`` asks for at a ``place`` (2, 2) of its view, and that no solid can have."""

    one: int
    place: Array
    told: Contradiction


def lacking(solid: Solid, outlines: Sequence[Placed], tolerance_mm: float) -> tuple[list[Lack], float]:
    """Return where an outline asks for stone that no solid within all of them can have, and how far at most, in mm.

    The hull's own shadow is the most of each outline that any such solid can show. What a photograph's lens sees and
    what may lie sideways by an unknown amount is not compared.
    """
    found: list[Lack] = []
    most = 0.0
    for number, one in enumerate(outlines):
        if one.eye is not None or "sideways" in one.notes:
            continue
        shadow = area_from_rings(shadow_rings(solid, one.view.right, one.view.up))
        spare = tolerance_mm + max(other.doubt_mm for other in outlines) + one.doubt_mm
        nothing = CLOSE * float(np.ptp(ranges(one.area), axis=1).max())
        parts, far = beyond(one.area, shadow, max(spare, 2 * nothing), nothing)
        found += [Lack(number, part[0], _told(one, outlines, *part)) for part in parts]
        most = max(most, far)
    return found, most


def with_stone_for(outlines: Sequence[Placed], lacks: Sequence[Lack]) -> list[Placed]:
    """Return outlines with stone drawn into those that deny it: all across, where they share an axis with the asker.

    Any place along the asker's line of sight is then allowed for, whichever of the others was wrong.
    """
    drawn = list(outlines)
    for lack in lacks:
        asker = outlines[lack.one]
        sharing = [k for k, other in enumerate(outlines) if k != lack.one and _shared(asker, other)]
        denying = [k for k in sharing if outlines[k].name in lack.told.outlines] or sharing
        for k in denying:
            for own, theirs, sign in _shared(asker, outlines[k]):
                spans = ranges(drawn[k].area).copy()
                spans[theirs] = np.sort(sign * lack.place[own]) + np.array([-1, 1]) * outlines[k].doubt_mm
                drawn[k] = replace(drawn[k], area=with_box(drawn[k].area, spans))
    return drawn


def _shared(one: Placed, other: Placed) -> list[tuple[int, int, int]]:
    """Return the axes that two outlines share: which of the one's own, which of the other's, and their sign."""
    found = []
    for own in (0, 1):
        for theirs in (0, 1):
            mine, named = one.view.axes[own], other.view.axes[theirs]
            if mine is not None and named is not None and mine[0] == named[0]:
                found.append((own, theirs, mine[1] * named[1]))
    return found


def _told(one: Placed, outlines: Sequence[Placed], place: Array, area: float, far: float) -> Contradiction:
    """Return a part of an outline that no solid can have, in words, and which other outline denies it."""
    spans = _words(one, place)
    size = f"{area / 100:,.0f} cm²" if area >= 1000 else f"{area:,.0f} mm²"
    reach = "all of it" if not np.isfinite(far) else f"up to {far:,.1f} mm beyond what the others allow"
    others, denied = [], ""
    for other in outlines:
        for own, theirs, sign in [] if other is one else _shared(one, other):
            mine = one.view.axes[own]
            if mine is not None and not _covered(intervals(other.area, theirs), np.sort(sign * place[own])):
                others.append(other.name)
                denied = f"; {other.name} shows no stone {_span_words(mine[0], mine[1] * place[own])}"
    names = (one.name, *dict.fromkeys(others))
    change = f"the least to take away is those {size} of {one.name}" + (
        f", or draw stone there in {others[0]}" if others else ", or draw more stone in the others"
    )
    text = f"{one.name} asks for stone {spans} ({size}, {reach}){denied}"
    return Contradiction(where=spans, outlines=names, by_mm=float(far), text=text, change=change)


def _covered(spans: Array, span: Array) -> bool:
    middle = float(span.mean())
    return bool(((spans[:, 0] <= middle) & (middle <= spans[:, 1])).any())


def _words(one: Placed, place: Array) -> str:
    words = []
    for own in (0, 1):
        named = one.view.axes[own]
        if named is None:
            words.append(f"{place[own, 0]:,.0f} to {place[own, 1]:,.0f} mm across")
        else:
            words.append(_span_words(named[0], named[1] * place[own]))
    return ", ".join(words)


def _span_words(axis: int, span: Array) -> str:
    low, high = np.sort(span).tolist()
    return f"{low:,.0f} to {high:,.0f} mm {('across (x)', 'back (y)', 'up (z)')[axis]}"

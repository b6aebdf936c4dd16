"""Dividing a piece so that each part can be lifted, and the outline of a cut. mm."""

import math
from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import CLOSE, TOUCHING
from blockfit.measure.booleans import Solid
from blockfit.units import M3_PER_MM3

__all__ = ["divisions", "frame_of", "outline", "spans"]


def divisions(
    solid: Solid, corners: Array, most_volume_m3: float, least_mm: float
) -> Iterator[tuple[Array, Array, Array, Array]]:
    """Yield two axes and where to cut along each, so that no part is too heavy nor too thin: the fewest across first.

    ``solid`` is the stone within the corners (n, 3), ``least_mm`` the least thickness of a part with its cut. The
    longest side is divided first, the next longest only as far as it must be. What need not be divided is yielded
    whole, and nothing else.
    """
    size = np.ptp(corners, axis=0)
    first, second = (np.eye(3)[k] for k in np.argsort(-size, kind="stable")[:2])
    if solid.volume() * M3_PER_MM3 <= most_volume_m3:
        yield first, np.zeros(0), second, np.zeros(0)
        return
    most = [max(1, int(np.ptp(corners @ axis) / least_mm)) for axis in (first, second)]
    for across in range(1, most[1] + 1):
        need = math.ceil(solid.volume() * M3_PER_MM3 / most_volume_m3 / across)
        for along in range(need, most[0] + 1):
            cuts = [_edges(corners, axis, n) for axis, n in ((first, along), (second, across))]
            if _heaviest(solid, first, cuts[0], second, cuts[1]) <= most_volume_m3:
                yield first, cuts[0], second, cuts[1]


def _edges(corners: Array, axis: Array, parts: int) -> Array:
    """Return (parts − 1,) where equal parts along an axis meet."""
    heights = corners @ axis
    return np.linspace(heights.min(), heights.max(), parts + 1)[1:-1]


def _heaviest(solid: Solid, first: Array, along: Array, second: Array, across: Array) -> float:
    """Return the largest volume in m³ among the parts."""
    return max(
        float(_between(_between(solid, first, *ends), second, *sides).volume()) * M3_PER_MM3
        for ends in spans(along)
        for sides in spans(across)
    )


def spans(cuts: Array) -> list[tuple[float, float]]:
    """Return start and end of each part, the far one first."""
    marks = [-np.inf, *(float(cut) for cut in cuts), np.inf]
    return list(pairwise(marks))[::-1]


def _between(solid: Solid, axis: Array, start: float, end: float) -> Solid:
    solid = solid if np.isneginf(start) else solid.trim_by_plane(axis.tolist(), start)
    return solid if np.isposinf(end) else solid.trim_by_plane((-axis).tolist(), -end)


def outline(corners: Array, normal: Array, offset: float) -> Array:
    """Return the (k, 3) corners of a piece that lie on a plane, in order around it."""
    on_plane = corners[np.abs(corners @ normal - offset) < TOUCHING * max(1.0, float(np.ptp(corners)))]
    if len(on_plane) < 3:
        return np.zeros((0, 3))
    across = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    frame = np.stack([across / np.linalg.norm(across), np.cross(normal, across) / np.linalg.norm(across)])
    places = (on_plane - on_plane.mean(axis=0)) @ frame.T
    return np.asarray(on_plane[np.argsort(np.arctan2(places[:, 1], places[:, 0]), kind="stable")])


def frame_of(normal: Array) -> Array:
    """Return three axes (3, 3), the first square to a cut, the second level where it can be."""
    level = np.cross(normal, [0.0, 0.0, 1.0])
    level = np.array([1.0, 0.0, 0.0]) if np.linalg.norm(level) < CLOSE else level / np.linalg.norm(level)
    return np.stack([normal, level, np.cross(normal, level)])

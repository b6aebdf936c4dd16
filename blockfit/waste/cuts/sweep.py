"""A figure set straight back, and how far it can go before it meets what has been cut away.

mm, block frame; exact to a thousandth of a millimetre, which is left to the stone."""

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.surface import area_vectors
from blockfit.geometry.tolerances import ROUNDING
from blockfit.waste.cuts.clipping import reach_beyond

__all__ = ["TOUCH_MM", "free_travel", "swept"]

_FINE_MM = 1e-3  # how closely a depth is narrowed down
TOUCH_MM = 1e-5
"""What is no further past a plane of a cut only touches it."""


def swept(vertices: Array, faces: Ints, by: Array) -> tuple[Array, Ints]:
    """Return a surface that holds the whole boundary of what the figure passes through when moved by ``by`` (3,).

    Faces that look back stay, those that look ahead move, and the sides between the two are drawn out. Where the
    figure passes through its own former place the surface cuts itself: it tells reach, not volume.
    """
    ahead = area_vectors(vertices, faces) @ by > 0
    moved = faces + np.where(ahead, len(vertices), 0)[:, None]
    return np.concatenate([vertices, vertices + by]), np.concatenate([moved, _walls(faces, ahead, len(vertices))])


def _walls(faces: Ints, ahead: Flags, count: int) -> Ints:
    """Return the triangles drawn out by the sides between faces that look ahead and faces that do not."""
    start, end = faces[ahead].ravel(), faces[ahead][:, [1, 2, 0]].ravel()
    inner = np.sort(np.stack([start, end], axis=1), axis=1)
    keys = inner[:, 0] * np.int64(count) + inner[:, 1]
    _, first, times = np.unique(keys, return_index=True, return_counts=True)
    rim = first[times == 1]
    a, b = start[rim], end[rim]
    return np.concatenate([np.stack([b, a, a + count], axis=1), np.stack([b, a + count, b + count], axis=1)])


def free_travel(vertices: Array, faces: Ints, along: Array, normals: Array, bounds: Array, most_mm: float) -> float:
    """Return how far (mm, up to ``most_mm``) the figure can move along a unit direction before a point of it lies
    where ``normals @ x > bounds``; 0 if one does already.

    >>> import numpy as np
    >>> from blockfit.waste.cuts.sweep import free_travel
    >>> corners = np.array([[0.0, 0, 0], [2, 0, 0], [0, 2, 0], [0, 0, 2]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> y = np.array([0, 1.0, 0])
    >>> 7.9 < free_travel(corners, faces, y, y[None], np.array([10.0]), 50) <= 8
    True
    """
    leaning, bounds = normals @ along, bounds + TOUCH_MM
    if not (leaning > ROUNDING).any():
        return 0.0 if _beyond(vertices, faces, normals, bounds) else most_mm
    # A face that some plane excludes at both ends of the way is never beyond it.
    heights = vertices @ normals.T - bounds
    best = heights[faces].max(axis=1) + np.maximum(0, most_mm * leaning)
    near = faces[(best > 0).all(axis=1)]
    # Sides between faces that are left out lie wholly on faces kept or do not matter; keep their neighbours' too.
    if len(near) == 0:
        return most_mm
    touched = np.zeros(len(vertices), bool)
    touched[near.ravel()] = True
    kept = faces[touched[faces].any(axis=1)]
    if not _beyond(*swept(vertices, kept, most_mm * along), normals, bounds):
        return most_mm
    if _beyond(vertices, kept, normals, bounds):
        return 0.0
    low, high = 0.0, most_mm
    while high - low > _FINE_MM:
        middle = (low + high) / 2
        if _beyond(*swept(vertices, kept, middle * along), normals, bounds):
            high = middle
        else:
            low = middle
    tidy = round(high, 2)  # a reserve that was asked for is kept to the last digit
    return tidy if tidy >= low and not _beyond(*swept(vertices, kept, tidy * along), normals, bounds) else low


def _beyond(vertices: Array, faces: Ints, normals: Array, bounds: Array) -> bool:
    return bool(reach_beyond(vertices, faces, normals[:-1], bounds[:-1], normals[-1]) > bounds[-1])

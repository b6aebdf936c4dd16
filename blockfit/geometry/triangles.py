"""How far triangles lie from each other: exact, pair by pair. Any length unit.

Two triangles that do not cut each other are nearest at two of their sides, or at a corner above the other's face
(Ericson, Real-Time Collision Detection, 2005, 5.1.9, from memory)."""

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import ROUNDING

__all__ = ["triangle_gaps"]


def triangle_gaps(first: Array, second: Array) -> tuple[Array, Array]:
    """Return (n,) the distances of pairs of triangles (n, 3, 3), none of which cut each other, and (n, 3) the places
    of the first where each is nearest.

    >>> import numpy as np
    >>> from blockfit.geometry.triangles import triangle_gaps
    >>> flat = np.array([[[0.0, 0, 0], [4, 0, 0], [0, 4, 0]]])
    >>> triangle_gaps(flat, flat * 0.1 + np.array([1.0, 1, 2]))[0].tolist()
    [2.0]
    """
    squared, places = np.full(len(first), np.inf), first[:, 0].copy()
    ways = [
        _between_sides(first[:, i], first[:, (i + 1) % 3], second[:, j], second[:, (j + 1) % 3])
        for i in range(3)
        for j in range(3)
    ]
    for k in range(3):
        height, _ = _above_face(first[:, k], second)
        ways.append((height, first[:, k]))
        ways.append(_above_face(second[:, k], first))
    for away, place in ways:
        nearer = away < squared
        squared[nearer], places[nearer] = away[nearer], place[nearer]
    return np.asarray(np.sqrt(squared)), places


def _dot(a: Array, b: Array) -> Array:
    return np.asarray(np.einsum("ij,ij->i", a, b))


def _between_sides(p: Array, p_end: Array, q: Array, q_end: Array) -> tuple[Array, Array]:
    """Return (n,) squared distances of straight sides, and the nearest places of the first."""
    u, v, w = p_end - p, q_end - q, p - q
    a, b, c, d, e = _dot(u, u), _dot(u, v), _dot(v, v), _dot(u, w), _dot(v, w)
    across = a * c - b * b
    askew = across > ROUNDING * a * c  # of parallel sides the ends decide, which other pairs of sides see
    s = np.where(askew, np.clip((b * e - c * d) / np.where(askew, across, 1.0), 0, 1), 0.0)
    length = np.where(c > 0, c, 1.0)
    t = np.clip((b * s + e) / length, 0, 1)
    s = np.clip((b * t - d) / np.where(a > 0, a, 1.0), 0, 1)
    t = np.clip((b * s + e) / length, 0, 1)
    apart = w + s[:, None] * u - t[:, None] * v
    return _dot(apart, apart), p + s[:, None] * u


def _above_face(points: Array, faces: Array) -> tuple[Array, Array]:
    """Return (n,) squared heights of points over faces, inf of those that lie beside, and the places beneath them."""
    a, ab, ac = faces[:, 0], faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0]
    normal, to = np.cross(ab, ac), points - a
    area = _dot(normal, normal)
    safe = np.where(area > 0, area, 1.0)
    v, w = _dot(np.cross(to, ac), normal) / safe, _dot(np.cross(ab, to), normal) / safe
    over = (area > 0) & (v >= 0) & (w >= 0) & (v + w <= 1)
    height = _dot(to, normal)
    return np.where(over, height**2 / safe, np.inf), points - (height / safe)[:, None] * normal

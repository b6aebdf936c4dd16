"""Rotation matrices, quaternions and the carver's two angles: turn (about the vertical) and tilt.

A rotation takes figure axes to block axes: block = rotation @ figure. Angles in degrees.
Not checked here: that a matrix is a rotation (see placement)."""

import math

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import ROUNDING

__all__ = [
    "about",
    "angle_deg",
    "best_turn",
    "from_quaternions",
    "lie_in_a_line",
    "quaternion",
    "spread_directions",
    "tilt_deg",
    "turn_deg",
    "turned_by",
]

_LINE = 0.02  # of points' extent: less across it is a line, about which they tell no turn
_QUARTERS = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))


def about(axis: int, degrees: float) -> Array:
    """Return the (3, 3) rotation about coordinate ``axis`` (0, 1, 2), exact at right angles.

    >>> from blockfit.geometry.turns import about
    >>> (about(2, 90) @ [1, 0, 0]).tolist()
    [0.0, 1.0, 0.0]
    """
    quarters = degrees / 90
    if quarters == round(quarters):
        cos, sin = _QUARTERS[round(quarters) % 4]
    else:
        cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    first, second = (axis + 1) % 3, (axis + 2) % 3
    rotation = np.eye(3)
    rotation[first, first] = rotation[second, second] = cos
    rotation[first, second], rotation[second, first] = -sin, sin
    return rotation


def from_quaternions(quaternions: Array) -> Array:
    """Return (..., 3, 3) rotations for (..., 4) quaternions ``w, x, y, z`` of any length."""
    q = np.asarray(quaternions, np.float64)
    q = q / np.sqrt((q * q).sum(axis=-1, keepdims=True))
    w, x, y, z = q[..., 0], q[..., 1], q[..., 2], q[..., 3]
    rotations = np.empty((*q.shape[:-1], 3, 3))
    rotations[..., 0, 0] = w * w + x * x - y * y - z * z
    rotations[..., 1, 1] = w * w - x * x + y * y - z * z
    rotations[..., 2, 2] = w * w - x * x - y * y + z * z
    rotations[..., 0, 1], rotations[..., 1, 0] = 2 * (x * y - w * z), 2 * (x * y + w * z)
    rotations[..., 0, 2], rotations[..., 2, 0] = 2 * (x * z + w * y), 2 * (x * z - w * y)
    rotations[..., 1, 2], rotations[..., 2, 1] = 2 * (y * z - w * x), 2 * (y * z + w * x)
    return rotations


def quaternion(rotation: Array) -> Array:
    """Return the unit quaternion (4,) ``w, x, y, z`` of a (3, 3) rotation, with its largest part positive."""
    m = rotation
    trace = m[0, 0] + m[1, 1] + m[2, 2]
    # Four ways to the same quaternion; the one that divides by its largest part keeps every digit.
    rows = np.array(
        [
            [1 + trace, m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]],
            [m[2, 1] - m[1, 2], 1 + 2 * m[0, 0] - trace, m[0, 1] + m[1, 0], m[0, 2] + m[2, 0]],
            [m[0, 2] - m[2, 0], m[0, 1] + m[1, 0], 1 + 2 * m[1, 1] - trace, m[1, 2] + m[2, 1]],
            [m[1, 0] - m[0, 1], m[0, 2] + m[2, 0], m[1, 2] + m[2, 1], 1 + 2 * m[2, 2] - trace],
        ]
    )
    row = rows[int(np.argmax(np.diag(rows)))]
    return np.asarray(row / np.linalg.norm(row))


def angle_deg(rotation: Array) -> float:
    """Return the angle of the whole rotation, 0 to 180."""
    w, *vector = quaternion(rotation)
    return math.degrees(2 * math.atan2(math.hypot(*vector), abs(float(w))))


def tilt_deg(rotation: Array) -> float:
    """Return the angle between the figure's up and the block's, 0 to 180."""
    across = math.hypot(rotation[0, 2], rotation[1, 2])
    return math.degrees(math.atan2(across, rotation[2, 2]))


def turn_deg(rotation: Array) -> float:
    """Return the twist about the vertical, 2·atan2(q_z, q_w), in (−180, 180]; 0 where it has no meaning."""
    w, _, _, z = (float(part) for part in quaternion(rotation))
    if math.hypot(w, z) < ROUNDING:  # upside down: any turn describes it
        return 0.0
    half = math.atan2(z, w)
    turn = math.degrees(2 * half)
    return turn - 360 if turn > 180 else turn + 360 if turn <= -180 else turn


def spread_directions(count: int) -> Array:
    """Return (count, 3) unit vectors spread evenly over the sphere along a golden spiral."""
    k = np.arange(count) + 0.5
    z = 1 - 2 * k / count
    around = np.pi * (1 + np.sqrt(5)) * k
    across = np.sqrt(1 - z * z)
    return np.stack([across * np.cos(around), across * np.sin(around), z], axis=1)


def lie_in_a_line(points: Array) -> bool:
    """Tell whether (n, 3) points lie so nearly in a line that they cannot tell a turn about it."""
    sizes = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return bool(sizes[1] <= _LINE * sizes[0])


def best_turn(first: Array, second: Array) -> tuple[Array, float]:
    """Return the rotation (3, 3) that takes (n, 3) vectors nearest to (n, 3) others, by least squares, and how many
    times as long it should then make them (W. Kabsch 1976; S. Umeyama 1991; both from memory).

    >>> import numpy as np
    >>> from blockfit.geometry.turns import about, best_turn
    >>> arms = np.array([[1.0, 0, 0], [0, 2, 0], [0, 0, 3]])
    >>> turn, times = best_turn(arms, 2 * arms @ about(2, 90).T)
    >>> bool(np.allclose(turn, about(2, 90))), round(times, 12)
    (True, 2.0)
    """
    u, sizes, vt = np.linalg.svd(second.T @ first)
    sign = np.array([1.0, 1.0, float(np.sign(np.linalg.det(u @ vt)))])
    return np.asarray((u * sign) @ vt), float((sizes * sign).sum() / (first * first).sum())


def turned_by(vector: Array) -> Array:
    """Return the rotation (3, 3) about ``vector`` (3,) by its length in radians."""
    angle = float(np.linalg.norm(vector))
    half = np.sinc(angle / (2 * np.pi)) / 2  # sin(angle/2)/angle, also at 0
    return from_quaternions(np.array([math.cos(angle / 2), *(half * vector)]))

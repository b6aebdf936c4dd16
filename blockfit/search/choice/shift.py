"""The shift that a fit leaves open, used for the carver: low, centred, forward, all spare depth behind."""

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.programs import least
from blockfit.geometry.tolerances import CLOSE, ROUNDING

__all__ = ["carvers_shift"]


def carvers_shift(normals: Array, room: Array) -> Array:
    """Return the shift (3,) within ``normals @ x <= room``: as low as possible, centred left to right, then forward.

    Where there is no such shift, the one whose worst miss is least, and then the sum of its misses.

    >>> import numpy as np
    >>> from blockfit.search.choice.shift import carvers_shift
    >>> box = np.array([[0, -1, 0], [0, 1, 0], [-1, 0, 0], [1, 0, 0], [0, 0, -1], [0, 0, 1.0]])
    >>> carvers_shift(box, np.array([10.0, 50, 30, 40, 0, 7])).tolist()
    [5.0, -10.0, 0.0]
    """
    if normals.shape == (6, 3) and (np.abs(normals).sum(axis=1) == 1).all():
        ranges = [_range(normals, room, k) for k in range(3)]
        middle = [(low + high) / 2 for low, high in ranges]
        forward, down = (low if low <= high else mid for (low, high), mid in zip(ranges[1:], middle[1:], strict=True))
        return np.array([middle[0], forward, down])
    eased = room + _misses(normals, room) + ROUNDING * np.abs(room).max()
    lowest = float(_extreme(normals, eased, np.array([0, 0, 1.0]), [])[2])
    held = [(np.array([0, 0, 1.0]), lowest)]
    left = _extreme(normals, eased, np.array([1.0, 0, 0]), held)[0]
    right = _extreme(normals, eased, np.array([-1.0, 0, 0]), held)[0]
    held.append((np.array([1.0, 0, 0]), (left + right) / 2))
    return _extreme(normals, eased, np.array([0, 1.0, 0]), held)


def _range(normals: Array, room: Array, axis: int) -> tuple[float, float]:
    """Return the least and most of one coordinate between a box's faces."""
    along = normals[:, axis]
    return 0.0 - float(room[along < 0].min()), float(room[along > 0].min())


def _misses(normals: Array, room: Array) -> Array:
    """Return how much room each face would need more, for some shift to exist: the worst least, then the sum."""
    worst = float((normals @ _nearest(normals, room) - room).max())
    if worst <= 0:
        return np.zeros(len(room))
    count = len(room)
    bounds: list[tuple[float | None, float | None]] = [(None, None)] * 3
    found = least(
        np.concatenate([np.zeros(3), np.ones(count)]),
        np.column_stack([normals, -np.eye(count)]),
        room,
        bounds + [(0.0, worst * (1 + CLOSE))] * count,
    )
    return np.full(count, worst) if found is None else found.point[3:]


def _nearest(rows: Array, rest: Array) -> Array:
    """Return the shift whose worst row is best."""
    found = least(np.array([0.0, 0, 0, 1]), np.column_stack([rows, -np.ones(len(rows))]), rest)
    if found is None:
        raise AssertionError("a closed block always has a best shift: a fault in blockfit, please report it")
    return found.point[:3]


def _extreme(normals: Array, room: Array, towards: Array, held: list[tuple[Array, float]]) -> Array:
    """Return the shift with the least coordinate ``towards``, the ``held`` coordinates kept."""
    spare = ROUNDING * float(np.abs(room).max())  # between two inequalities, or rounding may leave nothing
    rows = np.vstack([normals, *[np.stack([axis, -axis]) for axis, _ in held]])
    rest = np.concatenate([room, *[np.array([at + spare, -at + spare]) for _, at in held]])
    found = least(towards, rows, rest)
    return _nearest(rows, rest) if found is None else found.point

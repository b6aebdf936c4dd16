"""The shift that a fit leaves open, used for the carver: low, centred, forward, all spare depth behind."""

import numpy as np
from scipy.optimize import linprog

from blockfit.solids.arrays import Array

__all__ = ["carvers_shift"]


def carvers_shift(normals: Array, room: Array) -> Array:
    """Return the (3,) shift within ``normals @ x <= room`` that is as low as may be, then centred left to right,
    then as far forward as may be.

    Where rounding leaves no room at all, the shift that misses by least.

    >>> import numpy as np
    >>> from blockfit.search.shift import carvers_shift
    >>> box = np.array([[0, -1, 0], [0, 1, 0], [-1, 0, 0], [1, 0, 0], [0, 0, -1], [0, 0, 1.0]])
    >>> carvers_shift(box, np.array([10.0, 50, 30, 40, 0, 7])).tolist()
    [5.0, -10.0, 0.0]
    """  # noqa: D205
    if normals.shape == (6, 3) and (np.abs(normals).sum(axis=1) == 1).all():
        ranges = [_range(normals, room, k) for k in range(3)]
        middle = [(low + high) / 2 for low, high in ranges]
        forward, down = (low if low <= high else mid for (low, high), mid in zip(ranges[1:], middle[1:], strict=True))
        return np.array([middle[0], forward, down])
    eased = room + max(0.0, _shortfall(normals, room)) + 1e-12 * np.abs(room).max()
    down = _extreme(normals, eased, np.array([0, 0, 1.0]), [])
    held = [(np.array([0, 0, 1.0]), down[2])]
    left = _extreme(normals, eased, np.array([1.0, 0, 0]), held)[0]
    right = _extreme(normals, eased, np.array([-1.0, 0, 0]), held)[0]
    held.append((np.array([1.0, 0, 0]), (left + right) / 2))
    return _extreme(normals, eased, np.array([0, 1.0, 0]), held)


def _range(normals: Array, room: Array, axis: int) -> tuple[float, float]:
    """Return the least and most of one coordinate between a box's faces."""
    along = normals[:, axis]
    return -float(room[along < 0].min()), float(room[along > 0].min())


def _shortfall(normals: Array, room: Array) -> float:
    """Return how much room every face would need more, for any shift to exist; below 0 if there is spare."""
    rows = np.column_stack([normals, -np.ones(len(normals))])
    return float(linprog([0, 0, 0, 1], A_ub=rows, b_ub=room, bounds=[(None, None)] * 4).x[3])


def _extreme(normals: Array, room: Array, towards: Array, held: list[tuple[Array, float]]) -> Array:
    """Return the shift with the least coordinate ``towards``, the ``held`` coordinates kept."""
    size = float(np.abs(room).max())
    rows, rest = list(normals), list(room)
    for axis, at in held:  # as two inequalities with a hair between them, or rounding may leave nothing
        rows += [axis, -axis]
        rest += [at + 1e-12 * size, -at + 1e-12 * size]
    found = linprog(towards, A_ub=np.array(rows), b_ub=np.array(rest), bounds=[(None, None)] * 3)
    if found.status != 0:  # only rounding can do this: keep what is held and the middle of the rest
        rows, rest = [np.append(row, -1.0) for row in rows], list(rest)
        found = linprog([0, 0, 0, 1], A_ub=np.array(rows), b_ub=np.array(rest), bounds=[(None, None)] * 4)
    return np.asarray(found.x[:3])

"""Looking at a solid along a direction: axes to the right, up and into depth, and the lattice of columns.

The lattice is sheared a little and each row is shifted by its own fraction of the pitch, so that no upright or
level wall falls in step with it: a wall along the columns would otherwise add or lose a whole row at once."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.tolerances import CLOSE

__all__ = ["FACE_DIRECTIONS", "Lattice", "View", "face_view", "lattice_over", "view_along"]

FACE_DIRECTIONS = {
    "front": (0.0, 1.0, 0.0),
    "back": (0.0, -1.0, 0.0),
    "left": (1.0, 0.0, 0.0),
    "right": (-1.0, 0.0, 0.0),
    "bottom": (0.0, 0.0, 1.0),
    "top": (0.0, 0.0, -1.0),
}
_SHEAR = 0.0618  # a golden fraction: rows cross a level edge once every sixteen columns, never in step
_GOLDEN = (math.sqrt(5) - 1) / 2
_MOST_COLUMNS = 60_000_000


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """Unit vectors (3,) ``right``, ``up`` and ``into`` (the way one looks); a right-handed turn of x, z, y."""

    right: Array
    up: Array
    into: Array

    def seen(self, points: Array) -> tuple[Array, Array]:
        """Return (n, 2) positions to the right and up, and (n,) depths, of (n, 3) points."""
        return points @ np.stack([self.right, self.up], axis=1), points @ self.into


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Columns at ``pitch`` mm: ``rows`` x ``columns``, the first cell's lower left corner at ``origin`` (2,).

    ``shear`` lowers a row as it runs to the right; ``staggered`` shifts each row by a fraction of the pitch.
    """

    origin: Array
    pitch: float
    rows: int
    columns: int
    shear: float
    staggered: bool

    def offsets(self, rows: Ints) -> Array:
        """Return how far to the right of the cells' corner the samples of these rows lie, in pitches."""
        if not self.staggered:
            return np.full(rows.shape, 0.5)
        table = np.asarray((np.arange(self.rows) * _GOLDEN) % 1.0, np.float64)
        return table[rows]

    def cells(self, seen: Array) -> tuple[Ints, Ints]:
        """Return the row and column of the samples nearest to (n, 2) positions, kept inside the lattice."""
        flat = self.flatten(seen)
        row = np.clip(np.floor(flat[:, 1]).astype(np.int64), 0, self.rows - 1)
        column = np.rint(flat[:, 0] - self.offsets(row)).astype(np.int64)
        return row, np.clip(column, 0, self.columns - 1)

    def flatten(self, seen: Array) -> Array:
        """Return (n, 2) positions in pitches, in which rows are level."""
        flat = (seen - self.origin) / self.pitch
        flat[:, 1] += self.shear * flat[:, 0]
        return np.asarray(flat)

    def places(self, row: Ints, column: Ints) -> Array:
        """Return (n, 2) where the samples of these cells lie, in mm to the right and up."""
        right = column + self.offsets(row)
        return np.asarray(self.origin + self.pitch * np.stack([right, row + 0.5 - self.shear * right], axis=-1))


def view_along(direction: Sequence[float] | Array, name: str = "direction") -> View:
    """Return the view along a direction (3,): z is up, and where one looks along z, +y (or −y from below) is."""
    try:
        into = np.asarray(direction, np.float64)
    except (TypeError, ValueError) as error:
        raise BadValueError(f"{name}={direction!r} must be three numbers, not all 0") from error
    length = float(np.linalg.norm(into))
    if into.shape != (3,) or not (np.isfinite(length) and length > 0):
        raise BadValueError(f"{name}={direction!r} must be three numbers, not all 0")
    into = into / length
    right = np.cross(into, [0.0, 0.0, 1.0])
    if np.linalg.norm(right) < CLOSE:
        right = np.array([1.0, 0.0, 0.0])
    right = right / np.linalg.norm(right)
    return View(right, np.cross(right, into), into)


def face_view(face: str) -> View:
    """Return the view of a box's face from outside.

    >>> from blockfit.measure.views import face_view
    >>> face_view("left").right.tolist()  # seen from the left, the front is on the right
    [0.0, -1.0, 0.0]
    """
    if face not in FACE_DIRECTIONS:
        raise BadValueError(f"face={face!r} must be one of {', '.join(FACE_DIRECTIONS)}")
    return view_along(FACE_DIRECTIONS[face])


def lattice_over(view: View, points: Array, pitch: float, *, plain: bool = False) -> Lattice:
    """Return the lattice over all of (n, 3) ``points``; ``plain`` gives square cells, for pictures."""
    seen, _ = view.seen(points)
    # Column by column: numpy reduces long rows of two very slowly.
    low, high = (np.array([end(seen[:, 0]), end(seen[:, 1])]) for end in (np.min, np.max))
    shear = 0.0 if plain else _SHEAR
    columns = math.ceil((high[0] - low[0]) / pitch) + 2
    rows = math.ceil((high[1] - low[1]) / pitch + shear * columns) + 2
    if rows * columns > _MOST_COLUMNS:
        raise BadValueError(f"a pitch of {pitch:g} mm needs {rows * columns:.3g} columns; take a coarser one")
    # Off the corner by parts of a pitch: edges at round numbers would otherwise pass through samples.
    return Lattice(low - pitch * np.array([0.63, 0.71]), pitch, rows, columns, shear, not plain)

"""Cutting a solid into columns along a direction: where each column enters and leaves it.

Triangles are rasterised in 64-bit fixed point: an edge shared by two faces gives both the same sample, so that
a closed surface is entered exactly as often as it is left. Winding is counted, not parity: shells that overlap
do not turn hollow. Not checked here: that the surface is closed (columns of an open one mean nothing)."""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.tolerances import NOT_ZERO
from blockfit.measure.views import Lattice, View

__all__ = ["Columns", "Crossings", "columns_of", "crossings", "first_depths", "spread"]

Number = TypeVar("Number", np.float64, np.int64)

_ONE = 1 << 14  # fixed-point steps a pitch: vertices move by no more than pitch / 32768


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Where samples cross a surface: the ``cell`` (row · columns + column), ``depth`` in mm, ``face``, and
    ``enters`` (+1 into the solid, −1 out of it). Not sorted."""

    cell: Ints
    depth: Array
    face: Ints
    enters: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """The stretches of columns inside a solid, sorted by cell, then depth.

    ``cell`` (q,), depths ``enter`` and ``leave`` (q,) in mm along the view, and the face left through.
    """

    view: View
    lattice: Lattice
    cell: Ints
    enter: Array
    leave: Array
    leave_face: Ints

    @property
    def is_first(self) -> Flags:
        """Which stretches are the first of their column."""
        return np.asarray(np.concatenate([[True], self.cell[1:] != self.cell[:-1]])[: len(self.cell)])

    @property
    def is_last(self) -> Flags:
        """Which stretches are the last of their column."""
        return np.asarray(
            np.concatenate([self.cell[1:] != self.cell[:-1], [True]])[-len(self.cell) :][: len(self.cell)]
        )

    def places(self) -> Array:
        """Return (q, 2) where the columns stand, in mm to the right and up."""
        return self.lattice.places(*np.divmod(self.cell, self.lattice.columns))


def crossings(vertices: Array, faces: Ints, view: View, lattice: Lattice, *, entering_only: bool = False) -> Crossings:
    """Return where the lattice's samples cross the surface; ``entering_only`` leaves out the faces seen from behind."""
    seen, depth = view.seen(vertices)
    fixed = np.rint(lattice.flatten(seen) * _ONE).astype(np.int64)
    corners = np.ascontiguousarray(faces.T)
    x, z = fixed[:, 0][corners], fixed[:, 1][corners]  # (3, m): long rows, which numpy reduces quickly
    twice_area = (x[1] - x[0]) * (z[2] - z[0]) - (x[2] - x[0]) * (z[1] - z[0])
    low_row = -((_ONE // 2 - _least(z)) // _ONE)  # rows whose middle lies in [lowest, highest)
    past_row = -((_ONE // 2 - _most(z)) // _ONE)
    low_row, past_row = np.maximum(low_row, 0), np.minimum(past_row, lattice.rows)
    wanted = (twice_area > 0 if entering_only else twice_area != 0) & (past_row > low_row)
    # Only columns that the face can meet at all: its span, widened by the stagger.
    wanted &= (_most(x) >= 0) & (_least(x) <= lattice.columns * _ONE + _ONE)
    some = np.flatnonzero(wanted)
    x, z, twice_area = x[:, some], z[:, some], twice_area[some]
    face, row = spread(np.arange(len(some)), low_row[some], past_row[some])
    start, past = _row_spans(x, z, face, row, lattice)
    pair, column = spread(np.arange(len(face)), start, past)
    face, row = face[pair], row[pair]
    at = _plane_depths(x, z, depth[corners[:, some]], twice_area, face, row, column, lattice)
    return Crossings(row * lattice.columns + column, at, some[face], np.where(twice_area[face] > 0, 1, -1))


def columns_of(vertices: Array, faces: Ints, view: View, lattice: Lattice) -> Columns:
    """Return the stretches of columns inside a closed surface."""
    found = crossings(vertices, faces, view, lattice)
    order = _order(found.cell, found.depth)
    cell, depth, face = found.cell[order], found.depth[order], found.face[order]
    winding = np.cumsum(found.enters[order])  # back to 0 at the end of every column
    inside = winding > 0
    before = np.concatenate([[False], inside[:-1]])[: len(inside)]
    enters, leaves = np.flatnonzero(inside & ~before), np.flatnonzero(before & ~inside)
    count = min(len(enters), len(leaves))
    enters, leaves = enters[:count], leaves[:count]
    return Columns(view, lattice, cell[enters], depth[enters], depth[leaves], face[leaves])


def first_depths(found: Crossings, lattice: Lattice) -> tuple[Array, Ints]:
    """Return for every cell the least depth (inf where nothing is met) and the face met there (−1)."""
    cells = lattice.rows * lattice.columns
    depth, face = np.full(cells, np.inf), np.full(cells, -1, np.int64)
    np.minimum.at(depth, found.cell, found.depth)
    first = found.depth == depth[found.cell]
    face[found.cell[first]] = found.face[first]
    return depth, face


def spread(items: Ints, start: Ints, past: Ints) -> tuple[Ints, Ints]:
    """Return each item once for every whole number in its [start, past), and those numbers."""
    counts = np.maximum(past - start, 0)
    ends = np.cumsum(counts)
    total = int(ends[-1]) if len(ends) else 0
    which = np.repeat(np.arange(len(items)), counts)
    return items[which], np.arange(total) - (ends - counts)[which] + start[which]


def _row_spans(x: Ints, z: Ints, face: Ints, row: Ints, lattice: Lattice) -> tuple[Ints, Ints]:
    """Return the columns [start, past) of each face in each row: exact, rounded up at both ends alike.

    ``x`` and ``z`` are (3, m); ``face`` and ``row`` (n,).
    """
    order = np.argsort(z, axis=0, kind="stable")
    x, z = np.take_along_axis(x, order, axis=0)[:, face], np.take_along_axis(z, order, axis=0)[:, face]
    middle = row * _ONE + _ONE // 2
    upper = middle >= z[1]  # past the middle vertex the short side is the upper one
    low_x, low_z = np.where(upper, x[1], x[0]), np.where(upper, z[1], z[0])
    high_x, high_z = np.where(upper, x[2], x[1]), np.where(upper, z[2], z[1])
    shift = np.rint(lattice.offsets(row) * _ONE).astype(np.int64)
    long_side = _first_column(x[0], z[0], x[2], z[2], middle, shift)
    short_side = _first_column(low_x, low_z, high_x, high_z, middle, shift)
    start, past = np.minimum(long_side, short_side), np.maximum(long_side, short_side)
    return np.maximum(start, 0), np.minimum(past, lattice.columns)


def _first_column(x0: Ints, z0: Ints, x1: Ints, z1: Ints, at: Ints, shift: Ints) -> Ints:
    """Return the first column whose sample is not left of the side (x0, z0)–(x1, z1) at height ``at``.

    The smallest i with i·one + shift >= x0 + (at − z0)(x1 − x0)/(z1 − z0), in whole numbers.
    """
    rise = z1 - z0  # > 0
    over = (x0 - shift) * rise + (at - z0) * (x1 - x0)
    return np.asarray(-((-over) // (rise * _ONE)))


def _plane_depths(  # noqa: PLR0913
    x: Ints, z: Ints, depths: Array, twice_area: Ints, face: Ints, row: Ints, column: Ints, lattice: Lattice
) -> Array:
    """Return the depth of each face's plane at its samples, kept within the face's own depths; arrays (3, m)."""
    d1, d2 = depths[1] - depths[0], depths[2] - depths[0]
    dx1, dx2 = (x[1] - x[0]).astype(np.float64), (x[2] - x[0]).astype(np.float64)
    dz1, dz2 = (z[1] - z[0]).astype(np.float64), (z[2] - z[0]).astype(np.float64)
    area = twice_area.astype(np.float64)
    slope_x = (d1 * dz2 - d2 * dz1) / area
    slope_z = (d2 * dx1 - d1 * dx2) / area
    right = (column + lattice.offsets(row)) * _ONE - x[0][face]
    up = (row + 0.5) * _ONE - z[0][face]
    at = depths[0][face] + slope_x[face] * right + slope_z[face] * up
    return np.asarray(np.minimum(np.maximum(at, _least(depths)[face]), _most(depths)[face]))


def _least(rows: npt.NDArray[Number]) -> npt.NDArray[Number]:
    """Return the least of three rows (3, m): pair by pair, several times quicker than a reduction."""
    least: npt.NDArray[Number] = np.minimum(np.minimum(rows[0], rows[1]), rows[2])
    return least


def _most(rows: npt.NDArray[Number]) -> npt.NDArray[Number]:
    """Return the most of three rows (3, m)."""
    most: npt.NDArray[Number] = np.maximum(np.maximum(rows[0], rows[1]), rows[2])
    return most


def _order(cell: Ints, depth: Array) -> Ints:
    """Return the order by cell, then depth, by one key: the depth in a two-thousand-millionth of its range."""
    if len(cell) == 0:
        return np.zeros(0, np.int64)
    low = float(depth.min())
    span = max(float(depth.max()) - low, NOT_ZERO)
    return np.argsort(cell * (1 << 32) + ((depth - low) * ((1 << 31) / span)).astype(np.int64), kind="stable")

"""A placement rounded so that it keeps every row in exact arithmetic, and what it then reaches."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.polytope import inner_ball
from blockfit.geometry.turns import from_quaternions
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.stance import Stance

__all__ = ["CornerRows", "Stood", "settled_in"]

_TRIES = 12  # the first moves by a last digit, each next one by eight times as much
_DOUBT = 1e-14  # of the figure's size: heights in doubles may be wrong by less
_WITHIN = 1 - 4e-15  # a turn within a stance's limit keeps it by more than the last digits
_INWARD = 1e-14  # so much further in, a turn keeps its limit in exact arithmetic

Exact = list[Fraction]


@dataclass(frozen=True, slots=True, eq=False)
class CornerRows:
    """The rows of one way: ``faces`` (m,) of the block, ``offsets`` and ``loads`` (m,) as floats."""

    block: Block
    way: Array
    cover_mm: Array
    faces: Ints
    offsets: Array
    loads: Array
    scale: float

    def exact(self, row: int) -> tuple[Exact, Fraction]:
        """Return normal and offset of a row, without rounding."""
        face = int(self.faces[row])
        block = self.block
        bare = Fraction(float(block.offsets_mm[face])) - Fraction(float(block.skin_mm[face]))
        normal = _turned(_exact(self.way), _exact(block.normals[face]))
        return normal, bare - (0 if row >= len(block.normals) else Fraction(float(self.cover_mm[face])))


@dataclass(frozen=True, slots=True, eq=False)
class Stood:
    """What a placement reaches, its quaternion (4,) and its shift (3,)."""

    value: float
    turn: Array
    shift_mm: Array


def settled_in(figure: Figure, rows: CornerRows, stance: Stance, stood: Stood, bound: float) -> Stood | None:
    """Return the placement with a value that it reaches exactly; None where rounding leaves none.

    A scale that is sought is shrunk towards the middle of the block, by as little as it takes. Where the scale is
    given, the placement is moved off the rows that give nothing, and the value is what it keeps of the others.
    """
    turn = _within(stance, stood.turn)
    stood = Stood(min(stood.value, bound), turn, stood.shift_mm)
    is_largest = rows.scale == 0
    normals = rows.block.normals[rows.faces] @ from_quaternions(rows.way).T
    steps = (0.0, *(2.0**-50 * 8**k for k in range(_TRIES)))
    if is_largest:
        middle, _ = inner_ball(normals, rows.offsets)
        for step in steps:
            at = middle + (1 - step) * (stood.shift_mm - middle)
            tried = Stood(stood.value * (1 - step), turn, at)
            if min(_spare(figure, rows, normals, tried, tried.value)) >= 0:
                return tried
        return None
    spare = np.array([float(s) for s in _spare(figure, rows, normals, stood, rows.scale)])
    size = float(np.abs(spare).max())
    middle, _ = inner_ball(normals, spare + rows.loads * size + normals @ stood.shift_mm)
    for step in steps:
        tried = Stood(stood.value, turn, stood.shift_mm + step * (middle - stood.shift_mm))
        exact = _spare(figure, rows, normals, tried, rows.scale)
        if all(s >= 0 for s, load in zip(exact, rows.loads, strict=True) if load == 0):
            loaded = [s / _load(rows, row) for row, s in enumerate(exact) if rows.loads[row] > 0]
            return Stood(min(_below(min(loaded)), bound), turn, tried.shift_mm)
    return None


def _load(rows: CornerRows, row: int) -> Fraction:
    return Fraction(1) if rows.loads[row] == 1 else max(Fraction(0), rows.exact(row)[0][1])


def _spare(figure: Figure, rows: CornerRows, normals: Array, stood: Stood, scale: float) -> Exact:
    """Return what every row has to spare, exactly: only the vertices that come nearest can decide."""
    turn, shift, size = _exact(stood.turn), _exact(stood.shift_mm), Fraction(scale)
    heights = (figure.vertices @ (normals @ from_quaternions(stood.turn)).T).T  # (m, n)
    doubt = _DOUBT * float(np.abs(figure.vertices).sum(axis=1).max())
    spare = []
    for row, along in enumerate(heights):
        normal, offset = rows.exact(row)
        back = _turned([turn[0], -turn[1], -turn[2], -turn[3]], normal)
        near = figure.vertices[np.flatnonzero(along >= along.max() - doubt)]
        top = max(_dot(back, _exact(vertex)) for vertex in np.unique(near, axis=0))
        spare.append(offset - size * (top + Fraction(figure.margin_mm)) - _dot(normal, shift))
    return spare


def _within(stance: Stance, turn: Array) -> Array:
    """Return the quaternion, moved by a few last digits where it stands on a limit of the stance."""
    w, x, y, z = turn
    tilt, angle = np.radians(stance.tilt) / 2, np.radians(stance.turn) / 2
    if stance.tilt < 180 and np.cos(tilt) ** 2 * (x * x + y * y) > np.sin(tilt) ** 2 * (w * w + z * z) * _WITHIN:
        x, y = (0.0, 0.0) if stance.tilt == 0 else (x * (1 - _INWARD), y * (1 - _INWARD))
    if stance.turn < 180 and np.cos(angle) ** 2 * z * z > np.sin(angle) ** 2 * w * w * _WITHIN:
        w, z = (w, 0.0) if stance.turn == 0 else (w * (1 + _INWARD), z * (1 - _INWARD))
    return np.array([w, x, y, z])


def _below(value: Fraction) -> float:
    """Return the largest float that is not above."""
    near = float(value)
    return near if Fraction(near) <= value else float(np.nextafter(near, -np.inf))


def _exact(values: Array) -> Exact:
    return [Fraction(float(value)) for value in values]


def _dot(first: Exact, second: Exact) -> Fraction:
    return sum((a * b for a, b in zip(first, second, strict=True)), Fraction(0))


def _turned(q: Exact, v: Exact) -> Exact:
    """Return a vector turned by a quaternion of any length: v + 2 u × (u × v + w v) / |q|², for q = (w, u)."""
    w, u = q[0], q[1:]
    inner = [part + w * old for part, old in zip(_cross(u, v), v, strict=True)]
    return [old + 2 * part / _dot(q, q) for old, part in zip(v, _cross(u, inner), strict=True)]


def _cross(a: Exact, b: Exact) -> Exact:
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]

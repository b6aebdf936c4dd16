"""Cells of rotations: cubes of quaternions, intervals of turn, and patches of direction with a spin.

A rotation takes the figure's axes to the block's. Cubes: unit quaternions with one component largest,
``q = (1, v)/|(1, v)|`` with v in [−1, 1]³; four of them hold every rotation. Patches serve where one pair of
faces decides, so that the best rotations form a circle: the figure's direction u that comes to lie along the
pair's axis, on one side of a cube around the sphere, and the spin about that axis."""

import math
from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.tolerances import NOT_ZERO, PARALLEL, ROUNDING
from blockfit.geometry.turns import from_quaternions
from blockfit.solids.stance import Stance

__all__ = ["Cells", "outside_stance", "split", "start_cubes", "start_patches", "start_turns", "turns_about_up"]

TURNS = 4  # the chart of turns about the vertical
_PATCHES = 5  # and the first of six charts of direction and spin


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Cells as arrays: ``centre`` (b, 3) and ``half`` (b,) in the cell's own parameters, ``chart`` (b,).

    Chart 0 to 3 is the cube whose largest quaternion component is w, x, y or z. Chart 4 is turns about the
    vertical: ``centre[:, 2]`` is the angle in radians. Charts 5 to 10 are patches around the figure's +x, +y,
    +z, −x, −y and −z: direction in ``centre[:, :2]``, spin in ``centre[:, 2]`` and half its range in ``spin``;
    ``axis`` (3,) is the block's axis that they are about. All cells are of one of these kinds.
    """

    centre: Array
    half: Array
    chart: Ints
    spin: Array
    axis: Array

    def __len__(self) -> int:
        """Number of cells."""
        return len(self.half)

    def pick(self, which: Ints | Flags) -> "Cells":
        """Return the cells with these indices."""
        return Cells(self.centre[which], self.half[which], self.chart[which], self.spin[which], self.axis)

    def join(self, other: "Cells") -> "Cells":
        """Return these cells and those."""
        mine, theirs = (
            (self.centre, self.half, self.chart, self.spin),
            (other.centre, other.half, other.chart, other.spin),
        )
        centre, half, chart, spin = (np.concatenate(pair) for pair in zip(mine, theirs, strict=True))
        return Cells(centre, half, chart, spin, self.axis)

    @property
    def are_turns(self) -> bool:
        """Whether these are turns about the vertical."""
        return len(self) > 0 and int(self.chart[0]) == TURNS

    @property
    def are_patches(self) -> bool:
        """Whether these are patches of direction with a spin."""
        return len(self) > 0 and int(self.chart[0]) >= _PATCHES

    def rotations(self) -> Array:
        """Return the (b, 3, 3) rotations at the centres."""
        if self.are_turns:
            return turns_about_up(self.centre[:, 2])
        if self.are_patches:
            return _patch_rotations(self)
        return from_quaternions(self._quaternions())

    def _quaternions(self) -> Array:
        q = np.empty((len(self), 4))
        for chart in range(4):
            mine = self.chart == chart
            others = [k for k in range(4) if k != chart]
            q[mine, chart] = 1
            q[np.ix_(mine, others)] = self.centre[mine]
        return np.asarray(q / np.linalg.norm(q, axis=1, keepdims=True))

    def radii(self) -> Array:
        """Return (b,) a bound on the angle between the centre and any rotation of the cell, in radians.

        Cubes: along a segment in v, q moves at |dq| <= |dv|/sqrt(1 + |v|²), a rotation turns by twice the
        angle between quaternions, and no point is further than √3·half from the centre. Patches: moving u by
        an angle α moves the frame that follows it by α, and turns it about u by no more than the area between
        the path and the patch's middle, at most α·tan(ρ/2) within an angle ρ of the middle; spin adds to that.
        """
        if self.are_turns:
            return self.half
        if self.are_patches:
            far = np.sqrt(((np.abs(self.centre[:, :2]) + self.half[:, None]) ** 2).sum(axis=1))  # tan ρ
            half_tangent = (np.sqrt(1 + far**2) - 1) / far
            return np.asarray(self.tilts() * (1 + half_tangent) + self.spin)
        nearest = np.maximum(np.abs(self.centre) - self.half[:, None], 0)
        return np.asarray(2 * math.sqrt(3) * self.half / np.sqrt(1 + (nearest**2).sum(axis=1)))

    def tilts(self) -> Array:
        """Return (b,) a bound on the angle by which the axis moves within a patch, whatever its spin.

        A point v of the cube's side is seen in the direction (1, v)/|(1, v)|, which moves at
        |dv|/sqrt(1 + |v|²) at most, and no point is further than √2·half from the centre.
        """
        nearest = np.maximum(np.abs(self.centre[:, :2]) - self.half[:, None], 0)
        return np.asarray(math.sqrt(2) * self.half / np.sqrt(1 + (nearest**2).sum(axis=1)))


def _patch_rotations(cells: Cells) -> Array:
    """Return spin about the axis · (patch's middle to the axis) · (direction to the middle), each the least turn."""
    middle_axis = (cells.chart - _PATCHES) % 3
    sign = np.where(cells.chart - _PATCHES < 3, 1.0, -1.0)
    eye = np.eye(3)
    middle = eye[middle_axis] * sign[:, None]
    direction = (
        middle + cells.centre[:, :1] * eye[(middle_axis + 1) % 3] + cells.centre[:, 1:2] * eye[(middle_axis + 2) % 3]
    )
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    to_axis = np.array([_least_turn(sign * eye[k], cells.axis) for sign in (1, -1) for k in range(3)])
    half = cells.centre[:, 2:] / 2
    spin = from_quaternions(np.concatenate([np.cos(half), np.sin(half) * cells.axis], axis=1))
    # The least turn from the direction to the middle, as a quaternion 1 + cos, cross.
    cos = (direction * middle).sum(axis=1, keepdims=True)
    back = from_quaternions(np.concatenate([1 + cos, np.cross(direction, middle)], axis=1))
    return np.asarray(spin @ to_axis[cells.chart - _PATCHES] @ back)


def _least_turn(start: Array, end: Array) -> Array:
    """Return the least turn (3, 3) that takes one unit vector to another; any half turn if they are opposite."""
    cos = float(start @ end)
    if cos < -PARALLEL:  # opposite, or so nearly that any axis square to the start does
        other = np.eye(3)[int(np.abs(start).argmin())]
        across = np.cross(start, other)
        half_turn = from_quaternions(np.array([0.0, *across]))
        return np.asarray(_least_turn(half_turn @ start, end) @ half_turn)
    return from_quaternions(np.array([1 + cos, *np.cross(start, end)]))


def turns_about_up(angles: Array) -> Array:
    """Return (b, 3, 3) rotations about z by angles in radians."""
    rotations = np.zeros((len(angles), 3, 3))
    rotations[:, 0, 0] = rotations[:, 1, 1] = np.cos(angles)
    rotations[:, 1, 0] = np.sin(angles)
    rotations[:, 0, 1] = -rotations[:, 1, 0]
    rotations[:, 2, 2] = 1
    return rotations


def start_cubes(charts: tuple[int, ...], parts: int = 6) -> Cells:
    """Return ``parts``³ equal cubes for each chart."""
    half = 1 / parts
    line = -1 + half * (2 * np.arange(parts) + 1)
    grid = np.stack(np.meshgrid(line, line, line, indexing="ij"), axis=-1).reshape(-1, 3)
    count = len(grid)
    every = count * len(charts)
    chart = np.repeat(np.array(charts, np.int64), count)
    return Cells(np.tile(grid, (len(charts), 1)), np.full(every, half), chart, np.zeros(every), np.zeros(3))


def start_turns(limit_deg: float, parts: int = 63) -> Cells:
    """Return intervals that cover turns from −limit to +limit; an odd number, so that 0 is a centre."""
    half = math.radians(limit_deg) / parts
    angles = half * (2 * np.arange(parts) - (parts - 1))
    chart = np.full(parts, TURNS, np.int64)
    return Cells(angles[:, None] * [0, 0, 1], np.full(parts, half), chart, np.zeros(parts), np.zeros(3))


def start_patches(axis: Array, *, half_sphere: bool, parts: int = 6) -> Cells:
    """Return patches for every rotation, with any spin about ``axis`` (3,).

    ``half_sphere``: half turns change nothing (a box), so that half the directions and half the spins do.
    """
    half = 1 / parts
    line = -1 + half * (2 * np.arange(parts) + 1)
    grid = np.stack(np.meshgrid(line, line, [0.0], indexing="ij"), axis=-1).reshape(-1, 3)
    charts = 3 if half_sphere else 6
    every = len(grid) * charts
    chart = np.repeat(np.arange(_PATCHES, _PATCHES + charts), len(grid))
    spin = np.full(every, math.pi / 2 if half_sphere else math.pi)
    return Cells(np.tile(grid, (charts, 1)), np.full(every, half), chart, spin, axis)


def split(cells: Cells, settled_by_axis: Flags | None = None) -> Cells:
    """Return the children: eight half-size cubes, or three thirds of an interval (whose middle keeps its centre).

    A patch is quartered in direction alone where ``settled_by_axis`` says that the axis alone will settle it;
    elsewhere its spin is halved while it weighs more than the direction, and else all are halved.
    """
    if cells.are_turns:
        return _children(cells, np.array([[0, 0, -1], [0, 0, 0], [0, 0, 1]]) * (2 / 3), 1 / 3, 1.0)
    eight = np.stack(np.meshgrid(*[[-1, 1]] * 3, indexing="ij"), axis=-1).reshape(-1, 3) / 2
    if not cells.are_patches:
        return _children(cells, eight, 1 / 2, 1.0)
    four, two = eight[::2] * [1, 1, 0], np.array([[0, 0, -1], [0, 0, 1]]) / 2
    alone = np.zeros(len(cells), bool) if settled_by_axis is None else settled_by_axis
    spun = ~alone & (cells.spin > 1.5 * cells.tilts())
    both = ~alone & ~spun
    parts = [
        _children(cells.pick(alone), four, 1 / 2, 1.0),
        _children(cells.pick(spun), two, 1.0, 1 / 2),
        _children(cells.pick(both), eight, 1 / 2, 1 / 2),
    ]
    return parts[0].join(parts[1]).join(parts[2])


def _children(cells: Cells, corners: Array, half: float, spin: float) -> Cells:
    """Return a child at each of ``corners`` (c, 3), given in half sizes, its sizes shrunk by ``half`` and ``spin``."""
    size = np.stack([cells.half, cells.half, cells.spin if cells.are_patches else cells.half], axis=1)
    centre = (cells.centre[:, None, :] + corners * size[:, None, :]).reshape(-1, 3)
    count = len(corners)
    return Cells(
        centre,
        np.repeat(cells.half * half, count),
        np.repeat(cells.chart, count),
        np.repeat(cells.spin * spin, count),
        cells.axis,
    )


def outside_stance(rotations: Array, radii: Array, stance: Stance) -> Flags:
    """Return (b,) which cells, given by their centres (b, 3, 3), hold no rotation that the stance allows.

    Proof: a turn by r changes the tilt by at most r. It moves the quaternion by a chord of 2 sin(r/4) at most,
    so (w, z), of length cos(tilt/2), turns by at most asin(chord / length), and the turn is twice its angle.
    """
    up = np.clip(rotations[:, 2, 2], -1, 1)
    upright = np.sqrt((1 + up) / 2)  # cos(tilt/2) = |(w, z)|
    tilt = np.arctan2(np.hypot(rotations[:, 0, 2], rotations[:, 1, 2]), up)
    outside = tilt - radii > math.radians(stance.tilt) + ROUNDING
    if stance.turn < 180:
        sine = 2 * np.sin(np.minimum(radii, np.pi) / 4) / np.maximum(upright, NOT_ZERO)
        spread = np.where(sine < 1, np.arcsin(np.minimum(sine, 1)), np.pi)
        # R00 + R11 = 2(w² − z²) and R10 − R01 = 4 w z: their direction is the turn itself.
        turn = np.abs(np.arctan2(rotations[:, 1, 0] - rotations[:, 0, 1], rotations[:, 0, 0] + rotations[:, 1, 1]))
        outside |= turn - 2 * spread > math.radians(stance.turn) + ROUNDING
    return np.asarray(outside)

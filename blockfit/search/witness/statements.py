"""What settles a cell: weights of rows at points of the hull, and of the stance's limits."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.programs import least
from blockfit.geometry.tolerances import CLOSE
from blockfit.geometry.turns import from_quaternions
from blockfit.search.proof.dependencies import cancelled
from blockfit.search.proof.questions import Question
from blockfit.search.proof.support import spread_points
from blockfit.search.witness.forms import coefficients, form_of, stance_forms
from blockfit.solids.stance import Stance

__all__ = ["COEFFICIENT_ROUNDING", "LEAST_MARGIN", "Target", "Looked", "Statement", "combined", "look", "outside"]

COEFFICIENT_ROUNDING = 2e-14  # of the block's size: coefficients below it may be rounding
_FEW = 6  # dependencies tried on a cell
_MOST_POINTS = 800
_FIRST = 24  # rotations whose dependencies are known from the start, where they are not all listed
LEAST_MARGIN = 1e-15  # above 0 in spite of rounding, where coefficients are of size 1
_LEAST_WEIGHT = 1e-3  # of the block's size: what a coefficient counts for at least


@dataclass(frozen=True, slots=True, eq=False)
class Statement:
    """Weights (m,) of the question's ``rows`` (m,) at ``points`` (m,) of the hull, of ``limits`` (2,), and its form."""

    rows: Ints
    points: Ints
    weights: Array
    limits: Array
    form: Array


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """What was found for (b,) cells: a statement or None each, the axis to halve, and what the best one lacks.

    ``hopeful`` (b,) are cells that a combination of dependencies may still settle.
    """

    statements: list[Statement | None]
    axis: Ints
    hopeful: Ints


class Target:
    """A question of a hull in a stance, and the bound to be proved; knows the dependencies met so far."""

    def __init__(self, question: Question, points: Array, stance: Stance, bound: float) -> None:
        """Take in what does not change from cell to cell."""
        self.question, self.all_points, self.stance = question, points, stance
        self.scale = bound if question.scale is None else question.scale
        self.constant = self.scale * question.tolerance - question.offsets
        if question.scale is not None:
            self.constant = self.constant + question.loads * bound
        self.size = float(np.abs(question.offsets).max())
        self.margin = COEFFICIENT_ROUNDING * (self.size + self.scale * float(np.abs(points).max()))
        self.limits = stance_forms(stance)
        chosen = spread_points(points, _MOST_POINTS) if len(points) > _MOST_POINTS else np.arange(len(points))
        self.used = np.asarray(chosen, np.int64)
        if not question.is_listed:
            first = np.random.default_rng(0).normal(size=(_FIRST, 4)) * ([1, 0, 0, 1] if stance.tilt == 0 else 1)
            self.learn(from_quaternions(first))

    @cached_property
    def faces(self) -> tuple[Array, Ints, Flags]:
        """Distinct axes (m, 3) of the rows, each row's axis, and whether it looks along it."""
        return self.question.lines

    def touching(self, rotations: Array) -> Ints:
        """Return (b, f) which point of the hull reaches furthest towards each row, at (b, 3, 3) rotations."""
        axes, which, along = self.faces
        heights = (axes @ rotations) @ self.all_points[self.used].T
        far, near = heights.argmax(axis=2), heights.argmin(axis=2)
        return np.asarray(self.used[np.where(along, far[:, which], near[:, which])])

    def learn(self, rotations: Array) -> None:
        """Take in what decides at (b, 3, 3) rotations: their dependencies and, of a large hull, their points."""
        found = [self.question.tightest(self.all_points, rotation) for rotation in rotations]
        fresh = np.concatenate(found)
        known = self.question.weights
        new = [row for row in fresh if np.abs(known - row).max(axis=1).min(initial=np.inf) > CLOSE]
        if new:
            kept = np.unique(np.round(np.array(new), 12), axis=0, return_index=True)[1]
            self.question = self.question.learning(np.array(new)[kept])
        if len(self.used) < len(self.all_points):
            far = ((self.question.normals @ rotations).reshape(-1, 3) @ self.all_points.T).argmax(axis=1)
            self.used = np.union1d(self.used, far)


def outside(aim: Target, which: int) -> Statement:
    """Return the statement that a cell lies outside the limit of tilt (0) or turn (1)."""
    none = np.zeros(0, np.int64)
    return Statement(none, none, np.zeros(0), np.eye(2)[which], -aim.limits[which])


def look(aim: Target, corners: Array, sides: Array) -> Looked:  # noqa: PLR0915
    """Settle cells, (b, 8, 4) corners and (b, 3) sides, by single dependencies where that is enough."""
    count = len(corners)
    middles = corners.sum(axis=1)
    rotations, length = from_quaternions(middles), (middles**2).sum(axis=1) / 64
    points = aim.touching(rotations)
    reached = aim.all_points[points]  # (b, f, 3)
    normals = aim.question.normals
    heights = np.einsum("bfi,bfi->bf", normals @ rotations, reached)
    weights = aim.question.weights
    if len(weights) == 0:
        return Looked([None] * count, sides.argmax(axis=1), np.zeros(0, np.int64))
    at_middle = (aim.scale * heights + aim.constant) @ weights.T  # (b, k): above 0 where a dependency decides
    few = min(_FEW, len(weights))
    tried = np.argpartition(-at_middle, few - 1, axis=1)[:, :few]
    some = weights[tried]  # (b, few, f)
    moments = aim.scale * reached[:, :, :, None] * normals[None, :, None, :]
    forms = form_of((some @ moments.reshape(count, -1, 9)).reshape(count, few, 3, 3))
    forms += (some @ aim.constant)[..., None, None] * np.eye(4)
    spread = coefficients(corners, forms)
    low = spread.min(axis=2)
    middle = np.take_along_axis(at_middle, tried, axis=1) * length[:, None]
    # Among those that decide at the middle nearly as clearly as the clearest, the one that lacks least: the clearest
    # settles the cell in the end, however thin the region in which another one would.
    clear = (middle > 0) & (middle >= 0.5 * middle.max(axis=1, keepdims=True))
    best = np.where(clear, low / np.where(clear, middle, 1.0), low / aim.size - 1e9).argmax(axis=1)
    done = low.max(axis=1) > aim.margin
    best = np.where(done, low.argmax(axis=1), best)
    every = np.arange(count)
    chosen = spread[every, best].reshape(count, 3, 3, 3)
    varies = np.stack([np.abs(np.diff(chosen, axis=k)).max(axis=(1, 2, 3)) for k in (1, 2, 3)], axis=1)
    axis = np.where(sides > 0, varies + CLOSE * aim.size * sides, -1.0).argmax(axis=1)
    hopeful = ~done & (middle[every, best] > 0) & (low[every, best] > -0.5 * middle[every, best])
    statements: list[Statement | None] = [None] * count
    for k in np.flatnonzero(done):
        row = some[k, best[k]]
        rows = np.flatnonzero(row > 0)
        statements[k] = Statement(rows, points[k, rows], row[rows], np.zeros(2), forms[k, best[k]])
    straddles = np.zeros(count, bool)
    for which in range(2):
        if aim.limits[which].any():
            signs = coefficients(corners, np.broadcast_to(aim.limits[which], (count, 1, 4, 4)))[:, 0]
            out = (signs < -LEAST_MARGIN).all(axis=1)
            straddles |= ~out & (signs < 0).any(axis=1)
            for k in np.flatnonzero(out & ~done):
                statements[k] = outside(aim, which)
            done |= out
    hopeful = (hopeful & ~done) | (
        straddles & ~done & ((middle.max(axis=1) <= 0) | (low.max(axis=1) > -2 * middle.max(axis=1)))
    )
    return Looked(statements, axis, np.flatnonzero(hopeful))


def combined(aim: Target, corners: Array) -> Statement | None:
    """Return the statement that settles a cell, (8, 4) corners, with the most to spare; None if none does.

    By a linear program: its variables are the weights of the rows at all points that reach furthest at any corner, and
    of the limits. It makes the least of the 27 coefficients large; they are linear in the weights.
    """
    rotations = from_quaternions(np.concatenate([corners, corners.sum(axis=0)[None]]))
    touching = aim.touching(rotations)
    pairs = np.unique(
        np.column_stack([np.tile(np.arange(touching.shape[1]), len(rotations)), touching.ravel()]), axis=0
    )
    rows, points = pairs[:, 0], pairs[:, 1]
    normals = aim.question.normals[rows]
    forms = form_of(aim.scale * aim.all_points[points][:, :, None] * normals[:, None, :])
    forms += aim.constant[rows][:, None, None] * np.eye(4)
    limits = np.flatnonzero(aim.limits.any(axis=(1, 2)))
    every = np.concatenate([forms / aim.size, -aim.limits[limits], np.eye(4)[None]])
    table = coefficients(corners[None], every[None])[0]  # (v, 27)
    count, free = len(rows), len(rows) + len(limits)
    system = np.zeros((35, free + 1))
    system[:27, :free], system[:27, -1] = -table[:free].T, np.maximum(table[-1], _LEAST_WEIGHT)
    system[27:30, :count], system[30:33, :count] = normals.T, -normals.T
    system[33, :count], system[34, :count] = 1, -1
    rest = np.concatenate([np.zeros(33), [1.0, -1.0]])
    bounds: list[tuple[float | None, float | None]] = [*[(0.0, None)] * free, (-10.0, None)]
    found = least(np.concatenate([np.zeros(free), [-1.0]]), system, rest, bounds)
    if found is None or found.point[-1] <= 0:
        return None
    kept = np.flatnonzero(found.point[:count] > CLOSE)
    weights = cancelled(normals[kept], found.point[kept])
    if weights is None:
        return None
    times = np.zeros(2)
    times[limits] = np.maximum(found.point[count:free], 0) * aim.size
    form = np.tensordot(weights, forms[kept], 1) - np.tensordot(times, aim.limits, 1)
    if coefficients(corners[None], form[None, None]).min() <= aim.margin + COEFFICIENT_ROUNDING * times.sum():
        return None
    return Statement(rows[kept], points[kept], weights, times, form)

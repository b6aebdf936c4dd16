"""What is asked of a rotation, as a number to make large: the scale, or the stone kept on the faces.

Offsets and sums in mm. Every merit falls as the sums Σ λ_j h_j grow, so that lower bounds of the sums give
an upper bound of the merit."""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.programs import least
from blockfit.search.proof.dependencies import dependencies, exact_dependency, pair_rows
from blockfit.search.proof.support import reach
from blockfit.solids.block import Block

__all__ = ["LEAST_LOAD", "Question", "Rows", "question_about"]

LEAST_LOAD = 1e-6
"""A dependency that the cover sought loads by less does not bind it: what is divided by the load is rounding."""
"""Weights that share less with the faces that give something are not asked: rounding would be all that they tell."""
_SPARE = 1e-11  # of the block's size: a figure that fits exactly lacks less, by rounding


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """What dependencies ask: ``room`` = λ·(b − c) and ``load`` = λ·a, (k,), or (b, k) where they differ by cell."""

    room: Array
    load: Array

    def pick(self, which: Ints | Flags) -> "Rows":
        """Return some of the rows, (k,) or (b, k) as ``which`` is."""
        return Rows(self.room[which], self.load[which])


@dataclass(frozen=True, eq=False)
class Question:
    """The block's ``normals`` (f, 3), the ``offsets`` (f,) left after skin and cover, and what to make large.

    With ``scale`` ``None`` it is the scale. Otherwise the scale is given and the merit is the most t for which
    ``n_j·x + scale·h_j + loads_j·t <= offsets_j`` on every face: cover (loads 1) or setback (loads n_j·y).
    Offsets are measured from the block's ``centre`` (3,), from which it reaches ``radius``: near the origin no digits
    are lost. The points are known to ``tolerance``, which adds to every reach; ``most`` caps the scale that is of use.
    ``learned`` (k, f) are dependencies found on the way, for blocks with too many faces to list them all.
    """

    normals: Array
    offsets: Array
    loads: Array
    scale: float | None = None
    tolerance: float = 0.0
    most: float = np.inf
    centre: Array = field(default_factory=lambda: np.zeros(3))
    radius: float = 0.0
    learned: Array | None = None

    @cached_property
    def weights(self) -> Array:
        """Dependencies (k, f) of the normals: all of them, or those known so far."""
        known = dependencies(self.normals)[0]
        return known if self.learned is None else np.concatenate([known, self.learned])

    @cached_property
    def is_listed(self) -> bool:
        """Whether all dependencies were listed, except such as nearly parallel faces may hide."""
        return dependencies(self.normals)[1]

    @cached_property
    def rows(self) -> Rows:
        """Room and load of each dependency."""
        return self.rows_of(self.weights)

    def rows_of(self, weights: Array) -> Rows:
        """Return room and load of dependencies (k, f).

        Where λ cancels the normals only nearly, r = Σ λ_j n_j is left and r·x with it. The figure's middle x lies
        within three times the block's radius of its centre: that much is added to the room.
        """
        left_over = np.linalg.norm(weights @ self.normals, axis=1)
        return Rows(weights @ self.offsets + 3 * self.radius * left_over, weights @ self.loads)

    @cached_property
    def pairs(self) -> Flags:
        """Which dependencies are pairs of opposite faces."""
        return pair_rows(self.weights)

    @cached_property
    def is_box(self) -> bool:
        """Whether the block is a box along the axes, which half turns leave unchanged."""
        square = self.normals.shape == (6, 3) and bool((np.abs(self.normals).sum(axis=1) == 1).all())
        return square and len(self.weights) == 3

    @cached_property
    def lines(self) -> tuple[Array, Ints, Flags]:
        """Distinct axes (m, 3) of the normals, each face's axis, and whether the face looks along it or against."""
        axes: list[Array] = []
        which, along = [], []
        for normal in self.normals:
            fits = [(k, side) for k, axis in enumerate(axes) for side in (1, -1) if np.array_equal(normal, side * axis)]
            if not fits:
                axes.append(normal)
                fits = [(len(axes) - 1, 1)]
            which.append(fits[0][0])
            along.append(fits[0][1] > 0)
        return np.array(axes), np.array(which), np.array(along)

    def merits(self, sums: Array, rows: Rows) -> Array:
        """Return (b, k) what each of the sums Σ λ_j h_j of the points alone would allow by itself.

        ``rows`` holds (k,) or (b, k) rooms and loads.
        """
        sums = sums + self.tolerance  # the weights of each dependency add up to 1
        if self.scale is None:
            # A sum of 0 (a flat figure seen edge on) asks nothing of its faces.
            return np.asarray(np.where(sums > 0, rows.room / np.where(sums > 0, sums, 1.0), np.inf))
        spare = rows.room - self.scale * sums
        loaded = rows.load >= LEAST_LOAD
        # Rounding must not make a figure that fits exactly seem too large.
        unloaded = np.where(spare < -_SPARE * float(np.abs(self.offsets).max()), -np.inf, np.inf)
        return np.asarray(np.where(loaded, spare / np.where(loaded, rows.load, 1.0), unloaded))

    def merit(self, sums: Array, rows: Rows) -> Array:
        """Return (b,) the merit for (b, k) sums: the least that any of them allows."""
        return np.asarray(self.merits(sums, rows).min(axis=1, initial=self.most if self.scale is None else np.inf))

    def value(self, points: Array, rotation: Array) -> float:
        """Return the merit of one rotation, by the closed form over all of ``points``."""
        if self.is_box:
            return float(self.values(points, rotation[None])[0])
        heights = reach(points, self.normals @ rotation)  # (f,)
        weights = np.concatenate([self.weights, self.tightest(points, rotation)])
        return float(self.merit((weights @ heights)[None], self.rows_of(weights))[0])

    def values(self, points: Array, rotations: Array) -> Array:
        """Return (b,) the merits of (b, 3, 3) rotations."""
        if not self.is_box:  # nearly parallel faces may hide a dependency from the list
            return np.array([self.value(points, rotation) for rotation in rotations])
        heights = reach(points, self.normals @ rotations)  # (b, f)
        return self.merit(heights @ self.weights.T, self.rows)

    def tightest(self, points: Array, rotation: Array) -> Array:
        """Return (1, f) the dependency that decides at a rotation, by a linear program; (0, f) if none does.

        Where the faces that give nothing leave no place at all, it is the one that misses most: its merit is −inf.
        """
        size = float(np.abs(self.offsets).max())
        heights = reach(points, self.normals @ rotation) + self.tolerance
        gain = heights if self.scale is None else self.loads * size
        rest = self.offsets if self.scale is None else self.offsets - self.scale * heights
        found = least(np.array([-1.0, 0, 0, 0]), np.column_stack([gain / size, self.normals]), rest / size)
        if found is None and self.scale is not None:
            even = np.ones(len(self.normals))
            found = least(np.array([-1.0, 0, 0, 0]), np.column_stack([even, self.normals]), rest / size)
        none = np.zeros((0, len(self.normals)))
        if found is None:
            return none
        weights = exact_dependency(self.normals, found.duals)
        return none if weights is None else weights[None]

    def room_missing(self) -> tuple[float, Flags]:
        """Return how much every face must give before any figure, however small, has room; and which faces decide.

        Below 0 if there is room to spare.
        """
        weights = self.tightest_place()
        return -float(self.rows_of(weights[None]).room[0]), weights > 0

    def tightest_place(self) -> Array:
        """Return (f,) the dependency of the faces that leave the least room, whatever the figure."""
        found = least(
            np.array([0.0, 0, 0, 1]), np.column_stack([self.normals, -np.ones(len(self.normals))]), self.offsets
        )
        weights = None if found is None else exact_dependency(self.normals, found.duals)
        if weights is None:
            raise AssertionError("a closed block always has a tightest place: a fault in blockfit, please report it")
        return weights

    def size_of(self, merit: float) -> float:
        """Return what a small difference of merit is small against: the scale, or the block where stone is asked."""
        return abs(merit) if self.scale is None else float(np.abs(self.offsets).max())

    def learning(self, found: Array) -> "Question":
        """Return this question with more dependencies known."""
        learned = found if self.learned is None else np.concatenate([self.learned, found])
        return replace(self, learned=learned)


def question_about(
    block: Block,
    asked_mm: Array,
    loads: Array,
    *,
    scale: float | None = None,
    tolerance: float = 0.0,
    most: float = np.inf,
) -> Question:
    """Return the question about a block whose faces keep ``asked_mm`` (f,) of sound stone."""
    corners = block.corners_mm
    centre = (corners.min(axis=0) + corners.max(axis=0)) / 2
    return Question(
        block.normals,
        block.sound_mm - asked_mm - block.normals @ centre,
        loads,
        scale=scale,
        tolerance=tolerance,
        most=most,
        centre=centre,
        radius=float(np.linalg.norm(corners - centre, axis=1).max()),
    )

"""All flaws at once: which of them lie near a placed figure, and by how much. mm, block frame.

Flaws of one margin are one surface, balls are centres; grids of distances with their error bound leave out what lies
far away, so that only near places are asked for exact distances. Nothing near is left out: a grid's value less the way
to its node is never more than the distance."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.tolerances import LEAST_SIZE, ROUNDING
from blockfit.measure.booleans import Solid, arrays_of, unite
from blockfit.measure.distance import DistanceGrid, SurfaceDistance
from blockfit.search.flawed.obstacles import Obstacle

__all__ = ["Body", "Crowd", "crowd_of"]

_NODES = 80_000  # of the grid over the block
_CAP = 0.15  # of the block's longest side: beyond it a flaw counts as far


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Body:
    """Flaws of one margin as one closed surface; ``owners`` are their numbers."""

    margin_mm: float
    solid: Solid
    field: SurfaceDistance
    is_outside: bool
    owners: Ints

    def away(self, points: Array) -> tuple[Array, Array, Array]:
        """Return (n,) clearances of points, margin off, (n, 3) unit vectors in which they grow, and nearest places."""
        signed, nearest = self.field.signed(points)
        to = points - nearest
        length = np.linalg.norm(to, axis=1)
        # Nearer than rounding, a direction would be made of it: it stays short.
        ways = to / np.maximum(length, ROUNDING)[:, None] * np.sign(signed)[:, None]
        signed, ways = (-signed, -ways) if self.is_outside else (signed, ways)
        return signed - self.margin_mm, ways, nearest


@dataclass(frozen=True, slots=True, eq=False)
class Crowd:
    """Everything that a figure keeps clear of.

    ``centres`` (n, 3) and ``spans`` (n,) are balls around the flaws, ``reach`` (n,) what is kept from each, for a ball
    its own radius too (its span is 0). ``marks`` (k, 3) are places of the flaws, sorted by ``owner`` (k,): those of
    flaw i run from ``first[i]`` to ``first[i + 1]``. ``grid`` holds the least clearance, up to a cap.
    """

    centres: Array
    spans: Array
    reach: Array
    is_ball: Flags
    is_outside: Flags
    marks: Array
    owner: Ints
    first: Ints
    bodies: tuple[Body, ...]
    grid: DistanceGrid

    def marks_of(self, flaws: Ints) -> Ints:
        """Return the numbers of the marks of some flaws."""
        count = self.first[flaws + 1] - self.first[flaws]
        start = np.repeat(self.first[flaws] - np.concatenate([[0], np.cumsum(count)[:-1]]), count)
        return np.asarray(start + np.arange(int(count.sum())))

    def with_marks(self, places: Array, flaws: Ints) -> "Crowd":
        """Return the same with more places (k, 3) of the flaws given (k,)."""
        owner = np.concatenate([self.owner, flaws])
        order = np.argsort(owner, kind="stable")
        count = np.bincount(owner, minlength=len(self.centres))
        first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
        marks = np.concatenate([self.marks, places])[order]
        return replace(self, marks=marks, owner=owner[order], first=first)


def crowd_of(obstacles: Sequence[Obstacle], low: Array, high: Array) -> Crowd:
    """Return flaws gathered, with a grid of clearances between two corners of the block."""
    spheres = [_around(o) for o in obstacles]
    centres = np.array([centre for centre, _ in spheres]).reshape(-1, 3)
    balls = np.array([o.is_ball for o in obstacles], bool)
    marks = [o.centre[None] if o.is_ball else o.samples for o in obstacles]
    count = np.array([len(m) for m in marks], np.int64)
    reach = np.array([o.margin_mm + (o.radius_mm if o.is_ball else 0.0) for o in obstacles], np.float64)
    bodies = _bodies(obstacles)
    spans = np.array([0.0 if o.is_ball else span for o, (_, span) in zip(obstacles, spheres, strict=True)])
    return Crowd(
        centres=centres,
        spans=spans,
        reach=reach,
        is_ball=balls,
        is_outside=np.array([o.is_outside for o in obstacles], bool),
        marks=np.concatenate([np.zeros((0, 3)), *marks]),
        owner=np.repeat(np.arange(len(obstacles)), count),
        first=np.concatenate([[0], np.cumsum(count)]).astype(np.int64),
        bodies=bodies,
        grid=_grid(centres[balls], reach[balls], [(b, centres[b.owners], spans[b.owners]) for b in bodies], low, high),
    )


def _around(obstacle: Obstacle) -> tuple[Array, float]:
    """Return a ball around an obstacle."""
    if obstacle.is_ball:
        return obstacle.centre, 0.0
    corners = obstacle.corners
    middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
    return middle, float(np.linalg.norm(corners - middle, axis=1).max())


def _bodies(obstacles: Sequence[Obstacle]) -> tuple[Body, ...]:
    """Return all but the balls, those of one margin united."""
    groups: dict[tuple[float, bool, int], list[int]] = {}
    for number, obstacle in enumerate(obstacles):
        if not obstacle.is_ball:
            # The outside of two stones is not the outside of both together.
            alone = number if obstacle.is_outside else -1
            groups.setdefault((obstacle.margin_mm, obstacle.is_outside, alone), []).append(number)
    found = []
    for (margin, is_outside, _), owners in groups.items():
        whole = obstacles[owners[0]].body if len(owners) == 1 else unite([obstacles[k].body for k in owners])
        field = SurfaceDistance(*arrays_of(whole), folds=any(obstacles[k].is_scan for k in owners))
        found.append(Body(margin, whole, field, is_outside, np.array(owners, np.int64)))
    return tuple(found)


def _grid(
    centres: Array, reach: Array, bodies: Sequence[tuple[Body, Array, Array]], low: Array, high: Array
) -> DistanceGrid:
    """Return the least clearance at the nodes, up to a cap; a flaw is asked only where it can be nearer than that."""
    size = np.maximum(high - low, LEAST_SIZE)
    step = float((size.prod() / _NODES) ** (1 / 3))
    counts = np.clip(np.ceil(size / step).astype(np.int64) + 1, 2, 200)
    lines = [np.linspace(a, b, n) for a, b, n in zip(low, high, counts, strict=True)]
    # Cover under a stone's own surface is looked for as deep as the stone goes.
    deep = any(body.is_outside for body, _, _ in bodies)
    cap = (1.0 if deep else _CAP) * float(size.max())
    values = np.full(tuple(counts), cap)

    for centre, by in zip(centres, reach, strict=True):
        where = _part(lines, centre - by - cap, centre + by + cap)
        squares = [(line[s] - c) ** 2 for line, s, c in zip(lines, where, centre, strict=True)]
        away = np.sqrt(squares[0][:, None, None] + squares[1][:, None] + squares[2]) - by
        np.minimum(values[where], away, out=values[where])
    for body, middles, spans in bodies:
        around = spans[:, None] + max(body.margin_mm, 0.0) + cap
        where = _part(lines, (middles - around).min(axis=0), (middles + around).max(axis=0))
        if body.is_outside:
            where = (slice(None), slice(None), slice(None))
        nodes = np.stack(np.meshgrid(*(line[s] for line, s in zip(lines, where, strict=True)), indexing="ij"), axis=-1)
        if nodes.size:
            away = body.away(nodes.reshape(-1, 3))[0].reshape(nodes.shape[:-1])
            np.minimum(values[where], away, out=values[where])
    return DistanceGrid(low, size / (counts - 1), values)


def _part(lines: Sequence[Array], least: Array, most: Array) -> tuple[slice, ...]:
    """Return the nodes between two corners."""
    return tuple(
        slice(int(np.searchsorted(line, a)), int(np.searchsorted(line, b, side="right")))
        for line, a, b in zip(lines, least, most, strict=True)
    )

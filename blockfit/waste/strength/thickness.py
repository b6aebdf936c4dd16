"""How thick the figure is at its surface: the largest ball inside it that touches there. mm.

A ball that touches at p with inward normal n and meets q has the diameter |q − p| / cos φ, φ between n and q − p.
Only surface that looks the opposite way, within 60°, counts: the faces beside a sharp edge, and the noise of a scan
around p itself, make no stone thin. Resolved to the samples' spacing, closer where the figure is thin."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.tolerances import CLOSE, LESS, NOT_ZERO, ROUNDING
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.nearest import tree_of
from blockfit.waste.reach.sight import Elements

__all__ = ["Thickness", "thickness_of"]

_OPPOSED = 0.5  # cosine of the angle between the inward normal and the outward normal met
_ENOUGH = 0.995  # a ball is shrunk only for what lies this far inside it
_NEAR = 8
_SETTLED = 6
_MOST_PASSES = 6
_FEW = 12_000  # samples of the first look, some
_THIN = 10  # spacings: what is no thicker is looked at more closely


@dataclass(frozen=True, slots=True, eq=False)
class Thickness:
    """Where the surface was sampled (k, 3), inward normals, and the diameter there of the largest ball inside.

    ``areas_mm2`` (k,) is the surface that a sample stands for, ``spacing_mm`` (k,) how far apart they are around it;
    ``of_element`` (m,) is the sample that stands for each element.
    """

    points: Array
    inward: Array
    diameter_mm: Array
    areas_mm2: Array
    of_element: Ints
    spacing_mm: Array

    @property
    def middles(self) -> Array:
        """The balls' middles (k, 3)."""
        return self.points + self.inward * (self.diameter_mm / 2)[:, None]

    def least(self) -> int:
        """Return the sample where the figure is thinnest, over more than a crease or a scan's noise.

        Stone as thin as t counts where a surface of 2 t², and of the square of a hundredth of the figure's height,
        lies within reach and is hardly thicker: a finger, a fold, an ankle have that; the bottom of a crease between
        two folds has not, however finely it is sampled.
        """
        detail = 0.01 * float(np.ptp(self.points[:, 2]))
        tree = tree_of(self.points)
        order = np.argsort(self.diameter_mm, kind="stable")
        for k in order[:4000]:
            thin = float(self.diameter_mm[k])
            near = np.asarray(tree.query_ball_point(self.points[k], max(2 * thin, 1.5 * detail)), np.int64)
            alike = near[self.diameter_mm[near] <= 1.25 * thin]
            if self.areas_mm2[alike].sum() >= max(2 * thin**2, detail**2):
                return int(k)
        return int(order[0])


def thickness_of(elements: Elements, spacing_mm: float) -> Thickness:
    """Return the thickness at one element in every cell of ``spacing_mm`` where it is thin, elsewhere of larger cells.

    The other elements take their nearest's.
    """
    points = elements.points
    tree = tree_of(points)
    # A scan's noise tips single faces: normals are shared with the neighbours that look roughly the same way.
    every, small = _one_of_each(points, spacing_mm)
    inward = -_smoothed(elements, tree, every)
    places = points[every]
    ahead = _opposite(elements, places, inward, spacing_mm)
    # What is thin straight inward, or in larger cells where a ball is small, is looked at everywhere.
    large = max(2 * spacing_mm, float(np.sqrt(elements.areas.sum() / _FEW)))
    few, cell = _one_of_each(places, large)
    ball = _shrunk(elements, tree, places[few], inward[few], ahead[few])
    around = _nearest(places[few], places[few], _NEAR)
    settled = _settled(ball, around)
    limit = max(_THIN * spacing_mm, 2 * large)
    least = settled.copy()
    np.minimum.at(least, cell, ahead)
    thin = least[around].min(axis=1) < limit
    closer = thin[cell]
    closer[few] = False
    some = np.flatnonzero(closer)
    further = _shrunk(elements, tree, places[some], inward[some], ahead[some])
    chosen, diameter = np.concatenate([few, some]), np.concatenate([ball, further])
    again = thin[cell[chosen]]
    diameter[again] = _settled(diameter, _nearest(places[chosen], places[chosen[again]], _NEAR))
    diameter[: len(few)][~thin] = settled[~thin]
    samples = places[chosen]
    # The surface of a larger cell belongs to none of the small ones beside it.
    beside = ~thin[cell[small]]
    of_element = np.zeros(len(points), np.int64)
    of_element[beside] = _nearest(samples[: len(few)], points[beside], 1)[:, 0]
    of_element[~beside] = _nearest(samples, points[~beside], 1)[:, 0]
    areas = np.asarray(np.bincount(of_element, weights=elements.areas, minlength=len(chosen)), np.float64)
    away = tree.query(samples, k=min(_SETTLED, len(points)), workers=-1)[0].reshape(len(samples), -1)
    apart = np.maximum(np.where(again, spacing_mm, large), away.max(axis=1))
    return Thickness(samples, inward[chosen], diameter, areas, of_element, apart)


def _one_of_each(points: Array, size: float) -> tuple[Ints, Ints]:
    """Return the first point (k,) in every cell of a size that holds any, and each point's cell (m,)."""
    cells = np.floor(points / size).astype(np.int64)
    cells -= cells.min(axis=0)
    counts = cells.max(axis=0) + 1
    number = (cells[:, 0] * counts[1] + cells[:, 1]) * counts[2] + cells[:, 2]
    _, first, cell = np.unique(number, return_index=True, return_inverse=True)
    return np.asarray(first), np.asarray(cell)


def _nearest(points: Array, asked: Array, count: int) -> Ints:
    """Return (n, count) the nearest of some points to each one asked."""
    near = tree_of(points).query(asked, k=min(count, len(points)), workers=-1)[1]
    return np.asarray(near, np.int64).reshape(len(asked), min(count, len(points)))


def _smoothed(elements: Elements, tree: Any, chosen: Ints) -> Array:
    """Return (k, 3) outward normals, each the mean over near elements within 30° of its own."""
    own = elements.normals[chosen]
    _, near = tree.query(elements.points[chosen], k=min(_NEAR, len(elements.points)), workers=-1)
    near = near.reshape(len(chosen), -1)
    alike = np.einsum("kij,kj->ki", elements.normals[near], own) > np.cos(np.radians(30))
    weight = np.where(alike, elements.areas[near], 0.0)
    mean = np.einsum("ki,kij->kj", weight, elements.normals[near])
    length = np.linalg.norm(mean, axis=1, keepdims=True)
    return np.asarray(np.where(length > ROUNDING, mean / np.maximum(length, NOT_ZERO), own))


def _opposite(elements: Elements, points: Array, inward: Array, spacing_mm: float) -> Array:
    """Return how far straight inward the opposite surface lies: the first met that looks the opposite way.

    Surface that looks another way is passed, a few times at most.
    """
    at = np.full(len(points), 0.5 * spacing_mm)
    active = np.arange(len(points))
    surface = SurfaceDistance(elements.vertices, elements.faces)
    for _ in range(_MOST_PASSES):
        face, further = surface.first_met(points[active] + inward[active] * at[active, None], inward[active])
        met = face >= 0
        at[active] += np.where(met, further, 0.0)
        facing = np.einsum("ij,ij->i", elements.normals[np.maximum(face, 0)], inward[active]) > _OPPOSED
        again = met & ~facing
        active = active[again]
        at[active] += 0.25 * spacing_mm
        if len(active) == 0:
            break
    return at


def _shrunk(elements: Elements, tree: Any, points: Array, inward: Array, ahead: Array) -> Array:
    """Return the diameters once no sample ahead lies inside the ball."""
    diameter = ahead * 1.2  # the way straight inward may have met a sample a little early
    active = np.arange(len(points))
    for _ in range(12):
        middle = points[active] + inward[active] * (diameter[active] / 2)[:, None]
        near, away = _near_inside(tree, middle, diameter[active], min(_NEAR, len(elements.points)))
        inside = away < _ENOUGH / 2 * diameter[active, None]
        ball = _through(elements, points[active], inward[active], np.where(inside, near, 0))
        ball = np.where(inside, ball, np.inf)
        least = np.minimum(ball.min(axis=1), diameter[active])
        smaller = least < diameter[active] * LESS
        diameter[active] = least
        active = active[smaller]
        if len(active) == 0:
            break
    return np.where(diameter < 1.2 * ahead, diameter, ahead)


def _near_inside(tree: Any, middles: Array, diameter: Array, count: int) -> tuple[Ints, Array]:
    """Return the nearest samples (k, count) inside each ball, and how far they are; balls of like size together."""
    near, away = np.zeros((len(middles), count), np.int64), np.full((len(middles), count), np.inf)
    for some in np.array_split(np.argsort(diameter, kind="stable"), 24):
        if len(some):
            bound = _ENOUGH / 2 * float(diameter[some].max())
            far, which = tree.query(middles[some], k=count, distance_upper_bound=bound, workers=-1)
            near[some], away[some] = which.reshape(len(some), -1), far.reshape(len(some), -1)
    return near, away


def _through(elements: Elements, points: Array, inward: Array, near: Ints) -> Array:
    """Return (k, n) diameters of the balls that touch at each point and meet each near element, inf if it is aside.

    The ball meets the element's plane, where that is close to meeting its middle: the samples' spacing then hardly
    tells.
    """
    to = elements.points[near] - points[:, None]
    square = np.einsum("kij,kij->ki", to, to)
    along = np.einsum("kij,kj->ki", to, inward)
    facing = np.einsum("kij,kj->ki", elements.normals[near], inward)
    aside = (facing < _OPPOSED) | (along <= 0)
    ball = np.where(aside, np.inf, square / np.where(aside, 1.0, along))
    planar = 2 * np.einsum("kij,kij->ki", elements.normals[near], to) / np.maximum(1 + facing, CLOSE)
    usable = ~aside & (planar > 0.8 * ball) & (planar < 1.1 * ball)
    return np.asarray(np.where(usable, planar, ball))


def _settled(diameter: Array, near: Ints) -> Array:
    """Return the medians of (n, k) of the diameters, each with its nearest: one bad sample makes no stone thin."""
    return np.asarray(np.median(diameter[near[:, :_SETTLED]], axis=1))

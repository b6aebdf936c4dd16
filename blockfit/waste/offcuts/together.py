"""All wedges of a course searched together, by simulated annealing: the greatest first is not always best.

Resolved to the samples of `Ground`; every plane is then set exactly, one wedge after the other. mm and m³."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.waste.offcuts.ground import Asked, Course, Ground, Seen
from blockfit.waste.offcuts.parts import Planes
from blockfit.waste.offcuts.wedges import draw_out, made_by

__all__ = ["Searched", "searched_together"]

_ROUNDS, _MORE = 2_000, 400  # changes tried, from nothing and from a course that is known
_HOT, _WARM, _COLD = 3e-3, 5e-4, 1e-4  # of the block: a loss so great is taken one time in three, from nothing, from a
# known course, and at the end of both
_ASKEW = 0.2  # a part of a direction that is tried without
_ORDER = 3e-3  # of the block: what having the greatest pieces first may cost
_WIDE, _FINE = 0.3, 0.01  # how far a plane turns, at the start and at the end, in radians or so
_SHIFT_MM, _LEAST_MM, _NUDGE_MM = 60.0, 6.0, 30.0
_LEVEL = 0.04  # a part of a direction that may be made none
_STRAIGHT = 0.6  # how often a new plane is square to an axis
_TURN, _SHIFT, _ADD, _DROP, _SWAP = 0.62, 0.74, 0.80, 0.86, 0.92  # up to what drawn number each is done, else anew


@dataclass(frozen=True, slots=True, eq=False)
class Searched:
    """A wedge that was searched, and the stone that samples show in it."""

    planes: Planes
    stone_m3: float


def searched_together(ground: Ground, known: Sequence[Searched], count: int, seed: int) -> list[Searched]:
    """Return the wedges of the best course of ``count`` pieces at most that was found, in order; reruns agree.

    Where most of a course is ``known``, it is looked at again. A course that leaves what stays unsteady at any piece is
    taken only where no other was found.
    """
    random = np.random.default_rng(seed)
    hot, rounds = (_WARM, _MORE) if known else (_HOT, _ROUNDS)
    rounds = math.ceil(rounds * (1 - float(ground.gone.mean())))  # what is gone needs no search
    begun = [
        ([wedge.planes for wedge in known] + _at_corners(ground, count, cuts)[len(known) :])[:count]
        for cuts in range(1, ground.most_cuts + 1)
    ]
    course = max((ground.course([Asked(*planes) for planes in one]) for one in begun), key=lambda one: one.value)
    best, is_steady = course, ground.stays_steady(course)
    for attempt in range(rounds):
        heat = hot * (_COLD / hot) ** (attempt / rounds)
        wedges = _changed(ground, course, math.sqrt(heat / _HOT), random)
        if wedges is None:
            continue
        trial = ground.course(wedges)
        loss = (course.value - trial.value) / ground.stone.shape[1]
        if loss > 0 and random.random() >= math.exp(-loss / heat):
            continue
        course = trial
        if course.value > best.value or not is_steady:
            steady = ground.stays_steady(course)
            if steady or (not is_steady and course.value > best.value):
                best, is_steady = course, steady
    best = _greatest_first(ground, _straightened(ground, best, is_steady), is_steady)
    return [Searched((w.normals, w.offsets), w.stone * ground.sample_m3) for w in best.wedges if w.holds]


def _straightened(ground: Ground, course: Course, is_steady: bool) -> Course:
    """Return a course with planes that are all but square to an axis or a face made so, where that costs less than it
    saves in setting out."""
    for k in range(len(course.wedges)):
        for row, lesser in product(range(len(course.wedges[k].normals)), (2, 1)):
            old = course.wedges[k]
            size = np.abs(old.normals[row])
            small = np.argsort(size)[:lesser]
            if not old.holds or size[small].max() > _ASKEW or (size[small] == 0).all():
                continue
            normals, offsets = old.normals.copy(), old.offsets.copy()
            normals[row, small] = 0.0
            normals[row] /= np.linalg.norm(normals[row])
            offsets[row] += (normals[row] - old.normals[row]) @ ground.stone[:, old.inside].mean(axis=1)
            if draw_out(normals) is None:
                continue
            trial = ground.course(_with(course, {k: (normals, offsets)}))
            if trial.value >= course.value and (ground.stays_steady(trial) or not is_steady):
                course = trial
    return course


def _greatest_first(ground: Ground, course: Course, is_steady: bool) -> Course:
    """Return a course with greater pieces before lesser ones wherever that costs next to nothing: who stops early then
    has the most."""
    least = course.value - _ORDER * ground.stone.shape[1]
    for last in range(len(course.wedges) - 1, 0, -1):
        for k in range(last):
            first, second = course.wedges[k : k + 2]
            if first.stone >= second.stone:
                continue
            trial = ground.course(_exchanged(course, k, k + 1))
            if trial.value >= least and (ground.stays_steady(trial) or not is_steady):
                course = trial
    return course


def _at_corners(ground: Ground, count: int, cuts: int) -> list[Planes]:
    """Return wedges to begin with, of so many ``cuts``: halves, edges or corners of the block."""
    middle = ground.stone.mean(axis=1)
    signs = [np.array([x, y, z], np.float64) for z in (1, -1) for y in (1, -1) for x in (1, -1)]
    corners = [np.diag(signs[k % 8])[:cuts] for k in range(count)]
    return [(normals, normals @ middle) for normals in corners]


def _changed(ground: Ground, course: Course, reach: float, random: np.random.Generator) -> list[Asked | Seen] | None:
    """Return the wedges of a course with one of them changed, by less the smaller ``reach`` is, or two exchanged."""
    k = int(random.integers(len(course.wedges)))
    old = course.wedges[k]
    drawn = random.random() if old.holds else 1.0
    if _DROP < drawn <= _SWAP:
        return _exchanged(course, k, int(random.integers(len(course.wedges))))
    planes = _altered(ground, course, old, drawn, reach, random)
    if planes is None:
        return None
    normals = made_by(ground.limits.wishes.cuts, planes[0], ground.faces)
    return None if draw_out(normals) is None else _with(course, {k: (normals, planes[1])})


def _with(course: Course, planes: dict[int, Planes]) -> list[Asked | Seen]:
    """Return the wedges of a course with others in some places."""
    seen = enumerate(course.wedges)
    return [Asked(*planes[k], instead_of=old.inside) if k in planes else old for k, old in seen]


def _exchanged(course: Course, k: int, j: int) -> list[Asked | Seen]:
    """Return the wedges of a course with two of them in each other's place."""
    one, other = course.wedges[k], course.wedges[j]
    return _with(course, {k: (other.normals, other.offsets), j: (one.normals, one.offsets)})


def _altered(
    ground: Ground, course: Course, old: Seen, drawn: float, reach: float, random: np.random.Generator
) -> Planes | None:
    """Return a wedge's planes, one of them turned, all shifted, one more or one fewer, or others altogether."""
    if drawn <= _TURN:
        return _turned(ground, old, (_WIDE * reach + _FINE) * random.random(), random)
    if drawn <= _SHIFT:
        return old.normals, old.offsets + (_SHIFT_MM * reach + _LEAST_MM) * random.normal(size=len(old.offsets))
    if drawn <= _ADD:
        return _one_more(ground, old, random) if len(old.normals) < ground.most_cuts else None
    if drawn <= _DROP:
        k = int(random.integers(len(old.normals)))
        return (np.delete(old.normals, k, 0), np.delete(old.offsets, k)) if len(old.normals) > 1 else None
    return _anew(ground, course, random)


def _turned(ground: Ground, old: Seen, angle: float, random: np.random.Generator) -> Planes:
    """Return a wedge with one plane turned about the middle of the stone in it, and sometimes moved in."""
    normals, offsets = old.normals.copy(), old.offsets.copy()
    k = int(random.integers(len(normals)))
    turned = normals[k] + angle * random.normal(size=3)
    if random.random() < 0.3:
        turned = np.where(np.abs(turned) < _LEVEL, 0.0, turned)
    normals[k] = turned / np.linalg.norm(turned)
    middle = (ground.stone[:, old.inside] if old.inside.any() else ground.stone).mean(axis=1)
    offsets[k] += (normals[k] - old.normals[k]) @ middle
    if random.random() < 0.5:
        offsets[k] -= _NUDGE_MM * random.random()
    return normals, offsets


def _one_more(ground: Ground, old: Seen, random: np.random.Generator) -> Planes | None:
    """Return a wedge with one plane more, which cuts off up to a third of it."""
    if not old.inside.any():
        return None
    normal = _directions(1, random)
    heights = normal @ ground.stone[:, old.inside]
    return np.vstack([old.normals, normal]), np.append(old.offsets, np.quantile(heights, random.random() / 3))


def _anew(ground: Ground, course: Course, random: np.random.Generator) -> Planes | None:
    """Return another wedge, about some stone that the course leaves."""
    left = np.flatnonzero(course.left)
    if len(left) == 0:
        return None
    normals = _directions(int(random.integers(1, ground.most_cuts + 1)), random)
    return normals, normals @ ground.stone[:, left[int(random.integers(len(left)))]] - _NUDGE_MM


def _directions(count: int, random: np.random.Generator) -> Array:
    """Return unit directions (count, 3), most of them along an axis."""
    drawn = random.normal(size=(count, 3))
    for row in np.flatnonzero(random.random(count) < _STRAIGHT):
        axis = int(np.abs(drawn[row]).argmax())
        drawn[row] = np.eye(3)[axis] * np.sign(drawn[row, axis])
    return np.asarray(drawn / np.linalg.norm(drawn, axis=1, keepdims=True))

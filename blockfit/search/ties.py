"""Among rotations of equal merit, the one nearest to how the figure was read."""

from itertools import permutations, product

import numpy as np

from blockfit.search.questions import Question
from blockfit.solids.arrays import Array
from blockfit.solids.stance import Stance
from blockfit.solids.turns import angle_deg, from_quaternions

__all__ = ["nearest_by_symmetry", "nearest_spin"]

_EQUAL = 1e-14  # of the merit
_STEPS = 1440  # quarter degrees


def nearest_by_symmetry(question: Question, points: Array, rotation: Array, value: float, stance: Stance) -> Array:
    """Return the least rotation among those that a quarter or half turn of the block makes of this one."""
    best, least = rotation, angle_deg(rotation)
    for turn in _axis_turns():
        other = turn @ rotation
        if angle_deg(other) < least - 1e-9 and stance.allows(other) and _equal(question, points, other, value):
            best, least = other, angle_deg(other)
    return best


def nearest_spin(
    question: Question, points: Array, rotation: Array, axis: Array, value: float, stance: Stance
) -> Array:
    """Return the spin of ``rotation`` about a block axis (3,) that keeps the merit and is nearest to as read.

    Tried at quarter degrees, then bisected at the end of the range that keeps the merit.
    """
    # The trace, largest for the least rotation, is a sinusoid of the spin: its crest has a closed form.
    traces = [float(np.trace(_spun(rotation, axis, angle))) for angle in (0.0, np.pi / 2, np.pi)]
    middle = (traces[0] + traces[2]) / 2
    crest = float(np.arctan2(traces[1] - middle, traces[0] - middle))
    steps = np.concatenate([[0.0], np.arange(1, _STEPS // 2 + 1) * (2 * np.pi / _STEPS)])
    for away in steps:
        for side in (1, -1) if away else (1,):
            if not _keeps(question, points, _spun(rotation, axis, crest + side * away), value, stance):
                continue
            low, high = max(0.0, away - 2 * np.pi / _STEPS), away  # low loses merit, high keeps it
            for _ in range(50 if away else 0):
                middle = (low + high) / 2
                kept = _keeps(question, points, _spun(rotation, axis, crest + side * middle), value, stance)
                low, high = (low, middle) if kept else (middle, high)
            return _spun(rotation, axis, crest + side * high)
    return rotation


def _keeps(question: Question, points: Array, rotation: Array, value: float, stance: Stance) -> bool:
    return stance.allows(rotation) and _equal(question, points, rotation, value)


def _equal(question: Question, points: Array, rotation: Array, value: float) -> bool:
    return question.value(points, rotation) >= value - _EQUAL * max(1.0, abs(value))


def _spun(rotation: Array, axis: Array, angle: float) -> Array:
    turn = from_quaternions(np.array([np.cos(angle / 2), *(np.sin(angle / 2) * axis)]))
    spun = turn @ rotation
    return np.eye(3) if np.abs(spun - np.eye(3)).max() < 1e-15 else np.asarray(spun)


def _axis_turns() -> list[Array]:
    """Return the 24 rotations that take axes to axes."""
    turns = []
    for order in permutations(range(3)):
        for signs in product((1, -1), repeat=3):
            turn = np.eye(3)[list(order)] * np.array(signs)[:, None]
            if np.linalg.det(turn) > 0:
                turns.append(turn)
    return turns

"""Among rotations of equal merit, the one nearest to how the figure was read."""

from itertools import permutations, product

import numpy as np

from blockfit.geometry.arrays import Array, Flags
from blockfit.geometry.tolerances import CLOSE
from blockfit.geometry.turns import angle_deg, from_quaternions
from blockfit.search.proof.questions import Question
from blockfit.solids.stance import Stance

__all__ = ["nearest_by_symmetry", "nearest_spin"]

_EQUAL = 1e-14  # of the merit
_STEPS = 1440  # quarter degrees
_AT_ONCE = 64
_SAME_TURN = 1e-15  # a turn that moves nothing by more is none


def nearest_by_symmetry(question: Question, points: Array, rotation: Array, value: float, stance: Stance) -> Array:
    """Return the least rotation among those that a quarter or half turn of the block makes of this one."""
    best, least = rotation, angle_deg(rotation)
    for turn in _axis_turns():
        other = turn @ rotation
        if angle_deg(other) < least - CLOSE and stance.allows(other) and _equal(question, points, other, value):
            best, least = other, angle_deg(other)
    return best


def nearest_spin(
    question: Question, points: Array, rotation: Array, axis: Array, value: float, stance: Stance
) -> Array:
    """Return the spin of ``rotation`` about a block axis (3,) that keeps the merit and is nearest to as read.

    Tried at quarter degrees, then bisected at the end of the range that keeps the merit.
    """
    # The trace, largest for the least rotation, is a sinusoid of the spin: its crest has a closed form.
    traces = np.einsum("bii->b", _spun(rotation, axis, np.array([0.0, np.pi / 2, np.pi])))
    middle = (traces[0] + traces[2]) / 2
    crest = float(np.arctan2(traces[1] - middle, traces[0] - middle))
    # 0, then one step to either side, then two.
    away = np.repeat(np.arange(_STEPS // 2 + 1) * (2 * np.pi / _STEPS), 2)[1:]
    sides = np.concatenate([[1.0], np.resize([1.0, -1.0], len(away) - 1)])
    for k in range(0, len(away), _AT_ONCE):
        some = slice(k, k + _AT_ONCE)
        spins = _spun(rotation, axis, crest + sides[some] * away[some])
        kept = np.flatnonzero(_keep(question, points, spins, value, stance))
        if len(kept) == 0:
            continue
        high, side = float(away[k + kept[0]]), sides[k + kept[0]]
        low = max(0.0, high - 2 * np.pi / _STEPS)  # low loses merit, high keeps it
        for _ in range(50 if high else 0):
            middle = (low + high) / 2
            spun = _spun(rotation, axis, np.array([crest + side * middle]))
            low, high = (low, middle) if _keep(question, points, spun, value, stance)[0] else (middle, high)
        spun = _spun(rotation, axis, np.array([crest + side * high]))[0]
        return np.eye(3) if np.abs(spun - np.eye(3)).max() < _SAME_TURN else spun
    return rotation


def _keep(question: Question, points: Array, rotations: Array, value: float, stance: Stance) -> Flags:
    """Return (b,) which rotations the stance allows and are no worse."""
    allowed = np.array([stance.allows(rotation) for rotation in rotations])
    equal = np.zeros(len(rotations), bool)
    if allowed.any():
        equal[allowed] = question.values(points, rotations[allowed]) >= _least_equal(value)
    return equal


def _least_equal(value: float) -> float:
    return value - _EQUAL * max(1.0, abs(value))


def _equal(question: Question, points: Array, rotation: Array, value: float) -> bool:
    return question.value(points, rotation) >= _least_equal(value)


def _spun(rotation: Array, axis: Array, angles: Array) -> Array:
    """Return (b, 3, 3) the rotation turned about a block axis by (b,) angles."""
    half = angles[:, None] / 2
    return np.asarray(from_quaternions(np.concatenate([np.cos(half), np.sin(half) * axis], axis=1)) @ rotation)


def _axis_turns() -> list[Array]:
    """Return the 24 rotations that take axes to axes."""
    turns = []
    for order in permutations(range(3)):
        for signs in product((1, -1), repeat=3):
            turn = np.eye(3)[list(order)] * np.array(signs)[:, None]
            if np.linalg.det(turn) > 0:
                turns.append(turn)
    return turns

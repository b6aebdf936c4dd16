"""How far a model has moved between two sittings, by three points or more that were taken twice. Any length unit."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array, frozen
from blockfit.geometry.turns import angle_deg, best_turn, lie_in_a_line
from blockfit.kinds import kinds_checked

__all__ = ["Movement", "model_moved"]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Movement(Result):
    """The rigid movement that takes the first points to the later ones best.

    ``shift_mm`` (3,) is how far their middle moved, ``turn_deg`` how far they turned, ``left_over_mm`` what no
    movement explains: the model has changed its pose, or a point was taken wrongly. ``apply`` takes points taken
    before to where they are now.

    Exact for the points given, to rounding; lengths are in their own unit, mm as a rule, and angles degrees.

    >>> import blockfit as bf
    >>> moved = bf.model_moved([[0, 0, 0], [100, 0, 0], [0, 200, 0]], [[3, 4, 0], [103, 4, 0], [3, 204, 0]])
    >>> round(moved.moved_mm, 6), moved.apply([[50, 50, 50]]).round(6).tolist()
    (5.0, [[53.0, 54.0, 50.0]])
    """

    rotation: Array = field(metadata=fact("rotation", Sure.EXACT, shown=False))
    shift_mm: Array = field(metadata=fact("shift", Sure.EXACT))
    moved_mm: float = field(metadata=fact("moved", Sure.EXACT))
    turn_deg: float = field(metadata=fact("turned", Sure.EXACT))
    left_over_mm: float = field(metadata=fact("left over", Sure.EXACT, Rounding.UP))
    middle: Array

    def apply(self, points: Array) -> Array:
        """Return where (n, 3) points taken before are now."""
        return np.asarray((points - self.middle) @ self.rotation.T + self.middle + self.shift_mm)


@kinds_checked
def model_moved(before: Any, after: Any) -> Movement:
    """Return how (n, 3) points, three or more that are not in a line, have moved. Least squares (Kabsch 1976).

    Raises `BadValueError` for points that are no numbers, fewer than three, not as many after as before, or in a line.

    >>> from blockfit.marking.movement import model_moved
    >>> moved = model_moved([[0, 0, 0], [100, 0, 0], [0, 200, 0]], [[3, 4, 0], [103, 4, 0], [3, 204, 0]])
    >>> round(moved.moved_mm, 6), abs(round(moved.turn_deg, 6)), abs(round(moved.left_over_mm, 6))
    (5.0, 0.0, 0.0)
    """
    first, second = frozen(before, (None, 3), "before"), frozen(after, (None, 3), "after")
    if len(first) != len(second) or len(first) < 3:
        raise BadValueError(f"three points or more, the same before and after, not {len(first)} and {len(second)}")
    middle, later = first.mean(axis=0), second.mean(axis=0)
    if lie_in_a_line(first):
        raise BadValueError("the points lie in a line: they cannot tell how the model has turned")
    rotation, _ = best_turn(first - middle, second - later)
    left = second - later - (first - middle) @ rotation.T
    angle = angle_deg(rotation)
    shift = later - middle
    worst = float(np.linalg.norm(left, axis=1).max())
    return Movement(rotation, shift, float(np.linalg.norm(shift)), float(angle), worst, middle)

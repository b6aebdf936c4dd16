"""From a question and a stance to the best rotation with its bound, and from there to a placement."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.turns import about, turn_deg
from blockfit.search.choice.shift import carvers_shift
from blockfit.search.choice.ties import nearest_by_symmetry, nearest_spin
from blockfit.search.proof.cells import start_cubes, start_turns
from blockfit.search.proof.explore import Climber, Found, explore
from blockfit.search.proof.polish import polish
from blockfit.search.proof.questions import Question
from blockfit.search.proof.support import Hull, reach
from blockfit.solids.placement import Placement
from blockfit.solids.stance import Stance

__all__ = ["placed", "solve"]

_ROUND, _ROUND_CELLS = 0.99, 30_000
_DIGITS = 20_000  # cells spent on the last digits of an upright answer, before the gap asked for must do
_UP = np.array([0.0, 0.0, 1.0])
_AS_GOOD = 1e-14  # of the merit: a tidier turn may cost a few last digits
_LEAST_BLOCK = 1e-3  # mm: where the scale is sought, which is of size 1
_ROUNDED = 1e-13  # of the merit or the block: a cell that promises no more than this beyond the best is left


def solve(
    question: Question,
    hull: Hull,
    stance: Stance,
    allow: Callable[[float], float],
    max_cells: int,
    *,
    climb: Climber = polish,
) -> Found:
    """Return the best rotation that the stance allows, with what none beats.

    Upright and fixed stances are searched to the last digits, whatever ``allow`` leaves. Among rotations of
    equal merit the one nearest to as read is returned.
    """
    points = hull.points
    if stance.is_upright and stance.turn == 0:
        value = question.value(points, np.eye(3))
        return Found(np.eye(3), value, value, 1, np.array([[1, value, value]]), -1)
    seeds = _feasible(question, hull, stance, max_cells) if _may_fail(question) else []
    if stance.is_upright:
        # One parameter: intervals shrink threefold a round, so the last digits cost a few cells, unless very many
        # corners tie.
        found = None
        for enough, budget in ((_last_digits(question), min(max_cells, _DIGITS)), (allow, max_cells)):
            found = explore(question, points, start_turns(stance.turn), stance, enough, max_cells=budget, seeds=seeds)
            if found.bound <= enough(found.value):
                break
        assert found is not None
        rotation = nearest_spin(question, points, found.rotation, _UP, found.value, stance)
        return _at(found, _tidy(question, points, rotation, found.value), question, hull)
    start = start_cubes(_charts(question, stance))
    if hull.inner_radius > _ROUND * hull.radius:  # of a ball every turn is as good: more cells would prove no more
        max_cells = min(max_cells, _ROUND_CELLS)
    cap = float(question.merit(np.full((1, len(question.weights)), hull.inner_radius), question.rows)[0])
    found = explore(question, points, start, stance, allow, max_cells=max_cells, climb=climb, seeds=seeds, proved=cap)
    rotation = nearest_by_symmetry(question, points, found.rotation, found.value, stance)
    if found.pair >= 0:
        axis = question.normals[int(np.flatnonzero(question.weights[found.pair])[0])]
        rotation = nearest_spin(question, points, rotation, axis, found.value, stance)
    return _at(found, rotation, question, hull)


def _may_fail(question: Question) -> bool:
    """Whether some faces give nothing: where those are too tight there is no merit at all, and nothing to climb."""
    return question.scale is not None and type(question) is Question and not (question.loads > 0).all()


def _feasible(question: Question, hull: Hull, stance: Stance, max_cells: int) -> list[Array]:
    """Return a rotation at which every face gives as much as it can: where to begin when some give nothing."""
    even = replace(question, loads=np.ones(len(question.loads)))
    start = start_turns(stance.turn) if stance.is_upright else start_cubes(_charts(even, stance))
    # As soon as it fits there is nothing more to ask of it.
    found = explore(
        even, hull.points, start, stance, lambda best: np.inf if best >= 0 else best, max_cells=max_cells // 8 + 1
    )
    return [found.rotation]


def _tidy(question: Question, points: Array, rotation: Array, value: float) -> Array:
    """Return the turn rounded to a billionth of a degree, exact at right angles, if that costs no merit."""
    tidy = about(2, round(turn_deg(rotation), 9))
    return tidy if question.value(points, tidy) >= value - _AS_GOOD * max(1.0, abs(value)) else rotation


def placed(hull: Hull, question: Question, rotation: Array, scale: float, merit: float) -> Placement:
    """Return the placement at a rotation, its open shift used for the carver; a ``merit`` above 0 is kept."""
    heights = reach(hull.points, question.normals @ rotation) + question.tolerance
    room = question.offsets - question.loads * max(merit, 0.0) - scale * heights
    shift = question.centre + carvers_shift(question.normals, room) - scale * (rotation @ hull.centre)
    return Placement(scale, rotation, shift)


def _last_digits(question: Question) -> Callable[[float], float]:
    """Return the merit that a cell must promise for an answer good to rounding."""
    size = _LEAST_BLOCK if question.scale is None else float(np.abs(question.offsets).max())
    return lambda best: best + _ROUNDED * max(abs(best), size) if np.isfinite(best) else best


def _charts(question: Question, stance: Stance) -> tuple[int, ...]:
    """Return the cubes that hold every rotation in question.

    A box is unchanged by half turns about its axes, which carry any cube to the first. With x or y the largest
    part of the quaternion the tilt is at least 60°, with z the turn is at least 90°.
    """
    if stance.is_free and question.is_box:
        return (0,)
    tilted = (1, 2) if stance.tilt >= 60 else ()
    return (0, *tilted, *((3,) if stance.turn >= 90 else ()))


def _at(found: Found, rotation: Array, question: Question, hull: Hull) -> Found:
    """Return what was found, at another rotation of equal merit."""
    value = question.value(hull.points, rotation)
    return Found(rotation, value, max(found.bound, value), found.cells, found.trace, found.pair)

"""Several courses of pieces carried on side by side: what takes most first does not always save most in the end."""

from dataclasses import dataclass

from blockfit.waste.offcuts.parts import Setting
from blockfit.waste.offcuts.planner import Planner

__all__ = ["best_course"]

_SAME = 1e-6  # of their stone: courses that saved the same are taken for the same


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """What was taken, in order, by a planner of its own; how many pieces that is, and their stone in m³.

    ``plain``: the largest was taken every time, as a single course does.
    """

    planner: Planner
    settings: tuple[Setting, ...]
    pieces: int
    stone: float
    plain: bool


def best_course(planner: Planner, most_cuts: int, room: int | None, width: int) -> tuple[Setting, ...]:
    """Return the wedges to take in order, of the course that saves most among ``width`` carried on side by side.

    Never less than the single course that takes the largest wedge every time. ``room`` is how many pieces may still be
    taken. The planner given stays as it is; taking the wedges in order from it leads where the course led.
    """
    courses = [_Course(planner, (), 0, 0.0, True)]
    best = courses[0]
    while courses:
        grown: list[_Course] = []
        for course in courses:
            left = None if room is None else room - course.pieces
            options = course.planner.next_wedges(most_cuts, width) if left is None or left > 0 else []
            grown += [_taken(course, setting, left, course.plain and k == 0) for k, setting in enumerate(options)]
        courses = _leading(grown, width)
        best = max([best, *courses], key=lambda course: course.stone)
    return best.settings


def _taken(course: _Course, setting: Setting, left: int | None, plain: bool) -> _Course:
    """Return a course with one more wedge taken."""
    state = course.planner.copied()
    parts = state.take(setting, left)
    stone = course.stone + sum(part.volume_m3 for part in parts)
    return _Course(state, (*course.settings, setting), course.pieces + len(parts), stone, plain)


def _leading(grown: list[_Course], width: int) -> list[_Course]:
    """Return the courses that saved most, each amount once; the plain one among them, so that none does worse."""
    plain = [course for course in grown if course.plain]
    kept = list(plain)
    for course in sorted(grown, key=lambda course: -course.stone):
        if len(kept) == width:
            break
        if all(abs(course.stone - other.stone) > _SAME * course.stone for other in kept):
            kept.append(course)
    return kept

"""Several courses of pieces, each by its own random directions: what takes most first does not always save most."""

from collections.abc import Iterator

from blockfit.waste.offcuts.parts import SetWedge
from blockfit.waste.offcuts.planner import Planner

__all__ = ["best_course"]


def best_course(planner: Planner, most_cuts: int, room: int | None, count: int) -> Iterator[SetWedge]:
    """Yield the wedges to take in order, of the course that saves most (or is worth most) among ``count`` of them.

    Never less than the first, which is the single course. ``room`` is how many pieces may still be taken. Each wedge
    must be taken by the planner before the next is asked for.
    """
    if count > 1:
        courses = [_course(planner.copied(seed), most_cuts, room) for seed in range(count)]
        yield from max(courses, key=lambda course: course[0])[1]
        return
    while (setting := planner.next_wedge(most_cuts)) is not None:
        yield setting


def _course(planner: Planner, most_cuts: int, room: int | None) -> tuple[float, tuple[SetWedge, ...]]:
    """Return what is valued in all pieces of one course, and its wedges in order."""
    value, pieces, settings = 0.0, 0, []
    while room is None or pieces < room:
        setting = planner.next_wedge(most_cuts)
        if setting is None:
            break
        parts = planner.take(setting, None if room is None else room - pieces)
        settings.append(setting)
        pieces += len(parts)
        value += planner.limits.value_of(parts)
    return value, tuple(settings)

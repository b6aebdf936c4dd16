"""Courses of pieces: searched together, or one after the other, the greatest first; every piece set exactly.

mm and m³, block frame."""

from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import PARALLEL
from blockfit.waste.offcuts.ground import Ground
from blockfit.waste.offcuts.parts import Planes, SetWedge
from blockfit.waste.offcuts.remaining import Remaining
from blockfit.waste.offcuts.setting import set_by_samples, set_exactly
from blockfit.waste.offcuts.together import Searched, searched_together
from blockfit.waste.offcuts.wedges import SampledWedge, Samples, best_wedges, cuts_seen, frame_of
from blockfit.waste.offcuts.wishes import Limits

__all__ = ["Way", "courses"]

Way = Callable[[Remaining, int | None], Iterator[SetWedge]]
"""Yields the wedges of a course in order, for so many pieces at most: each must be taken out of the stone before the
next is asked for."""

_TOGETHER = 8  # pieces that are searched together at most
_APART = 1_000_003  # between the seeds of two courses
_NEARLY, _AGAIN = 0.9, 3  # of what was seen in a wedge: with less, the rest is searched again, so many times at most
_KNOWN = 12  # wedges found for one piece that are tried for the next
_A_KIND = 5  # wedges of each number of cuts in a cell that are set by the figure's points
_EXACT, _ENOUGH = 40, 4  # candidates set exactly, until so many keep every limit


def courses(limits: Limits, most_cuts: int, count: int, *, in_stages: bool) -> list[Way]:
    """Return ways to plan a course, of which the one that saves most (or is worth most) is to be taken.

    The first are those of a ``count`` of 1: more save no less. What is searched together says nothing of what a piece
    is asked or worth: courses of single pieces are then among them. Nor of what a later stage finds: through cuts,
    which leave the stone in one piece, are then tried in the first.
    """
    wishes = limits.wishes
    ways: list[Way] = []
    for seed in range(count):
        if not wishes.of_each_piece:
            ways.append(partial(_together, most_cuts=most_cuts, seed=seed))
            if in_stages and most_cuts > 1:
                ways.append(partial(_through_first, most_cuts=most_cuts, seed=seed))
        if wishes.of_each_piece or limits.prices is not None:
            ways.append(partial(_singly, most_cuts=most_cuts, seed=seed))
    return ways


def _through_first(left: Remaining, room: int | None, *, most_cuts: int, seed: int) -> Iterator[SetWedge]:
    """Yield wedges of one cut each as long as nothing is gone, of more in the stages after that."""
    return _together(left, room, most_cuts=most_cuts if left.open else 1, seed=seed)


def _together(left: Remaining, room: int | None, *, most_cuts: int, seed: int) -> Iterator[SetWedge]:
    """Yield wedges that were searched together, then what single ones can still be had."""
    places = _TOGETHER if room is None else min(room, _TOGETHER)
    again = _AGAIN
    course = _searched(left, most_cuts, places, _searched(left, most_cuts, places, [], seed), seed)
    while course:
        searched = course.pop(0)
        setting = _as_searched(left, searched.planes, most_cuts)
        if setting is not None and _pays(left, setting):
            yield setting
            places -= 1
        if (setting is None or setting.wedge.stone < _NEARLY * searched.stone_m3) and again and places:
            again -= 1
            course = _searched(left, most_cuts, places, course or [searched], seed)
    yield from _singly(left, room, most_cuts=most_cuts, seed=seed)


def _pays(left: Remaining, setting: SetWedge) -> bool:
    """Whether a wedge is worth more than it costs; without prices it does."""
    return left.limits.prices is None or _value_of(left, setting) > 0


def _value_of(left: Remaining, setting: SetWedge) -> float:
    """Return what is valued in a wedge once it is taken apart as the lift demands."""
    return left.limits.value_of(left.copied().take(setting, None))


def _searched(left: Remaining, most_cuts: int, places: int, known: Sequence[Searched], seed: int) -> list[Searched]:
    """Return the wedges of pieces that save most together, as far as samples show: coarsely, or from ``known`` ones on
    finely.

    Coarsely corners are looked for, and rebates alone: where corners ask for much room, fewer cuts may save more.
    """
    least = most_cuts if known else min(2, most_cuts)
    grounds = [Ground.of(left, cuts, finely=bool(known)) for cuts in range(least, most_cuts + 1)]
    found = [searched_together(ground, known, places, _APART * seed + len(left.open)) for ground in grounds]
    return max(found, key=lambda course: sum(searched.stone_m3 for searched in course))


def _as_searched(left: Remaining, planes: Planes, most_cuts: int) -> SetWedge | None:
    """Return a wedge that was searched, set exactly in what is then left, or ``None`` if it breaks a limit."""
    normals, offsets = planes
    moving = len(normals)
    for ways, at in left.open:
        if len(ways) == 1 or left.corners(np.vstack([normals, ways]), np.append(offsets, at)) is None:
            continue
        # It ends at one plane of a hollow that it runs into: the one that leaves it most stone.
        sides = [(np.vstack([normals, -way]), np.append(offsets, -end)) for way, end in zip(ways, at, strict=True)]
        normals, offsets = max(sides, key=lambda side: int((left.stone @ side[0].T >= side[1]).all(axis=1).sum()))
    volume = left.rock.volume_m3(left.corners(normals, offsets))
    return set_exactly(left, SampledWedge(normals, offsets, volume, len(normals) - moving), most_cuts)


def _singly(left: Remaining, room: int | None, *, most_cuts: int, seed: int) -> Iterator[SetWedge]:
    """Yield wedges one after the other, each the one of most stone (or worth most) that keeps every limit.

    How much ``room`` there is changes none of them: who takes them ends when there is no more.
    """
    known: list[Array] = []
    while True:
        promising: list[SampledWedge] = []
        for normals, offsets, stone in left.free_cells():
            promising += _promising(left, (normals, offsets), stone, most_cuts, known, seed)
        promising.sort(key=lambda wedge: -wedge.stone)
        known = [frame_of(wedge) for wedge in promising[:_KNOWN]]  # tried again in the stone that is then left
        best = _best_of(left, promising[:_EXACT], most_cuts)
        if best is None:
            return
        yield best


def _best_of(left: Remaining, promising: Sequence[SampledWedge], most_cuts: int) -> SetWedge | None:
    """Return the wedge of most stone, or worth most, of the first few that keep every limit when set exactly."""
    best: list[SetWedge] = []
    for wedge in promising:
        exact = set_exactly(left, wedge, most_cuts)
        if exact is not None:
            best.append(exact)
        if len(best) == _ENOUGH:  # those that promise less seldom turn out to hold more
            break
    if left.limits.prices is None:
        return max(best, key=lambda plan: plan.wedge.stone, default=None)
    worth = [_value_of(left, plan) for plan in best]
    return best[int(np.argmax(worth))] if max(worth, default=0.0) > 0 else None


def _promising(
    left: Remaining, cell: Planes, stone: Array, most_cuts: int, known: Sequence[Array], seed: int
) -> list[SampledWedge]:
    """Return the wedges found in a cell, bounded by its own planes too, and set by the figure's sampled points."""
    normals, offsets = cell
    figure = left.obstacle.sparse.T
    found = best_wedges(
        Samples(stone, figure, np.full(len(figure), left.limits.least_clear_mm), left.whole),
        most_cuts=most_cuts,
        least_mm=left.limits.least_thickness_mm,
        seed=len(stone) + _APART * seed,
        tries=max(70, 280 // max(1, left.cells)),
        kind=left.wishes.cuts,
        faces=left.block.normals,
        known=known,
    )
    # Samples tell planes square to the block apart no better than others; set exactly, they often win.
    straight = [wedge for wedge in found if (np.abs(wedge.normals).max(axis=1) > PARALLEL).all()]
    best = [w for cuts in range(1, most_cuts + 1) for w in [w for w in found if len(w.normals) == cuts][:_A_KIND]]
    chosen = [
        SampledWedge(
            np.vstack([wedge.normals, normals]),
            np.append(wedge.offsets, offsets),
            wedge.stone * left.block.volume_m3,
            len(normals),
        )
        for wedge in (*best, *straight[:2])
    ]
    trials = [set_by_samples(left, wedge) for wedge in chosen]
    return [t for t in trials if t is not None and cuts_seen(t, left.stone, left.spacing) <= most_cuts]

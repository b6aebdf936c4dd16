"""Two figures in one block, parted by one through cut: at given scales, or at the largest common one.

mm, block frame. The placements are proved fits in the two parts; the cut is the best found. The bound holds for every
cut: each figure alone, the volumes, and the widths across any cut."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import corners_of, polytope_volume
from blockfit.geometry.tolerances import CLOSE, MEETING, NOT_ZERO, ROUNDING
from blockfit.geometry.turns import spread_directions
from blockfit.kinds import kinds_checked
from blockfit.search.choice.fit import largest, safest
from blockfit.search.proof.drawn import drawn_rotations, rotations_near
from blockfit.search.proof.support import hull_of, reach
from blockfit.search.proof.widths import least_and_longest
from blockfit.search.result import Fit, Verdict
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.sawn import sawn_block
from blockfit.solids.stance import Stance
from blockfit.units import Length, Ratio, length_mm, ratio_value
from blockfit.waste.cuts.cut import Cut
from blockfit.waste.rescued.freeing import freed_cuts

__all__ = ["Shared", "share_block"]

_STARTS, _LEADERS, _TRIALS, _ROUNDS = 2000, 6, 128, 50
_MOST_FACTORS = 40  # tried; some five are needed
_EVEN, _MOVES = 1e-4, 9  # how near the two scales are brought by moving the cut
_ROUGH_GAP = 1e-2  # how closely a bound on each figure's scale is answered


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Shared(Result):
    """Two figures in one block: their ``fits``, each in its part of the block, and the ``cut`` between the parts.

    ``scale`` is the largest common factor found on the scales asked (on full size, where none were); no cut allows
    more than ``scale_bound`` (proved). With scales given the fits are at those, if they fit, else there are none:
    ``verdict`` says whether it is proved that they cannot. The cut's waste side is the second's part.

    The fits are exact, ``scale`` is the best found.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fixed = [bf.Stance.fixed()] * 2
    >>> shared = bf.share_block([cube, cube], bf.Block.box(430, 200, 200), kerf=30, stances=fixed)
    >>> shared.verdict.name, round(shared.scale, 2), [fit.verdict.name for fit in shared.fits]
    ('FITS', 2.0, ['FITS', 'FITS'])
    """

    fits: tuple[Fit, ...]
    cut: Cut | None
    scale: float = field(metadata=fact("common factor found", Sure.EXACT, Rounding.DOWN, key="scale"))
    scale_bound: float = field(metadata=fact("no cut allows more than", Sure.PROVED, Rounding.UP, key="bound_on_scale"))
    verdict: Verdict = field(metadata=fact("verdict", Sure.EXACT, measure=Measure.PLAIN))


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    """Block planes less cover for each figure, hull points (n, 3) at the scales asked, and what the cut takes."""

    normals: Array
    rooms: tuple[Array, Array]
    points: tuple[Array, Array]
    taken: float
    triples: Array
    inverses: Array


@kinds_checked
def share_block(
    figures: Sequence[Figure],
    block: Block,
    *,
    scales: Sequence[Ratio] | None = None,
    covers: Length | Sequence[Length] = 0,
    kerf: Length = 10,
    stances: Sequence[Stance] | None = None,
) -> Shared:
    """Return how two ``figures`` share a block, parted by one through cut of width ``kerf``.

    ``covers`` is kept on every face of each part, the cut's too: one length, or one for each figure. ``stances`` are
    theirs, free unless given. Without ``scales`` the largest common scale is found.

    Lengths are mm or text. The fits are exact, the scale is the best found, and its bound proved. Raises
    `BadValueError` for other than two figures, a block with flaws or rough sides, and options out of range.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fixed = [bf.Stance.fixed()] * 2
    >>> shared = bf.share_block([cube, cube], bf.Block.box(430, 200, 200), kerf=30, stances=fixed)
    >>> round(shared.scale, 3), shared.scale_bound >= shared.scale, len(shared.fits)
    (2.0, True, 2)
    """
    if len(figures) != 2:
        raise BadValueError(f"figures has {len(figures)} entries; two figures share a block")
    if not block.is_plain:
        raise BadValueError(f"{block.name} has flaws or rough sides; figures share a sound sawn block")
    asked = [1.0, 1.0] if scales is None else [ratio_value(scale, "scales") for scale in scales]
    both = (Stance.free(), Stance.free()) if stances is None else tuple(stances)
    margins = _margins(covers)
    if len(asked) != 2 or len(both) != 2:
        raise BadValueError("scales and stances need one entry for each of the two figures")
    kerf_mm = length_mm(kerf, "kerf", least=0)
    bound = _bound(figures, block, asked, margins, kerf_mm, both)
    task = _task(figures, block, asked, margins, kerf_mm)
    if task is None or bound <= 0:
        return Shared((), None, 0.0, bound, Verdict.CANNOT_FIT)
    found = _best(task, both)
    if found is None:
        return Shared((), None, 0.0, bound, Verdict.UNDECIDED)
    normal, start = found
    parted = _evened(figures, block, asked, margins, kerf_mm, both, normal, start, bound)
    if parted is None:
        return Shared((), None, 0.0, bound, Verdict.UNDECIDED)
    scale, offset, parts = parted
    bound = max(bound, scale)
    used = scale if scales is None else 1.0
    if scale < used:
        verdict = Verdict.CANNOT_FIT if bound < 1 else Verdict.UNDECIDED
        return Shared((), None, scale, bound, verdict)
    used = min(used, scale * (1 - CLOSE))
    fits = tuple(
        safest(figure, part, scale=used * by, cover=margin, stance=stance)
        for figure, part, by, margin, stance in zip(figures, parts, asked, margins, both, strict=True)
    )
    (cut,) = freed_cuts(block, parts[1].corners_mm, normal[None], np.array([offset]), kerf_mm)
    return Shared(fits, cut, scale, bound, Verdict.FITS)


def _margins(covers: Length | Sequence[Length]) -> tuple[float, float]:
    given = np.asarray(covers, dtype=object)
    each: list[Any] = [covers, covers] if given.ndim == 0 else given.tolist()
    if len(each) != 2:
        raise BadValueError(f"covers={covers!r} must be one length, or one for each of the two figures")
    first, second = (length_mm(cover, "covers", least=0) for cover in (each[0], each[-1]))
    return first, second


def _bound(
    figures: Sequence[Figure], block: Block, asked: Sequence[float], margins: Sequence[float], kerf: float,
    stances: Sequence[Stance],
) -> float:  # fmt: skip
    """Return a common factor that no cut allows more than.

    Each figure alone; the hulls' volumes in the block's; and across the cut, of any direction, the hulls' least widths,
    the covers and the kerf within the block's longest line.
    """
    alone = [
        largest(figure, block, cover=margin, stance=stance, gap=_ROUGH_GAP).scale_bound / by
        for figure, by, margin, stance in zip(figures, asked, margins, stances, strict=True)
    ]
    hulls = [hull_of(figure) for figure in figures]
    volume = sum(by**3 * polytope_volume(hull.points) for hull, by in zip(hulls, asked, strict=True))
    by_volume = (block.volume_m3 * 1e9 / volume) ** (1 / 3) if volume > 0 else np.inf
    widths = sum(by * least_and_longest(hull.points)[0] for hull, by in zip(hulls, asked, strict=True))
    apart = block.corners_mm[:, None] - block.corners_mm[None]
    room = float(np.linalg.norm(apart, axis=2).max()) - kerf - 2 * sum(margins)
    by_width = max(0.0, room / widths) if widths > 0 else np.inf
    return float(min(*alone, by_volume, by_width))


def _task(
    figures: Sequence[Figure], block: Block, asked: Sequence[float], margins: Sequence[float], kerf: float
) -> _Task | None:
    """Return the question about the block's middle; ``None`` where a cover leaves nothing."""
    middle = (block.corners_mm.min(axis=0) + block.corners_mm.max(axis=0)) / 2
    rooms = tuple(block.sound_mm - margin - block.normals @ middle for margin in margins)
    try:
        for room in rooms:
            corners_of(block.normals, room)
    except BadValueError:
        return None
    points = tuple(hull_of(figure).points * by for figure, by in zip(figures, asked, strict=True))
    triples = np.array(list(combinations(range(len(block.normals)), 3)), np.int64)
    matrices = np.swapaxes(block.normals[triples], 1, 2)
    sound = np.abs(np.linalg.det(matrices)) > MEETING
    taken = kerf + sum(margins) + sum(f.margin_mm * by for f, by in zip(figures, asked, strict=True))
    return _Task(
        block.normals,
        (rooms[0], rooms[1]),
        (points[0], points[1]),
        taken,
        triples[sound],
        np.linalg.inv(matrices[sound]),
    )


def _best(task: _Task, stances: Sequence[Stance]) -> tuple[Array, float] | None:
    """Return the direction of the best cut found, and about the block's middle where the first's part ends."""
    random = np.random.default_rng(0)
    normals = spread_directions(_STARTS)
    turns = [drawn_rotations(stance, _STARTS, random) for stance in stances]
    values = _values(task, normals, turns)
    leaders = np.argsort(-values, kind="stable")[:_LEADERS]
    best = None
    for k in leaders:
        state = (normals[k], [turn[k] for turn in turns], float(values[k]))
        spread = 0.4
        for _ in range(_ROUNDS):
            tried = state[0] + spread * random.normal(size=(_TRIALS, 3)) * random.random((_TRIALS, 1))
            tried /= np.linalg.norm(tried, axis=1, keepdims=True)
            near = [rotations_near(turn, stance, spread, _TRIALS, random)
                    for turn, stance in zip(state[1], stances, strict=True)]  # fmt: skip
            merit = _values(task, tried, near)
            j = int(merit.argmax())
            if merit[j] > state[2]:
                state = (tried[j], [turn[j] for turn in near], float(merit[j]))
            else:
                spread *= 0.75
        if best is None or state[2] > best[2]:
            best = state
    if best is None or not best[2] > 0:
        return None
    return best[0], _offset(task, best)


def _sides(task: _Task, normals: Array, turns: Sequence[Array]) -> list[tuple[Array, Array]]:
    """Return for each figure (b, t) how far it reaches from the block's sides to the cut, and the room that has.

    Written by triples of faces; where a triple does not write the direction, reach 0 and endless room.
    """
    told = []
    for k, side in enumerate((-1.0, 1.0)):  # the first lies before the cut, the second beyond it
        heights = reach(task.points[k], task.normals @ turns[k])
        against = reach(task.points[k], np.einsum("bij,bi->bj", turns[k], -side * normals))
        weights = np.einsum("tij,bj->bti", task.inverses, side * normals)
        valid = (weights >= -ROUNDING).all(axis=2)
        weights = np.maximum(weights, 0)
        need = np.einsum("bti,bti->bt", weights, heights[:, task.triples]) + against[:, None]
        room = np.einsum("bti,ti->bt", weights, task.rooms[k][task.triples])
        told.append((np.where(valid, need, 0.0), np.where(valid, room, np.inf)))
    return told


def _values(task: _Task, normals: Array, turns: Sequence[Array]) -> Array:
    """Return (b,) the common factor that each cut's direction allows, its place the best for both.

    The least of (room of one + room of the other) / (need of one + need of the other), over all pairs of triples: for
    a factor tried, each side's worst triple is found by itself, and the pair gives the next factor (W. Dinkelbach,
    Management Science 13(7), 1967, from memory), until it falls no more.
    """
    (need_a, room_a), (need_b, room_b) = _sides(task, normals, turns)
    rows = np.arange(len(normals))
    factor = np.zeros(len(normals))
    for turn in range(_MOST_FACTORS):
        i = (room_a - factor[:, None] * need_a).argmin(axis=1)
        j = (room_b - factor[:, None] * need_b).argmin(axis=1)
        room, need = room_a[rows, i] + room_b[rows, j] - task.taken, need_a[rows, i] + need_b[rows, j]
        found = np.where(np.isfinite(room), room / np.maximum(need, NOT_ZERO), np.inf)
        if turn and (found >= factor * (1 - ROUNDING)).all():
            break
        factor = found if turn == 0 else np.minimum(factor, found)
        factor = np.where(np.isfinite(factor), factor, 0.0)
    return np.asarray(np.maximum(factor, 0.0))


def _offset(task: _Task, state: tuple[Array, Sequence[Array], float]) -> float:
    """Return where the first figure's part ends, about the block's middle, for the best found."""
    (need_a, room_a), _ = _sides(task, state[0][None], [turn[None] for turn in state[1]])
    return float(np.where(np.isfinite(room_a), state[2] * need_a - room_a, -np.inf).max())


def _evened(  # noqa: PLR0913
    figures: Sequence[Figure], block: Block, asked: Sequence[float], margins: Sequence[float], kerf: float,
    stances: Sequence[Stance], normal: Array, start: float, bound: float,
) -> tuple[float, float, tuple[Block, Block]] | None:  # fmt: skip
    """Return the common factor, the cut's offset on the second's side, and the parts: the cut moved till both agree."""
    middle = (block.corners_mm.min(axis=0) + block.corners_mm.max(axis=0)) / 2
    heights = block.corners_mm @ normal
    ends = [(float(heights.min()), -np.inf), (float(heights.max()) - kerf, np.inf)]  # places, and what differs there
    at = float(np.clip(start + float(normal @ middle) + margins[0], ends[0][0], ends[1][0]))
    best = None
    for _ in range(_MOVES):
        parts = _parts(block, normal, at, kerf)
        factors = [
            0.0 if part is None else largest(figure, part, cover=margin, stance=stance, gap=_ROUGH_GAP).scale / by
            for figure, part, by, margin, stance in zip(figures, parts, asked, margins, stances, strict=True)
        ]
        if min(factors) > 0 and (best is None or min(factors) > best[0]) and parts[0] and parts[1]:
            best = (min(factors), at + kerf, (parts[0], parts[1]))
        apart = factors[0] - factors[1]
        if abs(apart) <= _EVEN * max(factors) or min(factors) >= bound * (1 - _EVEN):
            break
        ends[apart > 0] = (at, apart)
        at = _between(*ends)
    return best


def _between(low: tuple[float, float], high: tuple[float, float]) -> float:
    """Return where to look next between two places at which a rising difference is below and above 0."""
    share = -low[1] / (high[1] - low[1]) if np.isfinite(low[1]) and np.isfinite(high[1]) else 0.5
    return low[0] + float(np.clip(share, 0.05, 0.95)) * (high[0] - low[0])


def _parts(block: Block, normal: Array, at: float, kerf: float) -> tuple[Block | None, Block | None]:
    """Return the two parts of a block on both sides of a cut; ``None`` for one that is nothing."""
    parts: list[Block | None] = []
    for side, offset, which in ((normal, at, "first"), (-normal, -(at + kerf), "second")):
        try:
            planes = np.vstack([block.normals, side])
            corners = corners_of(planes, np.append(block.offsets_mm, offset))[0]
            parts.append(sawn_block(corners, block, margin_mm=0.0, name=f"{which} part of {block.name}"))
        except BadValueError:
            parts.append(None)
    return parts[0], parts[1]

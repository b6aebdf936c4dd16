"""The yard: figures against many blocks, on all cores, or on a cluster.

Every pair of a figure and a block is answered by itself, so that results are the same to the last digit however the
work is divided."""

import heapq
import math
import warnings
from bisect import insort
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.errors import BadValueError, BlockfitError, plain_text
from blockfit.geometry.polytope import polytope_volume
from blockfit.geometry.tolerances import CLOSE, LEAST_SIZE
from blockfit.kinds import kinds_checked
from blockfit.search.ask import YARD_GAP, Ask, Seek
from blockfit.search.choice.fit import answer
from blockfit.search.proof.support import hull_of
from blockfit.search.proof.widths import least_and_longest
from blockfit.search.result import Fit, Verdict
from blockfit.sheets.yard.journal import Journal, RowWriter, digest_of
from blockfit.sheets.yard.ranking import Comparison
from blockfit.sheets.yard.rows import RANKS, Row, alike, rank_key
from blockfit.solids.block import Block, CoverAsked, cover_by_face
from blockfit.solids.figure import Figure
from blockfit.solids.stance import Stance
from blockfit.units import M3_PER_MM3, Ratio, ratio_value
from blockfit.waste.offcuts.plan import offcuts as plan_offcuts
from blockfit.waste.reserve.setback import setback
from blockfit.workers import WorkerLostError, in_order

__all__ = ["compare"]

_TASK = 8  # pairs in one task
_ROUGHLY = 1e-2  # gap of what is missing where nothing fits
_KEEP = 1000  # rows kept where they are written as they come


@dataclass(frozen=True, slots=True, eq=False)
class _Terms:
    """What is asked of every pair; small, since it goes with every task."""

    ask: Ask
    wanted: float | None  # the size that must fit
    deepest: bool
    offcuts: bool


@kinds_checked
def compare(  # noqa: PLR0913
    figures: Figure | Sequence[Figure],
    blocks: Iterable[Block],
    *,
    scale: Ratio | None = None,
    cover: CoverAsked = 0,
    stance: Stance | None = None,
    gap: float = YARD_GAP,
    rank: str = "largest",
    stands_on: str | Sequence[str] = "bottom",
    layers: str = "any",
    best: int | None = None,
    deepest: bool = True,
    offcuts: bool = False,
    jobs: int | None = None,
    progress: bool = False,
    resume: str | Path | None = None,
    stream: str | Path | None = None,
) -> Comparison:
    """Return every figure against every block, ranked.

    ``scale`` is the size wanted: rows then say whether it fits, and with ``deepest`` the cover it has there; a row's
    own scale is the largest in its block all the same. ``rank`` is ``largest`` (figure), ``cheapest`` (that fits),
    ``least waste`` or ``lightest`` (to move); ties keep the order given. ``best`` returns the first so many of the
    whole table, and stops as soon as the rest is proved worse. ``offcuts`` plans them for every block that fits.
    ``jobs`` is how many processes (default: all cores, or what joblib is configured for, such as a Dask cluster).
    ``resume`` is a file of finished rows: those whose figure, block and question are the same are not done again, new
    ones are added. ``stream`` writes rows to a CSV file as they come, in the order given, and keeps only the best in
    memory. A block that fails does not stop the rest: its row says why. Ctrl-C, or a worker that is killed, returns
    the rows that are finished.

    Each scale is exact and its bound proved; weights are estimates at the typical density. Raises `BadValueError` for
    no figures, an unknown rank, and options out of range.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 400)]
    >>> yard = [bf.Block.box(200, 200, 500, name="small"), bf.Block.box(300, 300, 900, name="large")]
    >>> table = bf.compare(bf.Figure.from_points(corners), yard, stance=bf.Stance.fixed(), jobs=1)
    >>> [(row.block.name, row.scale) for row in table.rows]
    [('large', 2.25), ('small', 1.25)]
    """
    those = (figures,) if isinstance(figures, Figure) else tuple(figures)
    if not those:
        raise BadValueError("figures is empty: there is nothing to compare")
    if rank not in RANKS:
        raise BadValueError(f"rank={rank!r} must be one of {', '.join(RANKS)}")
    if best is not None and best < 1:
        raise BadValueError(f"best={best!r} must be at least 1")
    wanted = None if scale is None else ratio_value(scale, "scale")
    if wanted is None and rank in ("cheapest", "least waste", "lightest"):
        wanted = 1.0  # what is cheapest that fits needs a size that must fit: as read
    faces = stands_on if isinstance(stands_on, str) else tuple(stands_on)
    ask = Ask(cover=cover, stance=stance or Stance.free(), gap=gap, stands_on=faces, layers=layers)
    asked = _Terms(ask, wanted, deepest, offcuts)
    journal = Journal(resume, asked)
    try:
        work = _Work(those, tuple(map(_Shape.of, those)), asked, rank, best, jobs, journal)
        rows, stopped = _collected(work, blocks, progress, stream)
    finally:
        journal.close()
    rows.sort(key=lambda row: rank_key(row, rank))
    kept = tuple(rows if best is None else rows[:best])
    return Comparison(kept, rank, wanted, stopped is None, stopped or "")


@dataclass(frozen=True, slots=True, eq=False)
class _Work:
    """All that the work on the pairs shares, in this process."""

    figures: tuple[Figure, ...]
    shapes: "tuple[_Shape, ...]"
    asked: _Terms
    rank: str
    best: int | None
    jobs: int | None
    journal: Journal


_Pair = tuple[int, int, Block]  # place in the whole table, which figure, block
_Task = list[tuple[int, Figure, "_Shape", Block, "Row | None"]]


def _collected(
    work: _Work, blocks: Iterable[Block], progress: bool, stream: str | Path | None
) -> tuple[list[Row], str | None]:
    """Return the rows, and what stopped the work: ``None`` if all are there, nothing to say if it was Ctrl-C."""
    count = len(work.figures)
    pairs: Iterator[_Pair] = ((k * count + f, f, block) for k, block in enumerate(blocks) for f in range(count))
    keep = _KEEP if stream is not None else math.inf
    heap: list[tuple[Any, Row]] = []
    writer = RowWriter(stream)
    bar = _bar(progress)
    stopped: str | None = "failed"
    try:
        for row in _rows_of(work, pairs) if work.best is None else _best_rows(work, pairs, work.best):
            writer.write(row)
            heapq.heappush(heap, (_Reversed(rank_key(row, work.rank)), row))
            if len(heap) > keep:
                heapq.heappop(heap)
            bar.update()
        stopped = None
    except KeyboardInterrupt:
        stopped = ""
    except WorkerLostError as error:
        stopped = _lost_words(error)
    finally:
        writer.close(finished=stopped is None)
        bar.close()
    return [row for _, row in heap], stopped


def _lost_words(error: WorkerLostError) -> str:
    names = [block.name for task in error.tasks for _, _, _, block, known in task if known is None]
    where = f"at work on {names[0]}" if len(names) < 2 else f"at work on one of {names[0]} to {names[-1]}"
    return f"{error}, {where if names else 'at work'}; finished rows are kept: resume (--resume) continues from a file"


def _best_rows(work: _Work, pairs: Iterator[_Pair], best: int) -> Iterator[Row]:
    """Yield rows until no pair that is left can be among the first ``best``: its key cannot be less than is known."""
    promised = sorted(((_promise(work, *pair), pair) for pair in pairs), key=lambda one: one[0])
    held: list[tuple[float, ...]] = []
    batch = max(2 * best, _TASK)
    for start in range(0, len(promised), batch):
        if len(held) >= best and held[best - 1] < promised[start][0]:
            return
        for row in _rows_of(work, (pair for _, pair in promised[start : start + batch])):
            insort(held, rank_key(row, work.rank))
            yield row


def _promise(work: _Work, order: int, figure: int, block: Block) -> tuple[float, ...]:
    """Return what the pair's rank key cannot be less than, by what needs no search."""
    shape, asked = work.shapes[figure], work.asked
    try:
        most = _most_scale(shape, block, asked) * (1 + CLOSE)
    except BlockfitError:  # its row will say why
        return (0.0, -math.inf, float(order))
    if work.rank == "largest":
        return (0.0, alike(-most), float(order))
    short = asked.wanted is not None and most < asked.wanted
    if work.rank == "least waste":
        waste = None if short or shape.volume_m3 is None else _waste_share(shape, block, asked.wanted or 0.0)
        return (2.0 if short else 0.0, alike(math.inf if waste is None else waste), float(order))
    value = block.price if work.rank == "cheapest" else block.mass_kg
    return (2.0 if short else 0.0, alike(math.inf if value is None else value), float(order))


def _waste_share(shape: "_Shape", block: Block, scale: float) -> float | None:
    if shape.volume_m3 is None:
        return None
    return (block.volume_m3 - shape.volume_m3 * scale**3) / block.volume_m3


@dataclass(frozen=True, slots=True, eq=False)
class _Shape:
    """What of a figure is the same for every block: its hull, and bounds that need no search."""

    slim: Figure  # the hull's corners alone: all that fitting in a convex block needs
    volume_m3: float | None
    hull_m3: float
    least_width_mm: float
    longest_mm: float

    @classmethod
    def of(cls, figure: Figure) -> "_Shape":
        hull = hull_of(figure)
        corners = hull.points + hull.centre
        slim = Figure(
            corners, np.zeros((0, 3), np.int64), landmarks=figure.landmarks, name=figure.name, ratio=figure.ratio,
            margin_mm=figure.margin_mm, is_envelope=figure.is_envelope,
        )  # fmt: skip
        least, longest = least_and_longest(hull.points)
        return cls(slim, figure.volume_m3, polytope_volume(hull.points) * M3_PER_MM3, least, longest)


def _most_scale(shape: _Shape, block: Block, asked: _Terms) -> float:
    """Return a scale that no placement in a box exceeds, by volume, least width and longest line; inf for others."""
    # A block stood on another face has its covers elsewhere: what is asked of which side is not known here.
    if block.kind != "box" or asked.ask.stands_on != "bottom":
        return math.inf
    covers = cover_by_face(block, asked.ask.cover)
    room = block.sound_mm - covers
    size = np.array([room[2] + room[3], room[0] + room[1], room[4] + room[5]])
    if (size <= 0).any():
        return 0.0
    bounds = [float(np.linalg.norm(size)) / max(shape.longest_mm, LEAST_SIZE)]
    if shape.least_width_mm > 0:
        bounds.append(float(size.min()) / shape.least_width_mm)
    if shape.hull_m3 > 0:
        bounds.append((float(size.prod()) * M3_PER_MM3 / shape.hull_m3) ** (1 / 3))
    return min(bounds)


def _rows_of(work: _Work, pairs: Iterator[_Pair]) -> Iterator[Row]:
    """Yield the rows of all pairs in order, each noted in the journal."""
    journal, asked = work.journal, work.asked
    digests = [digest_of(figure) for figure in work.figures]
    keys: dict[int, str] = {}

    def tasks() -> Iterator[_Task]:
        while chunk := list(islice(pairs, _TASK)):
            task: _Task = []
            for order, f, block in chunk:
                whole = asked.offcuts or not block.is_plain
                figure = work.figures[f] if whole else work.shapes[f].slim
                keys[order] = journal.key(digests[f], block)
                known = journal.known(keys[order], order, work.figures[f].name, block)
                task.append((order, figure, work.shapes[f], block, known))
            yield task

    for _, rows in in_order(partial(_rows, asked=asked), tasks(), work.jobs):
        for row in rows:
            journal.add(keys.pop(row.order), row)
            yield row


def _rows(task: _Task, asked: _Terms) -> list[Row]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a worker's would reach the terminal among the rows
        return [known or _row(order, figure, shape, block, asked) for order, figure, shape, block, known in task]


def _row(order: int, figure: Figure, shape: _Shape, block: Block, asked: _Terms) -> Row:
    """Return one answer; what goes wrong is reported in it."""
    empty = Row(
        order, figure.name, block, Verdict.CANNOT_FIT.name, 0.0, 0.0, None, None, None, None, block.mass_kg, None,
        None, block.price, None, None, "",
    )  # fmt: skip
    try:
        fit = answer(figure, block, asked.ask)
        deep = None
        verdict = fit.verdict
        if asked.wanted is not None and fit.placement is not None:
            verdict = _at_wanted(fit, asked.wanted)
            if verdict is Verdict.UNDECIDED or (verdict is Verdict.FITS and asked.deepest):
                deep = answer(figure, block, replace(asked.ask, seek=Seek.COVER, scale=asked.wanted))
                verdict = deep.verdict
        return _told(order, figure, shape, block, asked, fit, deep, verdict)
    except BlockfitError as error:
        return replace(empty, verdict="FAILED", note=str(error))
    except (ArithmeticError, AssertionError, IndexError, TypeError, ValueError, MemoryError) as error:
        note = f"a fault in blockfit, please report it: {type(error).__name__} {error}"
        return replace(empty, verdict="FAILED", note=plain_text(note)[:300])


def _at_wanted(fit: Fit, wanted: float) -> Verdict:
    if fit.scale >= wanted:
        return Verdict.FITS
    return Verdict.CANNOT_FIT if fit.scale_bound < wanted else Verdict.UNDECIDED


def _told(  # noqa: PLR0913
    order: int, figure: Figure, shape: _Shape, block: Block, asked: _Terms, fit: Fit, deep: Fit | None, verdict: Verdict
) -> Row:
    placed = deep if deep is not None and deep.verdict is Verdict.FITS else fit
    size = (asked.wanted or fit.scale) if verdict is Verdict.FITS else 0.0
    volume = None if shape.volume_m3 is None else shape.volume_m3 * size**3
    density = None if block.stone is None else block.stone.density_kg_m3
    share = _waste_share(shape, block, size) if size else None
    recovered = None
    if asked.offcuts and verdict is Verdict.FITS:
        recovered = plan_offcuts(placed).recovered
    placement = placed.placement
    failed = _failed(figure, block, asked, fit, deep, verdict)
    return Row(
        order=order,
        figure=figure.name,
        block=block,
        verdict=verdict.name,
        scale=fit.scale,
        scale_bound=fit.scale_bound,
        cover_mm=placed.cover_mm if placement is not None and math.isfinite(placed.cover_mm) else None,
        turn_deg=None if placement is None else placement.turn_deg,
        tilt_deg=None if placement is None else placement.tilt_deg,
        stands_on=placed.stands_on,
        tall_mm=None if placement is None else _tall_mm(placed),
        reserve_mm=_reserve_mm(placed),
        short_mm=None if failed is None else failed.short_mm,
        short_faces="" if failed is None else ", ".join(failed.short_faces),
        block_kg=block.mass_kg,
        removed_kg=None if share is None or density is None else share * block.volume_m3 * density,
        waste_share=share,
        price=block.price,
        price_per_m3=None if block.price is None or not volume else block.price / volume,
        recovered=recovered,
        note="; ".join(["known from outside only"] * figure.is_envelope + [fit.proof] * (fit.proof != "proved")),
    )


def _tall_mm(fit: Fit) -> float:
    placement = fit.placement
    assert placement is not None
    heights = placement.apply(fit.figure.vertices)[:, 2]
    return float(heights.max() - heights.min())


def _reserve_mm(fit: Fit) -> float | None:
    """Return how far the figure can go back, where that needs no solids; ``None`` where it does, or nothing fits."""
    return setback(fit).back_mm if fit.placement is not None and fit.block.is_plain else None


def _failed(figure: Figure, block: Block, asked: _Terms, fit: Fit, deep: Fit | None, verdict: Verdict) -> Fit | None:
    """Return the answer that says what is missing, where the size wanted does not fit."""
    if verdict is not Verdict.CANNOT_FIT:
        return None
    if fit.placement is None or deep is not None or asked.wanted is None:
        return deep or (fit if fit.short_mm else None)
    told = answer(figure, block, replace(asked.ask, seek=Seek.COVER, scale=asked.wanted, gap=_ROUGHLY))
    return told if told.verdict is Verdict.CANNOT_FIT else None


class _Reversed:
    """Turns an order round, so that a heap drops the worst."""

    def __init__(self, key: Any) -> None:
        self.key = key

    def __lt__(self, other: "_Reversed") -> bool:
        return bool(other.key < self.key)


def _bar(progress: bool) -> Any:
    if not progress:
        return _Silent()
    from tqdm import tqdm

    return tqdm(unit=" blocks")


class _Silent:
    def update(self) -> None:
        """Say nothing."""

    def close(self) -> None:
        """Say nothing."""

"""The yard: figures against many blocks, on all cores, or on a cluster by joblib's own backend; joblib's one home.

Every pair of a figure and a block is answered by itself, so that results are the same to the last digit however the
work is divided."""

import heapq
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.errors import BadValueError, BlockfitError
from blockfit.search.fit import largest, safest
from blockfit.search.result import Fit, Verdict
from blockfit.search.support import hull_of
from blockfit.search.widths import least_and_longest
from blockfit.sheets.journal import Journal, RowWriter
from blockfit.sheets.ranking import RANKS, Comparison, Row, rank_key
from blockfit.solids.block import Block, CoverAsked, cover_by_face
from blockfit.solids.figure import Figure
from blockfit.solids.polytope import polytope_volume
from blockfit.solids.stance import Stance
from blockfit.units import Ratio, ratio_value
from blockfit.waste.offcut import offcuts as plan_offcuts

__all__ = ["compare"]

_TASK = 8  # pairs in one task
_KEEP = 1000  # rows kept where they are written as they come


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """What is asked of every pair; small, since it goes with every task."""

    scale: float | None
    cover: CoverAsked
    stance: Stance
    gap: float
    stands_on: str | tuple[str, ...]
    bed: str
    deepest: bool
    offcuts: bool


def compare(
    figures: Figure | Sequence[Figure],
    blocks: Iterable[Block],
    *,
    scale: Ratio | None = None,
    cover: CoverAsked = 0,
    stance: Stance | None = None,
    gap: float = 1e-3,
    rank: str = "largest",
    stands_on: str | Sequence[str] = "bottom",
    bed: str = "any",
    best: int | None = None,
    deepest: bool = True,
    offcuts: bool = False,
    jobs: int | None = None,
    progress: bool = False,
    resume: str | Path | None = None,
    stream: str | Path | None = None,
) -> Comparison:
    """Return every figure against every block, ranked.

    ``scale`` is the size wanted: rows then say whether it fits, and with ``deepest`` the cover it has there. ``rank``
    is ``largest`` (figure), ``cheapest`` (that fits), ``least waste`` or ``lightest`` (to move); ties keep the order
    given. ``best`` looks for so many only, and stops as soon as the rest is proved worse. ``offcuts`` plans them for
    every block that fits. ``jobs`` is how many processes (default: all cores, or what joblib is configured for, such
    as a Dask cluster). ``resume`` is a file of finished rows: those in it are not done again, new ones are added.
    ``stream`` writes rows to a CSV file as they come, in the order given, and keeps only the best in memory. A block
    that fails does not stop the rest: its row says why. Ctrl-C returns the rows that are finished.

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
    asked = _Asked(wanted, cover, stance or Stance.free(), gap, faces, bed, deepest, offcuts)
    journal = Journal(resume, repr((*(figure.name for figure in those), asked)))
    try:
        rows, finished = _collected(those, blocks, asked, rank, best, jobs, progress, journal, stream)
    finally:
        journal.close()
    rows.sort(key=lambda row: rank_key(row, rank))
    return Comparison(tuple(rows if best is None else rows[:best]), rank, wanted, finished)


def _collected(
    figures: tuple[Figure, ...], blocks: Iterable[Block], asked: _Asked, rank: str, best: int | None, jobs: int | None,
    progress: bool, journal: Journal, stream: str | Path | None,
) -> tuple[list[Row], bool]:  # fmt: skip
    """Return the rows, and whether all are there."""
    shapes = [_Shape.of(figure) for figure in figures]
    count = len(shapes)
    pairs: Iterator[tuple[int, int, Block]] = (
        (k * count + f, f, block) for k, block in enumerate(blocks) for f in range(count)
    )
    if best is not None:
        pairs = iter(sorted(pairs, key=lambda pair: _promise(shapes[pair[1]], pair[2], asked, rank)))
    keep = _KEEP if stream is not None else math.inf
    rows: list[Row] = []
    heap: list[tuple[Any, int, Row]] = []
    writer = RowWriter(stream)

    def take(row: Row) -> None:
        writer.write(row)
        if keep is math.inf:
            rows.append(row)
            return
        heapq.heappush(heap, (_Reversed(rank_key(row, rank)), row.order, row))
        if len(heap) > keep:
            heapq.heappop(heap)

    finished = True
    try:
        for row in _answered(figures, shapes, pairs, asked, rank, best, jobs, progress, journal):
            take(row)
    except KeyboardInterrupt:
        finished = False
    finally:
        writer.close()
    return rows + [row for _, _, row in heap], finished


def _answered(
    figures: tuple[Figure, ...], shapes: "list[_Shape]", pairs: Iterator[tuple[int, int, Block]], asked: _Asked,
    rank: str, best: int | None, jobs: int | None, progress: bool, journal: Journal,
) -> Iterator[Row]:  # fmt: skip
    """Yield the rows as they come, in order."""
    held: list[Row] = []
    bar = _bar(progress)
    if best is not None:
        batch = max(2 * best, 8)
        while chunk := list(islice(pairs, batch)):
            if len(held) >= best and _is_settled(held, [(shapes[f], b) for _, f, b in chunk], asked, rank, best):
                break
            for row in _parallel(figures, shapes, iter(chunk), asked, jobs, journal):
                held.append(row)
                bar.update()
                yield row
        bar.close()
        return
    for row in _parallel(figures, shapes, pairs, asked, jobs, journal):
        bar.update()
        yield row
    bar.close()


def _is_settled(held: list[Row], left: "list[tuple[_Shape, Block]]", asked: _Asked, rank: str, best: int) -> bool:
    """Whether nothing that is left can be among the best; ``left`` begins with what promises most."""
    top = sorted(held, key=lambda row: rank_key(row, rank))[:best]
    if rank == "largest":
        return min(row.scale for row in top) >= max(_most_scale(shape, block, asked) for shape, block in left)
    return all(row.verdict == Verdict.FITS.name for row in top)


def _promise(shape: "_Shape", block: Block, asked: _Asked, rank: str) -> float:
    """Return what blocks are taken in order of, when only the best few are asked for."""
    if rank == "largest":
        return -_most_scale(shape, block, asked)
    if rank == "cheapest":
        return math.inf if block.price is None else block.price
    return block.volume_m3 if rank == "least waste" else (block.mass_kg or math.inf)


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
            tolerance_mm=figure.tolerance_mm,
        )  # fmt: skip
        least, longest = least_and_longest(hull.points)
        return cls(slim, figure.volume_m3, polytope_volume(hull.points) * 1e-9, least, longest)


def _most_scale(shape: _Shape, block: Block, asked: _Asked) -> float:
    """Return a scale that no placement in a box exceeds, by volume, least width and longest line; inf for others."""
    # A block stood on another face has its covers elsewhere: what is asked of which side is not known here.
    if block.kind != "box" or asked.stands_on != "bottom":
        return math.inf
    covers = cover_by_face(block, asked.cover)
    room = block.sound_mm - covers
    size = np.array([room[2] + room[3], room[0] + room[1], room[4] + room[5]])
    if (size <= 0).any():
        return 0.0
    bounds = [float(np.linalg.norm(size)) / max(shape.longest_mm, 1e-9)]
    if shape.least_width_mm > 0:
        bounds.append(float(size.min()) / shape.least_width_mm)
    if shape.hull_m3 > 0:
        bounds.append((float(size.prod()) * 1e-9 / shape.hull_m3) ** (1 / 3))
    return min(bounds)


def _parallel(
    figures: tuple[Figure, ...], shapes: list[_Shape], pairs: Iterator[tuple[int, int, Block]], asked: _Asked,
    jobs: int | None, journal: Journal,
) -> Iterator[Row]:  # fmt: skip
    """Yield the rows of all pairs in order, worked on by joblib as it is configured."""
    from joblib import Parallel, delayed
    from joblib.parallel import get_active_backend

    backend, configured = get_active_backend()
    count = jobs if jobs is not None else (configured if configured not in (None, 1) else -1)
    if jobs is None and type(backend).__name__ == "DaskDistributedBackend":
        count = None

    def tasks() -> Iterator[list[tuple[int, Figure, _Shape, Block, Row | None]]]:
        while chunk := list(islice(pairs, _TASK)):
            task = []
            for order, f, block in chunk:
                whole = asked.offcuts or not block.is_plain
                figure = figures[f] if whole else shapes[f].slim
                task.append((order, figure, shapes[f], block, journal.known(order, block)))
            yield task

    results = Parallel(n_jobs=count, return_as="generator", pre_dispatch="3*n_jobs")(
        delayed(_rows)(task, asked) for task in tasks()
    )
    for rows in results:
        for row in rows:
            journal.add(row)
            yield row


def _rows(task: list[tuple[int, Figure, _Shape, Block, Row | None]], asked: _Asked) -> list[Row]:
    return [known or _row(order, figure, shape, block, asked) for order, figure, shape, block, known in task]


def _row(order: int, figure: Figure, shape: _Shape, block: Block, asked: _Asked) -> Row:
    """Return one answer; what goes wrong is told in it."""
    empty = Row(
        order, figure.name, block, Verdict.CANNOT_FIT.name, 0.0, 0.0, None, None, None, None, block.mass_kg, None,
        None, block.price, None, None, "",
    )  # fmt: skip
    try:
        most = _most_scale(shape, block, asked)
        if asked.scale is not None and most < asked.scale * (1 - 1e-9) and block.is_plain:
            # No search is needed to say so.
            return replace(empty, scale_bound=most, note="too small, by volume, least width or longest line")
        how: dict[str, Any] = {
            "cover": asked.cover,
            "stance": asked.stance,
            "stands_on": asked.stands_on,
            "bed": asked.bed,
        }
        fit = largest(figure, block, gap=asked.gap, **how)
        deep = None
        verdict = fit.verdict
        if asked.scale is not None and fit.placement is not None:
            verdict = _at_wanted(fit, asked.scale)
            if verdict is Verdict.UNDECIDED or (verdict is Verdict.FITS and asked.deepest):
                deep = safest(figure, block, scale=asked.scale, gap=asked.gap, **how)
                verdict = deep.verdict
        return _told(order, figure, shape, block, asked, fit, deep, verdict)
    except BlockfitError as error:
        return replace(empty, verdict="FAILED", note=str(error))


def _at_wanted(fit: Fit, wanted: float) -> Verdict:
    if fit.scale >= wanted:
        return Verdict.FITS
    return Verdict.CANNOT_FIT if fit.scale_bound < wanted else Verdict.UNDECIDED


def _told(
    order: int, figure: Figure, shape: _Shape, block: Block, asked: _Asked, fit: Fit, deep: Fit | None, verdict: Verdict
) -> Row:
    placed = deep if deep is not None and deep.verdict is Verdict.FITS else fit
    size = (asked.scale or fit.scale) if verdict is Verdict.FITS else 0.0
    volume = None if shape.volume_m3 is None else shape.volume_m3 * size**3
    density = None if block.stone is None else block.stone.density_kg_m3
    waste = None if volume is None or not size else block.volume_m3 - volume
    recovered = None
    if asked.offcuts and verdict is Verdict.FITS and block.surface is None:
        recovered = plan_offcuts(placed).recovered
    placement = placed.placement
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
        block_kg=block.mass_kg,
        removed_kg=None if waste is None or density is None else waste * density,
        waste_share=None if waste is None else waste / block.volume_m3,
        price=block.price,
        price_per_m3=None if block.price is None or not volume else block.price / volume,
        recovered=recovered,
        note=fit.proof if fit.proof != "proved" else "",
    )


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

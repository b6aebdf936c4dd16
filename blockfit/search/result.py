"""The answer to a question about one figure and one block.

mm, block frame. Every placement is checked with all vertices of the figure, apart from the search."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from fractions import Fraction
from functools import cached_property
from pathlib import Path

import numpy as np

from blockfit.certificates.certificate import Certificate
from blockfit.errors import BadValueError
from blockfit.facts.results import freeze_fields
from blockfit.filing.job_file import write_parts
from blockfit.filing.log import Entry, new_entry
from blockfit.geometry.arrays import Array, Flags
from blockfit.geometry.exact import greatest
from blockfit.geometry.polytope import inner_ball
from blockfit.geometry.tolerances import TOUCHING
from blockfit.kinds import kinds_checked
from blockfit.search.ask import Ask
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.placement import Placement
from blockfit.solids.stance import Stance
from blockfit.solids.standing import Standing
from blockfit.units import rounded_down

__all__ = [
    "TOUCH",
    "Fit",
    "Verdict",
    "best_standing",
    "counted_faces",
    "cover_of_faces",
    "drawn_in",
    "placed_entry",
    "verified_cover_mm",
]

_MOVED, _SHRUNK = 4, 6  # times, each by twice what is missing
_ONLY_MOVED = 60  # times, where it may not shrink: away from one face it may come nearer to another
_STIRRED = 1e-3  # of the size: vertices further in than this from the outermost cannot matter
_OPERATIONS = 64  # roundings between a vertex and its distance from a plane, each of half a unit in the last place
TOUCH = 1e-9  # of the block's size: what rounding may take from the cover
_OF_SHIFT = 1e-3  # of where the block lies in its frame: adding a great number costs digits


class Verdict(Enum):
    """Whether the figure fits.

    ``FITS`` was checked with every vertex of the figure, apart from the search. A larger ``max_cells`` may decide what
    is ``UNDECIDED``.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> bf.safest(cube, bf.Block.box(160, 200, 250), cover=20).verdict.name
    'FITS'
    >>> bf.safest(cube, bf.Block.box(90, 90, 90)).verdict.name
    'CANNOT_FIT'
    """

    FITS = "a placement is known"
    CANNOT_FIT = "proved: no placement does what was asked"
    UNDECIDED = "budget of cells spent, the bounds still straddle what was asked"


@dataclass(frozen=True, eq=False, repr=False)
class Fit:
    """One figure in one block.

    ``scale_bound >= scale`` and ``cover_bound_mm >= cover_mm`` are proved (to rounding, about 1e-12), as far as
    ``ask`` asked for them. ``placement`` is the best one known, also if it is not enough; ``None`` if the cover
    leaves no room at all. ``short_mm`` is how much every face would have to give for a figure that does
    not fit, on ``short_faces``. ``stands_on`` is the face of the block as given that is down; ``block`` is then
    re-axed, turned by ``block_turn`` (3, 3). ``setback_mm`` is set by `safest` with ``seek="setback"``, with its bound.
    In stone with flaws ``proof`` is ``best found``, ``kept_mm`` the exact distance kept from each, ``flaw_cost`` what
    they take from the scale (or from the cover, in mm) that is best without them. ``certificate`` is the
    proof to check, where one was asked for.

    Lengths are mm, in the block's frame. ``scale``, ``cover_mm`` and the placement are exact, and ``scale`` is 1 at
    full size. Where the scale was sought, ``gap`` is the share by which the bound exceeds it; where cover or setback
    was, ``gap_mm`` is the difference in mm. ``cells`` is the work spent.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.largest(cube, bf.Block.box(300, 200, 250), cover=10, stance=bf.Stance.upright())
    >>> fit.verdict.name, round(fit.scale, 3), fit.scale_bound >= fit.scale
    ('FITS', 1.8, True)
    >>> fit.solid().vertices.min(axis=0).round(3).tolist()  # as low as its cover lets it be
    [60.0, 10.0, 10.0]
    >>> small = bf.safest(cube, bf.Block.box(160, 90, 250), stance=bf.Stance.fixed())
    >>> small.verdict.name, round(small.short_mm, 3), small.short_faces
    ('CANNOT_FIT', 5.0, ('front', 'back'))
    """

    figure: Figure
    block: Block
    verdict: Verdict
    placement: Placement | None
    scale: float
    scale_bound: float
    cover_mm: float
    cover_bound_mm: float
    gap: float
    gap_mm: float
    cells: int
    asked_cover_mm: Array
    ask: Ask
    stands_on: str = "bottom"
    block_turn: Array = field(default_factory=lambda: np.eye(3))
    setback_mm: float | None = None
    setback_bound_mm: float | None = None
    short_mm: float = 0.0
    short_faces: tuple[str, ...] = ()
    trace: Array | None = None
    kept_mm: tuple[tuple[str, float], ...] = ()
    proof: str = "proved"
    flaw_cost: float | None = None
    certificate: Certificate | None = None

    def __post_init__(self) -> None:
        """Freeze the arrays."""
        freeze_fields(self)

    @property
    def stance(self) -> Stance:
        """How the figure may be turned and leaned."""
        return self.ask.stance

    @cached_property
    def _solid(self) -> Figure:
        if self.placement is None:
            raise BadValueError(f"{self.figure.name} has no placement in {self.block.name} that is known")
        return self.figure.placed(self.placement)

    def __repr__(self) -> str:
        """Return the question, the verdict and the scale."""
        names = f"{self.figure.name!r} in {self.block.name!r}"
        return f"Fit({self.ask.seek.value}: {names}, {self.verdict.name}, scale {self.scale:.4f})"

    def solid(self) -> Figure:
        """Return the placed figure, in the block frame. Raises `BadValueError` if there is no placement."""
        return self._solid

    @kinds_checked
    def save(self, path: str | Path) -> None:
        """Write a new job file, such as ``kneeling.blockfit``, that `open_job` opens: this fit, exactly, and a log.

        It appears whole or not at all, and takes the place of no other file except a job to which nothing has
        happened yet. Raises `BadValueError`, `UnreadableFileError`.
        """
        write_parts(Path(path), {"fit": self, "log": (placed_entry(self),)}, fresh=True)


def placed_entry(fit: Fit) -> Entry:
    """Return the first entry of a job's log: what was placed where, and what was asked."""
    words = f"{fit.figure.name} in {fit.block.name}: {fit.verdict.name}, scale {rounded_down(fit.scale, 4):.4f}, "
    return new_entry("placed", f"{words}asked: {fit.ask.seek.value}, {fit.ask.stance.words()}")


def counted_faces(asked_mm: Array) -> Flags:
    """Return (f,) the faces that count for the least cover: those asked for some, or all if none was."""
    asked = asked_mm > 0
    return np.asarray(asked if asked.any() else np.ones(len(asked), bool))


def cover_of_faces(figure: Figure, block: Block, placement: Placement) -> Array:
    """Return (f,) the sound stone between each face and the figure's nearest vertex, in mm."""
    placed = placement.apply(figure.vertices)
    tolerance = figure.margin_mm * placement.scale
    return np.asarray(block.sound_mm - (placed @ block.normals.T).max(axis=0) - tolerance)


def drawn_in(figure: Figure, block: Block, placement: Placement, asked_mm: Array, *, shrinks: bool = True) -> Placement:
    """Return the placement, moved or shrunk by what rounding makes it miss its cover by, if it does.

    It then keeps it exactly: every vertex is compared with every plane, in rational arithmetic where floating point
    could not tell. Where there is room it is moved, and keeps its scale. Where there is none it is shrunk: by a share ε
    towards the middle of the largest ball in the stone, of radius r, which draws every point in from every face by ε r
    at least. Where it may not ``shrinks``, what cannot be moved enough stays as it is.
    """
    found = placement
    size = max(max(block.size_mm), float(np.abs(placement.shift_mm).max()))
    vertices = _outermost(figure.vertices, block, placement, _STIRRED * size)
    moves = _MOVED if shrinks else _ONLY_MOVED
    for turn in range(moves + (_SHRUNK if shrinks else 0)):
        if _stirred_mm(figure, placement, found) > _STIRRED * size / 4:
            return placement  # no rounding either
        worst, face = _missing_mm(vertices, figure.margin_mm, block, found, asked_mm)
        if worst <= 0:
            return found
        if worst > TOUCHING * size:
            return placement  # no rounding: the check to come will say so
        if turn < moves:
            by = max(2 * worst, 2.0**-51 * size)
            found = Placement(found.scale, found.rotation, found.shift_mm - by * block.normals[face])
            continue
        start = placement if turn == moves else found
        middle, radius = inner_ball(block.normals, block.sound_mm - asked_mm)
        more = 2.0 ** (1 + turn - moves)  # the shift itself is rounded too
        kept = 1 - more * max(worst, 2.0**-51 * size) / radius
        found = Placement(start.scale * kept, start.rotation, middle + kept * (start.shift_mm - middle))
    return found if shrinks else placement


def _outermost(vertices: Array, block: Block, placement: Placement, within_mm: float) -> Array:
    """Return the vertices (k, 3) so near the outermost along some plane that no small move brings others beyond it."""
    heights = vertices @ (placement.scale * block.normals @ placement.rotation).T
    close = np.zeros(len(vertices), bool)
    for column in heights.T:
        close |= column >= column.max(initial=-np.inf) - within_mm
    return np.asarray(vertices[close])


def _stirred_mm(figure: Figure, before: Placement, after: Placement) -> float:
    """Return how far any vertex has moved at most, by a shift and a change of scale, for vertices as far as any."""
    far = float(np.linalg.norm(figure.vertices, axis=1).max()) if before.scale != after.scale else 0.0
    return float(np.linalg.norm(after.shift_mm - before.shift_mm)) + abs(after.scale - before.scale) * far


def _missing_mm(
    vertices: Array, margin_mm: float, block: Block, placement: Placement, asked_mm: Array
) -> tuple[float, int]:
    """Return by how much the worst vertex lies beyond its plane, exactly wherever it could at all, and which plane."""
    heights = placement.apply(vertices) @ block.normals.T
    over = heights - (block.sound_mm - asked_mm - margin_mm * placement.scale)  # (n, f)
    size = max(float(np.abs(heights).max(initial=0.0)), float(np.abs(placement.shift_mm).max()), max(block.size_mm))
    doubt = _OPERATIONS * 2.0**-53 * size
    worst = float(over.max(initial=-np.inf))
    if worst <= -doubt or worst > 1e6 * doubt:
        return worst, int(over.max(axis=0).argmax())
    scale = Fraction(placement.scale)
    turned = [[scale * Fraction(x) for x in row] for row in placement.rotation.tolist()]
    shift = [Fraction(x) for x in placement.shift_mm.tolist()]
    doubtful = over >= max(worst, 0.0) - 2 * doubt
    missing: list[tuple[Fraction, int]] = []
    for face in np.flatnonzero(doubtful.any(axis=0)).tolist():
        normal = [Fraction(x) for x in block.normals[face].tolist()]
        room = Fraction(float(block.sound_mm[face])) - Fraction(float(asked_mm[face]))
        factors = [_dot(normal, column) for column in zip(*turned, strict=True)]
        constant = _dot(normal, shift) - room + Fraction(margin_mm) * scale
        missing.append((greatest(vertices[doubtful[:, face]], factors, constant), face))
    most, which = max(missing)
    return (float(most) if most <= 0 else float(np.nextafter(float(most), np.inf))), which


def _dot(first: Sequence[Fraction], second: Sequence[Fraction]) -> Fraction:
    return sum((a * b for a, b in zip(first, second, strict=True)), Fraction(0))


def verified_cover_mm(figure: Figure, block: Block, placement: Placement, asked_mm: Array, merit: float) -> float:
    """Return the least cover of a placement, having checked that it keeps what the search says it keeps.

    ``merit`` below 0 is how much the search itself says is missing on every face.
    """
    cover = cover_of_faces(figure, block, placement)
    spare = TOUCH * max(*block.size_mm, float(np.abs(placement.shift_mm).max()) * _OF_SHIFT)
    worst = float((cover - asked_mm).min())
    if worst < min(0.0, merit) - spare:
        raise AssertionError(f"a placement misses its cover by {-worst:g} mm: a fault in blockfit, please report it")
    return float(cover[counted_faces(asked_mm)].min())


def best_standing(ways: Sequence[Standing], fits: Sequence[Fit]) -> Fit:
    """Return the best of the fits in one block stood in several ways, with the bounds that hold for all of them."""
    order = {Verdict.FITS: 0, Verdict.UNDECIDED: 1, Verdict.CANNOT_FIT: 2}

    def rank(k: int) -> tuple[float, ...]:
        fit = fits[k]
        reserve = 0.0 if fit.setback_mm is None else fit.setback_mm
        return (order[fit.verdict], -fit.scale, fit.short_mm, -reserve, -fit.cover_mm, k)

    chosen = min(range(len(fits)), key=rank)
    best, way = fits[chosen], ways[chosen]
    if len(fits) == 1:
        return replace(best, stands_on=way.face, block_turn=way.rotation)
    undecided = any(fit.verdict is Verdict.UNDECIDED for fit in fits)
    verdict = Verdict.UNDECIDED if best.verdict is Verdict.CANNOT_FIT and undecided else best.verdict
    scale_bound = max(fit.scale_bound for fit in fits)
    cover_bound = max(fit.cover_bound_mm for fit in fits)
    setbacks = [fit.setback_bound_mm for fit in fits if fit.setback_bound_mm is not None]
    sought = cover_bound if np.isfinite(cover_bound) else max(setbacks, default=np.nan)
    held = best.cover_mm if np.isfinite(cover_bound) else best.setback_mm
    return replace(
        best,
        verdict=verdict,
        scale_bound=scale_bound,
        cover_bound_mm=cover_bound,
        setback_bound_mm=max(setbacks, default=None),
        gap=scale_bound / best.scale - 1 if best.scale > 0 else 0.0,
        gap_mm=best.gap_mm if held is None or not np.isfinite(sought) else max(0.0, sought - held),
        cells=sum(fit.cells for fit in fits),
        stands_on=way.face,
        block_turn=way.rotation,
    )

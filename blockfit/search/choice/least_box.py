"""The least box that holds a figure with its cover: by volume or any cost, in steps of the saw, within limits.

mm. Bounds as for any other question: a side's width is bounded over a cell, and the cost never falls as a side
grows."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array
from blockfit.geometry.programs import least
from blockfit.geometry.tolerances import CLOSE, NOTHING_MM, ROUNDING
from blockfit.geometry.turns import turned_by
from blockfit.kinds import above_0, kinds_checked
from blockfit.search.ask import GAP, MAX_CELLS, Ask, Seek
from blockfit.search.choice.solve import placed, solve
from blockfit.search.proof.explore import Found
from blockfit.search.proof.polish import Polished, stance_limits, tangent_contacts, within_stance
from blockfit.search.proof.questions import Question, Rows
from blockfit.search.proof.support import hull_of, reach
from blockfit.search.result import Fit, Verdict, verified_cover_mm
from blockfit.solids.block import Block, CoverAsked, cover_by_face
from blockfit.solids.figure import Figure
from blockfit.solids.stance import Stance
from blockfit.solids.stone import Stone
from blockfit.units import M3_PER_MM3, Length, Ratio, length_mm, ratio_value

__all__ = ["BlockSize", "smallest_block"]

Cost = Callable[[Array, Array, Array], Array]
"""From (b,) widths, depths and heights in mm to (b,) costs, which never fall as a side grows."""

_STILL = 1e-9  # radians: a turn by less changes nothing


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class BlockSize(Result):
    """The least box found, and ``volume_bound_m3`` (or ``cost_bound``), below which none holds the figure.

    ``fit`` is the figure in a block of that size; sides and ``fit`` are ``None`` if no block within the limits
    does (``verdict`` then says whether that is proved).

    Sides are in mm, and the figure was checked in a block of just that size. ``cost`` is m³, kg or money as was asked,
    or your own; the bounds are proved, and ``volume_bound_m3`` is nan for a cost of your own. ``mass_kg`` is an
    estimate at the typical density, ``None`` without a stone.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 300) for y in (0, 200) for z in (0, 700)]
    >>> size = bf.smallest_block(bf.Figure.from_points(corners), cover=20, stance=bf.Stance.upright(), step=50)
    >>> size.verdict.name, size.width_mm, size.depth_mm, size.height_mm
    ('FITS', 350.0, 250.0, 750.0)
    >>> round(size.volume_m3, 4), size.volume_bound_m3 <= size.volume_m3, size.fit.block.size_mm
    (0.0656, True, (350.0, 250.0, 750.0))
    """

    verdict: Verdict = field(metadata=fact("verdict", Sure.PROVED))
    width_mm: float | None = field(metadata=fact("width", Sure.EXACT, Rounding.UP))
    depth_mm: float | None = field(metadata=fact("depth", Sure.EXACT, Rounding.UP))
    height_mm: float | None = field(metadata=fact("height", Sure.EXACT, Rounding.UP))
    volume_m3: float = field(metadata=fact("volume", Sure.EXACT))
    volume_bound_m3: float = field(metadata=fact("no box below", Sure.PROVED))
    cost: float = field(metadata=fact("cost", Sure.EXACT))
    cost_bound: float = field(metadata=fact("no cost below", Sure.PROVED, Rounding.DOWN))
    mass_kg: float | None = field(metadata=fact("weight", Sure.ESTIMATE, Rounding.UP))
    cells: int = field(metadata=fact("cells", Sure.EXACT, measure=Measure.COUNT, shown=False))
    fit: Fit | None


@dataclass(frozen=True, eq=False)
class BoxQuestion(Question):
    """How little a box around the figure can cost; the merit is the cost, negative."""

    cover: Array = field(default_factory=lambda: np.zeros(3))
    cost: Cost = lambda w, d, h: w * d * h
    step: float = 0.0
    limit: Array = field(default_factory=lambda: np.full(3, np.inf))

    def sides(self, sums: Array) -> Array:
        """Return (b, 3) width, depth and height for (b, 3) sums, rounded up to steps of the saw."""
        bare = 2 * (self.scale or 1.0) * (sums[:, self._order] + self.tolerance) + self.cover
        if self.step <= 0:
            return np.asarray(bare)
        return np.asarray(np.ceil(bare / self.step - CLOSE) * self.step)

    def merit(self, sums: Array, rows: Rows) -> Array:
        """Return (b,) the cost of the least box for (b, 3) sums, negative; −inf if a side is over its limit."""
        if sums.shape[1] == 0:
            return np.full(len(sums), np.inf)
        sides = np.maximum(self.sides(sums), 0.0)
        cost = np.asarray(self.cost(*sides.T), np.float64)
        return np.where((sides > self.limit * (1 + ROUNDING)).any(axis=1), -np.inf, -cost)

    def size_of(self, merit: float) -> float:
        """Return the cost itself, whatever its unit."""
        return abs(merit)

    @cached_property
    def _order(self) -> Array:
        """Which dependency is the pair along x, y and z."""
        return np.array([int(np.abs(self.weights @ np.abs(self.normals[:, k])).argmax()) for k in range(3)])


@kinds_checked
def smallest_block(  # noqa: PLR0913
    figure: Figure,
    *,
    cover: CoverAsked = 0,
    scale: Ratio = 1.0,
    stance: Stance | None = None,
    by: str | Cost = "volume",
    step: Length = 0,
    most: tuple[Length, Length, Length] | None = None,
    stone: Stone | str | None = None,
    price_per_m3: float | None = None,
    gap: float = GAP,
    max_cells: int = MAX_CELLS,
) -> BlockSize:
    """Return the least box that holds the figure at ``scale`` with ``cover`` (0 unless you ask for some) on every face.

    ``by`` is volume, weight (needs ``stone``), price (needs ``price_per_m3``), or your own cost of width, depth
    and height as arrays of mm, which must never fall as a side grows. ``step`` is the saw's (50, or "2 in"):
    sides are rounded up to it. ``most`` is the largest width, depth and height to be had. The bound is within
    ``gap`` of the cost, or the budget is spent.

    Lengths are mm or text, ``price_per_m3`` in your own money. The box is exact, its bound proved; that no box within
    ``most`` does is an answer, with its verdict. Raises `BadValueError` for options out of range, another ``by``, or
    one without the stone or price that it needs.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 300) for y in (0, 200) for z in (0, 700)]
    >>> size = bf.smallest_block(bf.Figure.from_points(corners), cover=20, stance=bf.Stance.upright(), step=50)
    >>> size.width_mm, size.depth_mm, size.height_mm
    (350.0, 250.0, 750.0)
    """
    ask = Ask(
        seek=Seek.BLOCK,
        scale=ratio_value(scale, "scale"),
        cover=cover,
        stance=stance or Stance.free(),
        gap=gap,
        max_cells=max_cells,
    )
    unit = Block.box(1, 1, 1, stone=stone)
    asked = cover_by_face(unit, ask.cover)
    sides = [np.inf] * 3 if most is None else [length_mm(side, "most", least=NOTHING_MM) for side in most]
    limits = np.array(sides)
    question = BoxQuestion(
        unit.normals,
        np.ones(6),
        np.ones(6),
        scale=ask.scale,
        tolerance=figure.margin_mm,
        cover=asked[[2, 0, 4]] + asked[[3, 1, 5]],  # left and right, front and back, bottom and top
        cost=_cost(by, unit.stone, price_per_m3),
        step=length_mm(step, "step", least=0),
        limit=limits,
    )
    hull = hull_of(figure)

    def allow(best: float) -> float:
        return best * (1 - gap)  # costs are negative merits: a cell must promise more than the gap

    found = solve(question, hull, ask.stance, allow, ask.max_cells, climb=_climb)
    cost, bound = -found.value, -found.bound
    if not math.isfinite(cost):
        verdict = Verdict.CANNOT_FIT if not math.isfinite(bound) else Verdict.UNDECIDED
        return BlockSize(verdict, None, None, None, np.inf, np.inf, np.inf, np.inf, None, found.cells, None)
    heights = reach(hull.points, question.normals @ found.rotation)
    width, depth, height = (float(side) for side in question.sides((question.weights @ heights)[None])[0])
    block = Block.box(width, depth, height, stone=stone)
    fit = _fit(figure, block, ask, found)
    volume = block.volume_m3
    share = bound / cost if by in ("volume", "weight", "price") and cost > 0 else np.nan
    return BlockSize(
        Verdict.FITS,
        width,
        depth,
        height,
        volume,
        volume * share,
        cost,
        bound,
        block.mass_kg,
        found.cells,
        fit,
    )


def _cost(by: str | Cost, stone: Stone | None, price_per_m3: float | None) -> Cost:
    if price_per_m3 is not None:
        above_0(price_per_m3, "price_per_m3")
    if callable(by):
        return by
    if by == "volume":
        factor = 1.0
    elif by == "weight":
        if stone is None:
            raise BadValueError('by="weight" needs a stone=')
        factor = stone.density_kg_m3
    elif by == "price":
        if price_per_m3 is None:
            raise BadValueError('by="price" needs price_per_m3= above 0')
        factor = price_per_m3
    else:
        raise BadValueError(f'by={by!r} must be "volume", "weight", "price" or a function of width, depth and height')
    return lambda width, depth, height: width * depth * height * (M3_PER_MM3 * factor)


def _climb(
    question: Question, points: Array, rotation: Array, trust: float, stance: Stance, *, close: float = 0.0
) -> Polished:
    """Return a box no dearer than at ``rotation``: small turns that shrink the sides, weighed by what each costs.

    The logarithm of the volume lies below its tangent, so that a step that lowers the tangent's value lowers it.
    """
    assert isinstance(question, BoxQuestion)
    rotation = within_stance(rotation, stance)
    value = question.value(points, rotation)
    radius = float(np.linalg.norm(points, axis=1).max())
    for _ in range(14 if radius > 0 else 0):
        face, turned = tangent_contacts(question, points, rotation, trust * radius)
        reached = reach(points, question.normals @ rotation)
        sides = question.sides((question.weights @ reached)[None])[0]
        normals = question.normals[face]
        # Variables: the turn (3) and what each face's reach grows by (6); a reach is at least every contact's. In
        # units of the trust, so that a solver's tolerance shrinks with it.
        rows = np.column_stack([np.cross(turned, normals), -np.eye(6)[face] * radius]) / radius
        rest = (reached[face] - (normals * turned).sum(axis=1)) / (radius * trust)
        slopes, slack = stance_limits(stance, rotation)
        rows = np.vstack([rows, np.column_stack([slopes, np.zeros((len(slack), 6))])])
        rest = np.concatenate([rest, slack / trust])
        cost = np.concatenate([np.zeros(3), np.abs(question.normals) @ (radius / np.maximum(sides, CLOSE * radius))])
        bounds: list[tuple[float | None, float | None]] = [(-1.0, 1.0)] * 3 + [(None, None)] * 6
        found = least(cost, rows, rest, bounds)
        if found is None:
            break
        turn = found.point[:3] * trust
        moved = within_stance(turned_by(turn) @ rotation, stance)
        gained = question.value(points, moved) - value
        size = float(np.abs(turn).max())
        if gained > 0:
            rotation, value = moved, value + gained
        if size < max(close, _STILL) or (gained <= 0 and trust < _STILL):
            break
        trust = min(trust, 2 * size) if gained > 0 else min(trust, size) / 4
    return Polished(rotation, value, None)


def _fit(figure: Figure, block: Block, ask: Ask, found: Found) -> Fit:
    """Return the figure in the block found, checked with all vertices."""
    asked, scale = cover_by_face(block, ask.cover), ask.scale
    rooms = block.sound_mm - asked
    inside = Question(block.normals, rooms, np.zeros(len(asked)), scale=scale, tolerance=figure.margin_mm)
    placement = placed(hull_of(figure), inside, found.rotation, scale, 0.0)
    least_mm = verified_cover_mm(figure, block, placement, asked, 0.0)
    return Fit(
        figure=figure,
        block=block,
        verdict=Verdict.FITS,
        placement=placement,
        scale=scale,
        scale_bound=scale,
        cover_mm=least_mm,
        cover_bound_mm=np.inf,
        gap=0.0,
        gap_mm=0.0,
        cells=found.cells,
        asked_cover_mm=asked,
        ask=ask,
    )

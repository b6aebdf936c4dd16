"""Which pieces of waste come off whole, by which flat cuts, in what order.

mm, block frame. Every piece is convex, lies in the stone then left, keeps clear of the figure by the clearance
plus the kerf, drift and overrun of what makes the cut (exact: each plane is set by cutting the figure itself), and
can be drawn straight out. The choice of pieces is greedy over sampled stone: good, not proved best."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result, plain, record_of
from blockfit.kinds import counted, kinds_checked
from blockfit.measure.booleans import arrays_of
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.units import Length, Mass, length_mm, mass_kg
from blockfit.waste.cuts.marks import Hollow
from blockfit.waste.cuts.methods import Method, ways_of
from blockfit.waste.cuts.sweep import free_travel
from blockfit.waste.offcuts.parts import Part
from blockfit.waste.offcuts.piece import Offcut, piece_of
from blockfit.waste.offcuts.planner import Way, courses
from blockfit.waste.offcuts.prices import Prices
from blockfit.waste.offcuts.remaining import Obstacle, Remaining
from blockfit.waste.offcuts.wishes import CUTS, Kind, Limits, Wish, wishes_of
from blockfit.waste.placed import light_solid, placed_solid
from blockfit.waste.reserve.setback import setback

__all__ = ["OffcutPlan", "Trade", "offcuts"]

_EARLY, _LATE = "before carving", "once the front is finished"


@dataclass(frozen=True, slots=True, repr=False)
class Trade(Result):
    """What the first so many pieces of a plan recover (share of the waste), and what is sawn for them."""

    pieces: int = field(metadata=fact("pieces", Sure.EXACT, measure=Measure.COUNT))
    recovered: float = field(metadata=fact("of the waste", Sure.EXACT, measure=Measure.SHARE))
    sawn_m2: float = field(metadata=fact("sawn", Sure.EXACT))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class OffcutPlan(Result):
    """The block, its pieces in order of removal, the stone left after them, and the share of the waste they save.

    Kerfs, and parts of a divided piece that are too light to keep (``too_light_m3``), are in neither: they go with
    the chips. ``kerf_mm`` is the widest kerf; ``hollows`` are the convex places where stone is gone, kerfs included, in
    order. ``wishes`` are what was asked of the pieces, kept or not; ``by_cuts`` what each kind of cuts would save,
    where one was asked for; ``prices`` those that they were chosen by. Lengths are mm, volumes m³ and exact; which
    pieces are taken is a good choice, not a proved best.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> plan = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1, most_cuts=1)
    >>> len(plan.pieces), 0.5 < plan.recovered < 0.9, round(plan.kerf_mm), len(plan.trade_off)
    (1, True, 10, 1)
    """

    block: Block
    pieces: tuple[Offcut, ...] = field(metadata=fact("pieces", Sure.EXACT))
    left: Figure
    recovered: float = field(metadata=fact("of the waste saved", Sure.EXACT, measure=Measure.SHARE))
    volume_m3: float = field(metadata=fact("volume", Sure.EXACT))
    too_light_m3: float = field(metadata=fact("too light to keep", Sure.EXACT))
    clearance_mm: float = field(metadata=fact("clear of the figure", Sure.GIVEN))
    kerf_mm: float = field(metadata=fact("widest kerf", Sure.GIVEN))
    reserve_mm: float = field(metadata=fact("setback kept", Sure.EXACT, Rounding.DOWN))
    lift_limit_kg: float | None = field(metadata=fact("lift limit", Sure.GIVEN, Rounding.DOWN))
    waste_m3: float
    hollows: tuple[Hollow, ...]
    wishes: tuple[Wish, ...] = ()
    by_cuts: tuple[Kind, ...] = ()
    prices: Prices | None = None

    def blocks(self, margin: Length = 0) -> list[Block]:
        """Return the pieces as blocks, a yard of them for `compare`; sawn faces lose ``margin`` of bruised stone."""
        return [piece.block(margin) for piece in self.pieces]

    def record(self) -> dict[str, Any]:
        """Return the plan as plain data, what stopping sooner would save beside it."""
        return {
            **record_of(self),
            "sawn_m2": self.sawn_m2,
            "wishes": plain(self.wishes),
            "by_cuts": plain(self.by_cuts),
            "later_m3": self.later_m3,
            "trade_off": plain(self.trade_off),
        }

    @property
    def later_m3(self) -> float:
        """Volume of the pieces that wait for the front: what ``reserve=0`` would let leave before carving."""
        return sum(piece.volume_m3 for piece in self.pieces if piece.stage == _LATE)

    @property
    def sawn_m2(self) -> float:
        """Area of all cuts."""
        return sum(cut.area_m2 for piece in self.pieces for cut in piece.cuts)

    @property
    def trade_off(self) -> tuple[Trade, ...]:
        """What stopping after each piece would recover, and the sawing it costs: fewer pieces or more stone."""
        steps: list[Trade] = []
        volume = sawn = 0.0
        for number, piece in enumerate(self.pieces, 1):
            volume += piece.volume_m3
            sawn += sum(cut.area_m2 for cut in piece.cuts)
            steps.append(Trade(number, volume / self.waste_m3 if self.waste_m3 > 0 else 0.0, sawn))
        return tuple(steps)


@kinds_checked
def offcuts(  # noqa: PLR0913
    fit: Fit,
    *,
    clearance: Length = 20,
    kerf: Length | None = None,
    reserve: Length = "all",
    least_thickness: Length = 80,
    least_weight_kg: Mass = 20,
    lift_limit_kg: Mass | None = None,
    most_pieces: int | None = None,
    most_cuts: int = 2,
    methods: Sequence[Method] | None = None,
    web: Length = 40,
    weight_kg: tuple[float, float] | None = None,
    first_only: bool = False,
    shape: str = "any",
    holds: Figure | Sequence[Length] | None = None,
    cuts: str | None = None,
    compare: bool = True,
    effort: int = 1,
    prices: Prices | None = None,
) -> OffcutPlan:
    """Return a plan of pieces to take off whole, the greatest first where that costs the others little.

    Pieces are searched together for the most stone in all of them. What would make the rest fall is left to the end
    where samples show it; whether the rest stands without a piece is told of its exact solid, `Offcut.left_stands`.

    ``clearance`` is the stone kept over the figure, ``methods`` what can make the cuts, in order of preference
    (default `METHODS`: take your own tools' widths); ``kerf`` instead takes any cut as so wide, with nothing added
    for drift. ``reserve`` keeps pieces clear of the figure set back so far until the front is finished: a length, or
    ``"all"`` of the setback that the fit has; the pieces that only then may leave come last, and their ``stage`` says
    so, and `OffcutPlan.later_m3` how much stone they are. ``least_thickness`` and ``least_weight_kg``
    are what is worth keeping. Pieces over ``lift_limit_kg`` at the heaviest the stone may be are divided, within the
    least thickness and weight, or left. ``most_cuts`` is 1 (through cuts), 2 (and rebates) or 3 (and corners);
    ``web`` is the width of stone that opposed cuts leave
    between them. Without a stone, weights count 2700 kg/m³ for the limits only.

    What is wanted can be asked: pieces of ``weight_kg`` (least, most) at the typical density (of the first piece alone
    with ``first_only``), of a ``shape``, ``"lump"`` (its least width at least a third of its length) or ``"slab"``,
    that each ``holds`` a box of three sides or a figure as large as it is; pieces that do not are not taken, and
    `OffcutPlan.wishes` says so. ``cuts`` are ``"square"`` (parallel to faces of the block), ``"slant"`` (square to one
    face) or ``"any"``; where it is given, `OffcutPlan.by_cuts` says what the other kinds would save, unless ``compare``
    is off. ``effort``, 1 to 4, is how many courses of pieces are tried, each by other random changes: more than one
    saves no less, often some hundredths of the waste more, and takes as much longer.

    By your ``prices`` pieces are chosen that are worth most, what they bring less what sawing and handling them costs,
    instead of those of most stone; none that does not pay is taken. See `worth`.

    Every piece keeps its clearance exactly. The clearance, the least thickness, the least weight and the web are
    starting values, without a source. Raises `OpenSurfaceError` for a figure that is no solid, and `BadValueError` for
    one that does not fit, for options that are out of range, and for a kerf given together with methods.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> plan = bf.offcuts(fit, clearance=20, kerf=10, reserve=0, lift_limit_kg=400, most_pieces=1)
    >>> [piece.weight_range_kg[1] <= 400 for piece in plan.pieces]
    [True]
    """
    site = _Site.of(fit, clearance, reserve)
    web_mm = length_mm(web, "web", least=0)
    thick_mm = length_mm(least_thickness, "least_thickness", least=1)
    least_kg, lift_kg = _checked_limits(most_cuts, effort, least_weight_kg, lift_limit_kg, most_pieces)
    ways = ways_of(methods, kerf)
    stone = fit.block.stone
    heavy = stone.high_kg_m3 if stone else 2700.0
    density = stone.density_kg_m3 if stone else 2700.0
    most_kg = math.inf if lift_kg is None else lift_kg
    limits = Limits(
        clearance_mm=site.clear_mm,
        methods=ways,
        least_thickness_mm=thick_mm,
        least_volume_m3=least_kg / density,
        most_volume_m3=most_kg / heavy,
        prices=prices,
        wishes=wishes_of(weight_kg, first_only, shape, holds, cuts, density, most_kg * density / heavy),
    )
    planned = partial(
        _planned, site, most_cuts=most_cuts, effort=effort, most_pieces=most_pieces, web_mm=web_mm, lift_kg=lift_kg
    )
    found = planned(limits)
    if cuts is None or not compare:
        return found
    others = [
        found if kind == cuts else planned(replace(limits, wishes=replace(limits.wishes, cuts=kind))) for kind in CUTS
    ]
    told = [Kind(k, len(p.pieces), p.recovered, p.sawn_m2) for k, p in zip(CUTS, others, strict=True)]
    return replace(found, by_cuts=tuple(told))


@dataclass(frozen=True, slots=True, eq=False)
class _Site:
    """What is kept clear of: the placed figure, by so much; its setback, and how much of that until the front is done.

    ``light`` is the figure, or one of fewer faces that may lie inside it by ``apart_mm``: that much more is kept.
    """

    fit: Fit
    figure: Figure
    light: Figure
    apart_mm: float
    clearance_mm: float
    back_mm: float
    reserve_mm: float

    @classmethod
    def of(cls, fit: Fit, clearance: Length, reserve: Length) -> "_Site":
        figure = placed_solid(fit, "offcuts")
        clearance_mm = length_mm(clearance, "clearance", least=0)
        back_mm = setback(fit).back_mm
        reserve_mm = back_mm if reserve == "all" else length_mm(reserve, "reserve", least=0)
        return cls(fit, figure, *light_solid(figure), clearance_mm, back_mm, reserve_mm)

    @property
    def clear_mm(self) -> float:
        return self.clearance_mm + 2 * self.apart_mm + self.figure.margin_mm

    def stages(self, spacing_mm: float) -> list[tuple[Obstacle, str]]:
        """Return what is kept clear of in each stage, and its name."""
        kept = ((self.reserve_mm, _EARLY), (0.0, _LATE)) if self.reserve_mm > 0 else ((0.0, _EARLY),)
        return [(Obstacle.of(self.light, by_mm, spacing_mm), name) for by_mm, name in kept]

    def free_back(self, hollows: Sequence[Hollow], most_mm: float) -> float:
        """Return how far the figure can be set back, up to ``most_mm``, once there are these hollows."""
        along = np.array([0.0, 1.0, 0.0])
        for gone in hollows:
            bounds = gone.offsets - self.clearance_mm - self.figure.margin_mm - self.apart_mm
            most_mm = free_travel(self.light.vertices, self.light.faces, along, gone.normals, bounds, most_mm)
        return most_mm


def _planned(
    site: _Site,
    limits: Limits,
    *,
    most_cuts: int,
    effort: int,
    most_pieces: int | None,
    web_mm: float,
    lift_kg: float | None,
) -> OffcutPlan:
    """Return the plan of the course that is worth most."""
    block = site.fit.block
    whole = Remaining(block, limits)
    stages = site.stages(whole.spacing)
    ways_through = courses(limits, most_cuts, effort, in_stages=len(stages) > 1)
    tried = [_taken(whole.copied(), stages, way, most_pieces) for way in ways_through]
    left, taken = max(tried, key=lambda one: limits.value_of([part for _, parts, _ in one[1] for part in parts]))
    pieces: list[Offcut] = []
    back_mm, before = site.back_mm, 0
    for stage, parts, after in taken:
        hollows = left.hollows[:after]
        back_mm = site.free_back(hollows[before:], back_mm)
        before = after
        pieces += [
            piece_of(part, block, hollows[: part.before], len(pieces) + k + 1, stage, back_mm, web_mm)
            for k, part in enumerate(parts)
        ]
    volume = sum(piece.volume_m3 for piece in pieces)
    waste = block.volume_m3 - (site.figure.volume_m3 or 0.0)
    return OffcutPlan(
        block=block,
        pieces=tuple(pieces),
        left=Figure(*arrays_of(left.left), name="stone left"),
        recovered=volume / waste if waste > 0 else 0.0,
        volume_m3=volume,
        too_light_m3=left.too_light_m3,
        clearance_mm=site.clearance_mm,
        kerf_mm=max((cut.kerf_mm for piece in pieces for cut in piece.cuts), default=0.0),
        reserve_mm=site.reserve_mm,
        lift_limit_kg=lift_kg,
        waste_m3=waste,
        hollows=tuple(left.hollows),
        wishes=limits.wishes.told([(piece.volume_m3, piece.convex_mm) for piece in pieces]),
        prices=limits.prices,
    )


def _taken(
    left: Remaining, stages: Sequence[tuple[Obstacle, str]], way: Way, most_pieces: int | None
) -> tuple[Remaining, list[tuple[str, list[Part], int]]]:
    """Return the stone that one course leaves, and what it takes: at which stage, which parts, and how many hollows
    there are then.

    ``stages`` are what is kept clear of in each, and their names.
    """
    taken: list[tuple[str, list[Part], int]] = []
    pieces = 0
    for obstacle, stage in stages:
        left.obstacle = obstacle
        room = None if most_pieces is None else most_pieces - pieces
        for plan in way(left, room) if room is None or room > 0 else ():
            parts = left.take(plan, None if most_pieces is None else most_pieces - pieces)
            taken.append((stage, parts, len(left.hollows)))
            pieces += len(parts)
            if most_pieces is not None and pieces >= most_pieces:
                break
    return left, taken


def _checked_limits(
    most_cuts: int, effort: int, least_weight_kg: Mass, lift_limit_kg: Mass | None, most_pieces: int | None
) -> tuple[float, float | None]:
    """Return the least weight and the lift limit in kg."""
    counted(most_cuts, "most_cuts", least=1, most=3)
    counted(effort, "effort", least=1, most=4)
    least_kg = mass_kg(least_weight_kg, "least_weight_kg")
    lift_kg = None if lift_limit_kg is None else mass_kg(lift_limit_kg, "lift_limit_kg")
    if lift_kg is not None and not lift_kg > least_kg:
        raise BadValueError(f"the lift limit of {lift_kg:g} kg must be more than the least weight, {least_kg:g} kg")
    if most_pieces is not None and most_pieces < 0:
        raise BadValueError(f"most_pieces={most_pieces!r} must be 0 or more")
    return least_kg, lift_kg

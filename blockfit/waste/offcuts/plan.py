"""Which pieces of waste come off whole, by which flat cuts, in what order.

mm, block frame. Every piece is convex, lies in the stone then left, keeps clear of the figure by the clearance
plus the kerf, drift and overrun of what makes the cut (exact: each plane is set by cutting the figure itself), and
can be drawn straight out. The choice of pieces is greedy over sampled stone: good, not proved best."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Fact, Measure, Rounding, Sure, fact
from blockfit.facts.results import Result, plain, record_of
from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import inner_box, least_width
from blockfit.geometry.surface import centroid, signed_volume
from blockfit.kinds import counted, kinds_checked
from blockfit.measure.booleans import arrays_of
from blockfit.measure.sections import band, polygon_area
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.sawn import sawn_block
from blockfit.units import Length, Mass, length_mm, mass_kg
from blockfit.waste.cuts.cut import Cut, cuts_of
from blockfit.waste.cuts.division import frame_of
from blockfit.waste.cuts.marks import Hollow
from blockfit.waste.cuts.methods import Method, ways_of
from blockfit.waste.cuts.sweep import free_travel
from blockfit.waste.offcuts.courses import best_course
from blockfit.waste.offcuts.parts import Part
from blockfit.waste.offcuts.planner import Planner
from blockfit.waste.offcuts.wishes import CUTS, Kind, Limits, Wish, wishes_of
from blockfit.waste.placed import light_solid, placed_solid
from blockfit.waste.reserve.setback import setback
from blockfit.waste.statics import Balance, balance, base_of

__all__ = ["Offcut", "OffcutPlan", "Trade", "Web", "offcuts"]

_KINDS = {1: "through cut", 2: "rebate", 3: "corner"}
_EARLY, _LATE = "before carving", "once the front is finished"


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Web(Result):
    """Stone that opposed cuts may leave between them until the piece is slung: its outline (k, 3) and area."""

    outline: Array = field(metadata=fact("outline", Sure.EXACT, key="outline_mm", shown=False))
    area_m2: float = field(metadata=fact("area", Sure.EXACT))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Offcut(Result):
    """One piece taken off whole: its cuts, size along the block's axes, centre of gravity and way out (3,).

    ``weight_kg`` is at the stone's typical density, ``weight_range_kg`` at the ends of its range; ``None``
    without a stone. ``kind`` is through cut, rebate, corner, or part of one that was divided to be lifted.
    ``box_mm`` is the largest box that could be sawn from it. ``stage`` is when it may leave, ``setback_mm`` how far
    the figure can still go back afterwards, ``left``, ``left_m3``, ``left_kg`` and ``left_stands`` what stays on the
    banker; ``origin`` is the block that it was cut from. ``sound_mm`` (n, 3) are the corners of a convex body of sound
    stone within the piece: all of it, unless the block was rough. Lengths are mm, in the block's frame. Volumes, sizes
    and distances are exact (of a rough block's piece resolved); weights are estimates, for planning.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> piece = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1, most_cuts=1).pieces[0]
    >>> piece.kind, piece.stage, len(piece.cuts), piece.least_thickness_mm >= 80
    ('through cut', 'before carving', 1, True)
    >>> piece.weight_range_kg[0] < piece.weight_kg < piece.weight_range_kg[1], piece.left_stands.stands
    (True, True)
    """

    kind: str = field(metadata=fact("kind", Sure.EXACT))
    volume_m3: float = field(metadata=fact("volume", Sure.EXACT))
    weight_kg: float | None = field(metadata=fact("weight", Sure.ESTIMATE, Rounding.UP))
    weight_range_kg: tuple[float, float] | None = field(metadata=fact("weight range", Sure.ESTIMATE, Rounding.UP))
    size_mm: tuple[float, float, float] = field(metadata=fact("within", Sure.EXACT, Rounding.UP))
    box_mm: tuple[float, float, float] = field(metadata=fact("holds a box of", Sure.EXACT, Rounding.DOWN))
    least_thickness_mm: float = field(metadata=fact("least width", Sure.EXACT, Rounding.DOWN))
    centre_mm: Array = field(metadata=fact("centre of gravity", Sure.EXACT))
    cuts: tuple[Cut, ...] = field(metadata=fact("cuts", Sure.EXACT))
    web: Web | None = field(metadata=fact("web", Sure.EXACT, shown=False))
    draw_out: Array = field(metadata=fact("drawn out, as a vector", Sure.EXACT, shown=False))
    solid: Figure
    stage: str = field(metadata=fact("leaves", Sure.GIVEN))
    setback_mm: float = field(metadata=fact("setback left", Sure.EXACT, Rounding.DOWN))
    left_m3: float = field(metadata=fact("left standing", Sure.EXACT))
    left_kg: float | None = field(metadata=fact("left standing, weight", Sure.ESTIMATE, Rounding.UP))
    left_stands: Balance
    left: Figure
    origin: Block | None = None
    sound_mm: Array | None = None

    def block(self, margin: Length = 0) -> Block:
        """Return the piece as a block to be carved, in the first block's frame: stone, bed, skin and flaws go with it.

        Of a rough block's piece it is the convex body of sound stone that surely lies in it.

        Its sawn faces lose ``margin`` of bruised stone; see `blockfit.solids.sawn`.
        """
        if self.origin is None:
            raise BadValueError(f"{self.solid.name} was kept without its block; plan the offcuts anew")
        corners = self.convex_mm
        name = f"{self.solid.name} of {self.origin.name}"
        return sawn_block(corners, self.origin, margin_mm=length_mm(margin, "margin", least=0), name=name)

    def _sure(self, name: str, fact: Fact) -> Sure:
        """Return how sure a fact is: of a rough block's piece what is exact elsewhere is resolved."""
        rough = self.origin is not None and self.origin.surface is not None
        return Sure.RESOLVED if rough and fact.sure is Sure.EXACT else fact.sure

    @property
    def convex_mm(self) -> Array:
        """Corners (n, 3) of the convex body of sound stone in the piece."""
        return np.asarray(self.solid.vertices if self.sound_mm is None else self.sound_mm)

    def record(self) -> dict[str, Any]:
        """Return the piece as plain data, how the rest stands beside it."""
        rest = self.left_stands
        return {**record_of(self), "left_stands": rest.stands, "left_margin_mm": rest.margin_mm}


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
    where one was asked for. Lengths are mm, volumes m³ and exact; which pieces are taken is a good choice, not a
    proved best.

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
) -> OffcutPlan:
    """Return a plan of pieces to take off whole, greatest first.

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
    is off. ``effort``, 1 to 4, is how many courses of pieces are tried, each by other random directions: more than one
    saves no less, often some hundredths of the waste more, and takes as much longer.

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
    figure = placed_solid(fit, "offcuts")
    clearance_mm = length_mm(clearance, "clearance", least=0)
    back_mm = setback(fit).back_mm
    reserve_mm = back_mm if reserve == "all" else length_mm(reserve, "reserve", least=0)
    web_mm = length_mm(web, "web", least=0)
    counted(effort, "effort", least=1, most=4)
    thick_mm = length_mm(least_thickness, "least_thickness", least=1)
    least_kg, lift_kg = _checked_limits(most_cuts, least_weight_kg, lift_limit_kg, most_pieces)
    ways = ways_of(methods, kerf)
    stone = fit.block.stone
    heavy = stone.high_kg_m3 if stone else 2700.0
    density = stone.density_kg_m3 if stone else 2700.0
    # A lighter surface may lie inside the figure by so much: it is kept clear of by as much more.
    light, apart_mm = light_solid(figure)
    most_kg = math.inf if lift_kg is None else lift_kg
    limits = Limits(
        clearance_mm=clearance_mm + 2 * apart_mm + figure.margin_mm,
        methods=ways,
        least_thickness_mm=thick_mm,
        least_volume_m3=least_kg / density,
        most_volume_m3=most_kg / heavy,
        wishes=wishes_of(weight_kg, first_only, shape, holds, cuts, density, most_kg * density / heavy),
    )
    planner = Planner(fit.block, limits)
    pieces: list[Offcut] = []
    along = np.array([0.0, 1.0, 0.0])
    for kept_mm, stage in ((reserve_mm, _EARLY), (0.0, _LATE)) if reserve_mm > 0 else ((0.0, _EARLY),):
        planner.keep_clear_of(light, kept_mm)
        room = None if most_pieces is None else most_pieces - len(pieces)
        for plan in best_course(planner, most_cuts, room, effort) if room is None or room > 0 else ():
            taken = len(planner.hollows)
            parts = planner.take(plan, None if most_pieces is None else most_pieces - len(pieces))
            for gone in planner.hollows[-1:] if most_pieces is None else planner.hollows[taken:]:
                bounds = gone.offsets - clearance_mm - figure.margin_mm
                back_mm = free_travel(light.vertices, light.faces, along, gone.normals, bounds - apart_mm, back_mm)
            pieces += [
                _offcut(part, fit.block, planner.hollows[: part.before], len(pieces) + k + 1, stage, back_mm, web_mm)
                for k, part in enumerate(parts)
            ]
            if most_pieces is not None and len(pieces) >= most_pieces:
                break
    vertices, faces = arrays_of(planner.left)
    volume = sum(piece.volume_m3 for piece in pieces)
    waste = fit.block.volume_m3 - (figure.volume_m3 or 0.0)
    found = OffcutPlan(
        block=fit.block,
        pieces=tuple(pieces),
        left=Figure(vertices, faces, name="stone left"),
        recovered=volume / waste if waste > 0 else 0.0,
        volume_m3=volume,
        too_light_m3=planner.too_light_m3,
        clearance_mm=clearance_mm,
        kerf_mm=max((cut.kerf_mm for piece in pieces for cut in piece.cuts), default=0.0),
        reserve_mm=reserve_mm,
        lift_limit_kg=lift_kg,
        waste_m3=waste,
        hollows=tuple(planner.hollows),
        wishes=limits.wishes.told([(piece.volume_m3, piece.convex_mm) for piece in pieces]),
    )
    if cuts is None or not compare:
        return found
    others = [
        offcuts(
            fit, clearance=clearance, kerf=kerf, reserve=reserve, least_thickness=least_thickness,
            least_weight_kg=least_weight_kg, lift_limit_kg=lift_limit_kg, most_pieces=most_pieces,
            most_cuts=most_cuts, methods=methods, web=web, weight_kg=weight_kg, first_only=first_only,
            shape=shape, holds=holds, cuts=kind, compare=False, effort=effort,
        ) if kind != cuts else found
        for kind in CUTS
    ]  # fmt: skip
    told = [Kind(k, len(p.pieces), p.recovered, p.sawn_m2) for k, p in zip(CUTS, others, strict=True)]
    return replace(found, by_cuts=tuple(told))


def _checked_limits(
    most_cuts: int, least_weight_kg: Mass, lift_limit_kg: Mass | None, most_pieces: int | None
) -> tuple[float, float | None]:
    """Return the least weight and the lift limit in kg."""
    counted(most_cuts, "most_cuts", least=1, most=3)
    least_kg = mass_kg(least_weight_kg, "least_weight_kg")
    lift_kg = None if lift_limit_kg is None else mass_kg(lift_limit_kg, "lift_limit_kg")
    if lift_kg is not None and not lift_kg > least_kg:
        raise BadValueError(f"the lift limit of {lift_kg:g} kg must be more than the least weight, {least_kg:g} kg")
    if most_pieces is not None and most_pieces < 0:
        raise BadValueError(f"most_pieces={most_pieces!r} must be 0 or more")
    return least_kg, lift_kg


def _offcut(
    part: Part, block: Block, gone: Sequence[Hollow], number: int, stage: str, back_mm: float, web_mm: float
) -> Offcut:
    stone = block.stone
    vertices, faces = arrays_of(part.solid)
    solid = Figure(vertices, faces, name=f"offcut {number}")
    volume = solid.volume_m3 or 0.0
    kind = _KINDS[min(3, max(1, len(part.normals)))]
    width, depth, height = np.ptp(vertices, axis=0).tolist()
    cuts = cuts_of(block, gone, part.normals, part.offsets, part.methods, part.outlines, part.areas_m2)
    left, left_faces = arrays_of(part.left)
    left_m3 = signed_volume(left, left_faces) * 1e-9
    frames = [np.eye(3), *[frame_of(normal) for normal in part.normals if np.abs(normal).max() < 1 - 1e-9]]
    a, b, c = inner_box(part.sound, frames).tolist()
    return Offcut(
        kind=f"{kind}, divided" if part.divided else kind,
        volume_m3=volume,
        weight_kg=None if stone is None else volume * stone.density_kg_m3,
        weight_range_kg=None if stone is None else (volume * stone.low_kg_m3, volume * stone.high_kg_m3),
        size_mm=(width, depth, height),
        box_mm=(a, b, c),
        least_thickness_mm=least_width(part.sound),
        centre_mm=solid.centroid_mm,
        cuts=cuts,
        web=_web(cuts[-1], web_mm) if cuts else None,
        draw_out=part.draw_out,
        solid=solid,
        stage=stage,
        setback_mm=back_mm,
        left_m3=left_m3,
        left_kg=None if stone is None else left_m3 * stone.density_kg_m3,
        left_stands=balance(centroid(left, left_faces), base_of(left)),
        left=Figure(left, left_faces, name=f"stone left after offcut {number}"),
        origin=block,
        sound_mm=part.sound,
    )


def _web(cut: Cut, width_mm: float) -> Web | None:
    """Return the strip of stone that opposed cuts leave along the middle of the last cut, its longer way."""
    if not cut.opposed or len(cut.outline) < 3 or width_mm <= 0:
        return None
    middle = cut.outline.mean(axis=0)
    _, _, axes = np.linalg.svd(cut.outline - middle, full_matrices=False)
    strip = band(cut.outline, middle, axes[0], axes[1], width_mm)
    area = polygon_area((strip - middle) @ axes[:2].T) * 1e-6
    return Web(strip, area)

"""The stone as it stands at any stage: the block less all that is gone. mm, kg, block frame.

Exact for what is named: offcuts, planes, points, solids. A scan is as good as it was taken and registered; then the
stage carries how well its place is known."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from blockfit.carving.motion import NOISE, Certainty
from blockfit.carving.taken import by_planes, by_points, lost_solids, planes_done
from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding
from blockfit.facts.systems import UnitSystem, units_of
from blockfit.geometry.arrays import Array
from blockfit.kinds import kinds_checked
from blockfit.marking.pointing import Pointing
from blockfit.marking.roughing import Roughing
from blockfit.measure.booleans import Solid, arrays_of, solid_from
from blockfit.search.flawed.obstacles import stone_of
from blockfit.search.result import Fit
from blockfit.solids.figure import Figure, Repair, require_solid
from blockfit.solids.flaw import Flaw
from blockfit.solids.stage import StageStone
from blockfit.solids.stone import Stone
from blockfit.units import rounded_down
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reserve.setback import Setback, setback
from blockfit.waste.statics import FLAT_MM, Balance, flat_within, standing

__all__ = ["Stage", "stage_from", "stage_of"]


@dataclass(frozen=True, eq=False, repr=False)
class Stage(StageStone):
    """The stone as it stands: its solid ``stone``, what has ``gone`` in words, the ``flaws`` still in it.

    ``known`` is how well its place in the block is known, where it comes from a scan, and ``seen`` (n, 3) the places
    that the scan shows: the rest of the surface only closes it. Both are ``None`` for what is exact. Answers are
    worked out when they are asked for: volume, mass, base, whether it stands, and the setback in it.

    Exact for what is named; of a scan as good as it was registered. Weights are estimates, ``None`` without a stone.
    ``print`` it for a page.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> stage = bf.stage_of(fit, planes=bf.roughing(fit, step=100, allowance=10, until=250), to=1)
    >>> stage.gone, stage.volume_m3 < fit.block.volume_m3, stage.stands.stands, stage.bodies
    (('plane 1 from the front',), True, True, 1)
    >>> round(stage.setback.back_mm), stage.known is None
    (130, True)
    """

    fit: Fit | None = field(default=None, kw_only=True)
    known: Certainty | None = field(default=None, kw_only=True)
    seen: Array | None = field(default=None, kw_only=True)

    @cached_property
    def volume_m3(self) -> float:
        """Volume of the stone, skin included."""
        return self.stone.volume_m3 or 0.0

    @property
    def kind(self) -> Stone | None:
        """What stone it is, if that is known."""
        return None if self.fit is None else self.fit.block.stone

    @property
    def mass_kg(self) -> float | None:
        """Weight at the stone's typical density; ``None`` without a stone."""
        kind = self.kind
        return None if kind is None else self.volume_m3 * kind.density_kg_m3

    @property
    def mass_range_kg(self) -> tuple[float, float] | None:
        """Weight at the ends of the density's range; ``None`` without a stone."""
        kind = self.kind
        return None if kind is None else (self.volume_m3 * kind.low_kg_m3, self.volume_m3 * kind.high_kg_m3)

    def doubt_mm(self, points: Array) -> float:
        """Return how far its surface may lie from where it is said to be, about (n, 3) places: 0 if it is no scan."""
        if self.known is None or len(points) == 0:
            return 0.0
        return float(self.known.error_mm(points).max()) + NOISE * self.known.noise_mm

    @cached_property
    def stands(self) -> Balance:
        """Whether it stands on what touches the floor, and how far it is from tipping."""
        flat_mm = flat_within(FLAT_MM, self.stone.size_mm[2])
        return standing(self.stone.vertices, self.stone.faces, flat_mm)

    @property
    def base_mm(self) -> Array:
        """Corners (k, 2) of what it stands on, counter-clockwise."""
        return self.stands.base

    @cached_property
    def bodies(self) -> int:
        """How many separate pieces the stone is in: more than one have been cut free."""
        parts = solid_from(self.stone.vertices, self.stone.faces).decompose()
        return sum(part.volume() > 0 for part in parts)  # a closed hollow is a part of its own, of negative volume

    @cached_property
    def setback(self) -> Setback:
        """How far the figure can still move in this stone, back and the five other ways."""
        if self.fit is None:
            raise BadValueError("this stage was kept without its fit; ask setback(fit, stage)")
        return setback(self.fit, self)

    def __repr__(self) -> str:
        """Return what has gone and the size."""
        size = " x ".join(f"{side:.0f}" for side in self.stone.size_mm)
        return f"Stage({', '.join(self.gone) or 'the block as bought'}; {size} mm)"

    @kinds_checked
    def text(self, units: str = "metric") -> str:
        """Return the stage in words."""
        return "\n".join(_lines(self, units_of(units))) + "\n"

    def __str__(self) -> str:
        """Return the stage in words."""
        return self.text()


@kinds_checked
def stage_of(  # noqa: PLR0913
    fit: Fit,
    *,
    planes: Roughing | Sequence[Roughing] | None = None,
    to: int | Sequence[int] | None = None,
    points: Pointing | None = None,
    offcuts: OffcutPlan | None = None,
    pieces: int | None = None,
    gone: Iterable[tuple[str, Figure]] = (),
    lost: Flaw | Figure | Iterable[Flaw | Figure] = (),
    scan: Figure | StageStone | None = None,
) -> Stage:
    """Return the stone as it stands: the block, or a ``scan`` of it, less all that is named. Any of them together.

    ``offcuts`` leave with their kerfs, all or the first so many ``pieces``. ``planes`` of roughing out are done from
    the first ``to`` the number ``to`` (default all; for tables from several faces, a count for each). ``points`` are
    pricked and cut to their stops, and between points as the table allows. ``gone`` are named closed surfaces that
    have been cut away, ``lost`` flaws or closed surfaces that broke off. A ``scan`` is a closed surface in the block
    frame, or the stage of a registered one, and takes the place of the block. The block's flaws stay known. Raises
    `BadValueError` if nothing is left.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(100, 260, 150), stance=bf.Stance.fixed())
    >>> round(bf.stage_of(fit).volume_m3, 6)
    0.0039
    """
    if to is not None and planes is None:
        raise BadValueError(f"to={to!r} counts planes: give planes= too")
    if pieces is not None and offcuts is None:
        raise BadValueError(f"pieces={pieces!r} counts offcuts: give offcuts= too")
    words: list[str] = []
    known = seen = None
    if isinstance(scan, StageStone):
        solid: Solid = solid_from(scan.stone.vertices, scan.stone.faces)
        words += scan.gone
        known, seen = (scan.known, scan.seen) if isinstance(scan, Stage) else (None, None)
    elif scan is not None:
        body = require_solid(scan, "the stone as scanned")
        solid = solid_from(body.vertices, body.faces)
        words.append("as scanned")
    else:
        solid = stone_of(fit.block)
    bodies: list[tuple[str, Solid]] = []
    if offcuts is not None:
        solid, names = _less_offcuts(solid, offcuts, pieces)
        words += names
    for table, done in [] if planes is None else planes_done(planes, to):
        body_gone = by_planes(fit.block, table, done)
        if body_gone is not None:
            bodies.append((_planes_words(table, len(done)), body_gone))
    if points is not None:
        cut = by_points(fit, points)
        if cut is not None:
            bodies.append((f"points of the {', '.join(points.facets or points.from_words)} cut to their stops", cut))
    bodies += [(name, solid_from(body.vertices, body.faces)) for name, body in gone]
    bodies += [(f"{name}, lost", body) for name, body in lost_solids(lost, fit.block)]
    for name, body in bodies:
        solid = solid - body
        words.append(name)
    return stage_from(fit, solid, words, known, seen)


def stage_from(
    fit: Fit,
    solid: Solid,
    words: Iterable[str],
    known: Certainty | None = None,
    seen: Array | None = None,
    repairs: Sequence[Repair] = (),
) -> Stage:
    """Return the stage whose stone is ``solid``. Raises `BadValueError` if nothing is left of it."""
    if solid.is_empty():
        raise BadValueError("nothing is left of the stone")
    vertices, faces = arrays_of(solid)
    stone = Figure(vertices, faces, repairs=tuple(repairs), name="stone as it stands")
    return Stage(stone, tuple(dict.fromkeys(words)), fit.block.flaws, fit=fit, known=known, seen=seen)


def _less_offcuts(solid: Solid, offcuts: OffcutPlan, pieces: int | None) -> tuple[Solid, list[str]]:
    """Return the stone after the first so many pieces of a plan, kerfs gone too, and their names."""
    most = len(offcuts.pieces)
    count = most if pieces is None else pieces
    if not 0 <= count <= most:
        raise BadValueError(f"pieces={pieces!r} must be 0 to {most}: so many are in the plan")
    if count:
        left = offcuts.left if count == most else offcuts.pieces[count - 1].left
        solid = solid ^ solid_from(left.vertices, left.faces)
    return solid, [f"offcut {k}" for k in range(1, count + 1)]


def _planes_words(table: Roughing, count: int) -> str:
    return f"planes 1 to {count} from the {table.face}" if count > 1 else f"plane 1 from the {table.face}"


def _lines(stage: Stage, units: UnitSystem) -> list[str]:
    about = "" if stage.fit is None else f": {stage.fit.figure.name} in {stage.fit.block.name}"
    told = [f"THE STONE AS IT STANDS{about}"]
    told.append(f"  Gone: {'; '.join(stage.gone) or 'nothing yet'}")
    kind = stage.kind
    weighs = ""
    if kind is not None:
        usual = kind.density_kg_m3
        weighs = f", {units.mass(stage.volume_m3 * usual, kind.low_kg_m3 / usual, kind.high_kg_m3 / usual)}"
    told.append(f"  Left: {units.volume(stage.volume_m3)}{weighs}")
    if stage.bodies > 1:
        told.append(
            f"  IN {stage.bodies} SEPARATE PIECES: all but one have been cut free and must be held or taken away"
        )
    stands = stage.stands
    tips = f"Stands: tips first to the {stands.weakest}, leaned by {rounded_down(stands.weakest_deg):.1f}°"
    how = tips if stands.stands else f"DOES NOT STAND BY ITSELF: {stands.falls}"
    told.append(f"  {how} (an estimate for planning)")
    if stage.fit is not None and stage.fit.figure.is_solid:
        back = stage.setback
        ways = ("left", "right", "up", "front", "down")
        rest = ", ".join(f"{way} {units.fine(getattr(back, way + '_mm'), Rounding.DOWN)}" for way in ways)
        far = units.fine(back.back_mm, Rounding.DOWN)
        told.append(f"  The figure can still go back {far} ({back.limit_face} ends it); {rest}")
    if stage.known is not None:
        told.append(f"  Registered: {stage.known.words(units)}")
    return told

"""What comes next in the stone as it stands: planes, points, pieces and undercuts that are open, and what must wait.

mm, block frame. Stone still to go is exact for planes and pieces; at points it is what a rod would read; undercuts are
resolved to the pitch they were found by. What must wait is what the tables themselves say."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blockfit.carving.taken import by_planes
from blockfit.facts.measures import Measure
from blockfit.facts.phrases import Phrase, up
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import NOT_ZERO, NOTHING_MM
from blockfit.kinds import kinds_checked
from blockfit.marking.pointing import Pointing
from blockfit.marking.roughing import Roughing
from blockfit.marking.table import in_columns
from blockfit.marking.ways_in import way_in
from blockfit.measure.booleans import Solid, solid_from
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.views import face_view
from blockfit.search.result import Fit
from blockfit.solids.stage import StageStone
from blockfit.units import M3_PER_MM3, rounded_down
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.undercut import Undercuts

__all__ = ["Next", "OpenPiece", "OpenPlane", "OpenPoint", "OpenUndercut", "what_next"]

_DONE = 0.02  # of what a plane takes out: less that is still there is finishing
_LEAST_M3 = 1e-5  # ten cubic centimetres: less is swept up, not cut
_WHOLE = 0.98  # of a piece: less of it there is no piece any more
_MORE = 1e-3  # of an earlier piece: less of it comes off by the rounding of cuts alone
_REACHED_MM = 0.5
_OPEN_MM = 40.0  # stone before an undercut, along its approach, that is taken with it; common practice, no source
_SHOWN = 8


@dataclass(frozen=True, slots=True)
class OpenPlane:
    """A plane that is not yet done: its table's face, its number, its depth, and the stone still outside its
    outline."""

    face: str
    number: int
    depth_mm: float
    left_m3: float


@dataclass(frozen=True, slots=True)
class OpenPoint:
    """A point whose stop is not yet reached: how deep the stone is cut there, the stop, and what is left between."""

    number: int
    name: str
    face: str
    cut_mm: float
    stop_mm: float
    left_mm: float


@dataclass(frozen=True, slots=True)
class OpenPiece:
    """A piece of the plan that is still in the stone, and the ``share`` of it that is; ``why_not`` says what it waits
    for.

    A piece that is no longer whole is none: ``why_not`` says so.
    """

    number: int
    share: float
    why_not: str


@dataclass(frozen=True, slots=True)
class OpenUndercut:
    """An undercut region: the stone before it along its approach (half of it has less), and what it waits for."""

    number: int
    place: Phrase
    approach: str
    before_mm: float
    why_not: Phrase | str


@dataclass(frozen=True, slots=True, eq=False)
class Next:
    """What is open in a stage, in order, and what must not be begun; ``points_reached`` of ``points_in_all``.

    Depths are mm, volumes m³: exact for planes and pieces, resolved to their pitch for undercuts. ``print`` it for a
    page.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> planes = bf.roughing(fit, step=100, allowance=10, until=250)
    >>> coming = bf.what_next(fit, bf.stage_of(fit, planes=planes, to=1), planes=planes)
    >>> [(plane.number, plane.depth_mm) for plane in coming.planes], coming.must_wait, coming.points_in_all
    ([(2, 200.0), (3, 250.0)], (), 0)
    """

    planes: tuple[OpenPlane, ...]
    points: tuple[OpenPoint, ...]
    points_reached: int
    points_in_all: int
    pieces: tuple[OpenPiece, ...]
    undercuts: tuple[OpenUndercut, ...]

    @property
    def must_wait(self) -> tuple[Phrase, ...]:
        """What must not be begun yet, in words."""
        waits = [Phrase.of("offcut {number}: {why}", number=p.number, why=p.why_not) for p in self.pieces if p.why_not]
        return (
            *waits,
            *(
                Phrase.of("undercut {number}, {place}: {why}", number=u.number, place=u.place, why=u.why_not)
                for u in self.undercuts
                if u.why_not
            ),
        )

    def __str__(self) -> str:
        """Return what comes next as a page."""
        lines = ["WHAT COMES NEXT"]
        for p in self.planes[:_SHOWN]:
            at = f"{rounded_down(p.depth_mm):.1f} mm deep"
            lines.append(f"  Plane {p.number} from the {p.face}, {at}: {p.left_m3 * 1000:,.1f} l outside its outline")
        if not self.planes:
            lines.append("  Planes: all that were given are done, or none were")
        if self.points_in_all:
            lines.append(f"  Points: {self.points_reached} of {self.points_in_all} are at their stops")
        if self.points:
            rows = [("point", "face", "cut to mm", "stop at mm", "left mm")]
            for point in self.points[:_SHOWN]:
                left, cut, stop = (f"{rounded_down(by):.1f}" for by in (point.left_mm, point.cut_mm, point.stop_mm))
                rows.append((f"{point.number} {point.name}", point.face, cut, stop, left))
            lines += [f"    {line}" for line in in_columns(rows).splitlines()]
        free = [str(p.number) for p in self.pieces if not p.why_not]
        lines.append(f"  Offcuts that can be taken now: {', '.join(free) or 'none'}")
        for u in [u for u in self.undercuts if not u.why_not][:_SHOWN]:
            before = f"{rounded_down(u.before_mm, 0):,.0f} mm of stone before it"
            lines.append(f"  Undercut {u.number}, {u.place}: open {u.approach}, {before}")
        waits = self.must_wait
        lines += ["  Not yet:", *(f"    {words}" for words in waits[:_SHOWN])] if waits else ["  Nothing has to wait"]
        lines += [f"    and {len(waits) - _SHOWN} more"] if len(waits) > _SHOWN else []
        return "\n".join(lines) + "\n"


@kinds_checked
def what_next(
    fit: Fit,
    stage: StageStone,
    *,
    planes: Roughing | Sequence[Roughing] = (),
    points: Pointing | None = None,
    offcuts: OffcutPlan | None = None,
    undercut: Undercuts | None = None,
) -> Next:
    """Return what is open in the stone as it stands, of the tables given, and what must not be begun yet.

    A plane is done once next to nothing lies outside its outline; a point once the stone there is cut to its stop. A
    piece can be taken while it is whole, and one that waits for the front does so until every plane and point of the
    front is done. An undercut is open once little stone lies before it along its approach and what is to be opened
    before it is.

    That 40 mm of stone or less before an undercut are taken with it is common practice, no source. What is left at
    planes and pieces is exact; undercuts are resolved to the pitch they were found by.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> planes = bf.roughing(fit, step=100, allowance=10, until=250)
    >>> coming = bf.what_next(fit, bf.stage_of(fit, planes=planes, to=1), planes=planes)
    >>> coming.planes[0].number, coming.planes[0].left_m3 > 0, coming.pieces
    (2, True, ())
    """
    body = solid_from(stage.stone.vertices, stage.stone.faces)
    field = SurfaceDistance(stage.stone.vertices, stage.stone.faces)
    tables = [planes] if isinstance(planes, Roughing) else list(planes)
    open_planes = [found for table in tables for found in _planes_open(fit, body, table)]
    open_points, reached = ([], 0) if points is None else _points_open(fit, field, points)
    front_open = any(p.face == "front" for p in open_planes) or any(p.face == "front" for p in open_points)
    known = bool(tables) or points is not None
    pieces = [] if offcuts is None else _pieces_open(body, offcuts, front_open or not known)
    return Next(
        planes=tuple(open_planes),
        points=tuple(sorted(open_points, key=lambda p: -p.left_mm)),
        points_reached=reached,
        points_in_all=reached + len(open_points),
        pieces=tuple(pieces),
        undercuts=tuple([] if undercut is None else _undercuts_open(field, undercut)),
    )


def _planes_open(fit: Fit, body: Solid, table: Roughing) -> list[OpenPlane]:
    found = []
    before = 0.0
    into = face_view(table.face).into
    start = float((fit.block.corners_mm @ into).min())
    for number, plane in enumerate(table.planes, 1):
        gone = by_planes(fit.block, table, (plane,))
        if gone is not None:  # each plane's own slab: from the plane before it
            own = gone.trim_by_plane(into.tolist(), start + before) if before else gone
            left = float((body ^ own).volume()) * M3_PER_MM3
            if left > max(_DONE * plane.removed_m3, _LEAST_M3):
                found.append(OpenPlane(table.face, number, plane.depth_mm, left))
        before = plane.depth_mm
    return found


def _points_open(fit: Fit, field: SurfaceDistance, points: Pointing) -> tuple[list[OpenPoint], int]:
    """Return the points whose stops are not reached, and how many are."""
    found: list[OpenPoint] = []
    reached = 0
    size = max(fit.block.size_mm)
    for face in points.from_words:
        ours = [p for p in points.points if p.face == face and p.stop_mm]
        if not ours:
            continue
        into, way = face_view(face).into, way_in(fit.block, points.datum, face)
        at = np.array([p.at_mm for p in ours])
        entry = way.entry_mm(at)
        starts = at + ((entry - at @ into) - size)[:, None] * into
        met, far = field.first_met(starts, np.broadcast_to(into, at.shape))
        cut = np.where(met >= 0, far - size, np.inf)
        for p, by in zip(ours, cut.tolist(), strict=True):
            left = float(p.stop_mm or 0.0) - by
            if left > _REACHED_MM:
                found.append(OpenPoint(p.number, p.name, face, max(0.0, by), float(p.stop_mm or 0.0), left))
            else:
                reached += 1
    return found, reached


def _pieces_open(body: Solid, plan: OffcutPlan, front_open: bool) -> list[OpenPiece]:
    found = []
    for number, piece in enumerate(plan.pieces, 1):
        own = solid_from(piece.solid.vertices, piece.solid.faces)
        share = float((body ^ own).volume()) / max(float(own.volume()), NOT_ZERO)
        if share < _MORE:
            continue
        why = ""
        if share < _WHOLE:
            why = f"only {100 * share:.0f} % of it is still there"
        elif piece.stage != "before carving" and front_open:
            why = "it is kept until the front is finished"
        elif first := _before_it(body, plan, number):
            why = f"offcut {', '.join(map(str, first))} must go first, or more stone comes off with it"
        found.append(OpenPiece(number, share, why))
    return found


def _before_it(body: Solid, plan: OffcutPlan, number: int) -> list[int]:
    """Return the earlier pieces of which the cuts of a piece would free stone as well."""
    freed = body
    for cut in plan.pieces[number - 1].cuts:
        freed = freed.trim_by_plane(cut.normal.tolist(), cut.offset_mm)
    found = []
    for k, earlier in enumerate(plan.pieces[: number - 1], 1):
        shared = float((freed ^ solid_from(earlier.solid.vertices, earlier.solid.faces)).volume())
        if shared > _MORE * earlier.volume_m3 * 1e9:
            found.append(k)
    return found


def _undercuts_open(field: SurfaceDistance, cut: Undercuts) -> list[OpenUndercut]:
    before = {region.number: _before(field, cut, region.number, region.into) for region in cut.regions}
    open_now = {number for number, by in before.items() if by <= _OPEN_MM}
    found = []
    for region in cut.regions:
        waits = [number for number in region.after if number not in open_now]
        why: Phrase | str = ""
        if waits:
            why = f"{', '.join(map(str, waits))} must be opened first"
        elif region.number not in open_now:
            by = before[region.number]
            why = "no straight tool reaches it"
            if np.isfinite(by):
                why = Phrase.of("{before} of stone lie before it", before=up(by, Measure.LENGTH))
        found.append(OpenUndercut(region.number, region.place, region.approach, before[region.number], why))
    return found


def _before(field: SurfaceDistance, cut: Undercuts, number: int, into: Array | None) -> float:
    """Return the stone before a region along its approach: half of its surface has less; inf where none reaches it."""
    if into is None:
        return float("inf")
    places = cut.elements.points[cut.region_of == number]
    places = places[:: max(1, len(places) // 400)]
    if len(places) == 0:
        return 0.0
    outside = field.signed(places)[0] >= -NOTHING_MM
    met, far = field.first_met(places, np.broadcast_to(-into, places.shape))
    return float(np.median(np.where(outside | (met < 0), 0.0, far)))

"""The rows of a table of points: how deep the tool may go at each place, from which face, and why no deeper.

mm, block frame. Limits come from the exact surface over all that the tool touches, wherever within the rounding of its
readings it is set; depths from the real stone at the place (`ways_in`)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.facts.systems import UnitSystem
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.tolerances import CLOSE
from blockfit.marking.datum import Datum
from blockfit.marking.depths import DepthPicture, Facets, chosen_spots, facets_over, high_spots, picture_of
from blockfit.marking.rounding import Grain
from blockfit.marking.ways_in import AXIS, WayIn, way_in
from blockfit.measure.least_depth import least_over
from blockfit.measure.views import face_view
from blockfit.search.result import Fit
from blockfit.solids.figure import Figure
from blockfit.units import rounded_down, rounded_up

__all__ = ["Point", "Task", "face_points", "landmark_points", "taken_points"]

Kind = Literal["high", "fill", "landmark", "taken"]
NO_FACE = "none"
_PRINTED_MM = 0.1  # half of the last digit of a printed reading, and as much for faces that lean
_REACHED_MM = 2.0  # how far a landmark may lie under the surface and still count as reached
_NOTHING = "nothing to cut here: so little stone lies over it"
_NO_STONE = "no stone is met straight in"
_FAR_MM = 5.0  # a stop further out than that has its reason in the row


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Point(Result):
    """One point: ``at_mm`` (3,) on the figure's surface, in the block frame; readings from the datum.

    ``model_mm`` (3,) is the reading on the model, rounded; ``block_mm`` (3,) the exact reading on the block;
    ``depth_mm`` how deep it lies behind the stone at that place, ``stop_mm`` how deep to cut there, ``allowance_mm``
    the stone then still before it, and ``rounding_mm`` the most that the rounding of the model's reading makes on the
    block. ``face`` is ``none``, and depth, stop and allowance are ``None``, where no face reaches it straight.
    The stop stays further out by ``for_tool_mm``, for what the tool's width touches, and by ``for_neighbours_mm``, for
    the cuts to the points beside it; ``note`` says why there is none, or nothing to cut, and `why` all of it in words.

    ``kind`` is ``high``, ``fill``, ``landmark``, or ``taken`` where only points are known. All in mm and exact;
    ``stop_mm`` is rounded down, so that stone is left.

    >>> import blockfit as bf
    >>> taken = bf.Figure.from_points([[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 400)])
    >>> fit = bf.safest(taken, bf.Block.box(300, 300, 800), stance=bf.Stance.fixed())
    >>> table = bf.pointing(fit, allowance=5)
    >>> point = table.points[0]
    >>> point.kind, point.face, point.block_mm.round(3).tolist(), round(point.depth_mm), round(point.stop_mm)
    ('taken', 'front', [100.0, 100.0, 100.0], 100, 95)
    """

    number: int = field(metadata=fact("number", Sure.EXACT, measure=Measure.COUNT))
    name: str = field(metadata=fact("name", Sure.EXACT))
    kind: Kind = field(metadata=fact("kind", Sure.EXACT))
    face: str = field(metadata=fact("face", Sure.EXACT))
    at_mm: Array = field(metadata=fact("at", Sure.EXACT, shown=False))
    model_mm: Array = field(metadata=fact("on the model", Sure.EXACT))
    block_mm: Array = field(metadata=fact("on the block", Sure.EXACT))
    depth_mm: float | None = field(metadata=fact("depth", Sure.EXACT, Rounding.DOWN))
    stop_mm: float | None = field(metadata=fact("stop", Sure.EXACT, Rounding.DOWN))
    allowance_mm: float | None = field(metadata=fact("allowance", Sure.EXACT, Rounding.DOWN))
    rounding_mm: float = field(metadata=fact("rounding", Sure.EXACT, Rounding.UP))
    note: str = field(metadata=fact("note", Sure.EXACT))
    for_tool_mm: float = field(default=0.0, metadata=fact("further out for the tool", Sure.EXACT, Rounding.UP))
    for_neighbours_mm: float = field(default=0.0, metadata=fact("for its neighbours", Sure.EXACT, Rounding.UP))

    def why(self, units: UnitSystem) -> str:
        """Return why the stop stays far out, or is missing; nothing where it lies where the allowance puts it."""
        reasons = (
            (self.for_tool_mm, "the figure comes so much nearer within the tool's width"),
            (self.for_neighbours_mm, "so that the cuts to its neighbours stay clear"),
        )
        words = [f"{units.length(by, Rounding.NEAREST)} further out: {why}" for by, why in reasons if by > _FAR_MM]
        return "; ".join([*words, self.note] if self.note else words)


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """What is asked of a table: the fit, the faces' ways in, how readings are rounded, the tool and the allowance."""

    fit: Fit
    figure: Figure
    datum: Datum
    faces: tuple[str, ...]
    factor: float
    grain: Grain
    allowance_mm: float
    width_mm: float

    @property
    def aside_mm(self) -> float:
        """How far beside its place a point may be marked, each way: by rounding and place as they are printed."""
        return rounded_up(self.grain.mm * self.factor) / 2 + _PRINTED_MM

    @property
    def half_mm(self) -> float:
        """How far to each side of its place the tool may touch stone."""
        return self.width_mm / 2 + self.aside_mm

    def way(self, face: str) -> WayIn:
        """Return the way in from a face."""
        return way_in(self.fit.block, self.datum, face)

    def point(self, name: str, kind: Kind, face: str, at: Array, limit: float | None, note: str = "") -> Point:
        """Return a point, numbered 0; ``limit`` is how far along the way in the tool may go, ``None`` for no stop."""
        block = self.datum.readings(at[None])[0]
        ticks = block / self.factor / self.grain.mm
        rounded = np.rint(ticks)
        depth = stop = None
        way = None if face == NO_FACE else self.way(face)
        entry = 0.0 if way is None else float(way.entry_mm(at[None])[0])
        if math.isnan(entry):  # it lies on the stone's very edge
            face, way, note = NO_FACE, None, f"{note}; {_NO_STONE}" if note else _NO_STONE
        if way is not None:
            axis, inward = AXIS[face], float(way.into[AXIS[face]])
            # Along the way in the reading is rounded towards the face: stone is left.
            rounded[axis] = math.floor(ticks[axis] + CLOSE) if inward > 0 else math.ceil(ticks[axis] - CLOSE)
            depth = float(at @ way.into) - entry
            if limit is not None:
                stop = max(0.0, rounded_down(limit - float(way.entry_mm(at[None], self.aside_mm)[0])))
                if stop == 0:
                    note = f"{note}; {_NOTHING}" if note else _NOTHING
        return Point(
            number=0,
            name=name,
            kind=kind,
            face=face,
            at_mm=at.copy(),
            model_mm=rounded * self.grain.mm,
            block_mm=block,
            depth_mm=depth,
            stop_mm=stop,
            allowance_mm=None if depth is None or stop is None else depth - stop,
            rounding_mm=self.grain.mm * self.factor,
            note=note,
        )


def taken_points(task: Task) -> list[Point]:
    """Return every point that was taken by hand, of a figure known by points alone."""
    return [_known_by_points(task, "", "taken", place) for place in task.figure.vertices]


def landmark_points(task: Task) -> list[Point]:
    """Return the landmarks: from the face that reaches each straight and leaves least on it, if there is one."""
    told: list[Point] = []
    for name, place in task.figure.landmarks.items():
        at = np.array(place)
        if len(task.figure.faces) == 0:
            told.append(_known_by_points(task, name, "landmark", at))
            continue
        choices = [choice for face in task.faces if (choice := _reached_from(task, face, at)) is not None]
        if not choices:
            told.append(task.point(name, "landmark", NO_FACE, at, None, "not reached straight from any of these faces"))
            continue
        left, _, face, limit = min(choices)
        near = [
            p for p in told if p.face == face and p.stop_mm is not None and _apart(face, p.at_mm, at) < task.width_mm
        ]
        if near:
            told.append(
                task.point(name, "landmark", face, at, None, f"within a tool's width of {near[0].name}: one hole")
            )
            continue
        steep = max(0.0, left - task.allowance_mm)
        told.append(replace(task.point(name, "landmark", face, at, limit), for_tool_mm=steep))
    return told


def face_points(
    task: Task, count: int, high: int, apart_mm: float | None, landmarks: Sequence[Point]
) -> tuple[list[Point], dict[str, Facets], dict[str, list[int]]]:
    """Return the high points of every face, then the fill-in points of every face, and how to cut between them.

    ``apart_mm`` is how far apart they lie at least (``None``: by their number). The last is, for each face, which of
    the points returned each point of its facets is.
    """
    pictures = {face: picture_of(task.figure, face_view(face), task.allowance_mm, task.half_mm) for face in task.faces}
    matter = {face: _matters(picture) for face, picture in pictures.items()}
    total = sum(float(weight.sum()) * pictures[face].lattice.pitch ** 2 for face, weight in matter.items())
    apart = max(task.width_mm, math.sqrt(total / count) / 3 if apart_mm is None else apart_mm)
    given = 0
    rows: dict[str, tuple[list[Point], list[Point]]] = {}
    facets: dict[str, Facets] = {}
    for number, face in enumerate(task.faces):
        picture = pictures[face]
        own = float(matter[face].sum()) * picture.lattice.pitch**2
        share = count - given if number == len(task.faces) - 1 else round(count * own / total)
        given += share
        taken = np.array([picture.view.seen(p.at_mm[None])[0][0] for p in landmarks if p.face == face]).reshape(-1, 2)
        first = high_spots(picture, task.figure, min(high, share), task.width_mm, taken)
        chosen = chosen_spots(picture, first, share, apart, matter[face], taken)
        facets[face] = facets_over(picture, chosen)
        points = _rows_of(task, face, picture, facets[face], chosen.cells, len(first))
        # A stop of nothing is no end of a straight cut: from it the line to its neighbours would run too deep.
        facets[face] = facets[face].level_at(np.array([point.stop_mm == 0 for point in points], bool))
        rows[face] = points[: len(first)], points[len(first) :]
    points = [point for part in (0, 1) for face in task.faces for point in rows[face][part]]
    place = {id(point): k for k, point in enumerate(points)}
    which = {face: [place[id(point)] for part in rows[face] for point in part] for face in task.faces}
    return points, facets, which


def _rows_of(task: Task, face: str, picture: DepthPicture, facets: Facets, cells: Ints, firsts: int) -> list[Point]:
    """Return the points of a face's facets, in their order."""
    surface = least_over(task.figure.vertices, task.figure.faces, picture.view, facets.places, 0.0)[0]
    safe, near = picture.safe.ravel()[cells], picture.near.ravel()[cells]
    points = []
    for k, (right, up) in enumerate(facets.places):
        depth = float(surface[k]) if np.isfinite(surface[k]) else float(near[k])
        at = right * picture.view.right + up * picture.view.up + depth * picture.view.into
        limit = float(facets.depth_mm[k])
        steep, drawn = max(0.0, depth - float(safe[k]) - task.allowance_mm), max(0.0, float(safe[k]) - limit)
        kind: Kind = "high" if k < firsts else "fill"
        points.append(replace(task.point("", kind, face, at, limit), for_tool_mm=steep, for_neighbours_mm=drawn))
    return points


def _reached_from(task: Task, face: str, at: Array) -> tuple[float, float, str, float] | None:
    """Return what a straight way from a face leaves on a landmark, its depth, the face and the limit; else ``None``."""
    way, view = task.way(face), face_view(face)
    entry = float(way.entry_mm(at[None])[0])
    if not math.isfinite(entry):
        return None
    place, depth = view.seen(at[None])
    first = float(least_over(task.figure.vertices, task.figure.faces, view, place, 0.0)[0][0])
    if first < depth[0] - max(_REACHED_MM, task.allowance_mm):
        return None
    limit = float(least_over(task.figure.vertices, task.figure.faces, view, place, task.half_mm)[0][0])
    limit = min(limit, float(depth[0])) - task.allowance_mm
    return float(depth[0]) - limit, float(depth[0]) - entry, face, limit


def _known_by_points(task: Task, name: str, kind: Kind, at: Array) -> Point:
    """Return a point of a figure that is known by points alone: no deeper than any of them within the tool's width."""
    ways = {face: task.way(face) for face in task.faces}
    depths = {face: float(at @ way.into - way.entry_mm(at[None])[0]) for face, way in ways.items()}
    depths = {face: depth for face, depth in depths.items() if math.isfinite(depth)}
    if not depths:
        return task.point(name, kind, NO_FACE, at, None, f"{_NO_STONE} from any of these faces")
    face = min(depths, key=lambda name: depths[name])
    reach = task.width_mm / 2 + math.sqrt(2) * task.aside_mm  # marked aside both ways
    near = [other @ ways[face].into for other in task.figure.vertices if _apart(face, other, at) <= reach]
    limit = min([float(at @ ways[face].into), *map(float, near)]) - task.allowance_mm
    return task.point(name, kind, face, at, limit)


def _apart(face: str, one: Array, other: Array) -> float:
    """Return how far apart two places lie as seen from a face."""
    places, _ = face_view(face).seen(np.stack([one, other]))
    return float(np.linalg.norm(places[0] - places[1]))


def _matters(picture: DepthPicture) -> Array:
    """Return how much each cell matters to a face: its surface's part that looks that way rather than another."""
    return np.where(np.isfinite(picture.depth), np.clip((picture.cosine - 0.35) / 0.45, 0.05, 1.0), 0.0)

"""A figure among all that it must keep clear of, and what lies near it at a placement: exact distances of samples.

mm, block frame; the figure's own distances are taken in its own frame."""

from dataclasses import dataclass, replace

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.polytope import hull_corners
from blockfit.geometry.tolerances import ROUNDING
from blockfit.measure.booleans import refined
from blockfit.measure.distance import DistanceGrid, SurfaceDistance, gridded
from blockfit.search.flawed.crowd import Crowd, crowd_of
from blockfit.search.flawed.obstacles import Obstacle, obstacles_of
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.placement import Placement

__all__ = [
    "ROWS",
    "Place",
    "Near",
    "Room",
    "clearances",
    "in_figure",
    "near_rows",
    "placement_of",
    "plane_clearances",
    "room_of",
]

ROWS = 160
"""The nearest places of each kind that are looked at."""
_GRID = 48  # nodes along the figure's longest side
_MANY = 400  # places asked for exact distances at once
_EACH = 3  # of each obstacle at least
_BALLS = 40  # nearest balls that the figure's samples are compared with


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """A figure and all that it must keep clear of.

    ``corners`` (n, 3) are its hull's, ``surface`` (m, 3) and ``inside`` (k, 3) samples of it, all about ``middle`` (3,)
    in the figure's frame; ``field`` gives distances from it, ``grid`` the same for a first look. Planes hold where
    ``normals @ x <= offsets``, cover and skin taken off. ``crowd`` holds all ``obstacles``. ``spare_mm``, the figure's
    own margin, is in all of them.
    """

    figure: Figure
    middle: Array
    radius: float
    corners: Array
    surface: Array
    inside: Array
    field: SurfaceDistance
    grid: DistanceGrid
    normals: Array
    offsets: Array
    counted: Flags
    obstacles: tuple[Obstacle, ...]
    crowd: Crowd
    spare_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Near:
    """What lies near a placed figure: ``clear`` (n,), margins off, by which ``ways`` (n, 3) it grows as its ``points``
    (n, 3) move, and the ``least`` of all, inf where nothing is near."""

    clear: Array
    ways: Array
    points: Array
    least: float


Rows = tuple[Array, Array, Array]
_NOTHING = Near(np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3)), np.inf)


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """A placement and what it is worth: ``missing_mm`` is what it lacks, 0 if nothing (by the samples)."""

    scale: float
    rotation: Array
    at: Array  # where the figure's middle lies
    worth: float
    missing_mm: float
    near: tuple[Near, ...] | None = None  # of the flaws, and of what is outside the stone


def room_of(
    figure: Figure,
    block: Block,
    asked_mm: Array,
    counted: Flags,
    *,
    also: tuple[Obstacle, ...] = (),
    spare_mm: float = 0.0,
    samples: int = 1200,
) -> Room:
    """Return the room that a block leaves, with the cover asked (f,) taken off its planes.

    A rough block's surface keeps the most that is asked of any face; what is in the way ``also`` has its own margin.
    ``spare_mm`` is kept of everything besides.
    """
    hull = figure.vertices[hull_corners(figure.vertices)]
    middle = (hull.min(axis=0) + hull.max(axis=0)) / 2
    spacing = float(np.sqrt(figure.area_m2 * 1e6 / samples)) if len(figure.faces) else 1.0
    vertices, faces = (
        refined(figure.vertices, figure.faces, 1.2 * spacing) if len(figure.faces) else (figure.vertices, figure.faces)
    )
    _, first = np.unique(np.floor(vertices / spacing).astype(np.int64), axis=0, return_index=True)
    field = SurfaceDistance(vertices, faces)
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    within = np.random.default_rng(0).uniform(low, high, size=(1500, 3))
    within = within[field.signed(within)[0] < 0]
    obstacles = (*obstacles_of(block, float(asked_mm.max(initial=0.0))), *also)
    if spare_mm:
        obstacles = tuple(replace(obstacle, margin_mm=obstacle.margin_mm + spare_mm) for obstacle in obstacles)
    return Room(
        figure=figure,
        middle=middle,
        radius=float(np.linalg.norm(hull - middle, axis=1).max()),
        corners=hull - middle,
        surface=vertices[np.sort(first)] - middle,
        inside=within[:240] - middle,
        field=field,
        grid=gridded(lambda points: field.signed(points)[0], low, high, _GRID),
        normals=block.normals,
        offsets=block.sound_mm - asked_mm - spare_mm,
        counted=counted,
        obstacles=obstacles,
        crowd=crowd_of(obstacles, block.corners_mm.min(axis=0), block.corners_mm.max(axis=0)),
        spare_mm=spare_mm,
    )


def placement_of(room: Room, at: Place) -> Placement:
    """Return a place of the figure's middle as a placement."""
    return Placement(at.scale, at.rotation, at.at - at.scale * at.rotation @ room.middle)


def clearances(room: Room, at: Place) -> list[float]:
    """Return the least clearance of every plane, and of all obstacles together, by the samples.

    Of obstacles, what is clear by more than the figure's radius counts as just that.
    """
    far = room.radius * at.scale
    near = near_rows(room, at, far)
    return [*(float(value) for value in plane_clearances(room, at)), min(far, *(side.least for side in near))]


def plane_clearances(room: Room, at: Place) -> Array:
    """Return (f,) how far the figure lies within each plane."""
    corners = at.scale * room.corners @ at.rotation.T + at.at
    return np.asarray(room.offsets - (corners @ room.normals.T).max(axis=0))


def near_rows(room: Room, at: Place, within_mm: float) -> tuple[Near, Near]:
    """Return what lies within some mm of a placed figure: of the flaws, and of what is outside the stone.

    Of what is outside the stone the nearest places are looked at however far they lie: cover is measured from them.
    """
    outside = room.crowd.is_outside
    flaws, stone = np.flatnonzero(~outside), np.flatnonzero(outside)
    return _near(room, at, within_mm, flaws, False), _near(room, at, within_mm, stone, True)


def _near(room: Room, at: Place, within: float, obstacles: Ints, outside: bool) -> Near:
    crowd, scale = room.crowd, at.scale
    if len(obstacles) == 0:
        return _NOTHING
    low, high = room.grid.bounds(in_figure(room, at, crowd.centres[obstacles]))
    kept, span = crowd.reach[obstacles], crowd.spans[obstacles]
    far = within + (max(0.0, float((high * scale + span - kept).min())) if outside else 0.0)
    close = obstacles[low * scale - span - kept <= far]
    back, owners = _backward(room, at, close, far)
    if outside and len(back[0]):
        far = within + max(0.0, float(back[0].min()))
    sides = [back, *_forward(room, at, close, owners[crowd.is_ball[owners]], far, outside)]
    clear, ways, points = (np.concatenate([side[k] for side in sides]) for k in range(3))
    return Near(clear, ways, points, float(clear.min(initial=np.inf)))


def in_figure(room: Room, at: Place, points: Array) -> Array:
    """Return points (n, 3) of the block in the figure's own frame."""
    return np.asarray((points - at.at) @ at.rotation / at.scale + room.middle)


def _backward(room: Room, at: Place, close: Ints, far: float) -> tuple[Rows, Ints]:
    """Return how the obstacles' own places clear the figure, which way, and the figure's points nearest to them.

    Of each obstacle the nearest place comes first, since a linear program must not forget one; with those obstacles.
    """
    crowd, scale = room.crowd, at.scale
    marks = crowd.marks_of(close)
    local = in_figure(room, at, crowd.marks[marks])
    low, high = (bound * scale - crowd.reach[crowd.owner[marks]] for bound in room.grid.bounds(local))
    keep = _few(low, high, far, crowd.owner[marks])
    marks, local = marks[keep], local[keep]
    signed, nearest = room.field.signed(local)
    clear = signed * scale - crowd.reach[crowd.owner[marks]]
    order = np.argsort(clear, kind="stable")
    order = order[clear[order] <= max(far, float(clear.min(initial=np.inf)))]
    _, first = np.unique(crowd.owner[marks[order]], return_index=True)
    rest = np.ones(len(order), bool)
    rest[first] = False
    order = np.concatenate([order[np.sort(first)], order[rest][:ROWS]])
    owners = crowd.owner[marks[order[: len(first)]]]
    points = scale * (nearest[order] - room.middle) @ at.rotation.T + at.at
    to = crowd.marks[marks[order]] - points
    length = np.linalg.norm(to, axis=1)
    # The figure's points move; it comes nearer as they move towards the place.
    ways = -to / np.maximum(length, ROUNDING)[:, None] * np.sign(signed[order])[:, None]
    return (clear[order], ways, points), owners


def _forward(room: Room, at: Place, close: Ints, balls: Ints, far: float, outside: bool) -> list[Rows]:
    """Return how the figure's samples clear the bodies, and the nearest of the ``balls``, sorted."""
    crowd = room.crowd
    points = at.scale * room.surface @ at.rotation.T + at.at
    low, high = crowd.grid.bounds(points)
    points = points[_few(low, high, far, np.zeros(len(points), np.int64))]
    found = []
    for body in crowd.bodies:
        if body.is_outside == outside and np.isin(body.owners, close).any() and len(points):
            clear, ways, _ = body.away(points)
            found.append(_nearest(clear, ways, points, far))
    balls = balls[:_BALLS]
    if len(balls) and len(points):
        to = points[:, None] - crowd.centres[balls]  # (n, b, 3)
        length = np.linalg.norm(to, axis=2)
        sample, ball = np.nonzero(length - crowd.reach[balls] <= far)
        ways = to[sample, ball] / np.maximum(length[sample, ball], ROUNDING)[:, None]
        found.append(_nearest(length[sample, ball] - crowd.reach[balls[ball]], ways, points[sample], far))
    return found


def _few(low: Array, high: Array, far: float, owner: Ints) -> Ints:
    """Return which places to ask for exact distances, given bounds: all that may be near, or of many the likeliest.

    Many are near only while steps are long, and a few of each owner do then.
    """
    close = np.flatnonzero(low <= far)
    if len(close) <= _MANY:
        return close
    close = close[np.lexsort((low[close] + high[close], owner[close]))]
    begin = np.flatnonzero(np.diff(owner[close], prepend=-1))
    rank = np.arange(len(close)) - np.repeat(begin, np.diff(np.append(begin, len(close))))
    rest = close[rank >= _EACH]
    rest = rest[np.argsort(low[rest] + high[rest], kind="stable")]
    return np.concatenate([close[rank < _EACH], rest[: _MANY // 2]])


def _nearest(clear: Array, ways: Array, points: Array, far: float) -> Rows:
    order = np.argsort(clear, kind="stable")
    order = order[_varied(ways[order])]
    order = order[clear[order] <= max(far, float(clear.min(initial=np.inf)))]
    return clear[order], ways[order], points[order]


def _varied(ways: Array) -> Ints:
    """Return which rows to keep of those given, the nearest first: the first few of every way.

    Against flat sides very many places tie; were they all from one side, a step would run into the other.
    """
    facing = (np.rint(ways).astype(np.int64) + 1) @ np.array([9, 3, 1])
    order = np.argsort(facing, kind="stable")
    begin = np.flatnonzero(np.diff(facing[order], prepend=-1))
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order)) - np.repeat(begin, np.diff(np.append(begin, len(order))))
    return np.flatnonzero(rank < ROWS // 4)[:ROWS]

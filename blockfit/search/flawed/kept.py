"""What a placement keeps clear of, exactly: solids find what meets, and the nearest pairs of faces how far the rest is.

mm, block frame. The samples that the search looks at play no part in what is answered: they only say where to begin."""

from dataclasses import dataclass, replace
from weakref import WeakKeyDictionary

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.tolerances import CLOSE, NOT_ZERO, NOTHING_MM, TOUCHING
from blockfit.geometry.triangles import triangle_gaps
from blockfit.measure.booleans import Solid, arrays_of, body_of, gap_between
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.nearest import tree_of
from blockfit.search.flawed.crowd import Body
from blockfit.search.flawed.obstacles import Obstacle
from blockfit.search.flawed.room import Place, Room, in_figure, placement_of
from blockfit.solids.placement import Placement

__all__ = ["Kept", "kept_clear", "sharpened", "verified"]

_MEETS = 1e-9  # of the figure's volume: two solids that share less only touch
_SHARED_MM = 1e-2  # what is missing at least where solids meet
_PAIRS = 200_000  # pairs of faces at once
_APART = 2e-3  # of the figure's radius: places nearer to each other say the same
_CONTACTS = 40  # places that are looked at closer
_FACES, _LIKELY = 150, 10_000  # faces, and pairs of faces, that are looked at closer
_WIDE = 4  # times the usual radius: faces larger than that are compared with every other
_TURNS = 12  # from one surface to the other and back
_SETTLED = 1e-4  # of a distance: less gained by going to and fro, and exact pairs decide

Kept = tuple[tuple[str, float], ...]


_surfaces: "WeakKeyDictionary[Body, _Faces]" = WeakKeyDictionary()


def _body_at(room: Room, placement: Placement) -> Solid:
    """Return the placed figure as a solid; it is made from the figure's surface once, and moved from then on."""
    turned = placement.scale * placement.rotation
    return body_of(room.figure).transform(np.column_stack([turned, placement.shift_mm]))


def verified(room: Room, found: Place) -> tuple[Placement, Array, float]:
    """Return the placement, the clearance of planes, and what is missing at worst, exact."""
    placement = placement_of(room, found)
    vertices = placement.apply(room.figure.vertices)
    planes = room.offsets - (vertices @ room.normals.T).max(axis=0)
    missing = max(0.0, float(-planes.min(initial=np.inf)), float(-_ball_gaps(room, found).min(initial=np.inf)))
    if room.crowd.bodies:
        solid, about = _body_at(room, placement), _about(room, found)
        for body in room.crowd.bodies:
            by = _body_gap(room, solid, body, vertices, float(about[body.owners].min()))
            missing = max(missing, body.margin_mm - by)
    return placement, planes, missing


def kept_clear(room: Room, at: Place) -> Kept:
    """Return the exact distance that a figure keeps from every obstacle, by name; where they meet, below 0.

    The figure's own margin is taken off.
    """
    crowd = room.crowd
    vertices = placement_of(room, at).apply(room.figure.vertices)
    kept = np.full(len(room.obstacles), np.inf)
    kept[crowd.is_ball] = _ball_gaps(room, at) + [o.margin_mm for o in room.obstacles if o.is_ball]
    if crowd.bodies:
        solid, about = _body_at(room, placement_of(room, at)), _about(room, at)
        faces = _Faces.of(vertices[room.figure.faces])
    for body in crowd.bodies:
        if len(body.owners) == 1:
            kept[body.owners[0]] = _body_gap(room, solid, body, vertices, float(about[body.owners[0]]))
            continue
        shared = solid ^ body.solid
        meets = bool(shared.volume() > _MEETS * solid.volume())
        for number in body.owners:
            obstacle, by = room.obstacles[number], float(about[number])
            if meets and (shared ^ obstacle.body).volume() > _MEETS * solid.volume():
                kept[number] = min(-_SHARED_MM, _nearest(room, body, vertices, by))
            elif meets or by < obstacle.margin_mm:
                kept[number] = gap_between(solid, obstacle.body, by)
            else:
                kept[number] = _far_gap(room, at, faces, obstacle)
    return tuple((o.name, float(by - room.spare_mm)) for o, by in zip(room.obstacles, kept, strict=True))


def _ball_gaps(room: Room, at: Place) -> Array:
    """Return how far each ball lies from the figure, its margin off."""
    balls = room.crowd.is_ball
    away, _ = room.field.signed(in_figure(room, at, room.crowd.centres[balls]))
    return np.asarray(away * at.scale - room.crowd.reach[balls])


def _body_gap(room: Room, solid: Solid, body: Body, vertices: Array, most: float) -> float:
    """Return how far a figure lies from a body, ``most`` at most; where they meet, below 0."""
    wrong = solid - body.solid if body.is_outside else solid ^ body.solid
    near = _nearest(room, body, vertices, most)
    if wrong.volume() > _MEETS * solid.volume():
        return min(-_SHARED_MM, near)
    whole = room.obstacles[body.owners[0]].beyond if body.is_outside else body.solid
    return gap_between(solid, whole, near)


def _just_more(distance: float) -> float:
    """Return how far to search for the distance of two solids that is no more than this: little costs little."""
    return max(0.0, distance) * (1 + CLOSE) + NOTHING_MM


def _about(room: Room, at: Place) -> Array:
    """Return (n,) distances that the obstacles' own places have from the figure: never less than the true ones."""
    crowd, scale = room.crowd, at.scale
    local = in_figure(room, at, crowd.marks)
    low, high = room.grid.bounds(local)
    least = np.minimum.reduceat(high, crowd.first[:-1])
    asked = low <= least[crowd.owner]
    away = np.full(len(local), np.inf)
    away[asked] = room.field.signed(local[asked])[0] * scale
    return np.asarray(np.minimum.reduceat(away, crowd.first[:-1]))


def _nearest(room: Room, body: Body, vertices: Array, most: float) -> float:
    """Return how near the figure's vertices come to a body, ``most`` if no nearer; below 0 inside."""
    close = vertices[room.crowd.grid.bounds(vertices)[0] <= most - body.margin_mm]
    return min(most, float(body.away(close)[0].min(initial=np.inf)) + body.margin_mm)


@dataclass(frozen=True, slots=True, eq=False)
class _Faces:
    """Triangles (m, 3, 3) with balls around them: middles (m, 3) and radii (m,)."""

    corners: Array
    middles: Array
    radii: Array

    @classmethod
    def of(cls, corners: Array) -> "_Faces":
        middles = corners.mean(axis=1)
        return cls(corners, middles, np.linalg.norm(corners - middles[:, None], axis=2).max(axis=1))

    def part(self, which: Ints) -> "_Faces":
        return _Faces(self.corners[which], self.middles[which], self.radii[which])


def _far_gap(room: Room, at: Place, faces: _Faces, obstacle: Obstacle) -> float:
    """Return the exact distance of a figure's faces from an obstacle that they do not meet.

    Going to and fro between the two surfaces leads to a pair of places that lie near each other; only faces that may
    lie nearer still are compared.
    """
    corners, triangles = arrays_of(obstacle.body)
    field = SurfaceDistance(corners, triangles, folds=False)
    place = obstacle.samples[_nearest_mark(room, at, obstacle)]
    most = np.inf
    for _ in range(_TURNS):
        ours = room.field.signed(in_figure(room, at, place[None]))[1][0]
        ours = at.scale * at.rotation @ (ours - room.middle) + at.at
        place = field.signed(ours[None])[1][0]
        before, most = most, float(np.linalg.norm(place - ours))
        if before - most < _SETTLED * most:
            break
    close = faces.part(_may_be_nearer(faces, obstacle, field, ours, place))
    return _least_of_pairs(close, _Faces.of(corners[triangles]), _just_more(most))


def _may_be_nearer(faces: _Faces, obstacle: Obstacle, field: SurfaceDistance, ours: Array, place: Array) -> Ints:
    """Return which faces may lie nearer to an obstacle than ``ours`` lies to its ``place``.

    All of a convex body lies beyond the plane that touches it at the place nearest to a point, and a face is no nearer
    to the body than to that plane.
    """
    most = _just_more(float(np.linalg.norm(place - ours)))
    centre = obstacle.corners.mean(axis=0)
    span = float(np.linalg.norm(obstacle.corners - centre, axis=1).max())
    close = np.linalg.norm(faces.middles - centre, axis=1) - span - faces.radii <= most
    way = (place - ours) / most
    if not obstacle.is_scan:
        close &= (place - faces.middles) @ way - faces.radii <= most
    some = np.flatnonzero(close)
    away, nearest = field.signed(faces.middles[some])
    low = np.abs(away) - faces.radii[some]
    if not obstacle.is_scan:
        ways = (nearest - faces.middles[some]) / np.maximum(np.abs(away), NOT_ZERO)[:, None]
        reach = np.einsum("ijk,ik->ij", faces.corners[some] - faces.middles[some][:, None], ways).max(axis=1)
        low = np.maximum(low, np.where(away > 0, away - reach, low))
    return np.asarray(some[low <= most])


def _least_of_pairs(first: _Faces, second: _Faces, most: float) -> float:
    """Return the least distance of triangles from others, or ``most`` if that is less."""
    step = max(1, _PAIRS // max(1, len(second.radii)))
    for k in range(0, len(first.radii), step):
        some = slice(k, k + step)
        apart = np.linalg.norm(first.middles[some, None] - second.middles, axis=2)
        ours, theirs = np.nonzero(apart - first.radii[some, None] - second.radii <= most)
        gaps, _ = triangle_gaps(first.corners[some][ours], second.corners[theirs])
        most = min(most, float(gaps.min(initial=np.inf)))
    return most


def _nearest_mark(room: Room, at: Place, obstacle: Obstacle) -> int:
    low, _ = room.grid.bounds(in_figure(room, at, obstacle.samples))
    return int(low.argmin())


def _close_pairs(ours: _Faces, theirs: _Faces, margin_mm: float) -> tuple[Ints, Ints, Array]:
    """Return the pairs of faces, by number, whose balls are no more than a margin apart, and how far apart they are."""
    usual = theirs.radii <= _WIDE * float(np.median(theirs.radii))
    some, wide, rows = np.flatnonzero(usual), np.flatnonzero(~usual), np.arange(len(ours.radii))
    reach = np.maximum(ours.radii + margin_mm + float(theirs.radii[some].max(initial=0.0)), 0.0)
    around = tree_of(theirs.middles[some]).query_ball_point(ours.middles, reach)
    near = np.concatenate([np.zeros(0, np.int64), *around]).astype(np.int64)
    first = np.concatenate([np.repeat(rows, [len(one) for one in around]), np.repeat(rows, len(wide))])
    second = np.concatenate([some[near], np.tile(wide, len(rows))])
    apart = np.linalg.norm(ours.middles[first] - theirs.middles[second], axis=1)
    apart -= ours.radii[first] + theirs.radii[second]
    close = np.flatnonzero(apart <= margin_mm)
    order = close[np.lexsort((second[close], first[close]))]
    return first[order], second[order], apart[order]


def sharpened(room: Room, at: Place) -> Room:
    """Return the room with more samples where the figure comes nearer than it should to what it must keep clear of.

    The climb sees samples; where a verified placement lacks something, the places that lack it become samples too:
    the figure's own, and those of the flaws and the stone that lie within it.
    """
    crowd, apart = room.crowd, _APART * room.radius * at.scale
    vertices = placement_of(room, at).apply(room.figure.vertices)
    faces = _Faces.of(vertices[room.figure.faces])
    close = vertices[crowd.grid.bounds(vertices)[0] <= 0]
    solid = _body_at(room, placement_of(room, at)) if crowd.bodies else None
    more, marks, owners = [np.zeros((0, 3))], [np.zeros((0, 3))], [np.zeros(0, np.int64)]
    for body in crowd.bodies:
        if len(close):
            clear = body.away(close)[0]
            order = np.argsort(clear, kind="stable")
            more.append(_spread(close[order[clear[order] < 0]], apart))
        # Where two edges cross, only the middles of the faces of what is wrong lie apart from both surfaces.
        corners, triangles = arrays_of(solid - body.solid if body.is_outside else solid ^ body.solid)
        wrong = np.concatenate([corners[triangles].mean(axis=1), _spread(corners, apart)])[: 20 * _CONTACTS]
        theirs = _spread(_inside(room, at, wrong), apart)
        beyond = np.linalg.norm(theirs[:, None] - crowd.centres[body.owners], axis=2) - crowd.spans[body.owners]
        owner = body.owners[beyond.argmin(axis=1)] if len(theirs) else np.zeros(0, np.int64)
        more.append(wrong)
        marks.append(theirs)
        owners.append(owner)
        more.append(_spread(_contacts(room, faces, body), apart))
    local = in_figure(room, at, np.concatenate(more))
    on_it = np.abs(room.field.signed(local)[0]) <= TOUCHING * room.radius
    surface = np.concatenate([room.surface, local[on_it] - room.middle])
    return replace(room, surface=surface, crowd=crowd.with_marks(np.concatenate(marks), np.concatenate(owners)))


def _inside(room: Room, at: Place, places: Array) -> Array:
    """Return the places that lie inside the figure, the deepest first."""
    depth = room.field.signed(in_figure(room, at, places))[0]
    order = np.argsort(depth, kind="stable")
    return np.asarray(places[order[depth[order] < -TOUCHING * room.radius]])


def _spread(points: Array, apart: float) -> Array:
    """Return the first of the points (n, 3) in each cube of space, no more than are looked at closer."""
    _, first = np.unique(np.floor(points / apart).astype(np.int64), axis=0, return_index=True)
    return points[np.sort(first)[:_CONTACTS]]


def _contacts(room: Room, faces: _Faces, body: Body) -> Array:
    """Return the places (n, 3) of the figure's faces at which they lie nearer to a body than its margin."""
    near = np.flatnonzero(room.crowd.grid.bounds(faces.middles)[0] <= faces.radii)
    low = np.abs(body.away(faces.middles[near])[0] + body.margin_mm) - faces.radii[near] - body.margin_mm
    ours = faces.part(near[np.argsort(low, kind="stable")[:_FACES]])
    if body not in _surfaces:
        corners, triangles = arrays_of(body.solid)
        _surfaces[body] = _Faces.of(corners[triangles])
    theirs = _surfaces[body]
    first, second, apart = _close_pairs(ours, theirs, body.margin_mm)
    likely = np.argsort(apart, kind="stable")[:_LIKELY]
    first, second = first[likely], second[likely]
    gaps, places = triangle_gaps(ours.corners[first], theirs.corners[second])
    order = np.argsort(gaps, kind="stable")
    return places[order[gaps[order] < body.margin_mm]]

"""Where a figure goes in stone with flaws, or in a rough block: the best found, by small steps from many starts.

mm, block frame. From many starts, small linear programs on exact distances (what lies nearest, and which way it gives)
lead to a local best; the best of them is then checked apart from the search, by exact distances of solids."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from blockfit.geometry.arrays import Array, Flags
from blockfit.geometry.polytope import hull_corners
from blockfit.geometry.programs import least
from blockfit.geometry.turns import from_quaternions
from blockfit.measure.booleans import refined
from blockfit.measure.distance import DistanceGrid, SurfaceDistance, gridded
from blockfit.search.flawed.obstacles import Obstacle, kept_clear_mm, obstacles_of
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.placement import Placement

__all__ = ["Aim", "Found", "Room", "clearances", "climbed", "room_of", "verified"]

_GRID = 48  # nodes along the figure's longest side
_ROWS = 160  # the nearest places of each kind that a linear program looks at
_STEPS = 45
_LIFT = 0.05
_MISS = 60.0  # what a missing mm weighs against a gained one


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """A figure and all that it must keep clear of.

    ``corners`` (n, 3) are its hull's, ``surface`` (m, 3) and ``inside`` (k, 3) samples of it, all about ``middle`` (3,)
    in the figure's frame; ``field`` gives distances from it, ``grid`` the same for a first look. Planes hold where
    ``normals @ x <= offsets``, cover and skin taken off.
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


@dataclass(frozen=True, slots=True)
class Aim:
    """What is sought: ``largest`` scale up to ``most``, ``deepest`` cover, or ``nearest`` to where it is now.

    ``nearest`` moves as little straight back from ``start`` (3,) as possible, and not forward. With a ``start``,
    whatever is sought, the figure's middle stays within ``aside`` to either side of it.
    """

    kind: str
    most: float = np.inf
    start: Array | None = None
    aside: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A placement and what it is worth: ``missing_mm`` is what it lacks, 0 if nothing (by the samples)."""

    scale: float
    rotation: Array
    at: Array  # where the figure's middle lies
    worth: float
    missing_mm: float
    fields: tuple[tuple[Array, Array, Array], ...] | None = None  # clearance, ways and points, twice for each obstacle


def room_of(
    figure: Figure,
    block: Block,
    asked_mm: Array,
    counted: Flags,
    *,
    surface_cover_mm: float | None = None,
    samples: int = 1200,
) -> Room:
    """Return the room that a block leaves, with the cover asked (f,) taken off its planes.

    ``surface_cover_mm`` is kept under a rough block's surface (default: the most that is asked of any face).
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
        offsets=block.sound_mm - asked_mm,
        counted=counted,
        obstacles=tuple(
            obstacles_of(block, float(asked_mm.max(initial=0.0)) if surface_cover_mm is None else surface_cover_mm)
        ),
    )


def climbed(
    room: Room, start: Found, stance: Callable[[Array], bool], axes: Array, aim: Aim, spare_mm: float = 0.0
) -> Found:
    """Return the best placement that small steps lead to from a start.

    ``stance`` tells whether a rotation is allowed, ``axes`` (k, 3) are those about which it may be turned;
    ``spare_mm`` is asked beyond every margin.
    """
    best = _valued(room, start, aim, spare_mm)
    trust = 0.15 * room.radius * best.scale
    for _ in range(_STEPS):
        step = _step(room, best, axes, aim, trust, spare_mm)
        if step is None:
            break
        trial = _valued(room, step, aim, spare_mm) if stance(step.rotation) else None
        if trial is None and len(axes):
            upright = _step(room, best, axes[:0], aim, trust, spare_mm)
            trial = None if upright is None else _valued(room, upright, aim, spare_mm)
        if trial is not None and _merit(trial) > _merit(best) + 1e-7:
            gain = _merit(trial) - _merit(best)
            best, trust = trial, trust * 1.5
            if gain < 1e-5 * room.radius and trust < 1e-3 * room.radius:
                break
        else:
            trust /= 3
        if trust < 1e-5 * room.radius:
            break
    return best


def _merit(found: Found) -> float:
    return found.worth - _MISS * found.missing_mm


def _valued(room: Room, at: Found, aim: Aim, spare_mm: float) -> Found:
    """Return a placement with what it is worth, in mm, and what it lacks."""
    fields = _fields(room, at)
    clear = _planes(room, at).tolist() + [
        float(away.min()) - room.obstacles[k // 2].margin_mm for k, (away, _, _) in enumerate(fields)
    ]
    if aim.kind == "deepest":
        gains = _gained(room)
        worth = min((c for c, gain in zip(clear, gains, strict=True) if gain), default=0.0)
    else:
        # Of places equally far back, the one that lifts the figure least.
        worth = at.scale * room.radius if aim.kind == "largest" else -float(at.at[1]) - _LIFT * float(at.at[2])
    missing = max(0.0, spare_mm - min(clear), _strayed(at, aim))
    return replace(at, worth=worth, missing_mm=missing, fields=fields)


def _strayed(at: Found, aim: Aim) -> float:
    """Return how far a placement strays from where it is to stay."""
    over = max(0.0, at.scale - aim.most) if aim.kind == "largest" else 0.0
    if aim.start is None:
        return over
    x, y = (at.at - aim.start)[:2].tolist()
    return float(max(over, abs(x) - aim.aside, -y if aim.kind == "nearest" else 0.0, 0.0))


def clearances(room: Room, at: Found) -> list[float]:
    """Return the least clearance of every plane, and twice of every obstacle, margins taken off, by the samples."""
    fields = _fields(room, at)
    told = [float(away.min()) - room.obstacles[k // 2].margin_mm for k, (away, _, _) in enumerate(fields)]
    return [*(float(value) for value in _planes(room, at)), *told]


def _planes(room: Room, at: Found) -> Array:
    corners = at.scale * room.corners @ at.rotation.T + at.at
    return np.asarray(room.offsets - (corners @ room.normals.T).max(axis=0))


def _fields(room: Room, at: Found) -> tuple[tuple[Array, Array, Array], ...]:
    """Return how the figure's samples clear every obstacle, and how every obstacle's samples clear the figure."""
    if at.fields is not None:
        return at.fields
    return tuple(side(room, at, obstacle) for obstacle in room.obstacles for side in (_forward, _backward))


def _gained(room: Room) -> list[bool]:
    """Return which clearances are made deepest: a rough block's surface, or else the faces that count."""
    rough = any(obstacle.is_outside for obstacle in room.obstacles)
    planes = [bool(counts) and not rough for counts in room.counted]
    return planes + [obstacle.is_outside for obstacle in room.obstacles for _ in range(2)]


def _forward(room: Room, at: Found, obstacle: Obstacle) -> tuple[Array, Array, Array]:
    points = at.scale * room.surface @ at.rotation.T + at.at
    away, ways = obstacle.away(points)
    return away, ways, points


def _backward(room: Room, at: Found, obstacle: Obstacle) -> tuple[Array, Array, Array]:
    """Return how far an obstacle's samples lie from the figure, which way, and the figure's points nearest to them."""
    local = (obstacle.samples - at.at) @ at.rotation / at.scale + room.middle
    signed, nearest = room.field.signed(local)
    points = at.scale * (nearest - room.middle) @ at.rotation.T + at.at
    to = obstacle.samples - points
    length = np.linalg.norm(to, axis=1)
    ways = to / np.maximum(length, 1e-12)[:, None] * np.sign(signed)[:, None]
    # The figure's points move; it comes nearer as they move towards the sample.
    return signed * at.scale, -ways, points


def _step(room: Room, at: Found, axes: Array, aim: Aim, trust: float, spare_mm: float) -> Found | None:
    """Return where one linear program leads within ``trust`` mm."""
    turns = len(axes)
    grows = aim.kind == "largest"
    columns = 3 + turns + int(grows) + 2  # shift, turns, growth, what is missing, what is gained
    rows, rest = [], []
    gains = [aim.kind == "deepest" and gain for gain in _gained(room)]

    def add(clear: Array, ways: Array, points: Array, gained: bool = False) -> None:
        """Clear + ways · movement >= 0, but for what is missing."""
        order = np.argsort(clear, kind="stable")[:_ROWS]
        clear, ways, arm = clear[order], ways[order], points[order] - at.at
        block = np.zeros((len(order), columns))
        block[:, :3] = -ways
        for k in range(turns):
            block[:, 3 + k] = -(ways * np.cross(axes[k], arm)).sum(axis=1) / at.scale / room.radius
        if grows:
            block[:, 3 + turns] = -(ways * arm).sum(axis=1) / at.scale / room.radius
        block[:, -2] = -1.0
        if gained:
            block[:, -1] = 1.0
        rows.append(block)
        rest.append(clear - spare_mm)

    corners = at.scale * room.corners @ at.rotation.T + at.at
    heights = corners @ room.normals.T
    for k, normal in enumerate(room.normals):
        clear = room.offsets[k] - heights[:, k]
        near = np.flatnonzero(clear < clear.min() + 2 * trust)
        add(clear[near], np.tile(-normal, (len(near), 1)), corners[near], gains[k])
    for k, (clear, ways, points) in enumerate(_fields(room, at)):
        margin = room.obstacles[k // 2].margin_mm
        near = np.flatnonzero(clear < max(float(clear.min()), margin) + 3 * trust)
        if len(near):
            add(clear[near] - margin, ways[near], points[near], gains[len(room.normals) + k])
    cost = np.zeros(columns)
    cost[-2] = _MISS
    bounds: list[tuple[float | None, float | None]] = [(-trust, trust)] * (columns - 2)
    bounds += [(0.0, None), (None, None) if aim.kind == "deepest" else (0.0, 0.0)]
    if grows:
        cost[3 + turns] = -1.0
        bounds[3 + turns] = (-trust, min(trust, (aim.most - at.scale) * room.radius))
    elif aim.kind == "deepest":
        cost[-1] = -1.0
    else:
        cost[1], cost[2] = 1.0, _LIFT
    if aim.start is not None:
        x, y = (aim.start - at.at)[:2].tolist()
        bounds[0] = (max(-trust, min(trust, x - aim.aside)), min(trust, max(-trust, x + aim.aside)))
        if aim.kind == "nearest":
            bounds[1] = (max(-trust, min(trust, y)), trust)
    found = least(cost, np.concatenate(rows), np.concatenate(rest), bounds)
    if found is None:
        return None
    move = found.point
    spin = sum((move[3 + k] * axes[k] for k in range(turns)), np.zeros(3)) / at.scale / room.radius
    scale = at.scale + (float(move[3 + turns]) / room.radius if grows else 0.0)
    if scale <= 1e-6 * at.scale:
        return None
    return Found(scale, _turned(spin) @ at.rotation, at.at + move[:3], 0.0, np.inf)


def _turned(spin: Array) -> Array:
    """Return the rotation by |spin| radians about it, exact as a rotation."""
    angle = float(np.linalg.norm(spin))
    if angle == 0:
        return np.eye(3)
    return from_quaternions(np.array([np.cos(angle / 2), *(np.sin(angle / 2) * spin / angle)]))


def verified(room: Room, found: Found) -> tuple[Placement, Array, tuple[tuple[str, float], ...], float]:
    """Return the placement, the clearance of planes and obstacles, and what is missing at worst, all exact."""
    placement = Placement(found.scale, found.rotation, found.at - found.scale * found.rotation @ room.middle)
    vertices = placement.apply(room.figure.vertices)
    planes = room.offsets - (vertices @ room.normals.T).max(axis=0)
    placed = Figure(vertices, room.figure.faces)
    kept = tuple((o.name, kept_clear_mm(placed, o)) for o in room.obstacles)
    missing = max(
        [0.0, float(-planes.min())] + [o.margin_mm - by for o, (_, by) in zip(room.obstacles, kept, strict=True)]
    )
    return placement, planes, kept, missing

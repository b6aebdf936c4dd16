"""Where to start looking in stone with flaws: turns that a stance allows, and shifts of a coarse grid. mm."""

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.turns import about, from_quaternions
from blockfit.search.flawed.room import Place, Room
from blockfit.solids.stance import Stance

__all__ = ["axes_of", "roomiest", "rotations_for", "starts_for"]

_FLAW_SAMPLES = 400  # of all flaws together, and two of each at least
_FIRST = 48  # samples with which all shifts are looked at
_AT_ONCE = 24
_NARROW = 1e-6  # mm: room to one side that is none


def axes_of(stance: Stance) -> Array:
    """Return the axes about which a stance lets the figure turn."""
    if stance.tilt == 0 and stance.turn == 0:
        return np.zeros((0, 3))
    return np.array([[0, 0, 1.0]]) if stance.tilt == 0 else np.eye(3)


def rotations_for(stance: Stance, count: int, seed: int = 0) -> list[Array]:
    """Return rotations that a stance allows: the one as read first, then spread over it."""
    if stance.tilt == 0 and stance.turn == 0:
        return [np.eye(3)]
    limit = min(stance.turn, 180.0)
    if stance.tilt == 0:
        steps = np.linspace(-limit, limit, min(count, 25) | 1)
        return [about(2, float(angle)) for angle in sorted(steps, key=abs)]
    random = np.random.default_rng(seed)
    found = [np.eye(3)]
    for _ in range(40 * count):
        if len(found) >= count:
            break
        if stance.is_free:
            q = random.normal(size=4)
        else:
            lean = np.radians(stance.tilt) * np.sqrt(random.random()) / 2
            way, turn = random.uniform(0, 2 * np.pi), np.radians(random.uniform(-limit, limit)) / 2
            tilted = from_quaternions(
                np.array([np.cos(lean), np.sin(lean) * np.cos(way), np.sin(lean) * np.sin(way), 0])
            )
            turned = from_quaternions(np.array([np.cos(turn), 0, 0, np.sin(turn)]))
            rotation = tilted @ turned
            if stance.allows(rotation):
                found.append(rotation)
            continue
        found.append(from_quaternions(q))
    return found


def starts_for(room: Room, rotations: list[Array], scales: Array, keep: int) -> list[Place]:
    """Return promising starts: for each rotation and scale, the shifts of a coarse grid that clear most."""
    samples = _samples(room)
    told: list[Place] = []
    for rotation in rotations:
        reach = ((room.corners @ rotation.T) @ room.normals.T).max(axis=0)
        for scale in scales:
            best = sorted((f.worth - 4 * f.missing_mm for f in told), reverse=True)[:keep]
            if 0 < keep == len(best) and scale * room.radius <= best[-1]:
                break  # even if it lacks nothing
            grid = _shifts(room, scale * reach)
            if len(grid) == 0:
                continue
            clear = (room.offsets[None] - grid @ room.normals.T - scale * reach).min(axis=1)
            at, clears = _clearest(room, samples, float(scale), rotation, grid, clear)
            miss = max(0.0, -clears)
            told.append(Place(float(scale), rotation, at, float(scale) * room.radius, miss))
            if miss == 0:
                break  # smaller ones fit too
    told.sort(key=lambda f: -(f.worth - 4 * f.missing_mm))
    return told[:keep]


def roomiest(room: Room, rotation: Array, most: float, count: int) -> list[Place]:
    """Return places where the stone is soundest, small enough that the ball around the figure lies clear of all."""
    grid = room.crowd.grid
    nodes = np.stack(np.meshgrid(*(np.arange(n) for n in grid.values.shape), indexing="ij"), axis=-1).reshape(-1, 3)
    places = grid.origin + grid.steps * nodes
    spare = np.minimum(grid.values.ravel(), (room.offsets - places @ room.normals.T).min(axis=1))
    found: list[Place] = []
    for _ in range(count):
        k = int(spare.argmax())
        if spare[k] <= 0:
            break
        scale = min(most, float(spare[k]) / room.radius)
        found.append(Place(scale, rotation, places[k], scale * room.radius, 0.0))
        spare[np.linalg.norm(places - places[k], axis=1) < 2 * spare[k]] = 0.0
    return found


def _samples(room: Room) -> tuple[Array, Array, Array]:
    """Return some of the figure's samples, and some of the flaws' own places with what is kept from each."""
    random = np.random.default_rng(0)
    ours = np.concatenate([room.surface[:: max(1, len(room.surface) // 160)], room.inside])
    crowd = room.crowd
    each = max(2, _FLAW_SAMPLES // max(1, len(room.obstacles)))
    marks = [range(a, b, max(1, (b - a) // each)) for a, b in zip(crowd.first, crowd.first[1:], strict=False)]
    chosen = random.permutation(np.array([k for some in marks for k in some], np.int64))
    return random.permutation(ours), crowd.marks[chosen], crowd.reach[crowd.owner[chosen]]


def _clearest(
    room: Room, samples: tuple[Array, Array, Array], scale: float, rotation: Array, grid: Array, clear: Array
) -> tuple[Array, float]:
    """Return the shift that clears most, and by how much, resolved to the grids of flaws and figure.

    ``clear`` (g,) is what the planes leave. Few samples tell which shifts are worth a look with all.
    """
    ours, marks, reach = samples

    def least(shifts: Array, start: int, stop: int | None) -> Array:
        some, theirs, kept = ours[start:stop], marks[start:stop], reach[start:stop]
        away = room.crowd.grid.about(shifts[:, None] + scale * some @ rotation.T).min(axis=1, initial=np.inf)
        # A crack may pass between a figure's samples: its own then lie inside the figure.
        local = (theirs - shifts[:, None]) @ rotation / scale + room.middle
        back = (room.grid.about(local) * scale - kept).min(axis=1, initial=np.inf)
        return np.asarray(np.minimum(away, back))

    clear = np.minimum(clear, least(grid, 0, _FIRST))
    order = np.argsort(-clear, kind="stable")
    best, most = int(order[0]), -np.inf
    for k in range(0, len(order), _AT_ONCE):
        some = order[k : k + _AT_ONCE]
        if clear[some[0]] <= most:
            break
        found = np.minimum(clear[some], least(grid[some], _FIRST, None))
        if found.max() > most:
            best, most = int(some[found.argmax()]), float(found.max())
    return grid[best], most


def _shifts(room: Room, reach: Array) -> Array:
    """Return a coarse grid (k, 3) of places for the figure's middle where it lies within the planes."""
    slack = room.offsets - reach
    low: Array = np.empty(3)
    high: Array = np.empty(3)
    for axis in range(3):
        along = room.normals[:, axis]
        up, down = along > 0.999, along < -0.999
        if not (up.any() and down.any()):
            centre = np.asarray(np.linalg.lstsq(room.normals, slack, rcond=None)[0], np.float64)
            low, high = centre - 0.1 * room.radius, centre + 0.1 * room.radius
            break
        low[axis], high[axis] = -float(slack[down].min()), float(slack[up].min())
    middle = (low + high) / 2
    low, high = np.minimum(low, middle), np.maximum(high, middle)
    wide = high - low
    lines = [np.linspace(low[k], high[k], 1 if wide[k] < _NARROW else 6) for k in range(3)]
    grid = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 3)
    return grid[(grid @ room.normals.T <= slack + 0.02 * room.radius).all(axis=1)]

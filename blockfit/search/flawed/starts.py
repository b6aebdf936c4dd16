"""Where to start looking in stone with flaws: turns that a stance allows, and shifts of a coarse grid. mm."""

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.turns import about, from_quaternions
from blockfit.search.flawed.avoid import Found, Room
from blockfit.solids.stance import Stance

__all__ = ["axes_of", "rotations_for", "starts_for"]

_FLAW_SAMPLES = 400  # of all flaws together


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


def starts_for(room: Room, rotations: list[Array], scales: Array, keep: int) -> list[Found]:
    """Return promising starts: for each rotation and scale, the shifts of a coarse grid that clear most."""
    step = max(1, len(room.surface) // 160)
    points = np.concatenate([room.surface[::step], room.inside])
    told: list[Found] = []
    for rotation in rotations:
        heights = (room.corners @ rotation.T) @ room.normals.T
        reach = heights.max(axis=0)
        for scale in scales:
            grid = _shifts(room, scale * reach)
            if len(grid) == 0:
                continue
            clear = (room.offsets[None] - grid @ room.normals.T - scale * reach).min(axis=1)
            placed = scale * points @ rotation.T
            for obstacle in room.obstacles:
                away = obstacle.about((grid[:, None] + placed).reshape(-1, 3)).reshape(len(grid), -1).min(axis=1)
                clear = np.minimum(clear, away - obstacle.margin_mm)
            clear = np.minimum(clear, _seen_from_flaws(room, float(scale), rotation, grid))
            best, clears = _clearest(room, float(scale), rotation, grid, clear)
            miss = max(0.0, -clears)
            told.append(Found(float(scale), rotation, grid[best], float(scale) * room.radius, miss))
            if miss == 0:
                break  # smaller ones fit too
    told.sort(key=lambda f: -(f.worth - 4 * f.missing_mm))
    return told[:keep]


def _seen_from_flaws(room: Room, scale: float, rotation: Array, grid: Array) -> Array:
    """Return (g,) how far every flaw's samples lie from the figure at each shift, resolved to the figure's own grid.

    A crack may pass between a figure's samples: its own samples then lie inside the figure.
    """
    clear = np.full(len(grid), np.inf)
    each = max(8, _FLAW_SAMPLES // max(1, len(room.obstacles)))
    for obstacle in room.obstacles:
        samples = obstacle.samples[:: max(1, len(obstacle.samples) // each)]
        local = (samples - grid[:, None]) @ rotation / scale + room.middle  # (g, s, 3)
        clear = np.minimum(clear, room.grid.about(local).min(axis=1) * scale - obstacle.margin_mm)
    return clear


def _clearest(room: Room, scale: float, rotation: Array, grid: Array, clear: Array) -> tuple[int, float]:
    """Return the shift that clears most, and by how much, what lies inside the figure looked at too.

    A crack may pass between a figure's samples: its own samples then lie inside the figure.
    """
    best, most = int(clear.argmax()), -np.inf
    for k in np.argsort(-clear, kind="stable")[:4]:
        least = float(clear[k])
        for obstacle in room.obstacles:
            samples = obstacle.samples[:: max(1, len(obstacle.samples) // 150)]
            local = (samples - grid[k]) @ rotation / scale + room.middle
            inside = room.field.signed(local)[0] * scale
            least = min(least, float(inside.min()) - obstacle.margin_mm)
        if least > most:
            best, most = int(k), least
        if most >= 0:
            break
    return best, most


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
    lines = [np.linspace(low[k], high[k], 1 if wide[k] < 1e-6 else 6) for k in range(3)]
    grid = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 3)
    return grid[(grid @ room.normals.T <= slack + 0.02 * room.radius).all(axis=1)]

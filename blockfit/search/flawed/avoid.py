"""Where a figure goes in stone with flaws, or in a rough block: the best found, by small steps from many starts.

mm, block frame. From many starts, small linear programs on exact distances (what lies nearest, and which way it gives)
lead to a local best; the best of them is then checked apart from the search, by exact distances of solids."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.programs import least
from blockfit.geometry.turns import turned_by
from blockfit.search.flawed.room import ROWS, Place, Room, near_rows, plane_clearances

__all__ = ["Aim", "Climb", "begun", "climbed", "merit"]

_LIFT = 0.05
_MISS = 60.0  # what a missing mm weighs against a gained one
_GAIN_MM = 1e-7  # a step that brings less is none
# Of the figure's radius: a climb ends where it gains less than the first by steps below the second, or its steps are
# below the first.
_END, _STEPS_END = 1e-5, 1e-3
_VANISHED = 1e-6  # of the scale before: a program that shrinks a figure so far has lost it


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
class Climb:
    """How far a climb has come: the best so far, the next step's length, and whether no step gains any more."""

    best: Place
    trust: float
    ended: bool = False


def begun(room: Room, start: Place, aim: Aim, spare_mm: float = 0.0) -> Climb:
    """Return a climb before its first step."""
    trust = 0.15 * room.radius * start.scale
    return Climb(_valued(room, start, aim, spare_mm, trust), trust)


def climbed(
    room: Room,
    climb: Climb,
    stance: Callable[[Array], bool],
    axes: Array,
    aim: Aim,
    spare_mm: float = 0.0,
    *,
    steps: int = 45,
) -> Climb:
    """Return where small steps lead from where a climb has come to.

    ``stance`` tells whether a rotation is allowed, ``axes`` (k, 3) are those about which it may be turned;
    ``spare_mm`` is asked beyond every margin.
    """
    best, trust, ended = climb.best, climb.trust, climb.ended
    for _ in range(steps):
        if ended:
            break
        step = _step(room, best, axes, aim, trust, spare_mm)
        if step is None:
            return Climb(best, trust, True)
        trial = _valued(room, step, aim, spare_mm, 1.5 * trust) if stance(step.rotation) else None
        if trial is None and len(axes):
            upright = _step(room, best, axes[:0], aim, trust, spare_mm)
            trial = None if upright is None else _valued(room, upright, aim, spare_mm, 1.5 * trust)
        gain = -np.inf if trial is None else merit(trial) - merit(best)
        if trial is not None and gain > _GAIN_MM:
            best, trust = trial, trust * 1.5
            ended = gain < _END * room.radius and trust < _STEPS_END * room.radius
        else:
            trust /= 3
        ended = ended or trust < _END * room.radius
    return Climb(best, trust, ended)


def merit(found: Place) -> float:
    """Return what a placement is worth, less what it lacks."""
    return found.worth - _MISS * found.missing_mm


def _valued(room: Room, at: Place, aim: Aim, spare_mm: float, trust: float) -> Place:
    """Return a placement with what it is worth, in mm, what it lacks, and what is near for steps of ``trust`` mm."""
    near = near_rows(room, at, spare_mm + 3 * trust)
    planes = plane_clearances(room, at)
    if aim.kind == "deepest":
        rough = bool(room.crowd.is_outside.any())
        worth = near[1].least if rough else float(planes[room.counted].min(initial=np.inf))
    else:
        # Of places equally far back, the one that lifts the figure least.
        worth = at.scale * room.radius if aim.kind == "largest" else -float(at.at[1]) - _LIFT * float(at.at[2])
    clear = min(float(planes.min(initial=np.inf)), near[0].least, near[1].least)
    missing = max(0.0, spare_mm - clear, _strayed(at, aim))
    return replace(at, worth=worth, missing_mm=missing, near=near)


def _strayed(at: Place, aim: Aim) -> float:
    """Return how far a placement strays from where it is to stay."""
    over = max(0.0, at.scale - aim.most) if aim.kind == "largest" else 0.0
    if aim.start is None:
        return over
    x, y = (at.at - aim.start)[:2].tolist()
    return float(max(over, abs(x) - aim.aside, -y if aim.kind == "nearest" else 0.0, 0.0))


def _step(room: Room, at: Place, axes: Array, aim: Aim, trust: float, spare_mm: float) -> Place | None:
    """Return where one linear program leads within ``trust`` mm.

    Its unknowns: shift (3), turns about ``axes``, growth where the scale is sought, what is missing, what is gained.
    """
    turns, grows = len(axes), aim.kind == "largest"
    rows, rest = _kept_apart(room, at, axes, aim, trust, spare_mm)
    cost, bounds = _sought(room, at, turns, aim, trust)
    found = least(cost, rows, rest, bounds)
    if found is None:
        return None
    move = found.point
    spin = sum((move[3 + k] * axes[k] for k in range(turns)), np.zeros(3)) / at.scale / room.radius
    scale = at.scale + (float(move[3 + turns]) / room.radius if grows else 0.0)
    if scale <= _VANISHED * at.scale:
        return None
    return Place(scale, turned_by(spin) @ at.rotation, at.at + move[:3], 0.0, np.inf)


def _columns(turns: int, aim: Aim) -> int:
    """Return how many unknowns a step has."""
    return 3 + turns + int(aim.kind == "largest") + 2


def _kept_apart(room: Room, at: Place, axes: Array, aim: Aim, trust: float, spare_mm: float) -> tuple[Array, Array]:
    """Return rows (n, k) and room (n,): what must stay clear of planes and obstacles, as far as a step can lead."""
    turns, columns = len(axes), _columns(len(axes), aim)
    rows, rest = [], []
    rough = bool(room.crowd.is_outside.any())

    def add(clear: Array, ways: Array, points: Array, gained: bool = False) -> None:
        """Clear + ways · movement >= 0, except for what is missing."""
        arm = points - at.at
        block = np.zeros((len(clear), columns))
        block[:, :3] = -ways
        block[:, 3 : 3 + turns] = -(np.cross(arm, ways) @ axes.T) / at.scale / room.radius
        if aim.kind == "largest":
            block[:, 3 + turns] = -(ways * arm).sum(axis=1) / at.scale / room.radius
        block[:, -2] = -1.0
        if gained and aim.kind == "deepest":
            block[:, -1] = 1.0
        rows.append(block)
        rest.append(clear - spare_mm)

    corners = at.scale * room.corners @ at.rotation.T + at.at
    heights = corners @ room.normals.T
    for k, normal in enumerate(room.normals):
        clear = room.offsets[k] - heights[:, k]
        near = np.flatnonzero(clear < clear.min() + 2 * trust)
        near = near[np.argsort(clear[near], kind="stable")[:ROWS]]
        add(clear[near], np.tile(-normal, (len(near), 1)), corners[near], bool(room.counted[k]) and not rough)
    assert at.near is not None
    for side, outside in zip(at.near, (False, True), strict=True):
        if len(side.clear):
            keep = side.clear <= max(side.least if outside else 0.0, spare_mm) + 3 * trust
            add(side.clear[keep], side.ways[keep], side.points[keep], outside)
    return np.concatenate(rows), np.concatenate(rest)


def _sought(
    room: Room, at: Place, turns: int, aim: Aim, trust: float
) -> tuple[Array, list[tuple[float | None, float | None]]]:
    """Return what each unknown costs, and between what it may lie."""
    columns = _columns(turns, aim)
    cost = np.zeros(columns)
    cost[-2] = _MISS
    bounds: list[tuple[float | None, float | None]] = [(-trust, trust)] * (columns - 2)
    bounds += [(0.0, None), (None, None) if aim.kind == "deepest" else (0.0, 0.0)]
    if aim.kind == "largest":
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
    return cost, bounds

"""Finding the largest convex piece of free stone that up to three flat cuts take off.

Works on sampled points: for three directions, stone and obstacles are sorted into bins along each, and running
sums from the far ends give the stone beyond every triple of planes at once, and whether an obstacle lies there.
A plane left at the near end is no cut, so that single cuts and rebates are among them. Resolved to the samples;
the planner then sets every plane exactly."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.tolerances import CLOSE, LEAST_SIZE, PARALLEL, ROUNDING
from blockfit.geometry.turns import about, spread_directions

__all__ = ["Samples", "SampledWedge", "best_wedges", "cuts_seen", "draw_out", "frame_of", "made_by"]

_BINS = 26
_MOST_TRIPLES = 8
_FULL = 1 << 24  # what an obstacle counts for: more than all samples of stone
_FEW = 3  # samples behind a plane that may be rounding
_PER_CUT = 0.004  # of the block's stone that a further cut must bring


@dataclass(frozen=True, slots=True, eq=False)
class SampledWedge:
    """Where all of ``normals @ x >= offsets`` hold; ``stone`` is the share of the block's samples in it.

    The last ``fixed`` planes border on what earlier pieces took, and stay where they are.
    """

    normals: Array
    offsets: Array
    stone: float
    fixed: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Free ``stone`` (p, 3) and ``obstacles`` (q, 3), each to be kept clear by its ``keep`` (q,) in mm; ``whole`` is
    how many points the whole block had."""

    stone: Array
    obstacles: Array
    keep: Array
    whole: int


def best_wedges(  # noqa: PLR0913
    samples: Samples,
    *,
    most_cuts: int,
    least_mm: float,
    seed: int,
    tries: int,
    kind: str = "any",
    faces: Array,
    known: Sequence[Array] = (),
) -> list[SampledWedge]:
    """Return the best wedges found that hold free stone and no obstacle, best first; reruns agree.

    ``least_mm`` is the least depth of stone beyond every cut. ``tries`` is how often the leaders are disturbed,
    ``known`` are directions (3, 3) each that did well elsewhere. ``kind``: any planes, only planes square to one of the
    block's ``faces`` (f, 3), slant, or parallel to one, square.
    """
    random = np.random.default_rng(seed)
    found: list[SampledWedge] = []
    for frame in (*_frames(faces, kind), *known):
        found += _evaluate(frame, samples, most_cuts, least_mm)
    if kind != "square":
        found += _single_cuts(samples, least_mm, faces if kind == "slant" else None)
    found.sort(key=lambda wedge: -_merit(wedge))
    if not found:
        return []
    if kind == "square":
        return found
    leaders = found[:3]
    for attempt in range(tries):
        slot = attempt % len(leaders)
        spread = 0.35 * (1 - attempt / tries) + 0.02
        frame = _disturbed(leaders[slot], spread, random)
        frame = _made_slant(frame, faces) if kind == "slant" else frame
        for wedge in _evaluate(frame, samples, most_cuts, least_mm):
            if _merit(wedge) > _merit(leaders[slot]):
                leaders[slot] = wedge
    return sorted([*leaders, *found], key=lambda wedge: -_merit(wedge))


def draw_out(normals: Array) -> Array | None:
    """Return the direction (3,), level or straight up, in which a piece leaves all its cuts; ``None`` if none does.

    A piece that lies beyond every ``normals · x >= offset`` and moves along d with ``normals · d >= 0`` stays
    beyond them, where nothing else is: it strikes nothing.
    """
    angles = np.radians(np.arange(0, 360, 7.5))
    ways = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(len(angles))])
    ways = np.vstack([np.round(ways, 12), [0, 0, 1]])
    away = (ways @ normals.T).min(axis=1)
    best = int(away.argmax())
    return ways[best] if away[best] >= -CLOSE else None


def cuts_seen(wedge: SampledWedge, stone: Array, spacing: float) -> int:
    """Return how many planes of a wedge seem to pass through stone: its own, and those with samples just behind them.

    ``stone`` (n, 3) are samples about ``spacing`` mm apart.
    """
    heights = stone @ wedge.normals.T - wedge.offsets
    close = heights[(heights > -spacing).all(axis=1)]
    behind = [(np.delete(close, k, axis=1) >= 0).all(axis=1) & (close[:, k] < 0) for k in range(len(wedge.normals))]
    free = len(wedge.normals) - wedge.fixed
    return free + sum(int(one.sum()) >= _FEW for one in behind[free:])


def made_by(kind: str, directions: Array, faces: Array) -> Array:
    """Return the directions (n, 3) nearest to these that a ``kind`` of cuts makes: any, slant, or square to faces."""
    if kind == "any":
        return directions
    if kind == "slant":
        return _made_slant(directions, faces)
    ways = _lines_of(faces)
    along = directions @ ways.T
    nearest = np.abs(along).argmax(axis=1)
    return np.asarray(np.sign(along[np.arange(len(directions)), nearest])[:, None] * ways[nearest])


def frame_of(wedge: SampledWedge) -> Array:
    """Return three directions, the wedge's own cuts first, the axes nearest to square with them for the rest."""
    free = wedge.normals[: len(wedge.normals) - wedge.fixed][:3]
    rest = np.argsort(np.abs(free).max(axis=0, initial=0.0), kind="stable")[: 3 - len(free)]
    return np.concatenate([free, np.eye(3)[rest]])


def _merit(wedge: SampledWedge) -> float:
    return wedge.stone - _PER_CUT * len(wedge.normals)


def _frames(faces: Array, kind: str) -> list[Array]:
    """Return triples of directions: the corners of the block, and the same turned about the vertical.

    ``square``: triples of the faces' own directions, up to so many that a block of many faces takes no longer.
    """
    signs = np.array([[x, y, z] for x in (1, -1) for y in (1, -1) for z in (1, -1)], np.float64)
    if kind == "square":
        ways = _lines_of(faces)
        triples = [ways[list(rows)] for rows in combinations(range(len(ways)), 3)]
        spanning = [rows for rows in triples if abs(float(np.linalg.det(rows))) > 0.1]
        return [sign[:, None] * rows for rows in spanning[:_MOST_TRIPLES] for sign in signs]
    turned = [about(2, angle) for angle in (0, 22.5, 45, 67.5)]
    frames = [sign[:, None] * turn for turn in turned for sign in signs]
    return [_made_slant(frame, faces) for frame in frames] if kind == "slant" else frames


def _lines_of(faces: Array) -> Array:
    """Return the directions (n, 3) of faces, opposite ones once; along an axis exactly."""
    kept: list[Array] = []
    for face in faces:
        axis = int(np.abs(face).argmax())
        way = np.eye(3)[axis] if abs(face[axis]) > PARALLEL else face
        if not any(abs(float(way @ other)) > PARALLEL for other in kept):
            kept.append(way)
    return np.array(kept)


def _made_slant(directions: Array, faces: Array) -> Array:
    """Return directions (n, 3), each turned by the least angle that makes its plane square to one of the faces."""
    ways = _lines_of(faces)
    along = directions @ ways.T  # (n, f) sine of the angle to square
    nearest = np.abs(along).argmin(axis=1)
    rows = np.arange(len(directions))
    level = directions - along[rows, nearest][:, None] * ways[nearest]
    level = np.where(np.abs(level) < ROUNDING, 0.0, level)
    return np.asarray(level / np.linalg.norm(level, axis=1, keepdims=True))


def _disturbed(wedge: SampledWedge, spread: float, random: np.random.Generator) -> Array:
    """Return three directions near a wedge's own, one of them moved more; missing ones are drawn anew."""
    frame = np.empty((3, 3))
    count = len(wedge.normals)
    frame[:count] = wedge.normals
    if count < 3:
        drawn = random.normal(size=(3 - count, 3))
        frame[count:] = np.where(random.random((3 - count, 1)) < 0.6, _snapped(drawn), drawn)
    moved = random.random(3) < 0.6
    frame[moved] += spread * random.normal(size=(int(moved.sum()), 3))
    frame /= np.linalg.norm(frame, axis=1, keepdims=True)
    level = np.abs(frame) < 0.04
    frame = np.where(level & (random.random() < 0.5), 0.0, frame)
    return np.asarray(frame / np.linalg.norm(frame, axis=1, keepdims=True))


def _snapped(directions: Array) -> Array:
    """Return the axis nearest to each direction."""
    best = np.abs(directions).argmax(axis=1)
    axes = np.zeros_like(directions)
    rows = np.arange(len(directions))
    axes[rows, best] = np.sign(directions[rows, best])
    return axes


def _single_cuts(samples: Samples, least_mm: float, square_to: Array | None) -> list[SampledWedge]:
    """Return the best single cuts over directions spread on the sphere: only the obstacles' reach matters.

    ``square_to``: only cuts square to one of these faces.
    """
    directions = spread_directions(400)
    if square_to is not None:
        directions = _made_slant(directions, square_to)
    wedges = []
    for start in range(0, len(directions), 50):
        part = directions[start : start + 50]
        heights = samples.stone @ part.T
        offsets = (samples.obstacles @ part.T + samples.keep[:, None]).max(axis=0, initial=-np.inf)
        share = (heights > offsets).sum(axis=0) / samples.whole
        deep = heights.max(axis=0) - offsets > least_mm
        for k in np.flatnonzero(deep & (share > 0) & np.isfinite(offsets)):
            wedges.append(SampledWedge(part[k : k + 1], offsets[k : k + 1], float(share[k])))
    wedges.sort(key=lambda wedge: -wedge.stone)
    return wedges[:2]


def _evaluate(frame: Array, samples: Samples, most_cuts: int, least_mm: float) -> list[SampledWedge]:
    """Return the best wedge along three directions for each number of cuts."""
    places = frame @ samples.stone.T  # (3, p): long rows, which numpy reduces quickly
    blocked = frame @ samples.obstacles.T + samples.keep
    low, high = places.min(axis=1), places.max(axis=1)
    step = np.maximum((high - low) / _BINS, LEAST_SIZE)
    counts = np.bincount(_bin(places, low, step), minlength=_BINS**3)
    inside = (blocked[0] >= low[0]) & (blocked[1] >= low[1]) & (blocked[2] >= low[2])
    counts[_bin(blocked[:, inside], low, step)] += _FULL
    counts = counts.reshape((_BINS,) * 3)
    for axis in range(3):
        far_first = np.flip(counts, axis)
        np.cumsum(far_first, axis=axis, out=far_first)
    deepest = [max(_BINS - int(np.ceil(least_mm / s)), 1) for s in step]
    counts = counts[: deepest[0], : deepest[1], : deepest[2]]
    counts[counts >= _FULL] = 0
    wedges = []
    for cuts in range(1, most_cuts + 1):
        most, best = max((_most_of(counts, kept) for kept in combinations(range(3), cuts)), key=lambda one: one[0])
        if most > 0:
            chosen = [k for k in range(3) if best[k] > 0]
            offsets = low + step * np.array(best)
            if draw_out(frame[chosen]) is not None:
                wedges.append(SampledWedge(frame[chosen], offsets[chosen], most / samples.whole))
    return wedges


def _most_of(counts: Ints, along: tuple[int, ...]) -> tuple[int, list[int]]:
    """Return the most stone beyond planes along just these of the three directions, and their places along all."""
    part = counts[tuple(slice(1, None) if k in along else 0 for k in range(3))]
    if part.size == 0:
        return 0, [0, 0, 0]
    best = np.unravel_index(int(part.argmax()), part.shape)
    place = [0, 0, 0]
    for k, at in zip(along, best, strict=True):
        place[k] = int(at) + 1
    return int(part[best]), place


def _bin(places: Array, low: Array, step: Array) -> Ints:
    """Return (n,) the number of the cell that holds each of (3, n) places; what lies beyond the last is in the last."""
    at = np.minimum((places - low[:, None]) / step[:, None], _BINS - 1).astype(np.int64)
    return np.asarray((at[0] * _BINS + at[1]) * _BINS + at[2])

"""The largest figure beyond one flat cut that clears another: every direction and every rotation, with proof.

In mm about the block's middle. The block, its cover taken off, is {x : N x <= b}. A cut of direction n leaves the
second figure where ``n·x >= o(n) = h_F(n) + k``: the first figure's reach, and what must lie between the two, cover
included. For fixed n that is one more face, so that the scale follows from dependencies: those of the block alone, and
those that write n as Σ λ_j N_j with λ >= 0; they bound it by ``(Σ λ_j b_j − o(n)) / (h_G(−n) + Σ λ_j h_G(N_j))``.

Bound over a cell, a triangle of directions n₁ n₂ n₃ times a cell of rotations. A direction of the triangle is n = Σ μ_i
n_i with μ >= 0 and Σ μ_i <= 1/d, d the distance of the flat triangle from the origin. For any point p of the first
figure h_F(n) >= n·p, so that ``Σ μ_i n_i·(x − p) >= k`` and some ``n_i·(x − p) >= k d``: the second figure lies in the
block beyond one of three planes, and so where ``n₀·x >= c``, with c the least of n₀·x over those three parts of the
block. That is a fixed plane, for which reaches are bounded over the rotations as in `bounds`."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.polytope import corners_of, polytope_volume
from blockfit.geometry.tolerances import MEETING, NOT_ZERO, ROUNDING
from blockfit.geometry.turns import spread_directions
from blockfit.search.proof.cells import Cells, outside_stance, split, start_cubes, start_turns
from blockfit.search.proof.dependencies import MOST_LISTED, dependencies, pair_rows
from blockfit.search.proof.drawn import drawn_rotations, rotations_near
from blockfit.search.proof.support import Hull, reach, spread_points
from blockfit.search.proof.together import least_of, least_together
from blockfit.solids.stance import Stance

__all__ = ["Parted", "Parting", "largest_beyond", "most_stone_beyond", "parting_of"]

_BATCH = 8192
_MOST_POINTS = 300  # of a hull that the bounds use: fewer points leave the bounds valid
_WIDE = 3.0  # a triangle this many times as wide as its turns are is divided first
_SPARE = 1e-9  # of the block's size, given away in every bound for rounding
_TRIALS, _ROUNDS = 256, 40  # of a climb: disturbed so often at once, and so many times
_SIGNS = [np.diag([x, y, z]) for x in (1.0, -1.0) for y in (1.0, -1.0) for z in (1.0, -1.0)]
_OCTAHEDRON = np.array(_SIGNS)  # (8, 3, 3) triangles whose corners are the axes
_ON = 1e-7  # of the block's size: corners so near a face lie on it
_STILL = 1e-5  # radians: a climb by chance ends with changes so small


@dataclass(frozen=True, slots=True, eq=False)
class Parting:
    """The question: the block's ``normals`` (f, 3) and ``offsets`` (f,) left after skin and cover, its ``corners`` and
    ``edges`` (e, 2), about its ``middle``; the ``first`` figure's hull (n, 3) and the ``clear`` distance from it; the
    ``second`` figure's hull, and ``tolerance`` of its points.

    ``triples`` (t, 3) of faces with ``inverses`` (t, 3, 3), so that ``inverses @ n`` are the weights that write n;
    ``weights`` (k, f) are the dependencies of the block alone; ``is_listed``: they are all there are.
    """

    normals: Array
    offsets: Array
    corners: Array
    edges: Ints
    middle: Array
    first: Array
    clear: float
    second: Hull
    tolerance: float
    triples: Ints
    inverses: Array
    weights: Array
    is_listed: bool

    @property
    def size(self) -> float:
        """How far the block reaches from its middle."""
        return float(np.linalg.norm(self.corners, axis=1).max())


@dataclass(frozen=True, slots=True, eq=False)
class Parted:
    """The best cut found, its ``normal`` (3,) and the second figure's ``rotation`` (3, 3) and ``scale``; no cut frees a
    larger one than ``bound`` (proved); the cells spent. A scale of 0: nothing is free."""

    normal: Array
    rotation: Array
    scale: float
    bound: float
    cells: int


def parting_of(
    normals: Array, offsets: Array, first: Array, clear: float, second: Hull, tolerance: float
) -> Parting | None:
    """Return the question about a block ``normals @ x <= offsets``; ``None`` where nothing of the block is left."""
    try:
        corners, kept = corners_of(normals, offsets)
    except ValueError:
        return None
    middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
    normals, offsets, corners = normals[kept], offsets[kept] - normals[kept] @ middle, corners - middle
    on = np.abs(corners @ normals.T - offsets) < _ON * float(np.ptp(corners, axis=0).max())
    pairs = np.array(list(combinations(range(len(corners)), 2)), np.int64)
    edges = pairs[(on[pairs[:, 0]] & on[pairs[:, 1]]).sum(axis=1) >= 2]
    weights, is_listed = dependencies(normals)
    triples = np.array(list(combinations(range(len(normals)), 3) if is_listed else []), np.int64).reshape(-1, 3)
    matrices = np.swapaxes(normals[triples], 1, 2)
    sound = np.abs(np.linalg.det(matrices)) > MEETING
    return Parting(
        normals, offsets, corners, edges, middle, first - middle, clear, second, tolerance,
        triples[sound], np.linalg.inv(matrices[sound]), weights, is_listed,
    )  # fmt: skip


def largest_beyond(question: Parting, stance: Stance, *, gap: float, max_cells: int, seed: int = 0) -> Parted:
    """Return the best cut with its rotation, and a bound proved to ``gap``, or as far as ``max_cells`` led.

    Raises `BadValueError` for a block of more faces than can be listed by fours.
    """
    if not question.is_listed:
        raise BadValueError(
            f"a second figure is sought in blocks of up to {MOST_LISTED} faces, and this one has "
            f"{len(question.normals)}; give a plainer block that lies within it"
        )
    search = _Search(question, stance, seed)
    best = search.best
    turned, settled = _start(stance), 0.0
    triangles = np.repeat(_OCTAHEDRON, len(turned), axis=0)
    turned = turned.pick(np.tile(np.arange(len(turned)), len(_OCTAHEDRON)))
    bounds, by_cut = search.bound(triangles, turned)
    while True:
        best = search.best
        target = best.scale * (1 + gap)
        alive = bounds > target
        settled = max(settled, float(bounds[~alive].max(initial=0.0)))
        triangles, turned, bounds, by_cut = triangles[alive], turned.pick(alive), bounds[alive], by_cut[alive]
        if len(bounds) == 0 or search.cells >= max_cells:
            break
        order = np.argsort(-bounds, kind="stable")
        chosen, rest = order[:_BATCH], order[_BATCH:]
        children = _children(triangles[chosen], turned.pick(chosen), by_cut[chosen])
        found, ways = search.bound(*children)
        triangles = np.concatenate([triangles[rest], children[0]])
        turned = turned.pick(rest).join(children[1])
        bounds, by_cut = np.concatenate([bounds[rest], found]), np.concatenate([by_cut[rest], ways])
    top = max(best.scale, settled, float(bounds.max(initial=0.0)))
    return Parted(best.normal, best.rotation, best.scale, top, search.cells)


def _start(stance: Stance) -> Cells:
    """Return cells that hold every rotation allowed."""
    if stance.is_upright:
        return start_turns(stance.turn, 1 if stance.turn == 0 else 21)
    turned = start_cubes((0, 1, 2, 3), 1)  # of a ball no turn differs from another
    return turned.pick(~outside_stance(turned.rotations(), turned.radii(), stance))


def _quartered(triangles: Array) -> Array:
    """Return the four parts of each triangle of directions, their new corners on the sphere."""
    a, b, c = (triangles[:, k] for k in range(3))
    ab, bc, ca = (_unit(p + q) for p, q in ((a, b), (b, c), (c, a)))
    parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    return np.concatenate([np.stack(part, axis=1) for part in parts])


def _unit(rows: Array) -> Array:
    return np.asarray(rows / np.linalg.norm(rows, axis=-1, keepdims=True))


def _children(triangles: Array, turned: Cells, by_cut: Flags) -> tuple[Array, Cells]:
    """Return the parts of cells: of the triangle where its width costs more, else of the rotations."""
    parts, cells = [], []
    if by_cut.any():
        parts.append(_quartered(triangles[by_cut]))
        cells.append(turned.pick(np.tile(np.flatnonzero(by_cut), 4)))
    if not by_cut.all():
        kept = turned.pick(~by_cut)
        smaller = split(kept)
        parts.append(np.repeat(triangles[~by_cut], len(smaller) // len(kept), axis=0))
        cells.append(smaller)
    joined = cells[0] if len(cells) == 1 else cells[0].join(cells[1])
    return np.concatenate(parts), joined


class _Search:
    """The best so far, and bounds of cells."""

    def __init__(self, question: Parting, stance: Stance, seed: int) -> None:
        self.question, self.stance = question, stance
        points = question.second.points
        self.points = points[spread_points(points, _MOST_POINTS)] if len(points) > _MOST_POINTS else points
        first = question.first
        self.first = (
            first[spread_points(first - first.mean(axis=0), _MOST_POINTS)] if len(first) > _MOST_POINTS else first
        )
        self.random = np.random.default_rng(seed)
        self.cells = 0
        self.best = Parted(np.array([0.0, 0, 1]), np.eye(3), 0.0, np.inf, 0)
        self._seed()

    def _seed(self) -> None:
        """Find good cuts before any proof: drawn at random, the best of them climbed."""
        normals = spread_directions(16 * _TRIALS)
        rotations = drawn_rotations(self.stance, len(normals), self.random)
        values = self.values(normals, rotations)
        kept: list[int] = []
        for k in np.argsort(-values, kind="stable"):
            if values[k] > 0 and all(normals[k] @ normals[j] < 0.95 for j in kept):
                kept.append(int(k))
            if len(kept) == 8:
                break
        for k in kept:
            self.climb(normals[k], rotations[k], 0.3)

    def climb(self, normal: Array, rotation: Array, spread: float) -> None:
        """Take a cut and a rotation, disturbed again and again by less and less, as the best if they become it."""
        value = float(self.values(normal[None], rotation[None])[0])
        for _ in range(_ROUNDS):
            normals = _unit(normal + spread * self.random.normal(size=(_TRIALS, 3)) * self.random.random((_TRIALS, 1)))
            rotations = rotations_near(rotation, self.stance, spread, _TRIALS, self.random)
            values = self.values(normals, rotations)
            k = int(values.argmax())
            if values[k] > value:
                normal, rotation, value = normals[k], rotations[k], float(values[k])
            else:
                spread *= 0.7
            if spread < _STILL:
                break
        if value > self.best.scale:
            self.best = Parted(normal, rotation, value, np.inf, 0)

    def values(self, normals: Array, rotations: Array) -> Array:
        """Return (b,) the scale that each cut (b, 3) allows at a rotation (b, 3, 3), by all points of both hulls."""
        question = self.question
        step = max(1, 3_000_000 // max(1, len(question.second.points) * len(question.normals)))
        parts = []
        for k in range(0, len(normals), step):
            some, turned = normals[k : k + step], rotations[k : k + step]
            at = reach(question.first, some) + question.clear
            heights = reach(question.second.points, question.normals @ turned)  # (b, f)
            cut = reach(question.second.points, np.einsum("bij,bi->bj", turned, -some))
            weights, valid = self._written(some)
            sums = np.einsum("bti,bti->bt", weights, heights[:, question.triples]) + cut[:, None]
            sums = sums + question.tolerance * (weights.sum(axis=2) + 1)
            room = np.einsum("bti,ti->bt", weights, question.offsets[question.triples]) - at[:, None]
            corner = np.where(valid, room / np.where(sums > 0, sums, 1.0), np.inf).min(axis=1)
            sums = heights @ question.weights.T + question.tolerance
            alone = (question.weights @ question.offsets) / np.where(sums > 0, sums, NOT_ZERO)
            parts.append(np.minimum(corner, alone.min(axis=1)))
        return np.asarray(np.maximum(np.concatenate(parts), 0.0))

    def _written(self, normals: Array) -> tuple[Array, Flags]:
        """Return weights (b, t, 3) that write each direction by each triple of faces, and whether all are >= 0."""
        weights = np.einsum("tij,bj->bti", self.question.inverses, normals)
        valid = (weights >= -ROUNDING).all(axis=2)
        return np.maximum(weights, 0.0), valid

    def bound(self, triangles: Array, turned: Cells) -> tuple[Array, Flags]:
        """Return (b,) what no cut and rotation of each cell beats, and whether to divide it by directions."""
        self.cells += len(triangles)
        step = max(1, 4_000_000 // (len(self.points) * len(self.question.normals) + 4 * len(self.first)))
        parts = [
            self._bound(triangles[k : k + step], turned.pick(np.arange(k, min(k + step, len(turned)))))
            for k in range(0, len(triangles), step)
        ]
        return np.concatenate([bounds for bounds, _ in parts]), np.concatenate([ways for _, ways in parts])

    def _bound(self, triangles: Array, turned: Cells) -> tuple[Array, Flags]:
        question, rotations, radii = self.question, turned.rotations(), turned.radii()
        middle = _unit(triangles.sum(axis=1))
        exact = reach(self.first, middle) + question.clear
        least = _least_offsets(question, self.first, triangles, middle) - _SPARE * question.size
        touching, heights = self._contacts(rotations, middle)  # (b, f + 1, 3), (b, f + 1)
        weights, valid = self._written(middle)
        sums = np.einsum("bti,bti->bt", weights, heights[:, question.triples]) + heights[:, -1:]
        sums = sums + question.tolerance * (weights.sum(axis=2) + 1)
        room = np.einsum("bti,ti->bt", weights, question.offsets[question.triples])
        at_middle = np.where(valid, (room - exact[:, None]) / np.maximum(sums, NOT_ZERO), np.inf)
        t = at_middle.argmin(axis=1)  # the triple that decides at the middle
        rows = np.arange(len(t))
        chosen, faces = weights[rows, t], question.triples[t]
        left_over = np.linalg.norm(middle - np.einsum("bi,bij->bj", chosen, question.normals[faces]), axis=1)
        matrices = np.einsum("bi,bij,bik->bjk", chosen, touching[rows[:, None], faces], question.normals[faces])
        matrices = matrices - touching[:, -1, :, None] * middle[:, None, :]
        each = chosen.sum(axis=1) + 1
        free = room[rows, t] - least + 3 * question.size * left_over
        holds = np.isfinite(least) & (free > 0)
        low = least_of(matrices, radii, turned)
        low = np.maximum(np.maximum(low, question.second.inner_radius * each) + question.tolerance * each, NOT_ZERO)
        corner = np.where(holds, free / low, 0.0)
        moments = touching[:, :-1, :, None] * question.normals[:, None, :]  # (b, f, 3, 3)
        own = np.einsum("kf,bfij->bkij", question.weights, moments)
        block = self._block_bound(own, radii, turned)
        bounds = np.minimum(corner, block)
        if not turned.are_turns:
            each_room = np.where(holds, free, 1.0)[:, None, None, None]
            together = np.concatenate([matrices[:, None] / each_room, own / self.rooms[:, None, None]], axis=1)
            bounds = np.where(holds, np.minimum(bounds, 1 / least_together(together, radii)), bounds)
        inside = np.ones(len(bounds), bool)
        if not (turned.are_turns or self.stance.is_free):
            inside = ~outside_stance(rotations, radii, self.stance)
        bounds = np.where(inside, bounds, 0.0)
        centre = np.maximum(sums[rows, t], NOT_ZERO)
        by_cut = (exact - least) / low > np.maximum(free, 0.0) * (1 / low - 1 / centre)
        self._take_best(middle, rotations, np.where(inside, np.minimum(at_middle[rows, t], block), 0.0))
        # Where the block alone settles the middle, smaller turns settle the cell, or a smaller triangle at once.
        alone = heights[:, :-1] @ question.weights.T + question.tolerance
        settles = ((question.weights @ question.offsets) / np.maximum(alone, NOT_ZERO)).min(axis=1) <= self.best.scale
        wide = np.linalg.norm(triangles[:, 0] - triangles[:, 1], axis=1) > _WIDE * radii
        return bounds, np.asarray(by_cut | (settles & wide) | (radii <= 0))

    def _take_best(self, normals: Array, rotations: Array, promising: Array) -> None:
        """Climb from the cells' middles that promise more than the best so far."""
        order = np.argsort(-promising, kind="stable")[:4]
        order = order[promising[order] > self.best.scale]
        if len(order):
            allowed = [k for k in order if self.stance.allows(rotations[k], 0.0)]
            values = self.values(normals[allowed], rotations[allowed]) if allowed else np.zeros(0)
            for k, value in zip(allowed, values, strict=True):
                if value > self.best.scale:
                    self.climb(normals[k], rotations[k], 0.1)

    def _contacts(self, rotations: Array, middle: Array) -> tuple[Array, Array]:
        """Return the points (b, f + 1, 3), turned, that reach furthest to each face and against the cut; how far."""
        block = np.broadcast_to(self.question.normals, (len(middle), *self.question.normals.shape))
        directions = np.concatenate([block, -middle[:, None]], axis=1)
        seen = (directions @ rotations) @ self.points.T  # (b, f + 1, n)
        touching = self.points[seen.argmax(axis=2)] @ np.swapaxes(rotations, 1, 2)
        return touching, seen.max(axis=2)

    @property
    def rooms(self) -> Array:
        """What the dependencies of the block alone leave (k,), slightly more for rounding."""
        return np.asarray(self.question.weights @ self.question.offsets + _SPARE * self.question.size)

    def _block_bound(self, matrices: Array, radii: Array, turned: Cells) -> Array:
        """Return (b,) what the block alone allows over the rotations of each cell."""
        pairs = pair_rows(self.question.weights)
        low = [least_of(matrices[:, k], radii, turned, pair=bool(is_pair)) for k, is_pair in enumerate(pairs)]
        sums = np.maximum(np.stack(low, axis=1), self.question.second.inner_radius) + self.question.tolerance
        return np.asarray((self.rooms / np.maximum(sums, NOT_ZERO)).min(axis=1))


def _least_offsets(question: Parting, first: Array, triangles: Array, middle: Array) -> Array:
    """Return (b,) the least of ``middle · x`` where any cut of the triangle leaves the second figure room."""
    flat = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    off = np.abs((flat * triangles[:, 0]).sum(axis=1)) / np.linalg.norm(flat, axis=1)
    looked = np.concatenate([triangles, middle[:, None]], axis=1)  # (b, 4, 3)
    points = first[(looked @ first.T).argmax(axis=2)]
    bars = np.einsum("bij,bpj->bpi", triangles, points) + (question.clear * off)[:, None, None]  # (b, p, i)
    heights, levels = triangles @ question.corners.T, middle @ question.corners.T  # (b, i, v), (b, v)
    beyond = heights[:, None] >= bars[..., None]
    lowest = np.where(beyond, levels[:, None, None], np.inf).min(axis=3)
    a, b = question.edges.T
    start, end = heights[:, None, :, a], heights[:, None, :, b]
    crosses = (start < bars[..., None]) != (end < bars[..., None])
    share = np.where(crosses, (bars[..., None] - start) / np.where(crosses, end - start, 1.0), 0.0)
    at = levels[:, None, None, a] + share * (levels[:, b] - levels[:, a])[:, None, None]
    lowest = np.minimum(lowest, np.where(crosses, at, np.inf).min(axis=3))
    return np.asarray(lowest.min(axis=2).max(axis=1))


def most_stone_beyond(question: Parting, *, gap: float, max_cells: int = 100_000) -> tuple[Array, float, float]:
    """Return the direction (3,) of the cut that frees most stone, the volume in mm³, and what no cut exceeds (proved).

    For a triangle of directions all that any of its cuts frees lies beyond one plane: that part's volume is the bound.
    """
    triangles, settled, spent = _OCTAHEDRON, 0.0, 0
    best, most = np.array([0.0, 0, 1]), 0.0
    bounds = np.full(len(triangles), np.inf)
    while len(triangles):
        middle = _unit(triangles.sum(axis=1))
        # Corners of triangles are tried too: the best cut often is square to a face.
        for normal in np.concatenate([middle, triangles.reshape(-1, 3)]):
            volume = _stone_beyond(question, normal, float(reach(question.first, normal)) + question.clear)
            if volume > most:
                best, most = normal, volume
        least = _least_offsets(question, question.first, triangles, middle) - _SPARE * question.size
        bounds = np.array([_stone_beyond(question, n, float(at)) for n, at in zip(middle, least, strict=True)])
        alive = bounds > most * (1 + gap)
        settled = max(settled, float(bounds[~alive].max(initial=0.0)))
        spent += len(triangles)
        if spent > max_cells:
            return best, most, max(most, settled, float(bounds.max()))
        triangles = _quartered(triangles[alive]) if alive.any() else triangles[:0]
    return best, most, max(most, settled)


def _stone_beyond(question: Parting, normal: Array, at: float) -> float:
    """Return the volume of the block beyond a plane."""
    heights = question.corners @ normal
    if not np.isfinite(at) or at >= heights.max():
        return 0.0
    a, b = question.edges.T
    crosses = (heights[a] < at) != (heights[b] < at)
    start, end = question.corners[a[crosses]], question.corners[b[crosses]]
    share = (at - heights[a[crosses]]) / (heights[b[crosses]] - heights[a[crosses]])
    rim = start + share[:, None] * (end - start)
    return polytope_volume(np.concatenate([question.corners[heights >= at], rim]))

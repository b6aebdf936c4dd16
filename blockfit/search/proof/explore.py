"""Best-first search over cells of rotations until no cell can beat the best rotation by more than a gap.

Budgets count cells, so that reruns agree to the last digit."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.tolerances import CLOSE, NOT_ZERO, ROUNDING
from blockfit.search.proof.bounds import least_over_turns, least_over_vertical, least_width
from blockfit.search.proof.cells import Cells, outside_stance, split, start_patches
from blockfit.search.proof.polish import Polished, TightBound, polish, within_stance
from blockfit.search.proof.questions import Question, Rows
from blockfit.search.proof.support import spread_points
from blockfit.solids.stance import Stance

__all__ = ["Found", "explore"]

_BETTER = 1e-15  # of the merit: less is no other answer
_LEAST_TRUST = 1e-6  # radians: no climb begins with smaller steps


class Climber(Protocol):
    """Goes from a good rotation to the best near it, with steps of up to ``trust`` and down to ``close`` radians."""

    def __call__(
        self, question: Question, points: Array, rotation: Array, trust: float, stance: Stance, *, close: float
    ) -> Polished:
        """Return what was found."""
        ...


_BATCH = 2048  # cells a round: enough for numpy, few enough to stay best-first
_POLISH_AROUND = 0.06  # radians: cells this small that will not go away get a certificate of their own
_MOST_POINTS = 800  # hulls up to this size are used whole; of larger ones, the points that turn out to matter
_CLOSE = 1e-3  # radians: the last step of a climb, until the best is climbed to its last digit at the end
_FEW = 10  # dependencies used in a cell's bound where a block has more
_LOOKED_AT = 32  # leading cells a round whose contacts and dependencies are taken in


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """The best rotation, its merit, what no rotation beats, the cells spent, and the search's course.

    ``trace`` is (rounds, 3): cells so far, best merit, bound. ``pair`` is the dependency that alone decides, if
    it is a single pair of opposite faces, so that the best rotations form a circle; else −1.
    """

    rotation: Array
    value: float
    bound: float
    cells: int
    trace: Array
    pair: int


def explore(  # noqa: PLR0913, PLR0915
    question: Question,
    points: Array,
    start: Cells,
    stance: Stance,
    allow: Callable[[float], float],
    *,
    max_cells: int,
    climb: Climber = polish,
    seeds: Sequence[Array] = (),
    proved: float = np.inf,
) -> Found:
    """Search the cells of ``start``; ``allow(best)`` is the merit above which a cell must be looked at again.

    ``climb`` goes from a good rotation to the best near it. ``seeds`` are rotations (3, 3) to begin with, and
    ``proved`` is what is known beforehand that none beats.
    """
    search = _Search(question, points, stance, climb)
    for rotation in (np.eye(3), *seeds):
        if stance.allows(rotation):
            search.value_at(rotation)
    if not question.is_listed:
        search.take_dependencies(start.pick(np.arange(0, len(start), max(1, len(start) // 150))))
    frontier, bounds = start, search.bound(start)
    search.improve(start)
    settled = -np.inf  # the highest bound among cells that were let go
    trace = []
    while True:
        target = allow(search.best.value)
        search.close = _close(question, search.best.value, target)
        alive = bounds > target
        settled = max(settled, float(bounds[~alive].max(initial=-np.inf)))
        frontier, bounds = frontier.pick(alive), bounds[alive]
        top = max(min(proved, max(settled, float(bounds.max(initial=-np.inf)))), search.best.value)
        trace.append((search.cells, search.best.value, top))
        if len(frontier) == 0 or search.cells >= max_cells or proved <= target:
            break
        pair = search.deciding_pair()
        if pair >= 0 and not (frontier.are_patches or frontier.are_turns) and _is_small(frontier):
            axis = question.normals[int(np.flatnonzero(question.weights[pair])[0])]
            frontier = start_patches(axis, half_sphere=stance.is_free and question.is_box)
            settled, proved = -np.inf, top  # the patches hold every rotation anew
            bounds = search.bound(frontier)
            continue
        order = np.argsort(-bounds, kind="stable")
        chosen, rest = order[:_BATCH], order[_BATCH:]
        search.certify(frontier.pick(chosen[:1]))
        search.take_contacts(frontier.pick(chosen[:_LOOKED_AT]))
        search.take_dependencies(frontier.pick(chosen[: 2 if question.is_listed else _LOOKED_AT]))
        parents = frontier.pick(chosen)
        children = split(parents, search.settled_by_axis(parents, target))
        frontier, bounds = frontier.pick(rest), bounds[rest]
        child_bounds = search.bound(children)
        search.improve(children)
        frontier, bounds = frontier.join(children), np.concatenate([bounds, child_bounds])
    if not start.are_turns:  # their cells lead to the last digit by themselves
        search.finish()
    best, top = search.best, max(top, search.best.value)
    trace[-1] = (search.cells, best.value, top)
    return Found(best.rotation, best.value, top, search.cells, np.array(trace), search.deciding_pair())


def _is_small(cells: Cells) -> bool:
    """Whether cubes have become so small that only a circle of best rotations can keep so many alive."""
    return len(cells) > 1000 and float(np.median(cells.radii())) < _POLISH_AROUND


class _Search:
    """The state of one search: the best so far, the certificates, and the cells spent."""

    def __init__(self, question: Question, points: Array, stance: Stance, climb: Climber = polish) -> None:
        self.question, self.all_points, self.stance, self.climb = question, points, stance, climb
        # A subset of the points gives a valid bound; incumbents are valued with all of them.
        self.used = np.zeros(len(points), bool)
        self.used[spread_points(points, _MOST_POINTS) if len(points) > _MOST_POINTS else slice(None)] = True
        self.points = points[self.used]
        self.best = Polished(np.eye(3), -np.inf, None)
        self.certificates: list[TightBound] = []
        self.cells = 0
        self.close = _CLOSE
        self.trust = _POLISH_AROUND  # how far the best may lie from the top of its slope
        self.centre_values: Array = np.zeros(0)

    def value_at(self, rotation: Array) -> None:
        """Take a rotation as the best if it is."""
        value = self.question.value(self.all_points, rotation)
        if value > self.best.value:
            self.best, self.trust = Polished(rotation, value, None), _POLISH_AROUND

    def finish(self) -> None:
        """Climb from the best to its last digit."""
        best = self.best
        found = self.climb(self.question, self.all_points, best.rotation, self.trust, self.stance, close=0.0)
        if found.value > best.value + _BETTER * abs(best.value):
            self.best = found
        elif best.certificate is None and found.certificate is not None:
            self.best = replace(best, certificate=found.certificate)

    def bound(self, cells: Cells) -> Array:
        """Return (b,) what no rotation of each cell beats; −inf for cells outside the stance."""
        self.cells += len(cells)
        each = max(1, len(self.points)) * len(self.question.lines[0]) + 4 * len(self.question.weights)
        step = max(1, 6_000_000 // each)
        parts = [self._bound(cells.pick(np.arange(k, min(k + step, len(cells))))) for k in range(0, len(cells), step)]
        self.centre_values = np.concatenate([values for _, values in parts]) if parts else np.zeros(0)
        return np.concatenate([bounds for bounds, _ in parts]) if parts else np.zeros(0)

    def _bound(self, cells: Cells) -> tuple[Array, Array]:
        question, radii, rotations = self.question, cells.radii(), cells.rotations()
        moments = _moments(question, self.points, rotations)
        sums = np.einsum("bfii->bf", moments) @ question.weights.T
        values = question.merit(sums, question.rows)
        # Any of the dependencies give a bound; those that are tightest at the centre give the best.
        leading = _leading(question, sums)  # (k,) or (b, k)
        weights = question.weights[leading]
        count = len(cells)
        matrices = (weights @ moments.reshape(count, -1, 9)).reshape(count, -1, 3, 3)
        least = self._least(cells, matrices, leading, radii)
        bounds = question.merit(least, question.rows.pick(leading))
        if self.certificates:
            certificates = self.certificates
            fixed = np.einsum("bij,cjk->bcik", rotations, np.array([c.matrix for c in certificates]))
            least = self._least(cells, fixed, np.array([c.pair for c in certificates]), radii)
            least += np.array([c.constant for c in certificates])
            rows = Rows(np.array([c.room for c in certificates]), np.array([c.load for c in certificates]))
            bounds = np.minimum(bounds, question.merit(least, rows))
        if not cells.are_turns and not self.stance.is_free:
            outside = outside_stance(rotations, radii, self.stance)
            bounds[outside] = values[outside] = -np.inf
        return bounds, values

    def _least(self, cells: Cells, n: Array, held: Ints, radii: Array) -> Array:
        """Return (b, k) lower bounds of tr(E N) over the cells; ``held`` is each N's dependency, −1 for none."""
        if cells.are_turns:
            level, across = n[..., 0, 0] + n[..., 1, 1], n[..., 0, 1] - n[..., 1, 0]
            return least_over_vertical(level, across, n[..., 2, 2], radii[:, None])
        reached = np.broadcast_to(radii[:, None], n.shape[:2])
        if cells.are_patches:  # the pair along the patches' axis does not feel the spin
            reached = np.where(held == self.patch_pair(cells), cells.tilts()[:, None], reached)
        pairs = (held >= 0) & self.question.pairs[held]
        trace = np.einsum("bkii->bk", n)
        x, y, z = (n[..., i, j] - n[..., j, i] for i, j in ((1, 2), (2, 0), (0, 1)))
        axial = np.sqrt(x * x + y * y + z * z)
        width = least_width(trace, axial, reached)
        return width if pairs.all() else np.where(pairs, width, _least_over_turns(n, trace, axial, reached))

    def patch_pair(self, cells: Cells) -> int:
        """Return which dependency is the pair of faces along the patches' axis; −2 for other cells."""
        if not cells.are_patches:
            return -2
        square = np.abs(self.question.normals @ cells.axis) > 1 - ROUNDING
        match = self.question.pairs & ((self.question.weights > 0) == square).all(axis=1)
        return int(match.argmax()) if match.any() else -2

    def deciding_pair(self) -> int:
        """Return the pair of faces that alone decides the best rotation; −1 if more do, or it is not known."""
        return -1 if self.best.certificate is None else self.best.certificate.pair

    def take_dependencies(self, cells: Cells) -> None:
        """Learn what decides at the cells' centres, for a block with too many faces to know it all beforehand."""
        if self.question.is_box:
            return
        found = [self.question.tightest(self.all_points, rotation) for rotation in cells.rotations()]
        rows = np.unique(np.round(np.concatenate(found), 12), axis=0, return_index=True)[1]
        fresh = np.concatenate(found)[rows]
        known = self.question.weights
        new = [row for row in fresh if np.abs(known - row).max(axis=1).min(initial=np.inf) > CLOSE]
        if new:
            self.question = self.question.learning(np.array(new))

    def settled_by_axis(self, cells: Cells, target: float) -> Flags | None:
        """Return (b,) the patches that their axis' pair of faces settles, at their centre, and nothing else does."""
        if not cells.are_patches:
            return None
        question, rotations = self.question, cells.rotations()
        sums = np.einsum("bfii->bf", _moments(question, self.points, rotations)) @ question.weights.T
        mine = np.arange(sums.shape[1]) == self.patch_pair(cells)
        alone, others = (question.merit(sums[:, some], question.rows.pick(some)) for some in (mine, ~mine))
        allowed = ~outside_stance(rotations, np.zeros(len(cells)), self.stance)
        return np.asarray((alone <= target) & (others > target) & allowed)

    def improve(self, cells: Cells) -> None:
        """Polish from the best centres, if they promise more than the best so far."""
        promising = np.argsort(-self.centre_values, kind="stable")[:3]
        for k in promising:
            if not self.centre_values[k] > self.best.value:
                break
            cell = cells.pick(np.array([k]))
            if self.question.value(self.all_points, cell.rotations()[0]) > self.best.value:
                self._polish_from(cell)

    def take_contacts(self, cells: Cells) -> None:
        """Take the contact points at the cells' centres into the subset that the bounds use."""
        if self.used.all():
            return
        seen = (self.question.normals @ cells.rotations()).reshape(-1, 3)
        self.used[(seen @ self.all_points.T).argmax(axis=1)] = True
        self.points = self.all_points[self.used]

    def certify(self, cell: Cells) -> None:
        """Give the cell that stands out most a certificate of its own, once it is small."""
        if not cell.are_turns and float(cell.radii()[0]) < _POLISH_AROUND and len(self.certificates) < 64:
            self._polish_from(cell)

    def _polish_from(self, cell: Cells) -> None:
        if cell.are_turns:  # so few cells lead to the last digit that polishing would cost more
            self.value_at(cell.rotations()[0])
            return
        rotation = within_stance(cell.rotations()[0], self.stance)
        trust = min(0.3, float(cell.radii()[0]))
        found = self.climb(self.question, self.all_points, rotation, trust, self.stance, close=self.close)
        if found.certificate is not None:
            self.certificates.append(found.certificate)
        if found.value > self.best.value:
            self.best, self.trust = found, 4 * max(self.close, _LEAST_TRUST)


def _close(question: Question, best: float, target: float) -> float:
    """Return how close a climb must come for the merit ``target``: a last step of e radians leaves about e² undone."""
    if not (math.isfinite(target) and math.isfinite(best)):
        return _CLOSE
    return min(_CLOSE, 0.03 * math.sqrt(max(0.0, target - best) / max(question.size_of(best), NOT_ZERO)))


def _moments(question: Question, points: Array, rotations: Array) -> Array:
    """Return (b, f, 3, 3) the matrices (R p_j) n_jᵀ of the bounds, with each face's support point p_j at R."""
    axes, which, along = question.lines
    heights = (axes @ rotations) @ points.T  # (b, m, n); one product for all would hang on the number of threads
    far, near = heights.argmax(axis=2), heights.argmin(axis=2)  # (b, m)
    chosen = np.where(along, far[:, which], near[:, which])  # (b, f)
    touching = points[chosen] @ np.swapaxes(rotations, 1, 2)  # (b, f, 3)
    return np.asarray(touching[:, :, :, None] * question.normals[:, None, :])


def _leading(question: Question, sums: Array) -> Ints:
    """Return (k,) all dependencies, or (b, k) the few that allow least at each centre where there are many."""
    if sums.shape[1] <= _FEW:
        return np.arange(sums.shape[1])
    merits = question.merits(sums, question.rows)
    return np.asarray(np.argpartition(merits, _FEW, axis=1)[:, :_FEW])


def _least_over_turns(n: Array, trace: Array, axial: Array, radii: Array) -> Array:
    """Return (b, k) lower bounds of tr(E N) over turns by up to ``radii`` (b, k)."""
    symmetric = (n + np.swapaxes(n, -1, -2)) / 2
    squares = np.maximum((symmetric**2).sum(axis=(-2, -1)) - trace**2 / 3, 0)
    return least_over_turns(trace, axial, np.sqrt(squares), radii)

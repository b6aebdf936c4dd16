"""How far a figure must or can move along one direction: exact, from both sides. mm, block frame.

On every straight line along the way the figure's own stretches and those of what it must not meet forbid open
intervals of movement, exactly. Lines through all that a boolean of the moved solid still finds in the way are added
until it finds nothing that counts. So the least movement that does is proved from below by lines (every smaller one is
forbidden) and from above by solids; the first movement that does not, likewise. A ball is settled by the exact distance
of its centre from the figure, which changes no faster than the figure moves.

What two solids share counts if it is thicker than `FINE_MM` along the way and than `_ASIDE_MM` across it; less is a
touch, or what rounding makes of one."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.measure.booleans import Solid, arrays_of, body_of, gap_between
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.lines import Stretches, nudged, stretches
from blockfit.measure.views import View, view_along
from blockfit.search.flawed.obstacles import Obstacle, grown_body
from blockfit.solids.figure import Figure

__all__ = ["FINE_MM", "Travel", "first_blocked", "first_free"]

FINE_MM = 1e-4
"""What stands in the way by less than this along the way is a touch."""
_ASIDE_MM = 1e-3  # lines so far beside a place see what is thick across the way
_AROUND = _ASIDE_MM * np.array([[0.0, 0.0], [1.0, 0.0], [-0.5, 0.866], [-0.5, -0.866]])
_FEW = 0.3  # of the corners: so few are looked at by themselves
_TOUCH = 1e-7  # mm: what exact solids and lines may differ by
_ENDLESS = 1e7
_LINES = 2500
_ROUNDS = 1000  # each takes at least `FINE_MM`: far more than any pair of solids has needed
_MOST_CELLS = 400_000
_BETWEEN = (0.25, 0.5, 0.75)  # of a way: where the moved solid is looked at besides the end


@dataclass(frozen=True, slots=True, eq=False)
class Travel:
    """The answer: how far, what ends it (a name), and the place of the figure's surface that is stopped (3,).

    ``by_mm`` is ``None`` where no movement up to the most allowed does.
    """

    by_mm: float | None
    stopped_by: str
    at: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Way:
    """One body in the way: forbidden intervals (q, 2) with the places (q, 3) on the figure that they come from."""

    name: str
    intervals: Array
    places: Array


def first_free(
    placed: Figure, obstacles: Sequence[Obstacle], way: Sequence[float], least: float, most: float
) -> Travel:
    """Return the least movement from ``least`` up to ``most`` at which the figure is clear of every obstacle."""
    search = _Search(placed, obstacles, way, most)
    for _ in range(_ROUNDS):
        at = _free_from(search.intervals(), least, most)
        if at is None:
            return Travel(None, *search.met(most, last=True))
        grew = search.look(at)
        after = _free_from(search.intervals(), least, most)
        if after is not None and (not grew or after - at < FINE_MM):
            end = search.scanned_free(after, most)
            return Travel(end, *search.met(after, last=True))
    return Travel(None, "what is in the way", placed.vertices[0].copy())


def first_blocked(placed: Figure, obstacles: Sequence[Obstacle], way: Sequence[float], most: float) -> Travel:
    """Return how far the figure can move, up to ``most``, before it meets an obstacle; 0 where it meets one already."""
    search = _Search(placed, obstacles, way, most)
    for _ in range(_ROUNDS):
        at = _blocked_at(search.intervals(), most)
        grew = [search.look(share * at) for share in (*_BETWEEN, 1.0)] if at > 0 else [search.look(0.0)]
        after = _blocked_at(search.intervals(), most)
        if not any(grew) or at - after < FINE_MM:
            break
    at = _blocked_at(search.intervals(), most)
    end, name = search.scanned_blocked(at)
    met, place = search.met(at)
    return Travel(end, name or met, place)


class _Search:
    """What is known of one movement; it grows as solids are looked at."""

    def __init__(self, placed: Figure, obstacles: Sequence[Obstacle], way: Sequence[float], most: float) -> None:
        self.placed, self.most = placed, most
        self.way = np.asarray(way, np.float64) / np.linalg.norm(way)
        self.view: View = view_along(self.way)
        self.size = float(np.abs(placed.vertices).max())
        self.solid = body_of(placed)
        self.distant = [o for o in obstacles if o.is_outside and o.margin_mm > 0]
        self._fields: dict[int, SurfaceDistance] = {}
        self._looked: dict[int, tuple[float, Array | None]] = {}
        self.known: list[_Way] = []
        self.bodies: list[tuple[Obstacle, Solid, tuple[Array, Ints]]] = []
        field = None
        for obstacle in obstacles:
            if obstacle.is_ball:
                field = field or SurfaceDistance(placed.vertices, placed.faces)
                radius = obstacle.radius_mm + obstacle.margin_mm
                self.known.append(self._ball(field, obstacle, radius))
            else:
                body = obstacle.body if obstacle.is_outside else grown_body(obstacle)
                self.bodies.append((obstacle, body, arrays_of(body)))
        for number in range(len(self.bodies)):
            self._add_lines(number, self._first_places(number))

    def intervals(self) -> Array:
        """Return all forbidden intervals (q, 2)."""
        return np.concatenate([np.zeros((0, 2)), *(way.intervals for way in self.known)])

    def look(self, by: float) -> bool:
        """Look at the solid moved by so much; return whether lines through what is in its way were added."""
        moved = self.solid.translate((by * self.way).tolist())
        grew = False
        for number, (obstacle, body, _) in enumerate(self.bodies):
            wrong = moved - body if obstacle.is_outside else moved ^ body
            if wrong.is_empty():
                continue
            vertices, faces = arrays_of(wrong)
            places, _ = self.view.seen(np.concatenate([vertices[faces].mean(axis=1), vertices]))
            grew = self._add_lines(number, nudged(_some(places, _LINES), self.size, number)) or grew
        return grew

    def _first_places(self, number: int) -> Array:
        """Return (k, 2) lines to begin with: spread over the figure, and through the corners of both."""
        ours, _ = self.view.seen(self.placed.vertices)
        theirs, _ = self.view.seen(self.bodies[number][2][0])
        low, high = ours.min(axis=0), ours.max(axis=0)
        theirs = theirs[((theirs >= low) & (theirs <= high)).all(axis=1)]
        spread = np.random.default_rng(0).uniform(low, high, size=(_LINES, 2))
        return nudged(np.concatenate([spread, _some(ours, _LINES), _some(theirs, _LINES)]), self.size)

    def _add_lines(self, number: int, places: Array) -> bool:
        """Add what lines through (n, 2) places forbid; a line counts only where those close around it do too."""
        obstacle, _, (vertices, faces) = self.bodies[number]
        every = (places + _AROUND[:, None]).reshape(-1, 2)  # the lines themselves first, then those around them
        own = stretches(self.placed.vertices, self.placed.faces, self.view, every)
        theirs = stretches(vertices, faces, self.view, every)
        line, low, high, stretch = _forbidden(own, theirs, obstacle.is_outside, len(every))
        count = len(places)
        mine = np.flatnonzero((line < count) & (high > 0) & (low < self.most))
        middle = (np.maximum(low[mine], -_ENDLESS) + np.minimum(high[mine], _ENDLESS)) / 2
        inside = np.ones(len(mine), bool)
        for k in range(1, len(_AROUND)):
            inside &= _holds(line, low, high, line[mine] + k * count, np.clip(middle, 0.0, self.most))
        mine = mine[inside]
        if len(mine) == 0:
            return False
        stopped = every[line[mine]] @ np.stack([self.view.right, self.view.up])
        stopped = stopped + own.leave[stretch[mine], None] * self.view.into
        self.known.append(_Way(obstacle.name, np.stack([low[mine], high[mine]], axis=1), stopped))
        return True

    def _ball(self, field: SurfaceDistance, obstacle: Obstacle, radius: float) -> _Way:
        """Return the movements at which a ball lies nearer to the figure than its radius: within `_TOUCH`."""
        most = self.most
        cells = np.linspace(0.0, most, 257)
        low, high = cells[:-1], cells[1:]
        found = []

        def short(by: Array) -> Array:
            return np.asarray(radius - field.signed(obstacle.centre - by[:, None] * self.way)[0])

        at_low, at_high = short(low), short(high)
        looked = 0
        while len(low):
            wide = high - low
            # What is missing changes no faster than the figure moves.
            free = at_low + at_high <= -wide + 2 * _TOUCH
            taken = at_low + at_high >= wide
            tiny = ~free & ~taken & (wide < FINE_MM / 10)
            taken |= tiny
            found.append(np.stack([low[taken], high[taken]], axis=1))
            open_ = ~free & ~taken
            looked += int(open_.sum())
            if looked > _MOST_CELLS:
                found.append(np.stack([low[open_], high[open_]], axis=1))
                break
            low, high, at_low, at_high = low[open_], high[open_], at_low[open_], at_high[open_]
            middle = (low + high) / 2
            at_middle = short(middle)
            low, high = np.concatenate([low, middle]), np.concatenate([middle, high])
            at_low, at_high = np.concatenate([at_low, at_middle]), np.concatenate([at_middle, at_high])
        intervals = _joined(np.concatenate(found))
        if len(intervals) and float(short(np.array([most]))[0]) > 0:  # it may go on beyond what was looked at
            intervals[intervals[:, 1] >= most, 1] = np.inf
        nearest = field.signed(obstacle.centre - intervals[:, :1] * self.way)[1]
        return _Way(obstacle.name, intervals, nearest)

    def scanned_blocked(self, most: float) -> tuple[float, str]:
        """Return how far it can move with the cover that a rough surface asks, looking every quarter of the cover.

        Between two looks the cover may fall short by a hundredth of itself, no more.
        """
        for obstacle in self.distant:
            margin = min(obstacle.margin_mm, self._gap(obstacle, 0.0))
            at = last = 0.0
            while at < most and margin > 0:
                spare = self._gap(obstacle, at) - margin
                if spare < -_TOUCH:
                    return self._turning(obstacle, last, at, margin), obstacle.name
                last, at = at, at + max(spare, margin / 4)
            if margin > 0 and self._gap(obstacle, most) - margin < -_TOUCH:
                return self._turning(obstacle, last, most, margin), obstacle.name
        return most, ""

    def scanned_free(self, start: float, most: float) -> float | None:
        """Return the first movement from ``start`` with the cover that a rough surface asks, if there is one."""
        at = last = start
        while self.distant:
            missing = max(o.margin_mm - self._gap(o, at) for o in self.distant)
            if missing <= _TOUCH:
                worst = max(self.distant, key=lambda o: o.margin_mm - self._gap(o, last))
                return at if at == start else self._turning(worst, at, last, worst.margin_mm)
            if at >= most:
                return None
            last, at = at, min(most, at + max(missing, FINE_MM))
        return at

    def _turning(self, obstacle: Obstacle, good: float, bad: float, margin: float) -> float:
        """Return the last movement between a good and a bad one that keeps the margin."""
        while abs(bad - good) > FINE_MM:
            middle = (good + bad) / 2
            good, bad = (middle, bad) if self._gap(obstacle, middle) >= margin - _TOUCH else (good, middle)
        return good

    def _gap(self, obstacle: Obstacle, by: float) -> float:
        least = self._nearest_corner(obstacle, by)
        if least <= 0:
            return 0.0
        return gap_between(self.solid.translate((by * self.way).tolist()), obstacle.beyond, least)

    def _nearest_corner(self, obstacle: Obstacle, by: float) -> float:
        """Return how far within a stone's surface the figure's nearest corner lies after moving by so much."""
        at, away = self._looked.get(id(obstacle), (0.0, None))
        field = self._field_of(obstacle)
        if away is not None:
            # No distance changes by more than the movement: corners that were far away are not looked at again.
            near = away <= away.min() + 2 * abs(by - at)
            if near.mean() < _FEW:
                return -float(field.signed(self.placed.vertices[near] + by * self.way)[0].max())
        away = -field.signed(self.placed.vertices + by * self.way)[0]
        self._looked[id(obstacle)] = by, away
        return float(away.min())

    def _field_of(self, obstacle: Obstacle) -> SurfaceDistance:
        """Return the distances of a stone's surface, made once."""
        if id(obstacle) not in self._fields:
            vertices, faces = arrays_of(obstacle.body)
            self._fields[id(obstacle)] = SurfaceDistance(vertices, faces)
        return self._fields[id(obstacle)]

    def met(self, at: float, *, last: bool = False) -> tuple[str, Array]:
        """Return the name of what the figure meets after moving by ``at``, and the place (3,) of it, where it is now.

        With ``last``: what it is clear of only then.
        """
        ways = [way for way in self.known if len(way.intervals)]
        if not ways:
            return "", self.placed.vertices[0].copy()
        away = [np.abs(way.intervals[:, int(last)] - at) for way in ways]
        nearest = int(np.argmin([far.min() for far in away]))
        return ways[nearest].name, np.array(ways[nearest].places[away[nearest].argmin()])


def _forbidden(own: Stretches, theirs: Stretches, is_outside: bool, count: int) -> tuple[Ints, Array, Array, Ints]:
    """Return the open intervals of movement at which a stretch of the figure meets one of the other solid.

    As line, low, high and the number of the figure's stretch (q,); ``is_outside``: meets what lies outside the other.
    """
    line, start, end = theirs.line, theirs.enter, theirs.leave
    if is_outside:
        line, start, end = _between(line, start, end, count)
    first, past = np.searchsorted(line, own.line), np.searchsorted(line, own.line, side="right")
    broken = np.isin(own.line, theirs.broken)
    past[broken] = first[broken]
    number = past - first
    mine = np.repeat(np.arange(len(own.line)), number)
    each = np.arange(int(number.sum())) - np.repeat(np.cumsum(number) - number, number) + np.repeat(first, number)
    low, high = start[each] - own.leave[mine] + _TOUCH, end[each] - own.enter[mine] - _TOUCH
    keep = high > low
    return own.line[mine[keep]], low[keep], high[keep], mine[keep]


def _holds(line: Ints, low: Array, high: Array, asked: Ints, at: Array) -> Flags:
    """Return whether any interval of the lines asked for (q,) holds ``at`` (q,)."""
    span = 4 * _ENDLESS
    begin = line * span + np.clip(low, -_ENDLESS, _ENDLESS)
    order = np.argsort(begin, kind="stable")
    reach = np.maximum.accumulate((line * span + np.clip(high, -_ENDLESS, _ENDLESS))[order])
    if len(order) == 0:
        return np.zeros(len(asked), bool)
    before = np.searchsorted(begin[order], asked * span + at, side="right") - 1
    return np.asarray((before >= 0) & (reach[np.maximum(before, 0)] > asked * span + at))


def _between(line: Ints, start: Array, end: Array, count: int) -> tuple[Ints, Array, Array]:
    """Return what lies outside the stretches on each of ``count`` lines, from −inf to inf."""
    every = np.arange(count)
    lines = np.concatenate([line, every])
    starts, ends = np.concatenate([end, np.full(count, -np.inf)]), np.concatenate([start, np.full(count, np.inf)])
    # On every line: the empty stretches begin at −inf and at each leaving, and end at each entering and at inf.
    begin, finish = np.lexsort((starts, lines)), np.lexsort((ends, lines))
    return lines[begin], starts[begin], ends[finish]


def _joined(intervals: Array) -> Array:
    """Return the same intervals, those that touch as one."""
    if len(intervals) == 0:
        return intervals
    order = intervals[np.argsort(intervals[:, 0], kind="stable")]
    reach = np.maximum.accumulate(order[:, 1])
    new = np.concatenate([[True], order[1:, 0] > reach[:-1]])
    last = np.append(np.flatnonzero(new)[1:] - 1, len(order) - 1)
    return np.stack([order[new, 0], reach[last]], axis=1)


def _free_from(intervals: Array, least: float, most: float) -> float | None:
    """Return the least movement from ``least`` to ``most`` outside all open intervals."""
    order = intervals[np.argsort(intervals[:, 0], kind="stable")]
    before = np.maximum.accumulate(np.concatenate([[least], order[:, 1]]))
    gaps = np.flatnonzero(order[:, 0] > before[:-1] + 10 * _TOUCH)
    at = float(before[gaps[0]]) if len(gaps) else float(before[-1])
    at = at if at == least else at + _TOUCH
    return at if at <= most + _TOUCH else None


def _blocked_at(intervals: Array, most: float) -> float:
    """Return the first movement after which an open interval begins, up to ``most``."""
    ahead = intervals[intervals[:, 1] > FINE_MM]
    return float(np.clip(ahead[:, 0].min(initial=most), 0.0, most))


def _some(points: Array, count: int) -> Array:
    """Return about ``count`` of the points, evenly through them."""
    return points[:: max(1, -(-len(points) // count))]

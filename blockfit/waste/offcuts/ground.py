"""What a course of pieces would save, counted in samples of the stone: all its wedges, each in what others leave.

Resolved to the samples. mm and m³, block frame."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, reduce

import numpy as np

from blockfit.geometry.arrays import Array, Flags
from blockfit.waste.cuts.methods import Method, capable
from blockfit.waste.offcuts.parts import Planes
from blockfit.waste.offcuts.remaining import Remaining
from blockfit.waste.offcuts.wishes import Limits
from blockfit.waste.sampling import settled

__all__ = ["Asked", "Course", "Ground", "Seen"]

_COARSE = 4  # of the samples of the block, finely seen, one in so many are looked at coarsely
_STRAY, _STRAY_FINE = 2.0, 25.0  # stone that comes off beside its piece counts against it so many times: seen finely,
# all but none may, for then no piece may take any
_MOST_STRAY = 1 / 3  # of a piece: with more beside it, it is none
_PER_CUT = (0.002, 0.003, 0.004)  # of the block, that a cut must bring: square to two axes, to one, to none
_EARLIER = 2e-3  # by so much a piece counts more for each place that it comes earlier
_FLOOR = 0.1  # of the block's height: samples so low tell what the rest stands on
_STEADY = math.tan(math.radians(5))  # what stays should lean by so much before it falls (common practice, no source)
_ROUND = np.array([[math.cos(a), math.sin(a), 0.0] for a in np.arange(16) * math.pi / 8], np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """A wedge to be looked at, and what the one that had its place in the course took in."""

    normals: Array
    offsets: Array
    instead_of: Flags | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """A wedge as samples show it: those of the stone ``beyond`` each plane (k, n), a kerf further in, and ``inside``
    all; those of the figure ``before`` each (k, m); whether it ``holds`` a piece, how many of the stone that is, how
    many come off beside it, ``stray``, and how many ``cuts`` it takes."""

    normals: Array
    offsets: Array
    beyond: Flags
    inside: Flags
    before: Flags
    holds: bool = True
    stone: int = 0
    stray: int = 0
    cuts: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Wedges in order, which samples of the stone they leave, and what is valued in them, in samples."""

    wedges: tuple[Seen, ...]
    left: Flags
    value: float


@dataclass(frozen=True, eq=False)
class Ground:
    """What courses are looked at in: samples ``stone`` (3, n) of the block, each so many m³, which are ``gone``, those
    of what is kept clear of, ``figure`` (3, m), and the wedges that stand ``open``."""

    stone: Array
    sample_m3: float
    gone: Flags
    figure: Array
    open: tuple[Planes, ...]
    faces: Array
    limits: Limits
    most_cuts: int
    stray_costs: float

    @staticmethod
    def of(left: Remaining, most_cuts: int, *, finely: bool) -> "Ground":
        """Return the ground of the stone left, for pieces of ``most_cuts``."""
        stone = left.spread if finely else left.spread[: len(left.spread) // _COARSE]
        gone = np.zeros(len(stone), bool)
        for normals, offsets in left.open:
            gone |= (stone @ normals.T >= offsets).all(axis=1)
        return Ground(
            # Long rows, which numpy reduces quickly; half the digits are plenty to look by.
            stone=np.ascontiguousarray(stone.T, np.float32),
            sample_m3=left.block.volume_m3 / len(stone),
            gone=gone,
            figure=np.ascontiguousarray(left.obstacle.near if finely else left.obstacle.sparse, np.float32),
            open=tuple(left.open),
            faces=left.block.normals,
            limits=left.limits,
            most_cuts=most_cuts,
            stray_costs=_STRAY_FINE if finely else _STRAY,
        )

    def course(self, wedges: Sequence[Asked | Seen]) -> Course:
        """Return the course of these wedges in order; those that no new one touches stay as they were seen."""
        gone, earlier = self.gone, list(self._opened)
        touched: list[Flags] = []
        seen: list[Seen] = []
        for wedge in wedges:
            if isinstance(wedge, Asked):
                now = self._set(wedge.normals, wedge.offsets, earlier, gone)
                touched += [now.inside] if wedge.instead_of is None else [now.inside, wedge.instead_of]
            elif any((wedge.inside & other).any() for other in touched):
                now = self._set(wedge.normals, wedge.offsets, earlier, gone)
                touched += [now.inside, wedge.inside]
            else:
                now = wedge
            seen.append(now)
            if now.holds:
                gone = gone | now.inside
                earlier.append(now)
        value = sum(self._value(wedge, len(seen) - k) for k, wedge in enumerate(seen) if wedge.holds)
        return Course(tuple(seen), ~gone, value)

    def stays_steady(self, course: Course) -> bool:
        """Whether what each piece of a course leaves stands steadily on the floor of the block."""
        gone, heights = self.gone, self._heights
        low = heights < _FLOOR * heights.max()
        for wedge in course.wedges:
            if not wedge.holds:
                continue
            gone = gone | wedge.inside
            if not (low & ~gone).any():
                return False
            centre = self.stone[:, ~gone].mean(axis=1)
            reach = (_ROUND @ self.stone[:, low & ~gone]).max(axis=1) - _ROUND @ centre
            if reach.min() < _STEADY * float(heights[~gone].mean()):
                return False
        return True

    def _value(self, wedge: Seen, places: int) -> float:
        """Return what a piece counts for, in samples; ``places`` is how many wedges there are from it on."""
        cuts = sum(_PER_CUT[int((row != 0).sum()) - 1] for row in wedge.normals)
        cuts += _PER_CUT[2] * (wedge.cuts - len(wedge.normals))
        return float(
            wedge.stone * (1 + _EARLIER * places) - self.stray_costs * wedge.stray - cuts * self.stone.shape[1]
        )

    @cached_property
    def _heights(self) -> Array:
        """How high each sample of the stone lies over the lowest."""
        return np.asarray(self.stone[2] - self.stone[2].min())

    @cached_property
    def _opened(self) -> tuple[Seen, ...]:
        seen = []
        for normals, offsets in self.open:
            beyond = normals @ self.stone >= offsets[:, None]
            before = normals @ self.figure < offsets[:, None] + self.limits.least_clear_mm
            seen.append(Seen(normals, offsets, beyond, _every(beyond), before))
        return tuple(seen)

    def _set(self, normals: Array, offsets: Array, earlier: Sequence[Seen], gone: Flags) -> Seen:
        """Return a wedge with its planes as far in as the figure allows."""
        ways, at = normals.astype(np.float32), offsets.astype(np.float32)[:, None]
        heights, figure = ways @ self.stone, ways @ self.figure
        aimed = _every(heights >= at)
        sides, kept = self._sides(aimed, aimed & ~gone, earlier)
        methods = self._methods(heights[:, kept], offsets)
        if methods is None:
            return Seen(normals, offsets, heights >= at, aimed, figure < at, holds=False)
        clear = self.limits.clearance_mm + np.array([method.allowance_mm(len(methods)) for method in methods])
        near = reduce(np.logical_and, [side.before[k] for side, k in sides], np.True_)
        offsets = clear + settled(figure[:, near] if sides else figure, offsets - clear, len(methods))
        kerfs = np.array([method.kerf_mm for method in methods])
        at, gone_from = offsets.astype(np.float32)[:, None], (offsets - kerfs).astype(np.float32)[:, None]
        freed = _every(heights >= at) & ~gone
        beyond, before = heights >= gone_from, figure < gone_from + np.float32(self.limits.least_clear_mm)
        inside = _every(beyond)
        cuts, stray, taken = len(methods), 0, inside & ~gone
        for side, k in sides:
            past = int(np.count_nonzero(taken & side.beyond[k]))
            if past and cuts < self.most_cuts:  # it is cut along there as well
                cuts += 1
            else:
                stray += past
            taken &= ~side.beyond[k]
            freed &= ~side.beyond[k]
        stone = int(np.count_nonzero(freed))
        holds = self._is_piece(heights[:, freed], offsets, stray)
        return Seen(normals, offsets, beyond, inside, before, holds, stone, stray, cuts)

    def _is_piece(self, freed: Array, offsets: Array, stray: int) -> bool:
        """Whether samples freed at these heights (k, p) are enough, thick enough, and few come off beside them."""
        stone = freed.shape[1]
        if stone * self.sample_m3 <= self.limits.least_volume_m3 or stray > _MOST_STRAY * stone:
            return False
        return bool((freed.max(axis=1) - offsets > self.limits.least_thickness_mm).all())

    def _sides(self, aimed: Flags, free: Flags, earlier: Sequence[Seen]) -> tuple[list[tuple[Seen, int]], Flags]:
        """Return where a wedge ends in the open: at which plane of each earlier one that it runs into, the one that
        leaves it most stone; and which of the ``free`` samples it then keeps."""
        sides: list[tuple[Seen, int]] = []
        for other in earlier:
            if (aimed & other.inside).any():
                k = int((free & ~other.beyond).sum(axis=1).argmax())
                free = free & ~other.beyond[k]
                sides.append((other, k))
        return sides, free

    def _methods(self, freed: Array, offsets: Array) -> list[Method] | None:
        """Return what makes each cut of a wedge that frees stone at these heights (k, p), or ``None``."""
        count = len(offsets) + int(freed.shape[1] * self.sample_m3 > self.limits.most_volume_m3)
        depths = (freed.max(axis=1) - offsets if freed.shape[1] else np.zeros(len(offsets))).tolist()
        deep = [min(depths[:k] + depths[k + 1 :], default=0.0) for k in range(len(depths))]
        methods = [capable(self.limits.methods, count, depth) for depth in deep]
        return None if None in methods else [method for method in methods if method is not None]


def _every(rows: Flags) -> Flags:
    """Return where all rows (k, n) hold: for a few long rows quicker than numpy's own."""
    return np.asarray(reduce(np.logical_and, rows))

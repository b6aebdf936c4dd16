"""The stone as offcuts leave it: an outline that stays convex, and within it convex parts past what was taken.

Every plane is set exactly, by cutting the figure itself; samples only suggest where to look. mm, block frame."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from blockfit.errors import BadValueError
from blockfit.measure.booleans import Solid, hull_solid, refined
from blockfit.solids.arrays import Array
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.polytope import corners_of, least_width
from blockfit.waste.clipping import reach_beyond
from blockfit.waste.wedges import Samples, Wedge, best_wedges, draw_out

__all__ = ["Limits", "Part", "Planner"]

_SAMPLES = 18_000
_MOST_CELLS = 6  # convex parts of the stone left that are searched for the next piece
_EXACT = 14  # candidates set exactly, until two keep every limit
_AIR_M2 = 1e-5  # a plane that passes through less stone than that is no cut
_HAIR_MM = 1e-4
_TOUCH_MM = 1e-6
_SLICE_MM = 0.05  # a slice this thin tells the area of stone that a cut passes through


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """What a piece must keep: clear of the figure, thick, large and light enough; the width of a cut."""

    clear_mm: float
    kerf_mm: float
    least_thickness_mm: float
    least_volume_m3: float
    most_volume_m3: float


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A piece to take off: where ``normals @ x >= offsets``, its corners (n, 3), sawn areas (m²) and way out."""

    normals: Array
    offsets: Array
    corners: Array
    areas_m2: tuple[float, ...]
    draw_out: Array
    divided: bool


class Planner:
    """Plans one piece after the other; `left` is the stone then left."""

    def __init__(self, block: Block, figure: Figure, limits: Limits) -> None:
        """Start with the whole block."""
        self._block, self._limits = block, limits
        self._normals, self._offsets = block.normals, block.offsets_mm.copy()
        self._figure = figure
        self.left: Solid = hull_solid(block.corners_mm)
        # What is left, as convex parts that overlap: where normals @ x >= offsets, within the outline.
        self._cells: list[tuple[Array, Array]] = [(np.zeros((0, 3)), np.zeros(0))]
        self._stone = _grid_points(block, _SAMPLES)
        self._whole = len(self._stone)
        self._spacing = (block.volume_m3 * 1e9 / _SAMPLES) ** (1 / 3)
        points = _surface_points(figure, 0.5 * self._spacing)
        self._dense = np.ascontiguousarray(points.T)  # (3, points): long rows, which numpy reduces quickly
        self._surface = _thinned(points, 0.8 * self._spacing)

    def next_wedge(self, most_cuts: int) -> Wedge | None:
        """Return the best wedge found that, set exactly, keeps every limit; ``None`` if there is none."""
        promising: list[Wedge] = []
        for normals, offsets, stone in self._free_cells():
            keep = np.full(len(self._surface), self._limits.clear_mm)
            samples = Samples(stone, self._surface, keep, self._whole)
            promising += self._promising(samples, normals, offsets, most_cuts)
        promising.sort(key=lambda wedge: -wedge.stone)
        best: list[Wedge] = []
        for wedge in promising[:_EXACT]:
            exact = self._exact(wedge, most_cuts)
            if exact is not None:
                best.append(exact)
            if len(best) == 4:  # those that promise less seldom turn out to hold more
                break
        return max(best, key=lambda wedge: wedge.stone, default=None)

    def _free_cells(self) -> list[tuple[Array, Array, Array]]:
        """Return the convex parts of the stone left, planes and samples, the largest first, none inside another."""
        inside = [(self._stone @ normals.T >= offsets).all(axis=1) for normals, offsets in self._cells]
        order = sorted(range(len(inside)), key=lambda k: -int(inside[k].sum()))
        kept: list[int] = []
        for k in order:
            if inside[k].any() and not any((inside[k] <= inside[j]).all() for j in kept):
                kept.append(k)
        self._cells = [self._cells[k] for k in kept[:_MOST_CELLS]]
        return [(*self._cells[i], self._stone[inside[k]]) for i, k in enumerate(kept[:_MOST_CELLS])]

    def _promising(self, samples: Samples, normals: Array, offsets: Array, most_cuts: int) -> list[Wedge]:
        """Return the wedges found in a cell, bounded by its own planes too, and set by the figure's sampled points."""
        thick = self._limits.least_thickness_mm
        found = best_wedges(samples, most_cuts=most_cuts, least_mm=thick, seed=len(samples.stone), tries=self._tries())
        # Samples tell planes square to the block apart no better than others; set exactly, they often win.
        straight = [wedge for wedge in found if (np.abs(wedge.normals).max(axis=1) > 1 - 1e-9).all()]
        best = [w for cuts in range(1, most_cuts + 1) for w in [w for w in found if len(w.normals) == cuts][:3]]
        chosen = [
            Wedge(np.vstack([wedge.normals, normals]), np.append(wedge.offsets, offsets), wedge.stone, len(normals))
            for wedge in (*best, *straight[:2])
        ]
        return [wedge for wedge in (self._set(wedge, exact=False) for wedge in chosen) if wedge is not None]

    def _tries(self) -> int:
        return max(70, 280 // max(1, len(self._cells)))

    def take(self, wedge: Wedge, room: int | None) -> list[Part]:
        """Take a wedge out of the stone; return its parts in order, divided as the lift demands."""
        corners = self._corners(wedge.normals, wedge.offsets)
        if corners is None:
            raise BadValueError("the wedge holds no stone")
        division = _division(corners, self._limits)
        if division is None:
            raise BadValueError("the wedge cannot be divided within the limits")
        first, along, second, across = division
        parts: list[Part] = []
        for start, end in _spans(along):
            for low, high in _spans(across):
                bounds = [(first, start, end), (second, low, high)]
                part = self._part(wedge, bounds)
                if part is not None and (room is None or len(parts) < room):
                    parts.append(part)
        kerf = self._limits.kerf_mm
        self._remove(wedge.normals, wedge.offsets - kerf)
        if len(wedge.normals) == 1:
            self._normals = np.vstack([self._normals, wedge.normals])
            self._offsets = np.append(self._offsets, wedge.offsets - kerf)
        else:
            # Past a hollow the stone is convex on the far side of any one of its planes.
            self._cells = [
                (np.vstack([normals, -wedge.normals[k]]), np.append(offsets, kerf - wedge.offsets[k]))
                for normals, offsets in self._cells
                for k in range(len(wedge.normals))
            ]
        gone = (self._stone @ wedge.normals.T >= wedge.offsets - kerf).all(axis=1)
        self._stone = self._stone[~gone]
        return parts

    def _part(self, wedge: Wedge, bounds: list[tuple[Array, float, float]]) -> Part | None:
        """Return the part of a wedge between ``bounds``: axis, start and end, each after the parts beyond it."""
        kerf = self._limits.kerf_mm
        starts = [(axis, start) for axis, start, _ in bounds if np.isfinite(start)]
        ends = [(axis, end - kerf) for axis, _, end in bounds if np.isfinite(end)]
        normals = np.vstack([wedge.normals, *[axis for axis, _ in starts]])
        offsets = np.append(wedge.offsets, [start for _, start in starts])
        corners, way = self._corners(normals, offsets, ends), draw_out(normals)
        if corners is None or way is None or hull_solid(corners).volume() * 1e-9 < self._limits.least_volume_m3:
            return None
        areas = np.array([self._sawn(normals, offsets, k, ends) for k in range(len(normals))])
        cut = areas > _AIR_M2
        return Part(normals[cut], offsets[cut], corners, tuple(areas[cut].tolist()), way, bool(starts or ends))

    def _exact(self, wedge: Wedge, most_cuts: int) -> Wedge | None:
        """Return the wedge set exactly, or ``None`` if it then breaks a limit."""
        exact = self._set(wedge, exact=True)
        if exact is None:
            return None
        count = len(exact.normals)
        # Planes that only border on what earlier pieces left open are no cuts.
        if (
            count > 1
            and sum(self._sawn(exact.normals, exact.offsets, k, ()) > _AIR_M2 for k in range(count)) > most_cuts
        ):
            return None
        corners = self._corners(exact.normals, exact.offsets)
        return None if corners is None or _division(corners, self._limits) is None else exact

    def _set(self, wedge: Wedge, *, exact: bool) -> Wedge | None:
        """Return the wedge with its planes as far in as the figure allows, or ``None`` if it is too little.

        Planes that meet nothing are left out.
        """
        normals, offsets = wedge.normals, wedge.offsets.copy()
        heights = normals @ self._dense  # (k, points)
        lowest = (self._block.corners_mm @ normals.T).min(axis=0)
        for _ in range(2):
            for k in range(len(normals) - wedge.fixed):
                reach = self._reach(normals, offsets, k) if exact else self._seen_reach(heights, offsets, k)
                offsets[k] = max(lowest[k], reach + self._limits.clear_mm)
        corners = self._corners(normals, offsets)
        if corners is None:
            return None
        on_plane = np.abs(corners @ normals.T - offsets) < 1e-6 * self._spacing
        needed = (on_plane.sum(axis=0) >= 3) & (offsets > lowest + _TOUCH_MM)
        normals, offsets = normals[needed], offsets[needed]
        if len(normals) == 0 or draw_out(normals) is None:
            return None
        volume = float(hull_solid(corners).volume()) * 1e-9
        if volume < self._limits.least_volume_m3 or least_width(corners) < self._limits.least_thickness_mm:
            return None
        fixed = int(needed[len(needed) - wedge.fixed :].sum()) if wedge.fixed else 0
        return Wedge(normals, offsets, volume, fixed)

    def _reach(self, normals: Array, offsets: Array, k: int) -> float:
        """Return how far the figure reaches along plane k's normal where it is not kept clear by another plane.

        The figure lies clear of the piece if none of it is beyond all planes moved in by the clearance: every
        point of the figure then has a plane between it and the piece, at least that far away.
        """
        others = [j for j in range(len(normals)) if j != k]
        # A hair further in, or a face of the figure that only touches a plane would count as beyond it.
        bounds = offsets[others] - self._limits.clear_mm + _TOUCH_MM
        return reach_beyond(self._figure.vertices, self._figure.faces, normals[others], bounds, normals[k])

    def _seen_reach(self, heights: Array, offsets: Array, k: int) -> float:
        """Return the same by the figure's sampled points, whose ``heights`` (planes, points) are given."""
        beyond = np.ones(heights.shape[1], bool)
        for j in range(len(offsets)):
            if j != k:
                beyond &= heights[j] > offsets[j] - self._limits.clear_mm
        return float(heights[k][beyond].max(initial=-np.inf))

    def _corners(self, normals: Array, offsets: Array, ends: Sequence[tuple[Array, float]] = ()) -> Array | None:
        """Return the corners of the outline beyond the planes (and before each of ``ends``), or ``None``."""
        bounds = [self._normals, -normals, *(axis[None] for axis, _ in ends)]
        at = [self._offsets, -np.asarray(offsets), *(np.array([end]) for _, end in ends)]
        try:
            return corners_of(np.concatenate(bounds), np.concatenate(at))[0]
        except BadValueError:
            return None

    def _sawn(self, normals: Array, offsets: Array, k: int, ends: Sequence[tuple[Array, float]]) -> float:
        """Return the area in m² of stone that cut k passes through: what earlier cuts took is air."""
        others = [j for j in range(len(normals)) if j != k]
        slab = _beyond(self.left, normals[others], offsets[others])
        for axis, end in ends:
            slab = slab.trim_by_plane((-axis).tolist(), -end)
        slab = slab.trim_by_plane(normals[k].tolist(), float(offsets[k]) - _SLICE_MM)
        return float(slab.trim_by_plane((-normals[k]).tolist(), -float(offsets[k])).volume()) / _SLICE_MM * 1e-6

    def _remove(self, normals: Array, offsets: Array) -> None:
        """Take all beyond the planes out of the stone left.

        The tool reaches beyond the block, and a hair beyond its planes: faces that coincide would leave fins.
        """
        low, high = self._block.corners_mm.min(axis=0) - 50, self._block.corners_mm.max(axis=0) + 50
        box = np.concatenate([high, -low])
        tool = corners_of(np.concatenate([np.eye(3), -np.eye(3), -normals]), np.concatenate([box, _HAIR_MM - offsets]))
        self.left = self.left - hull_solid(tool[0])


def _beyond(solid: Solid, normals: Array, offsets: Array) -> Solid:
    for normal, offset in zip(normals, offsets, strict=True):
        solid = solid.trim_by_plane(normal.tolist(), float(offset))
    return solid


def _division(corners: Array, limits: Limits) -> tuple[Array, Array, Array, Array] | None:
    """Return two axes and where to cut along each, so that no part is too heavy nor too thin; None if there is no way.

    The longest side is divided first, the next longest only as far as it must be.
    """
    size = np.ptp(corners, axis=0)
    first, second = (np.eye(3)[k] for k in np.argsort(-size, kind="stable")[:2])
    solid = hull_solid(corners)
    if solid.volume() * 1e-9 <= limits.most_volume_m3:
        return first, np.zeros(0), second, np.zeros(0)
    least_mm = limits.least_thickness_mm + limits.kerf_mm
    most = [max(1, int(np.ptp(corners @ axis) / least_mm)) for axis in (first, second)]
    for across in range(1, most[1] + 1):
        need = math.ceil(solid.volume() * 1e-9 / limits.most_volume_m3 / across)
        for along in range(need, most[0] + 1):
            cuts = [_edges(corners, axis, n) for axis, n in ((first, along), (second, across))]
            if _heaviest(solid, first, cuts[0], second, cuts[1]) <= limits.most_volume_m3:
                return first, cuts[0], second, cuts[1]
    return None


def _edges(corners: Array, axis: Array, parts: int) -> Array:
    """Return (parts − 1,) where equal parts along an axis meet."""
    heights = corners @ axis
    return np.linspace(heights.min(), heights.max(), parts + 1)[1:-1]


def _heaviest(solid: Solid, first: Array, along: Array, second: Array, across: Array) -> float:
    """Return the largest volume in m³ among the parts."""
    return max(
        float(_between(_between(solid, first, *ends), second, *sides).volume()) * 1e-9
        for ends in _spans(along)
        for sides in _spans(across)
    )


def _spans(cuts: Array) -> list[tuple[float, float]]:
    """Return start and end of each part, the far one first."""
    marks = [-np.inf, *(float(cut) for cut in cuts), np.inf]
    return list(pairwise(marks))[::-1]


def _between(solid: Solid, axis: Array, start: float, end: float) -> Solid:
    solid = solid if np.isneginf(start) else solid.trim_by_plane(axis.tolist(), start)
    return solid if np.isposinf(end) else solid.trim_by_plane((-axis).tolist(), -end)


def _grid_points(block: Block, count: int) -> Array:
    """Return about ``count`` points in a regular grid inside the block."""
    low, high = block.corners_mm.min(axis=0), block.corners_mm.max(axis=0)
    spacing = (block.volume_m3 * 1e9 / count) ** (1 / 3)
    lines = [np.linspace(a, b, max(2, round((b - a) / spacing)) + 1) for a, b in zip(low, high, strict=True)]
    middles = [(line[1:] + line[:-1]) / 2 for line in lines]
    points = np.stack(np.meshgrid(*middles, indexing="ij"), axis=-1).reshape(-1, 3)
    return points[(points @ block.normals.T <= block.offsets_mm).all(axis=1)]


def _surface_points(figure: Figure, spacing: float) -> Array:
    """Return points on the surface, none further than about ``spacing`` from the next."""
    vertices, faces = refined(figure.vertices, figure.faces, 1.5 * spacing)
    return np.concatenate([vertices, vertices[faces].mean(axis=1)])


def _thinned(points: Array, spacing: float) -> Array:
    """Return one of the points for each cell of ``spacing``: enough to see what a plane would meet."""
    _, first = np.unique(np.floor(points / spacing).astype(np.int64), axis=0, return_index=True)
    return points[np.sort(first)]

"""The stone as offcuts leave it: an outline that stays convex, and the hollows left by rebates and corners.

Every plane is set exactly, by cutting the figure itself; samples only suggest where to look. mm, block frame."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from blockfit.errors import BadValueError
from blockfit.measure.booleans import Solid, arrays_of, hull_solid, refined, solid_from
from blockfit.solids.arrays import Array
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.polytope import corners_of, hull_planes, least_width
from blockfit.waste.wedges import Samples, Wedge, best_wedges, draw_out

__all__ = ["Limits", "Part", "Planner"]

_SAMPLES = 18_000
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
        self._figure = solid_from(figure.vertices, figure.faces)
        self.left: Solid = hull_solid(block.corners_mm)
        self._hollows: list[Array] = []  # corners of what rebates and corners took, kerf included
        self._stone = _grid_points(block, _SAMPLES)
        self._whole = len(self._stone)
        self._spacing = (block.volume_m3 * 1e9 / _SAMPLES) ** (1 / 3)
        self._surface = _thinned(figure, 0.8 * self._spacing)

    def next_wedge(self, most_cuts: int, *, square: bool = False) -> Wedge | None:
        """Return the best wedge found that, set exactly, keeps every limit; ``None`` if there is none."""
        if len(self._stone) == 0:
            return None
        hollow = [_filled(corners, 0.8 * self._spacing) for corners in self._hollows]
        obstacles = np.concatenate([self._surface, *hollow])
        keep = np.zeros(len(obstacles))
        keep[: len(self._surface)] = self._limits.clear_mm
        samples = Samples(self._stone, obstacles, keep, self._whole)
        thick = self._limits.least_thickness_mm
        for seed in range(1 if square else 2):
            found = best_wedges(samples, most_cuts=most_cuts, least_mm=thick, seed=seed, square=square)
            # Samples tell planes square to the block apart no better than others; set exactly, they often win.
            straight = [wedge for wedge in found if (np.abs(wedge.normals).max(axis=1) > 1 - 1e-9).all()]
            exact = [self._exact(wedge) for wedge in (*found[:3], *straight[:2])]
            kept = [wedge for wedge in exact if wedge is not None]
            kept = kept or [wedge for wedge in map(self._exact, found[3:20]) if wedge is not None]
            if kept:
                return max(kept, key=lambda wedge: wedge.stone)
        return None

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
            grown = self._corners(wedge.normals, wedge.offsets - kerf)
            self._hollows.append(corners if grown is None else grown)
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
        areas = tuple(self._sawn(normals, offsets, k, ends) for k in range(len(normals)))
        return Part(normals, offsets, corners, areas, way, bool(starts or ends))

    def _exact(self, wedge: Wedge) -> Wedge | None:
        """Return the wedge with every plane set as far in as figure and hollows allow; ``None`` if it is too little."""
        normals, offsets = wedge.normals, wedge.offsets.copy()
        if draw_out(normals) is None:
            return None
        for _ in range(2):
            for k in range(len(normals)):
                offsets[k] = self._nearest(normals, offsets, k)
        corners = self._corners(normals, offsets)
        if corners is None:
            return None
        volume = hull_solid(corners).volume() * 1e-9
        if volume < self._limits.least_volume_m3 or least_width(corners) < self._limits.least_thickness_mm:
            return None
        return None if _division(corners, self._limits) is None else Wedge(normals, offsets, volume)

    def _nearest(self, normals: Array, offsets: Array, k: int) -> float:
        """Return how far in plane k may come, given the other planes.

        The figure lies clear of the piece if none of it is beyond all planes moved in by the clearance: every
        point of the figure then has a plane between it and the piece, at least that far away.
        """
        others = [j for j in range(len(normals)) if j != k]
        reach = [float((self._block.corners_mm @ normals[k]).min())]
        # A hair further in, or a face of the figure that only touches a plane would count as beyond it.
        near = _beyond(self._figure, normals[others], offsets[others] - self._limits.clear_mm + _TOUCH_MM)
        if not near.is_empty():
            reach.append(float((arrays_of(near)[0] @ normals[k]).max()) + self._limits.clear_mm)
        for corners in self._hollows:
            part = _beyond(hull_solid(corners), normals[others], offsets[others] + _TOUCH_MM)
            if not part.is_empty():
                reach.append(float((arrays_of(part)[0] @ normals[k]).max()))
        return max(reach)

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


def _thinned(figure: Figure, spacing: float) -> Array:
    """Return surface points, one for each cell of ``spacing``: enough to see what a plane would meet."""
    vertices, faces = refined(figure.vertices, figure.faces, 1.5 * spacing)
    points = np.concatenate([vertices, vertices[faces].mean(axis=1)])
    _, first = np.unique(np.floor(points / spacing).astype(np.int64), axis=0, return_index=True)
    return points[np.sort(first)]


def _filled(corners: Array, spacing: float) -> Array:
    """Return points in and on a convex piece."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    lines = [np.linspace(a, b, max(2, math.ceil((b - a) / spacing))) for a, b in zip(low, high, strict=True)]
    points = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 3)
    normals, offsets = hull_planes(corners)
    return np.concatenate([points[(points @ normals.T <= offsets + 1e-6).all(axis=1)], corners])

"""Connected parts of the surface that the front does not reach: how each is reached instead, and after what.

mm and m³, block frame; resolved to the columns' pitch."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.phrases import Phrase
from blockfit.facts.results import Result, plain, record_of
from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.tolerances import LEAST_SIZE, PARALLEL
from blockfit.geometry.turns import spread_directions
from blockfit.measure.columns import Columns
from blockfit.measure.patches import face_pairs, patches
from blockfit.measure.pictures import closed_once
from blockfit.measure.sections import Outline, outline_of_spots
from blockfit.measure.views import lattice_over, view_along
from blockfit.search.result import Fit
from blockfit.units import M3_PER_MM3
from blockfit.waste.reach.chords import end_of_stone, into_face
from blockfit.waste.reach.directions import around, seen_along
from blockfit.waste.reach.opening import opened_before
from blockfit.waste.reach.places import approach_words, place_words
from blockfit.waste.reach.sight import Elements, first_seen
from blockfit.waste.reach.tools import Tool, depth_picture

__all__ = ["Region", "FrontView", "classes", "joined_patches", "regions_of"]

_SLANTS_A_PIECE = 12  # slanting directions given to one connected piece at most
_OPENINGS = 10  # of the largest regions are their openings measured
_RADII = (1, 2, 3, 4, 6, 8, 11, 15)  # cells: of the tools tried; an opening wider than the last is reported as that


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Region(Result):
    """One connected part of the surface that the front does not reach.

    ``reach`` is ``back``, ``side`` (another face), ``oblique`` (no face, but a slanting tool) or ``closed`` (to
    the tool). ``approach`` is the direction in words, ``into`` (3,) its unit vector, ``None`` if closed;
    ``meets_deg`` the angle at which it meets the surface, in the middle. ``stone_m3`` (``stone_kg``) is the stone
    behind the figure's surface that the region bounds; ``depth_mm`` how far it goes behind the first surface of
    its columns; ``opening_mm`` the thickest tool that still reaches half of it along the approach (``None``: not
    measured; it was small, or closed). ``slender_mm2`` is what an infinitely thin tool would reach where the tool given
    does not. ``outline`` is what it covers in the view from the front; ``after`` the numbers of regions to be
    opened before it.

    Lengths are mm, in the block's frame. Resolved to the pitch of the columns; ``stone_kg`` is an estimate, ``None``
    without a stone.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> region = bf.undercuts(fit, pitch=20).regions[0]
    >>> region.number, region.reach, region.approach, region.after
    (1, 'back', 'from the back', ())
    >>> round(region.area_mm2 / 100), round(region.stone_m3, 3)  # cm², m³
    (1616, 0.024)
    """

    number: int = field(metadata=fact("number", Sure.EXACT, measure=Measure.COUNT))
    place: Phrase = field(metadata=fact("place", Sure.EXACT))
    reach: str = field(metadata=fact("reached from the", Sure.RESOLVED))
    approach: str = field(metadata=fact("approach", Sure.RESOLVED))
    into: Array | None = field(metadata=fact("approach, as a vector", Sure.RESOLVED, shown=False))
    meets_deg: float = field(metadata=fact("met at", Sure.RESOLVED))
    area_mm2: float = field(metadata=fact("area", Sure.RESOLVED))
    stone_m3: float = field(metadata=fact("stone", Sure.RESOLVED))
    stone_kg: float | None = field(metadata=fact("weight", Sure.ESTIMATE, Rounding.UP))
    centre_mm: Array = field(metadata=fact("centre", Sure.RESOLVED, shown=False))
    depth_mm: float = field(metadata=fact("depth behind the front surface", Sure.RESOLVED, Rounding.DOWN))
    opening_mm: float | None = field(metadata=fact("open to tools of", Sure.RESOLVED, Rounding.DOWN))
    slender_mm2: float = field(metadata=fact("more for an infinitely thin tool", Sure.RESOLVED, shown=False))
    outline: Outline = field(metadata=fact("outline", Sure.RESOLVED, key="outline_mm", shown=False))
    after: tuple[int, ...] = field(metadata=fact("after", Sure.RESOLVED))

    def record(self) -> dict[str, Any]:
        """Return the region as plain data, its outline to a tenth of a mm."""
        outline = [[plain(ring.round(1)) for ring in part] for part in self.outline]
        return {**record_of(self), "outline_mm": outline}


@dataclass(frozen=True, slots=True, eq=False)
class FrontView:
    """What all steps share: the fit, its surface, the columns from the front, the pitch, the tool and the limits."""

    fit: Fit
    elements: Elements
    columns: Columns
    pitch_mm: float
    tool: Tool | None
    least_angle: float
    least_mm2: float


def classes(setting: FrontView, bare: dict[str, Flags], later: Flags, slants: int) -> tuple[Ints, list[Array | None]]:
    """Return each element's class (m,) and the direction of every class: faces first, slants next, closed last.

    Of the faces that reach an element the one it faces most squarely is taken, the back before all others. The
    bottom is left out: the block stands on it. What no face reaches goes, piece by piece, to the slant that
    reaches most of it.
    """
    elements, block = setting.elements, setting.fit.block
    ahead = setting.columns.view.into
    ways: list[Array | None] = []
    labels, squarest = np.full(len(later), -1, np.int64), np.zeros(len(later))
    inward = {name: into_face(block, name) for name in bare}
    for name in sorted(inward, key=lambda name: float(inward[name] @ ahead)):  # the back first
        into = inward[name]
        if into[2] > 0.8 or float(into @ ahead) > PARALLEL:
            continue
        hit = bare[name] & later
        if setting.tool is not None:
            hit = seen_along(elements, into, block, setting.pitch_mm, setting.tool, hit)
        square = np.where(hit, -(elements.normals @ into), 0.0)
        better = square > squarest
        labels[better] = len(ways)
        squarest[better] = np.inf if float(into @ ahead) < -0.999 else square[better]
        ways.append(into)
    _slanting(setting, labels, ways, later, slants)
    labels[later & (labels < 0)] = len(ways)
    ways.append(None)
    return labels, ways


def _slanting(setting: FrontView, labels: Ints, ways: list[Array | None], later: Flags, slants: int) -> None:
    """Give what no face reaches to slants, in place: piece by piece, the one that reaches most of it first."""
    elements, block = setting.elements, setting.fit.block
    rest = later & (labels < 0)
    if float(elements.areas[rest].sum()) < setting.least_mm2 or slants < 1:
        return
    where = np.flatnonzero(rest)
    tried = [into for into in spread_directions(slants) if into[2] < 0.8]
    coarse = 1.5 * setting.pitch_mm
    hits = np.array([seen_along(elements, into, block, coarse, setting.tool, rest)[where] for into in tried])
    # Area counts in full where the tool meets it well, by a tenth where it would only glance off.
    square = -(np.array(tried) @ elements.normals[where].T)
    steady = np.where(square >= np.sin(np.radians(setting.least_angle)), 1.0, 0.1)
    worth = hits * steady * elements.areas[where]  # (k, r)
    piece = patches(elements.faces, np.where(rest, 0, -1))[where]
    for one in np.unique(piece):
        mine = piece == one
        for _ in range(_SLANTS_A_PIECE):
            gain = worth[:, mine].sum(axis=1)
            best = int(gain.argmax())
            taken = mine & hits[best]
            if gain[best] > 0 and float(elements.areas[where[taken]].sum()) >= setting.least_mm2:
                taken, tried[best] = _refined(setting, tried[best], where, mine, taken)
            if gain[best] <= 0 or float(elements.areas[where[taken]].sum()) < setting.least_mm2 / 4:
                break
            labels[where[taken]] = len(ways)
            ways.append(tried[best])
            mine &= ~taken
            if not mine.any():
                break


def _refined(setting: FrontView, into: Array, where: Ints, mine: Flags, taken: Flags) -> tuple[Flags, Array]:
    """Return what the best of a slant and four around it reaches of the elements ``where`` that are ``mine``."""
    elements = setting.elements
    among = np.zeros(len(elements.faces), bool)
    among[where[mine]] = True
    best, way = taken, into
    for other in around(into, np.radians(5)):
        hit = seen_along(elements, other, setting.fit.block, 1.5 * setting.pitch_mm, setting.tool, among)[where]
        if elements.areas[where[hit]].sum() > elements.areas[where[best]].sum():
            best, way = hit, other
    return best, way


def joined_patches(setting: FrontView, labels: Ints, later: Flags) -> Ints:
    """Return (m,) patch numbers; small patches take the class of their largest neighbour, in place in ``labels``."""
    elements = setting.elements
    shown = np.where(later, labels, -1)
    first, second, _ = face_pairs(elements.faces)
    first, second = np.concatenate([first, second]), np.concatenate([second, first])
    for _ in range(4):
        patch = patches(elements.faces, shown)
        size = np.bincount(patch, elements.areas)
        small = (size < setting.least_mm2)[patch] & later
        edge = small[first] & later[second] & (patch[first] != patch[second])
        edge &= size[patch[second]] > size[patch[first]]
        if not edge.any():
            break
        from_face, to_face = first[edge], second[edge]
        order = np.lexsort((to_face, size[patch[to_face]]))  # the largest neighbour is written last
        target = np.full(int(patch.max()) + 1, -1, np.int64)
        target[patch[from_face[order]]] = shown[to_face[order]]
        take = small & (target[patch] >= 0)
        shown[take] = target[patch][take]
    labels[later] = shown[later]
    return patches(elements.faces, shown)


def regions_of(
    setting: FrontView, labels: Ints, ways: list[Array | None], patch: Ints, later: Flags
) -> tuple[tuple[Region, ...], Ints]:
    """Return the regions, largest first, and each element's region number."""
    elements = setting.elements
    size = np.bincount(patch[later], elements.areas[later], minlength=int(patch.max()) + 1)
    large = [int(k) for k in np.argsort(-size, kind="stable") if size[k] >= max(setting.least_mm2, LEAST_SIZE)]
    number = np.zeros(len(size), np.int64)
    number[large] = np.arange(1, len(large) + 1)
    region_of = np.where(later, number[patch], 0)
    stone = _stone_by_region(setting, region_of, len(large))
    depth = _depth_behind(setting)
    members = [np.flatnonzero(region_of == k) for k in range(1, len(large) + 1)]
    into = [
        ways[int(np.bincount(labels[mine], elements.areas[mine], minlength=len(ways)).argmax())] for mine in members
    ]
    numbered = list(zip(range(1, len(large) + 1), members, into, strict=True))
    before = opened_before(numbered, elements, setting.columns, region_of)
    regions = tuple(
        _region(setting, k, mine, way, float(stone[k]), float(depth[mine].max()), before[k])
        for k, mine, way in numbered
    )
    return regions, region_of


def _region(
    setting: FrontView, number: int, mine: Ints, into: Array | None, stone: float, depth: float, after: tuple[int, ...]
) -> Region:
    elements, fit = setting.elements, setting.fit
    weights = elements.areas[mine]
    centre = (elements.points[mine] * weights[:, None]).sum(axis=0) / weights.sum()
    low, high = elements.vertices.min(axis=0), elements.vertices.max(axis=0)
    square = np.zeros(len(mine)) if into is None else np.clip(-(elements.normals[mine] @ into), 0, 1)
    kind = fit.block.stone
    measured = into is not None and number <= _OPENINGS
    return Region(
        number=number,
        place=place_words(centre, low, high, fit.solid().landmarks),
        reach=_reach_word(into, setting),
        approach=f"closed to {'straight tools' if setting.tool is None else 'this tool'}"
        if into is None
        else approach_words(into),
        into=into,
        meets_deg=float(np.degrees(np.arcsin(np.median(square)))),
        area_mm2=float(weights.sum()),
        stone_m3=stone,
        stone_kg=None if kind is None else stone * kind.density_kg_m3,
        centre_mm=centre,
        depth_mm=depth,
        opening_mm=_opening(setting, mine, into) if measured and into is not None else None,
        slender_mm2=_slender(setting, mine, into),
        outline=outline_of_spots(setting.columns.view.seen(elements.points[mine])[0], 2 * setting.pitch_mm),
        after=after,
    )


def _reach_word(into: Array | None, setting: FrontView) -> str:
    if into is None:
        return "closed"
    if float(into @ setting.columns.view.into) < -0.999:
        return "back"
    is_face = (setting.fit.block.normals @ into < -PARALLEL).any()
    return "side" if is_face else "oblique"


def _slender(setting: FrontView, mine: Ints, into: Array | None) -> float:
    """Return the area in mm² that an infinitely thin tool would reach, from the front or along the approach."""
    if setting.tool is None:
        return 0.0
    elements = setting.elements
    among = np.zeros(len(elements.faces), bool)
    among[mine] = True
    bare = np.zeros(len(elements.faces), bool)
    for way in [setting.columns.view.into, *([] if into is None else [into])]:
        bare |= seen_along(elements, way, setting.fit.block, setting.pitch_mm, None, among)
    if into is not None:
        bare &= ~seen_along(elements, into, setting.fit.block, setting.pitch_mm, setting.tool, among)
    return float(elements.areas[bare].sum())


def _opening(setting: FrontView, mine: Ints, into: Array) -> float:
    """Return the thickest tool, of a few tried, that reaches half of what a thin one does along ``into``."""
    elements, pitch = setting.elements, setting.pitch_mm
    view = view_along(into)
    lattice = lattice_over(view, elements.points[mine], pitch, plain=True)
    picture = depth_picture(elements, view, lattice)
    plane, cell, slack = first_seen(elements, view, lattice, mine)
    weights = elements.areas[mine]
    half = float(weights[picture.ravel()[cell] >= plane - slack].sum()) / 2
    widest = 0.0
    for radius in _RADII if half > 0 else ():
        if float(weights[closed_once(picture, radius).ravel()[cell] >= plane - slack].sum()) < half:
            break
        widest = 2 * pitch * radius
    return widest


def _stone_by_region(setting: FrontView, region_of: Ints, count: int) -> Array:
    """Return (count + 1,) the stone in m³ that lies behind each region's elements, as far as the next surface."""
    block, columns = setting.fit.block, setting.columns
    end = end_of_stone(block, columns.view, columns.places(), columns.leave)
    next_enter = np.concatenate([columns.enter[1:], [0.0]])
    until = np.where(columns.is_last, end, next_enter)
    volume = (until - columns.leave) * columns.lattice.pitch**2 * M3_PER_MM3
    return np.bincount(region_of[columns.leave_face], volume, minlength=count + 1).astype(np.float64)


def _depth_behind(setting: FrontView) -> Array:
    """Return (m,) how far each element lies behind the first surface of its column, in mm; 0 if it is the first."""
    columns, elements = setting.columns, setting.elements
    lattice = columns.lattice
    first = np.full(lattice.rows * lattice.columns, np.inf)
    first[columns.cell[columns.is_first]] = columns.enter[columns.is_first]
    seen, depth = columns.view.seen(elements.points)
    row, column = lattice.cells(seen)
    behind = depth - first[row * lattice.columns + column]
    return np.where(np.isfinite(behind), np.maximum(behind, 0.0), 0.0)

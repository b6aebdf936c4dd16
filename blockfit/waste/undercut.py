"""What is undercut from one face: the stone before, beside, between and behind the figure, and the surface that
must be reached from elsewhere.

mm and m³, block frame. Volumes and regions are resolved to the columns' pitch; the residual to the exact volume
is reported. "Reached" means by a straight tool of no width."""

from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.measure.columns import Columns, columns_of
from blockfit.measure.patches import face_pairs, patches
from blockfit.measure.views import FACE_DIRECTIONS, View, lattice_over, view_along
from blockfit.search.result import Fit, Verdict
from blockfit.search.support import spread_directions
from blockfit.solids.arrays import Array, Flags, Ints
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure, require_solid
from blockfit.units import Length, length_mm
from blockfit.waste.opening import opened_before
from blockfit.waste.places import approach_words, place_words
from blockfit.waste.reach import Elements, elements_of, reached

__all__ = ["Region", "Undercuts", "block_chords", "placed_solid", "undercuts"]

_OBLIQUE = 150  # directions tried for what no face reaches
_LEAST_SHARE = 5e-4  # of the surface: smaller regions are joined to a neighbour or told as scattered


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """One connected part of the surface that the front does not reach.

    ``reach`` is ``back``, ``side`` (another face), ``oblique`` (no face, but a slanting tool) or ``closed`` (to
    straight tools). ``approach`` is the direction in words, ``into`` (3,) its unit vector, ``None`` if closed.
    ``stone_m3`` is the stone behind the figure's surface that it bounds; ``depth_mm`` how far the region goes
    behind the first surface of its columns; ``after`` the numbers of regions to be opened before it.
    """

    number: int
    place: str
    reach: str
    approach: str
    into: Array | None
    area_mm2: float
    stone_m3: float
    centre_mm: Array
    depth_mm: float
    after: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Undercuts:
    """Four volumes of stone and what the pitch misses, the reach of each face, and the regions left for later.

    ``region_of`` (m,) gives each element of ``elements`` its region's number, 0 where it is reached from the
    front, stands on the bottom, or is scattered.
    """

    front: str
    pitch_mm: float
    front_m3: float
    beside_m3: float
    trapped_m3: float
    rear_m3: float
    residual_m3: float
    reach_by_face: dict[str, float]
    regions: tuple[Region, ...]
    scattered_mm2: float
    elements: Elements
    region_of: Ints


def placed_solid(fit: Fit, what: str) -> Figure:
    """Return the placed figure, or raise: `OpenSurfaceError` if it is no solid, `BadValueError` if it sticks out."""
    require_solid(fit.figure, what)
    if fit.placement is None or fit.verdict is not Verdict.FITS:
        raise BadValueError(
            f"{what} needs a figure that fits, and {fit.figure.name} does not fit in {fit.block.name}; "
            "ask largest() for the size that does"
        )
    return fit.solid()


def undercuts(fit: Fit, *, front: str = "front", pitch: Length | None = None) -> Undercuts:
    """Return what is undercut from the face ``front``, by columns ``pitch`` apart (default: a 400th of the block).

    A base that stands on the bottom is no undercut: it stays.
    """
    solid = placed_solid(fit, "undercuts")
    block = fit.block
    step = max(block.size_mm) / 400 if pitch is None else length_mm(pitch, "pitch", least=1e-3)
    view = _view_of(block, front)
    elements = elements_of(solid.vertices, solid.faces, step)
    columns = columns_of(elements.vertices, elements.faces, view, lattice_over(view, elements.vertices, step))
    volumes = _volumes(block, columns)
    exact = block.volume_m3 - (solid.volume_m3 or 0.0)
    residual = exact - sum(volumes)
    seen = {name: reached(elements, _view_of(block, name), step) for name in block.names}
    total = float(elements.areas.sum())
    shares = {name: float(elements.areas[hit].sum()) / total for name, hit in seen.items()}
    later = ~seen[front] & ~_base(elements, block)
    labels, directions = _classes(elements, block, front, seen, later, step)
    patch = _patches(elements, labels, later, total)
    regions, region_of = _regions(fit, elements, columns, labels, directions, patch, later, total)
    kept = region_of > 0
    scattered = float(elements.areas[later & ~kept].sum())
    return Undercuts(front, step, *volumes, residual, shares, regions, scattered, elements, region_of)


def _view_of(block: Block, face: str) -> View:
    if face in FACE_DIRECTIONS:
        return view_along(FACE_DIRECTIONS[face])
    if face in block.names:
        return view_along(-block.normals[block.names.index(face)])
    raise BadValueError(f"face {face!r} is not one of {', '.join(block.names)}")


def _volumes(block: Block, columns: Columns) -> tuple[float, float, float, float]:
    """Return the stone before, beside, between and behind the figure, in m³."""
    view, places = columns.view, columns.places()
    start, end = block_chords(block.normals, block.offsets_mm, view, places)
    cell = columns.lattice.pitch**2 * 1e-9
    first, last = columns.is_first, columns.is_last
    before = float((columns.enter - start)[first].sum()) * cell
    behind = float((end - columns.leave)[last].sum()) * cell
    whole = float((end - start)[first].sum()) * cell
    filled = float((columns.leave - columns.enter).sum()) * cell
    return before, block.volume_m3 - whole, whole - before - behind - filled, behind


def block_chords(normals: Array, offsets: Array, view: View, places: Array) -> tuple[Array, Array]:
    """Return the depths (q,) at which lines along the view, at (q, 2) places, enter and leave a convex solid.

    Where a line misses it, the end lies before the start.
    """
    across = places @ np.stack([view.right, view.up])  # (q, 3)
    along = normals @ view.into  # (f,)
    rest = offsets - across @ normals.T  # (q, f)
    tilted = np.abs(along) > 1e-12
    at = rest / np.where(tilted, along, 1.0)
    start = np.where(tilted & (along < 0), at, -np.inf).max(axis=1)
    end = np.where(tilted & (along > 0), at, np.inf).min(axis=1)
    outside = (rest[:, ~tilted] < 0).any(axis=1)
    return np.where(outside, end, start), end


def _base(elements: Elements, block: Block) -> Flags:
    """Return the elements that stand on the lowest level of the figure and face straight down."""
    low = float(elements.vertices[:, 2].min())
    hair = 1e-3 * max(block.size_mm)
    return np.asarray((elements.normals[:, 2] < -0.99) & (elements.points[:, 2] < low + hair))


def _classes(
    elements: Elements, block: Block, front: str, seen: dict[str, Flags], later: Flags, step: float
) -> tuple[Ints, list[Array | None]]:
    """Return each element's class and the direction of every class: faces first, slants next, closed last.

    Of the faces that reach an element the one it faces most squarely is taken, the back before all others.
    The bottom is left out: the block stands on it.
    """
    ahead = _view_of(block, front).into
    names = [name for name in block.names if name != front and not _looks_up(_view_of(block, name).into)]
    names.sort(key=lambda name: float(_view_of(block, name).into @ ahead))  # the back first
    directions: list[Array | None] = [_view_of(block, name).into for name in names]
    labels = np.full(len(later), -1, np.int64)
    squarest = np.zeros(len(later))
    for k, name in enumerate(names):
        square = np.where(seen[name] & later, -(elements.normals @ _view_of(block, name).into), 0)
        back = k == 0 and float(_view_of(block, name).into @ ahead) < -0.5
        better = square > squarest
        labels[better], squarest[better] = k, np.inf if back else square[better]
    for slant in spread_directions(_OBLIQUE):
        rest = later & (labels < 0)
        if not rest.any():
            break
        if slant[2] > 0.8 or float(slant @ ahead) > 0.999:
            continue
        hit = reached(elements, view_along(slant), 1.5 * step, rest)
        if hit.any():
            labels[hit] = len(directions)
            directions.append(slant)
    closed = later & (labels < 0)
    labels[closed] = len(directions)
    directions.append(None)
    return labels, directions


def _looks_up(into: Array) -> bool:
    return bool(into[2] > 0.8)


def _patches(elements: Elements, labels: Ints, later: Flags, total: float) -> Ints:
    """Return (m,) patch numbers; small patches take the class of their largest neighbour, in place in ``labels``."""
    shown = np.where(later, labels, -1)
    for _ in range(4):
        patch = patches(elements.faces, shown)
        size = np.bincount(patch, elements.areas)
        small = (size < _LEAST_SHARE * total)[patch] & later
        if not small.any():
            break
        first, second, _ = face_pairs(elements.faces)
        first, second = np.concatenate([first, second]), np.concatenate([second, first])
        edge = (
            small[first] & later[second] & (patch[first] != patch[second]) & (size[patch[second]] > size[patch[first]])
        )
        first, second = first[edge], second[edge]
        if len(first) == 0:
            break
        order = np.lexsort((second, size[patch[second]]))  # the largest neighbour is written last
        target = np.full(int(patch.max()) + 1, -1, np.int64)
        target[patch[first[order]]] = shown[second[order]]
        take = small & (target[patch] >= 0)
        shown[take] = target[patch][take]
    labels[later] = shown[later]
    return patches(elements.faces, shown)


def _regions(
    fit: Fit,
    elements: Elements,
    columns: Columns,
    labels: Ints,
    directions: list[Array | None],
    patch: Ints,
    later: Flags,
    total: float,
) -> tuple[tuple[Region, ...], Ints]:
    """Return the regions, largest first, and each element's region number."""
    size = np.bincount(patch[later], elements.areas[later], minlength=int(patch.max()) + 1)
    large = [int(k) for k in np.argsort(-size, kind="stable") if size[k] >= _LEAST_SHARE * total]
    number = np.zeros(len(size), np.int64)
    number[large] = np.arange(1, len(large) + 1)
    region_of = np.where(later, number[patch], 0)
    stone = _stone_by_region(columns, region_of, fit.block, len(large))
    depth = _depth_behind(elements, columns)
    low, high = elements.vertices.min(axis=0), elements.vertices.max(axis=0)
    parts = []
    for k in range(1, len(large) + 1):
        mine = np.flatnonzero(region_of == k)
        weights = elements.areas[mine]
        into = directions[int(np.bincount(labels[mine], weights, minlength=len(directions)).argmax())]
        centre = (elements.points[mine] * weights[:, None]).sum(axis=0) / weights.sum()
        parts.append((k, mine, into, centre))
    before = opened_before([(k, mine, into) for k, mine, into, _ in parts], elements, columns, region_of)
    regions = tuple(
        Region(
            number=k,
            place=place_words(centre, low, high, fit.solid().landmarks),
            reach=_reach_word(into, columns.view.into),
            approach="closed to straight tools" if into is None else approach_words(into),
            into=into,
            area_mm2=float(elements.areas[mine].sum()),
            stone_m3=float(stone[k]),
            centre_mm=centre,
            depth_mm=float(depth[mine].max()),
            after=before[k],
        )
        for k, mine, into, centre in parts
    )
    return regions, region_of


def _reach_word(into: Array | None, ahead: Array) -> str:
    if into is None:
        return "closed"
    if float(into @ ahead) < -0.999:
        return "back"
    return "side" if max(np.abs(into)) > 0.999 else "oblique"


def _stone_by_region(columns: Columns, region_of: Ints, block: Block, count: int) -> Array:
    """Return (count + 1,) the stone in m³ that lies behind each region's elements, as far as the next surface."""
    _, end = block_chords(block.normals, block.offsets_mm, columns.view, columns.places())
    next_enter = np.concatenate([columns.enter[1:], [0.0]])
    until = np.where(columns.is_last, end, next_enter)
    volume = (until - columns.leave) * columns.lattice.pitch**2 * 1e-9
    return np.bincount(region_of[columns.leave_face], volume, minlength=count + 1).astype(np.float64)


def _depth_behind(elements: Elements, columns: Columns) -> Array:
    """Return (m,) how far each element lies behind the first surface of its column, in mm; 0 if it is the first."""
    lattice = columns.lattice
    first = np.full(lattice.rows * lattice.columns, np.inf)
    first[columns.cell[columns.is_first]] = columns.enter[columns.is_first]
    seen, depth = columns.view.seen(elements.points)
    row, column = lattice.cells(seen)
    behind = depth - first[row * lattice.columns + column]
    return np.where(np.isfinite(behind), np.maximum(behind, 0.0), 0.0)

"""Choosing points on a depth picture so that cutting straight between them leaves little stone and takes none too much.

mm; a picture (rows, columns) at a plain lattice's pitch holds the depth from a face, inf where no figure is met.
How deep a tool may go is not sampled: over every cell, and as far around it as the tool and the rounding of readings
reach, the least depth of the exact surface counts. Between three neighbouring points (a facet of the Delaunay
triangulation) the cut runs straight, or level where the figure rises between them by little; where it rises by more,
and beyond the points, nothing is cut."""

import math
from dataclasses import dataclass, replace

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.polytope import linear_over
from blockfit.geometry.tolerances import CLOSE, LEAST_SIZE
from blockfit.measure.columns import crossings, first_depths
from blockfit.measure.least_depth import cells_touched, least_cells, least_over, least_within
from blockfit.measure.nearest import tree_of
from blockfit.measure.pictures import least_square
from blockfit.measure.views import Lattice, View, lattice_over
from blockfit.solids.figure import Figure

__all__ = ["DepthPicture", "Facets", "Spots", "chosen_spots", "facets_over", "high_spots", "picture_of"]

_CELLS = 900  # along the longer side of a picture
_ROUNDS = 30
_ROUGH_MM = 60.0
_RISE = 5.0  # pitches: how far three points are drawn up rather than nothing cut between them


@dataclass(frozen=True, slots=True, eq=False)
class DepthPicture:
    """A face's view: depths at the middles of the lattice's cells, and the cosine of the surface there.

    ``near`` is the least depth of the exact surface over each cell; ``safe`` that over all that a tool may touch which
    stands in the cell, less the allowance: a cut that is nowhere deeper takes no figure. ``places`` (rows, columns, 2)
    are the cells' middles to the right and up.
    """

    view: View
    lattice: Lattice
    depth: Array
    near: Array
    cosine: Array
    safe: Array
    places: Array


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """Chosen points: ``cells`` (k,) flat indices, and their ``places`` (k, 2) within them to the right and up."""

    cells: Ints
    places: Array

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.cells)


@dataclass(frozen=True, slots=True, eq=False)
class Facets:
    """How deep to cut from a face: at its points, and between them.

    ``places`` (k, 2) are the points to the right and up, ``depth_mm`` (k,) how deep to cut there, along the view.
    ``triangles`` (t, 3) are the facets between which something may be cut; where ``straight`` (t,) the cut runs
    straight between its points, elsewhere level at ``level_mm`` (t,), never above the highest of the three.
    ``facet_of`` (d,) numbers them among all triangles of the points, −1 where nothing may be cut.
    """

    places: Array
    depth_mm: Array
    triangles: Ints
    straight: Flags
    level_mm: Array
    facet_of: Ints

    def level_at(self, points: Flags) -> "Facets":
        """Return facets that run level, no deeper than the highest of the three, where one of the ``points`` (k,) is
        a corner: places where the stone's face lies already deeper than the cut, so that no straight line is drawn.
        """
        return replace(self, straight=self.straight & ~points[self.triangles].any(axis=1))

    def cut_mm(self, places: Array) -> Array:
        """Return how deep the cut goes at (q, 2) places, along the view; −inf where nothing is cut."""
        return self.cut_in(*linear_over(self.places, places)[:2])

    def cut_in(self, which: Ints, shares: Array) -> Array:
        """Return the same where the places' triangles (q,) and shares (q, 3) of their corners are known."""
        cut = np.full(len(which), -np.inf)
        if len(self.facet_of):
            at = np.where(which >= 0, self.facet_of[which], -1)
            held = at >= 0
            at = at[held]
            line = (shares[held] * self.depth_mm[self.triangles[at]]).sum(axis=1)
            cut[held] = np.where(self.straight[at], line, self.level_mm[at])
        return cut


def picture_of(figure: Figure, view: View, allowance_mm: float, half_mm: float) -> DepthPicture:
    """Return the picture of a figure from a face; a tool at a place touches no more than ``half_mm`` to every side."""
    seen, _ = view.seen(figure.vertices)
    pitch = max(float(np.ptp(seen, axis=0).max()) / _CELLS, LEAST_SIZE)
    # What a tool touches as a whole number of cells: what is rounded up to whole ones leaves stone for nothing.
    pitch = half_mm / math.ceil(half_mm / pitch) if half_mm > 0.75 * pitch else pitch
    lattice = lattice_over(view, figure.vertices, pitch, plain=True)
    found = crossings(figure.vertices, figure.faces, view, lattice, entering_only=True)
    depth = first_depths(found, lattice)[0].reshape(lattice.rows, lattice.columns)
    near = least_cells(figure.vertices, figure.faces, view, lattice)
    rows, columns = np.indices(depth.shape)
    filled = np.where(np.isfinite(depth), depth, np.nan)
    with np.errstate(invalid="ignore"):
        slopes = np.gradient(filled, pitch)
    steep = np.nan_to_num(slopes[0] ** 2 + slopes[1] ** 2, nan=np.inf)
    safe = least_square(near, math.ceil(half_mm / pitch - CLOSE)) - allowance_mm
    places = lattice.places(rows, columns)
    return DepthPicture(view, lattice, depth, near, 1 / np.sqrt(1 + steep), safe, places)


def high_spots(picture: DepthPicture, figure: Figure, count: int, apart_mm: float, taken: Array) -> Spots:
    """Return the exact places nearest to the face in each of ``count`` bands across the figure's length.

    None lies within ``apart_mm`` of another, nor of places already ``taken`` (t, 2).
    """
    near = picture.near.ravel()
    met = np.flatnonzero(np.isfinite(near))
    if len(met) == 0 or count < 1:
        return Spots(np.zeros(0, np.int64), np.zeros((0, 2)))
    middles = picture.places.reshape(-1, 2)
    along = middles[met][:, int(np.ptp(middles[met], axis=0).argmax())]
    band = np.minimum((along - along.min()) / max(float(np.ptp(along)), LEAST_SIZE) * count, count - 1).astype(np.int64)
    best = [met[band == k][near[met[band == k]].argmin()] for k in range(count) if (band == k).any()]
    cells = np.array(sorted(best, key=lambda cell: near[cell]), np.int64)
    half = picture.lattice.pitch / 2
    places = least_over(figure.vertices, figure.faces, picture.view, middles[cells], half)[1]
    # The place counts as lying in its cell: what is safe there is safe at it.
    kept: list[int] = []
    for k, place in enumerate(places):
        others = np.concatenate([taken, places[kept]])
        if not (np.linalg.norm(others - place, axis=1) < apart_mm).any():
            kept.append(k)
    return Spots(cells[kept], places[kept])


def chosen_spots(
    picture: DepthPicture, start: Spots, count: int, apart_mm: float, wanted: Array, taken: Array
) -> Spots:
    """Return ``start`` and further cells, up to ``count`` in all, where cutting between them would leave most.

    ``wanted`` (rows, columns) weighs what is left: how much each cell matters to this face. None lies within
    ``apart_mm`` of another, nor of places already ``taken`` (t, 2).
    """
    middles = picture.places.reshape(-1, 2)
    safe = picture.safe.ravel()
    weight = np.where(np.isfinite(picture.depth), picture.cosine * wanted, 0.0).ravel()
    asked = np.flatnonzero(weight > 0)
    if len(taken):
        asked = asked[tree_of(taken).query(middles[asked])[0] >= apart_mm]
    step = max(1, len(asked) // 30_000)
    asked, cell = asked[::step], step * picture.lattice.pitch**2
    cells, places = list(start.cells), list(start.places)
    if not cells and len(asked):
        cells, places = [asked[safe[asked].argmin()]], [middles[asked[safe[asked].argmin()]]]
    for turn in range(_ROUNDS):
        room = count - len(cells)
        if room <= 0 or len(asked) == 0:
            break
        cut = _cut_between(picture, Spots(np.array(cells), np.array(places)), asked)
        # Roughing out leaves no more than about a plane's step: beyond it all are equally bad.
        left = np.minimum(safe[asked] - cut, _ROUGH_MM) * weight[asked]
        # Points taken together lie well apart: one would have served for its neighbours.
        together = max(apart_mm, 0.7 * float(np.sqrt(len(asked) * cell / (len(cells) + 1))))
        away, _ = tree_of(np.array(places)).query(middles[asked])
        # What is left weighs with the way to the next point, or a level plinth would be taken edge first.
        rank = np.argsort(-left * away, kind="stable")
        order = asked[rank][away[rank] >= apart_mm]
        for _ in range(min(max(1, -(-room // (_ROUNDS - turn))), room)):
            if len(order) == 0:
                break
            cells.append(order[0])
            places.append(middles[order[0]])
            order = order[np.linalg.norm(middles[order] - middles[order[0]], axis=1) >= together]
    return Spots(np.array(cells[:count], np.int64), np.array(places[:count]).reshape(-1, 2))


def facets_over(picture: DepthPicture, spots: Spots) -> Facets:
    """Return how deep to cut at each of the spots and between them, nowhere deeper than safe.

    Where the figure rises above a facet by little, its three points are drawn up by as much; where by more, the facet
    is cut level if that is no higher than the highest of its points, else not at all.
    """
    triangles = linear_over(spots.places, np.zeros((0, 2)))[2]
    safe, lattice = picture.safe.ravel(), picture.lattice
    flat = lattice.flatten(spots.places)[triangles]
    at, cell = cells_touched(flat, lattice)
    row, column = np.divmod(cell, lattice.columns)
    finite = np.isfinite(safe[cell])
    at, cell, low = at[finite], cell[finite], np.stack([column, row], axis=1)[finite].astype(np.float64)
    # The deepest of each facet over each cell that it touches.
    line = -least_within(flat[at], -safe[spots.cells][triangles[at]], low, low + 1)[0]
    met = np.isfinite(line)
    return _settled(picture, spots, triangles, at[met], line[met], safe[cell[met]])


def _cut_between(picture: DepthPicture, spots: Spots, looked: Ints) -> Array:
    """Return how deep cells would be cut, only their own middles looked at: enough to choose by."""
    safe = picture.safe.ravel()
    which, shares, triangles = linear_over(spots.places, picture.places.reshape(-1, 2)[looked])
    held = which >= 0
    line = (shares[held] * safe[spots.cells][triangles[which[held]]]).sum(axis=1)
    return _settled(picture, spots, triangles, which[held], line, safe[looked][held]).cut_in(which, shares)


def _settled(picture: DepthPicture, spots: Spots, triangles: Ints, at: Ints, line: Array, here: Array) -> Facets:
    """Return the facets, given where in facet ``at`` (q,) a straight cut is ``line`` deep and ``here`` is safe."""
    depth = picture.safe.ravel()[spots.cells].copy()
    count = len(triangles)
    if count == 0:
        return Facets(spots.places, depth, triangles, np.zeros(0, bool), np.zeros(0), np.zeros(0, np.int64))
    over, level = np.full(count, -np.inf), np.full(count, np.inf)
    np.maximum.at(over, at, line - here)
    np.minimum.at(level, at, here)
    rise = _RISE * picture.lattice.pitch
    straight = over <= rise
    lift = np.zeros(len(depth))
    for corner in range(3):
        np.maximum.at(lift, triangles[straight, corner], np.maximum(over[straight], 0.0))
    depth = depth - lift
    # A level cut is worth it only where it reaches the highest of its three stops; a little is drawn up for it.
    high = triangles[np.arange(count), depth[triangles].argmin(axis=1)]
    short = np.where(straight, 0.0, depth[high] - level)
    some = ~straight & (short > 0) & (short <= rise)
    np.minimum.at(depth, high[some], level[some])
    kept = straight | (short <= rise)
    if not kept.any():  # one facet at least: its highest point is drawn up
        only = int(short.argmin())
        depth[high[only]] = min(depth[high[only]], level[only])
        kept[only] = True
    highest = depth[triangles].min(axis=1)
    levels = np.where(straight, highest, np.maximum(level, highest))
    facet_of = np.where(kept, np.cumsum(kept) - 1, -1)
    return Facets(spots.places, depth, triangles[kept], straight[kept], levels[kept], facet_of)

"""Choosing points on a depth picture so that cutting straight between them leaves little stone and takes none too much.

mm; a picture (rows, columns) at a plain lattice's pitch holds the depth from a face, inf where no figure is met.
Between three neighbouring points (a facet of the Delaunay triangulation) the cut runs straight, or, where the figure
rises between them (over an edge, between two limbs), level at the facet's own stop; beyond them nothing is cut."""

from dataclasses import dataclass

import numpy as np

from blockfit.measure.columns import crossings, first_depths
from blockfit.measure.nearest import tree_of
from blockfit.measure.pictures import least_around
from blockfit.measure.views import Lattice, View, lattice_over
from blockfit.solids.arrays import Array, Flags, Ints
from blockfit.solids.figure import Figure
from blockfit.solids.polytope import linear_over

__all__ = ["DepthPicture", "Facets", "chosen_spots", "facets_over", "high_spots", "picture_of"]

_CELLS = 500  # along the longer side of a picture
_ROUNDS = 30
_ROUGH_MM = 60.0
_RISE = 3.0  # pitches: how far three points are drawn up rather than their facet cut level


@dataclass(frozen=True, slots=True, eq=False)
class DepthPicture:
    """A face's view: depths at the lattice's cells, the cosine of the surface there, and the safe depth.

    ``safe`` is the least depth around each cell, less the allowance: a cut that is nowhere deeper takes no figure.
    ``places`` (rows, columns, 2) are the cells' places to the right and up.
    """

    view: View
    lattice: Lattice
    depth: Array
    cosine: Array
    safe: Array
    places: Array


@dataclass(frozen=True, slots=True, eq=False)
class Facets:
    """How deep to cut from a face: at its points, and between them.

    ``places`` (k, 2) are the points to the right and up, ``depth_mm`` (k,) how deep to cut there, along the view.
    ``triangles`` (t, 3) are the facets; where ``straight`` (t,) the cut runs straight between its points, elsewhere
    level at ``level_mm`` (t,).
    """

    places: Array
    depth_mm: Array
    triangles: Ints
    straight: Flags
    level_mm: Array

    def cut_mm(self, places: Array) -> Array:
        """Return how deep the cut goes at (q, 2) places, along the view; −inf where nothing is cut."""
        which, shares, triangles = linear_over(self.places, places)
        cut = np.full(len(places), -np.inf)
        held = which >= 0
        if len(triangles):
            at = which[held]
            line = (shares[held] * self.depth_mm[self.triangles[at]]).sum(axis=1)
            cut[held] = np.where(self.straight[at], line, self.level_mm[at])
        return cut


def picture_of(figure: Figure, view: View, allowance_mm: float, aside_mm: float) -> DepthPicture:
    """Return the picture of a figure from a face; ``aside_mm`` is how far a point may be marked beside its place."""
    seen, _ = view.seen(figure.vertices)
    pitch = float(np.ptp(seen, axis=0).max()) / _CELLS
    lattice = lattice_over(view, figure.vertices, pitch, plain=True)
    found = crossings(figure.vertices, figure.faces, view, lattice, entering_only=True)
    depth = first_depths(found, lattice)[0].reshape(lattice.rows, lattice.columns)
    rows, columns = np.indices(depth.shape)
    filled = np.where(np.isfinite(depth), depth, np.nan)
    with np.errstate(invalid="ignore"):
        slopes = np.gradient(filled, pitch)
    steep = np.nan_to_num(slopes[0] ** 2 + slopes[1] ** 2, nan=np.inf)
    safe = least_around(depth, 1.5 + aside_mm / pitch) - allowance_mm
    places = lattice.places(rows, columns)
    return DepthPicture(view, lattice, depth, 1 / np.sqrt(1 + steep), safe, places)


def high_spots(picture: DepthPicture, count: int) -> Ints:
    """Return the cells (flat indices) nearest to the face in each of ``count`` bands across the figure's length."""
    depth = picture.depth.ravel()
    met = np.flatnonzero(np.isfinite(depth))
    if len(met) == 0 or count < 1:
        return np.zeros(0, np.int64)
    seen = picture.places.reshape(-1, 2)[met]
    along = seen[:, int(np.ptp(seen, axis=0).argmax())]
    band = np.minimum((along - along.min()) / max(float(np.ptp(along)), 1e-9) * count, count - 1).astype(np.int64)
    best = [met[band == k][depth[met[band == k]].argmin()] for k in range(count) if (band == k).any()]
    return np.array(sorted(best, key=lambda cell: depth[cell]), np.int64)


def chosen_spots(picture: DepthPicture, start: Ints, count: int, apart_mm: float, wanted: Array) -> Ints:
    """Return ``start`` and further cells, up to ``count`` in all, where cutting between them would leave most.

    ``wanted`` (rows, columns) weighs what is left: how much each cell matters to this face.
    """
    places = picture.places.reshape(-1, 2)
    safe = picture.safe.ravel()
    weight = np.where(np.isfinite(picture.depth), picture.cosine * wanted, 0.0).ravel()
    asked = np.flatnonzero(weight > 0)
    step = max(1, len(asked) // 30_000)
    asked, cell = asked[::step], step * picture.lattice.pitch**2
    chosen = list(start) or [int(asked[safe[asked].argmin()])]
    for turn in range(_ROUNDS):
        room = count - len(chosen)
        if room <= 0 or len(asked) == 0:
            break
        cut = facets_over(picture, np.array(chosen, np.int64), asked).cut_mm(places[asked])
        # Roughing out leaves no more than about a plane's step: beyond it all are equally bad.
        left = np.minimum(safe[asked] - cut, _ROUGH_MM) * weight[asked]
        # Points taken together lie well apart: one would have served for its neighbours.
        together = max(apart_mm, 0.7 * float(np.sqrt(len(asked) * cell / (len(chosen) + 1))))
        away, _ = tree_of(places[chosen]).query(places[asked])
        # What is left weighs with the way to the next point, or a level plinth would be taken edge first.
        rank = np.argsort(-left * away, kind="stable")
        order = asked[rank][away[rank] >= apart_mm]
        for _ in range(min(max(1, -(-room // (_ROUNDS - turn))), room)):
            if len(order) == 0:
                break
            chosen.append(int(order[0]))
            order = order[np.linalg.norm(places[order] - places[order[0]], axis=1) >= together]
    return np.array(chosen[:count], np.int64)


def facets_over(picture: DepthPicture, cells: Ints, looked: Ints | None = None) -> Facets:
    """Return how deep to cut at each of the cells (flat indices) and between them, nowhere deeper than safe.

    Where the figure rises above a facet by little, its three points are drawn up by as much; where by more, the
    facet is cut level. ``looked`` are the cells that count (default: all): only with all of them is it safe.
    """
    places = picture.places.reshape(-1, 2)
    safe = picture.safe.ravel()
    depth = safe[cells].copy()
    inside = np.flatnonzero(np.isfinite(safe)) if looked is None else looked
    which, shares, triangles = linear_over(places[cells], places[inside])
    count = len(triangles)
    if count == 0:
        return Facets(places[cells], depth, triangles, np.zeros(0, bool), np.zeros(0))
    held = which >= 0
    at, here = which[held], safe[inside][held]
    over, level = np.full(count, -np.inf), depth[triangles].min(axis=1)
    np.maximum.at(over, at, (shares[held] * depth[triangles[at]]).sum(axis=1) - here)
    np.minimum.at(level, at, here)
    # Drawn up, three points leave that much on all facets around them: only a little is worth it.
    straight = over <= _RISE * picture.lattice.pitch
    lift = np.zeros(len(cells))
    for corner in range(3):
        np.maximum.at(lift, triangles[straight, corner], np.maximum(over[straight], 0.0))
    depth = depth - lift
    return Facets(places[cells], depth, triangles, straight, np.minimum(level, depth[triangles].min(axis=1)))

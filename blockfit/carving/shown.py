"""What a scan shows of the stone that was made of it, and how far the two lie apart. mm, block frame."""

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.surface import area_vectors
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.nearest import tree_of
from blockfit.solids.figure import Figure

__all__ = ["hidden_share", "off_mm", "shows", "within_mm"]

_APART = 1.5  # a place further from a scan's than so many times the way to their third neighbours is not shown
_AROUND = 12  # places of the scan that tell how far the stone made of it lies off there
_FOOT = -0.99  # the foot, which no scan shows, looks straight down


def shows(places: Array | None, points: Array) -> Flags:
    """Return (n,) whether points of the stone (n, 3) are among the places (m, 3) that a scan shows; without, all."""
    if places is None:
        return np.ones(len(points), bool)
    tree = tree_of(places)
    spaced, _ = tree.query(places[:: max(1, len(places) // 5000)], k=min(4, len(places)))
    away = np.full(len(points), np.inf)
    known = np.isfinite(points).all(axis=1)
    away[known] = tree.query(points[known], workers=-1)[0]
    return np.asarray(away <= _APART * float(np.quantile(np.asarray(spaced)[:, -1], 0.9)))


def off_mm(places: Array, field: SurfaceDistance, points: Array) -> Array:
    """Return (n,) how far the stone's surface lies from the places (m, 3) of its scan around points (n, 3).

    Where a scan could not be closed as it was, the stone was made anew, and is no better known than that.
    """
    away = np.abs(field.signed(places)[0])
    near = np.asarray(tree_of(places).query(points, k=min(_AROUND, len(places)), workers=-1)[1])
    return np.asarray(away[near.reshape(len(points), -1)].max(axis=1))


def within_mm(places: Array, figure: Figure, points: Array) -> Array:
    """Return (n,) the signed distance from a figure of the scan's place nearest to each of (n, 3) points: below 0 it
    lies within."""
    away = SurfaceDistance(figure.vertices, figure.faces).signed(places)[0]
    return np.asarray(away[tree_of(places).query(points, workers=-1)[1]])


def hidden_share(vertices: Array, faces: Ints, scan: SurfaceDistance, spare_mm: float) -> float:
    """Return the share of a stone's surface, without its foot, that lies further than ``spare_mm`` from its scan's."""
    own = area_vectors(vertices, faces)
    areas = np.linalg.norm(own, axis=1)
    counted = own[:, 2] > _FOOT * areas
    middles = vertices[faces].mean(axis=1)
    hidden = counted & (np.linalg.norm(scan.nearest(middles)[1] - middles, axis=1) > spare_mm)
    return float(areas[hidden].sum() / max(float(areas[counted].sum()), 1e-300))

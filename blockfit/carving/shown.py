"""What a scan shows of the stone that was made of it, and how far the two lie apart. mm, block frame."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.surface import area_vectors
from blockfit.geometry.tolerances import NOT_ZERO
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.nearest import tree_of
from blockfit.solids.figure import Figure

__all__ = ["Shown", "hidden_share"]

_APART = 1.5  # a place further from a scan's than so many times the way to their third neighbours is not shown
_AROUND = 12  # places of the scan that tell how far the stone made of it lies off there
_FOOT = -0.99  # the foot, which no scan shows, looks straight down


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """The ``places`` (m, 3) that a scan shows, and how far, ``apart_mm``, a point may lie from one to be among them."""

    places: Array
    tree: Any
    apart_mm: float

    @classmethod
    def of(cls, places: Array) -> "Shown":
        """Return what these places show: as far apart as they are from their neighbours."""
        tree = tree_of(places)
        spaced, _ = tree.query(places[:: max(1, len(places) // 5000)], k=min(4, len(places)))
        return cls(places, tree, _APART * float(np.quantile(np.asarray(spaced)[:, -1], 0.9)))

    def holds(self, points: Array) -> Flags:
        """Return (n,) whether points of the stone (n, 3) are among the places; points that are not known are not."""
        away = np.full(len(points), np.inf)
        known = np.isfinite(points).all(axis=1)
        away[known] = self.tree.query(points[known], workers=-1)[0]
        return np.asarray(away <= self.apart_mm)

    def off_mm(self, field: SurfaceDistance, points: Array) -> Array:
        """Return (n,) how far the stone's surface lies from the places around points (n, 3).

        Where a scan could not be closed as it was, the stone was made anew, and is no better known than that.
        """
        away = np.abs(field.signed(self.places)[0])
        near = np.asarray(self.tree.query(points, k=min(_AROUND, len(self.places)), workers=-1)[1])
        return np.asarray(away[near.reshape(len(points), -1)].max(axis=1))

    def within_mm(self, figure: Figure, points: Array) -> Array:
        """Return (n,) the signed distance from a figure of the place nearest to each of (n, 3) points: below 0 it
        lies within."""
        nearest = self.places[self.tree.query(points, workers=-1)[1]]
        return np.asarray(SurfaceDistance(figure.vertices, figure.faces).signed(nearest)[0])


def hidden_share(vertices: Array, faces: Ints, scan: SurfaceDistance, spare_mm: float) -> float:
    """Return the share of a stone's surface, without its foot, that lies further than ``spare_mm`` from its scan's."""
    own = area_vectors(vertices, faces)
    areas = np.linalg.norm(own, axis=1)
    counted = own[:, 2] > _FOOT * areas
    middles = vertices[faces].mean(axis=1)
    hidden = counted & (np.linalg.norm(scan.nearest(middles)[1] - middles, axis=1) > spare_mm)
    return float(areas[hidden].sum() / max(float(areas[counted].sum()), NOT_ZERO))

"""Shaded relief from depth pictures: what a figure looks like from a face, without a graphics card. mm."""

from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.measure.columns import crossings, first_depths
from blockfit.measure.views import View, face_view, lattice_over

__all__ = ["Relief", "relief_of"]


@dataclass(frozen=True, slots=True, eq=False)
class Relief:
    """A picture (rows, columns), the lowest row first: ``shade`` from 0 to 1, NaN where nothing is met; ``face`` the
    face met (−1: none); ``extent`` (left, right, bottom, top) in mm on the view's own axes."""

    view: View
    shade: Array
    face: Ints
    depth: Array
    extent: tuple[float, float, float, float]


def relief_of(vertices: Array, faces: Ints, side: str, cells: int = 420) -> Relief:
    """Return a surface as seen from a face of the block, lit from the upper left."""
    view = face_view(side)
    seen, _ = view.seen(vertices)
    size = np.ptp(seen, axis=0)
    pitch = float(size.max()) / cells
    lattice = lattice_over(view, vertices, pitch, plain=True)
    depth, owner = first_depths(crossings(vertices, faces, view, lattice, entering_only=True), lattice)
    shape = (lattice.rows, lattice.columns)
    picture = np.where(np.isfinite(depth), depth, np.nan).reshape(shape)
    with np.errstate(invalid="ignore"):
        up, right = np.gradient(picture, pitch)
    normal = np.stack([right, up, np.ones(shape)], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    light = np.array([-0.45, 0.55, 0.70])
    shade = np.clip(0.18 + 0.82 * (normal * [1, 1, 1]) @ (light * [1, 1, 1] / np.linalg.norm(light)), 0, 1)
    shade = np.where(np.isnan(picture), np.nan, np.where(np.isnan(shade), 0.35, shade))
    left, low = lattice.origin.tolist()
    extent = (left, left + pitch * lattice.columns, low, low + pitch * lattice.rows)
    return Relief(view, shade, owner.reshape(shape), picture, extent)

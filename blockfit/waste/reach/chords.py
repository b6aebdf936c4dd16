"""Where lines along a view enter and leave a convex solid. mm."""

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.measure.views import View

__all__ = ["block_chords"]


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

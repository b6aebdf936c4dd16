"""What no rotation changes of a hull: bounds of its least width and its longest line, with proof."""

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.search.proof.bounds import least_width
from blockfit.search.proof.cells import start_patches

__all__ = ["least_and_longest"]

_PARTS = 80  # patches along a side of the cube around the sphere: about 1° from their middles to their corners


def least_and_longest(points: Array) -> tuple[float, float]:
    """Return a length (mm) that the width of (n, 3) points is nowhere below, and the longest line found in them.

    Proof: patches hold every direction up to its sign. Within one, the two points that lie furthest apart along its
    middle stay at least ``|p − q| cos(α + ρ)`` apart, α their angle to the middle and ρ the patch's radius; the
    width is no less.

    >>> import numpy as np
    >>> from blockfit.search.proof.widths import least_and_longest
    >>> from itertools import product
    >>> least, longest = least_and_longest(np.array(list(product((0.0, 30), (0.0, 40), (0.0, 120)))))
    >>> 28.5 < least <= 30, longest
    (True, 130.0)
    """
    up = np.array([0.0, 0.0, 1.0])
    patches = start_patches(up, half_sphere=True, parts=_PARTS)
    directions, radii = np.swapaxes(patches.rotations(), 1, 2) @ up, patches.tilts()
    least, longest = np.inf, 0.0
    step = max(1, 4_000_000 // len(points))  # 32 MB at a time
    for k in range(0, len(directions), step):
        some = directions[k : k + step]
        heights = some @ points.T
        apart = points[heights.argmax(axis=1)] - points[heights.argmin(axis=1)]
        along, length = (apart * some).sum(axis=1), np.linalg.norm(apart, axis=1)
        across = np.linalg.norm(np.cross(apart, some), axis=1)
        least = min(least, float(least_width(along, across, radii[k : k + step]).min()))
        longest = max(longest, float(length.max()))
    return max(0.0, least), longest

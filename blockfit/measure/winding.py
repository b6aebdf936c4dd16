"""How often closed surfaces go round points: 1 inside, 0 outside, −1 inside what is inside out.

libigl is imported here for that alone."""

import numpy as np

from blockfit.solids.arrays import Array, Ints

__all__ = ["winding_numbers"]

_EXACT = 20_000_000  # pairs of a face and a point that are summed one by one; beyond, far faces are taken together


def winding_numbers(vertices: Array, faces: Ints, points: Array) -> Array:
    """Return (n,) generalized winding numbers of (n, 3) points; about 1/2 on a closed surface, fractions near holes.

    Exact for few pairs of faces and points; for many, within about a hundredth (Barill and others, Fast winding
    numbers for soups and clouds, ACM Transactions on Graphics 37(4), 2018, from memory).

    >>> import numpy as np
    >>> from blockfit.measure.winding import winding_numbers
    >>> corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> winding_numbers(corners, faces, np.array([[0.5, 0.5, 0.5], [9, 9, 9]])).round(6).tolist()
    [1.0, 0.0]
    """
    import igl

    if len(points) == 0 or len(faces) == 0:
        return np.zeros(len(points))
    surface = np.array(vertices, np.float64, order="C"), np.array(faces, np.int64, order="C")
    count = igl.winding_number if len(faces) * len(points) <= _EXACT else igl.fast_winding_number
    return np.asarray(count(*surface, np.array(points, np.float64, order="C")), np.float64).ravel()

"""How far points lie from a closed surface: exact, outside positive, inside negative. mm."""

import numpy as np

from blockfit.measure.nearest import tree_of
from blockfit.solids.arrays import Array, Ints
from blockfit.solids.surface import area_vectors

__all__ = ["SurfaceDistance", "point_triangle"]

_NEAR = 24
_CHUNK = 4000


class SurfaceDistance:
    """Answers for many points of one surface; large faces should be divided first (`refined`)."""

    def __init__(self, vertices: Array, faces: Ints) -> None:
        """Prepare the surface."""
        self._corners = vertices[faces]  # (m, 3, 3)
        self._middles = self._corners.mean(axis=1)
        self._radii = np.linalg.norm(self._corners - self._middles[:, None], axis=2).max(axis=1)
        self._reach = float(self._radii.max(initial=0.0))
        outward = area_vectors(vertices, faces)
        self._normals = outward / np.maximum(np.linalg.norm(outward, axis=1), 1e-300)[:, None]
        self._tree = tree_of(self._middles)

    def signed(self, points: Array, *, exact: bool = True) -> tuple[Array, Array]:
        """Return (n,) signed distances of (n, 3) points and the (n, 3) nearest places on the surface.

        Not ``exact``, the nearest of few faces is taken: quicker, and off by less than a face's size far away.

        >>> import numpy as np
        >>> from blockfit.measure.distance import SurfaceDistance
        >>> corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4]])
        >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
        >>> SurfaceDistance(corners, faces).signed(np.array([[1.0, 1, -3], [1, 1, 0.5]]))[0].tolist()
        [3.0, -0.5]
        """
        distance, nearest = np.empty(len(points)), np.empty((len(points), 3))
        for start in range(0, len(points), _CHUNK):
            some = slice(start, start + _CHUNK)
            distance[some], nearest[some] = self._some(points[some], exact)
        return distance, nearest

    def _some(self, points: Array, exact: bool) -> tuple[Array, Array]:
        count = min(_NEAR if exact else 6, len(self._middles))
        away, which = self._tree.query(points, k=count)
        away, which = away.reshape(len(points), -1), which.reshape(len(points), -1)
        distance, nearest, sign = self._least(points, which)
        if not exact:
            return distance * sign, nearest
        # A face further away than all that were looked at may still reach nearer.
        unsure = np.flatnonzero((distance > away[:, -1] - self._reach) & (count < len(self._middles)))
        for k in unsure:
            near = np.array(self._tree.query_ball_point(points[k], distance[k] + self._reach), np.int64)
            if len(near):
                one, at, side = self._least(points[k : k + 1], near[None])
                if one[0] <= distance[k] * (1 + 1e-12):
                    distance[k], nearest[k], sign[k] = one[0], at[0], side[0]
        return distance * sign, nearest

    def _least(self, points: Array, which: Ints) -> tuple[Array, Array, Array]:
        """Return distance, place and side (±1) of the nearest of some faces (n, k) for each point."""
        corners = self._corners[which]
        places = point_triangle(points[:, None], corners[:, :, 0], corners[:, :, 1], corners[:, :, 2])
        away = np.linalg.norm(points[:, None] - places, axis=2)
        least = away.min(axis=1)
        best = away.argmin(axis=1)
        rows = np.arange(len(points))
        nearest = places[rows, best]
        # On a side or a corner several faces are as near: they decide the side together.
        tied = away <= least[:, None] + 1e-9 * (1 + least[:, None])
        tied &= np.abs(places - nearest[:, None]).max(axis=2) <= 1e-6 * (1 + least[:, None])  # not on the far side
        normal = np.einsum("nk,nkj->nj", tied.astype(np.float64), self._normals[which])
        side = np.where(np.einsum("nj,nj->n", points - nearest, normal) < 0, -1.0, 1.0)
        return least, nearest, side


def point_triangle(points: Array, a: Array, b: Array, c: Array) -> Array:
    """Return the place on each triangle nearest to each point; arrays (..., 3) that broadcast.

    By regions of the triangle: Ericson, Real-Time Collision Detection, 2005, section 5.1.5 (from memory).
    """
    ab, ac, ap = b - a, c - a, points - a

    def dot(u: Array, v: Array) -> Array:
        return np.asarray((u * v).sum(axis=-1))

    d1, d2 = dot(ab, ap), dot(ac, ap)
    bp, cp = points - b, points - c
    d3, d4, d5, d6 = dot(ab, bp), dot(ac, bp), dot(ab, cp), dot(ac, cp)
    vc, vb, va = d1 * d4 - d3 * d2, d5 * d2 - d1 * d6, d3 * d6 - d5 * d4
    total = va + vb + vc
    safe = np.where(np.abs(total) > 1e-300, total, 1.0)
    v, w = vb / safe, vc / safe

    def along(top: Array, bottom: Array) -> Array:
        return np.clip(top / np.where(np.abs(bottom) > 1e-300, bottom, 1.0), 0.0, 1.0)

    t_ab, t_ac, t_bc = along(d1, d1 - d3), along(d2, d2 - d6), along(d4 - d3, (d4 - d3) + (d5 - d6))
    place = a + ab * v[..., None] + ac * w[..., None]
    choices = [
        (d1 <= 0) & (d2 <= 0),
        (d3 >= 0) & (d4 <= d3),
        (d6 >= 0) & (d5 <= d6),
        (vc <= 0) & (d1 >= 0) & (d3 <= 0),
        (vb <= 0) & (d2 >= 0) & (d6 <= 0),
        (va <= 0) & (d4 - d3 >= 0) & (d5 - d6 >= 0),
    ]
    ends = [
        a + 0 * place, b + 0 * place, c + 0 * place, a + ab * t_ab[..., None], a + ac * t_ac[..., None],
        b + (c - b) * t_bc[..., None],
    ]  # fmt: skip
    return np.select([choice[..., None] for choice in choices], ends, place)

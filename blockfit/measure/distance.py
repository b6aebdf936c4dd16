"""How far points lie from a closed surface: exact, outside positive, inside negative. mm. libigl's one home.

A tree of boxes finds the nearest place of the surface; the side comes from the angle-weighted normal there (Baerentzen
and Aanaes, IEEE Transactions on Visualization and Computer Graphics 11(3), 2005, from memory), which is right for
every closed surface, also where the nearest place is a corner or an edge."""

import numpy as np

from blockfit.solids.arrays import Array, Ints
from blockfit.solids.surface import area_vectors, undirected_edges

__all__ = ["SurfaceDistance"]

_ON_RIM = 1e-9  # barycentric share below which a place counts as lying on a side or a corner


class SurfaceDistance:
    """Answers for many points of one surface; faces of any size.

    >>> import numpy as np
    >>> from blockfit.measure.distance import SurfaceDistance
    >>> corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> SurfaceDistance(corners, faces).signed(np.array([[1.0, 1, -3], [1, 1, 0.5]]))[0].tolist()
    [3.0, -0.5]
    """

    def __init__(self, vertices: Array, faces: Ints) -> None:
        """Build the tree over a surface of (n, 3) vertices and (m, 3) faces."""
        import igl

        self._vertices = np.array(vertices, np.float64, order="C")
        self._faces = np.array(faces, np.int64, order="C")
        self._tree = igl.AABB()
        self._tree.init(self._vertices, self._faces)
        outward = area_vectors(self._vertices, self._faces)
        self._normals = outward / np.maximum(np.linalg.norm(outward, axis=1), 1e-300)[:, None]
        self._edge_normals = _edge_normals(self._faces, self._normals)
        self._corner_normals = _corner_normals(self._vertices, self._faces, self._normals)

    def signed(self, points: Array) -> tuple[Array, Array]:
        """Return (n,) signed distances of (n, 3) points and the (n, 3) nearest places on the surface."""
        asked = np.array(points, np.float64, order="C").reshape(-1, 3)
        squared, face, nearest = self._tree.squared_distance(self._vertices, self._faces, asked)
        face, nearest = np.asarray(face, np.int64).ravel(), np.asarray(nearest, np.float64).reshape(-1, 3)
        away = np.sqrt(np.asarray(squared, np.float64).ravel())
        outward = self._normal_at(face, nearest)
        side = np.where(((asked - nearest) * outward).sum(axis=1) < 0, -1.0, 1.0)
        return away * side, nearest

    def first_met(self, starts: Array, ways: Array) -> tuple[Ints, Array]:
        """Return the first face (−1: none) that rays from (n, 3) places along (n, 3) unit vectors meet, and how far on.

        For looking, not for proofs: a ray through an edge may pass it.
        """
        begin, way = np.array(starts, np.float64, order="C"), np.array(ways, np.float64, order="C")
        face, far, _ = self._tree.intersect_ray_first(self._vertices, self._faces, begin, way)
        return np.asarray(face, np.int64).ravel(), np.asarray(far, np.float64).ravel()

    def _normal_at(self, face: Ints, places: Array) -> Array:
        """Return the angle-weighted normals (n, 3) at places on the surface, each on its face."""
        a, b, c = (self._vertices[self._faces[face, k]] for k in range(3))
        ab, ac, ap = b - a, c - a, places - a
        bb, bc, cc = (ab * ab).sum(1), (ab * ac).sum(1), (ac * ac).sum(1)
        pb, pc = (ap * ab).sum(1), (ap * ac).sum(1)
        total = bb * cc - bc * bc
        safe = np.where(total > 0, total, 1.0)
        v, w = (cc * pb - bc * pc) / safe, (bb * pc - bc * pb) / safe
        shares = np.stack([1 - v - w, v, w], axis=1)
        normal = self._normals[face].copy()
        small = shares <= _ON_RIM
        small[total <= 0] = False
        rim = small.sum(axis=1)
        on_edge, on_corner = np.flatnonzero(rim == 1), np.flatnonzero(rim >= 2)
        # The side opposite corner k runs from corner k + 1 to k + 2: it is the face's side number k + 1.
        normal[on_edge] = self._edge_normals[face[on_edge], (small[on_edge].argmax(axis=1) + 1) % 3]
        normal[on_corner] = self._corner_normals[self._faces[face[on_corner], shares[on_corner].argmax(axis=1)]]
        return np.asarray(normal)


def _edge_normals(faces: Ints, normals: Array) -> Array:
    """Return (m, 3, 3): for each face's side k, from corner k to k + 1, the sum of its faces' normals."""
    keys, _ = undirected_edges(faces)
    _, edge = np.unique(keys, return_inverse=True)
    total = np.zeros((int(edge.max(initial=-1)) + 1, 3))
    np.add.at(total, edge, np.repeat(normals, 3, axis=0))
    return np.asarray(total[edge].reshape(-1, 3, 3))


def _corner_normals(vertices: Array, faces: Ints, normals: Array) -> Array:
    """Return (n, 3) the sum of the faces' normals at each vertex, each weighted by its angle there."""
    corners = vertices[faces]
    total = np.zeros_like(vertices)
    for k in range(3):
        to_next, to_last = corners[:, (k + 1) % 3] - corners[:, k], corners[:, (k + 2) % 3] - corners[:, k]
        sine = np.linalg.norm(np.cross(to_next, to_last), axis=1)
        angle = np.arctan2(sine, (to_next * to_last).sum(axis=1))
        np.add.at(total, faces[:, k], angle[:, None] * normals)
    return total

"""Triangle surfaces as plain arrays: area, volume, and whether they close.

Vertices (n, 3) in any length unit, faces (m, 3) counter-clockwise seen from outside.
Not checked here: that the faces do not cut each other."""

from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints

__all__ = [
    "PartBeyond",
    "SummedSurface",
    "any_corner",
    "area_vectors",
    "centroid",
    "compacted",
    "crossed",
    "is_closed",
    "open_edges",
    "signed_volume",
    "surface_area",
    "undirected_edges",
]

_AT_ONCE = 200_000  # faces whose corners fit a processor's cache


def area_vectors(vertices: Array, faces: Ints) -> Array:
    """Return (m, 3) outward normals, each as long as its face's area."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return np.asarray(np.cross(b - a, c - a) / 2)


def surface_area(vertices: Array, faces: Ints) -> float:
    """Return the area of all faces together."""
    parts = (faces[k : k + _AT_ONCE] for k in range(0, len(faces), _AT_ONCE))
    return sum(float(np.linalg.norm(area_vectors(vertices, part), axis=1).sum()) for part in parts)


def any_corner(marked: Flags, faces: Ints) -> Flags:
    """Return (m,) which faces have a corner among the vertices that are ``marked`` (n,), or (n, p) for p questions."""
    a, b, c = (marked[faces[:, k]] for k in range(3))
    return np.asarray(a | b | c)


def crossed(above: Flags, faces: Ints) -> Flags:
    """Return (m,) which faces have corners both among the vertices that are ``above`` (n,) and among the others."""
    a, b, c = (above[faces[:, k]] for k in range(3))
    return np.asarray((a | b | c) & ~(a & b & c))


def signed_volume(vertices: Array, faces: Ints) -> float:
    """Return the volume inside a closed surface; negative if it is inside out.

    >>> import numpy as np
    >>> from blockfit.geometry.surface import signed_volume
    >>> corners = np.array([[0, 0, 0], [6, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    >>> signed_volume(corners, np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]))
    1.0
    """
    if len(faces) == 0:
        return 0.0
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2  # near the surface, or digits are lost far away
    total = 0.0
    for k in range(0, len(faces), _AT_ONCE):
        a, b, c = (vertices[faces[k : k + _AT_ONCE, corner]] - middle for corner in range(3))
        total += float(np.einsum("ij,ij->", a, np.cross(b, c)))
    return total / 6


def centroid(vertices: Array, faces: Ints) -> Array:
    """Return the centre of gravity (3,) of the solid inside a closed surface of constant density."""
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    total, moment = 0.0, np.zeros(3)
    for k in range(0, len(faces), _AT_ONCE):
        a, b, c = (vertices[faces[k : k + _AT_ONCE, corner]] - middle for corner in range(3))
        sixth = np.einsum("ij,ij->i", a, np.cross(b, c))  # six times each tetrahedron from the middle
        total += float(sixth.sum())
        moment += sixth @ (a + b + c)
    return np.asarray(middle + moment / (4 * total))


@dataclass(frozen=True, slots=True, eq=False)
class PartBeyond:
    """A part of a solid beyond a plane: mm³, centre of gravity (3,), the area (mm²) that joins it to the rest, and its
    own ``corners`` (n, 3)."""

    volume_mm3: float
    centre: Array
    cut_mm2: float
    corners: Array


@dataclass(frozen=True, slots=True, eq=False)
class SummedSurface:
    """A closed surface ready to be asked again and again what a part of it encloses beyond a plane.

    ``sums`` (m, 16) are, of each face's tetrahedron from ``middle``: six times its volume, twice its area along each
    axis, and both times the sum of its corners.
    """

    vertices: Array
    faces: Ints
    middle: Array
    sums: Array

    @classmethod
    def of(cls, vertices: Array, faces: Ints) -> "SummedSurface":
        """Sum every face up once."""
        middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
        a, b, c = (vertices[faces[:, k]] - middle for k in range(3))
        normal = np.cross(b - a, c - a)
        sixth, corners = np.einsum("ij,ij->i", a, normal), a + b + c
        products = (corners[:, :, None] * normal[:, None, :]).reshape(-1, 9)
        return cls(vertices, faces, middle, np.column_stack([sixth, normal, corners * sixth[:, None], products]))

    def beyond(self, inside: Flags, at: Array, way: Array) -> PartBeyond:
        """Return what the faces enclose beyond the plane through ``at`` (3,) square to ``way``.

        ``inside`` (n,) are the vertices of that part; faces with none of them do not count. The sum of tetrahedra from
        a point of the plane needs no lid.

        >>> import numpy as np
        >>> from blockfit.geometry.surface import SummedSurface
        >>> corners = np.array([[0, 0, 0], [6, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
        >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
        >>> wedge = SummedSurface.of(corners, faces)
        >>> part = wedge.beyond(corners[:, 0] > 3, np.array([3.0, 0, 0]), np.array([1.0, 0, 0]))
        >>> round(part.volume_mm3, 9), round(part.cut_mm2, 9)
        (0.125, 0.125)
        """
        a, b, c = (inside[self.faces[:, k]] for k in range(3))
        whole = a & b & c
        rim = np.flatnonzero((a | b | c) & ~whole)
        cut, edge = _cut_faces(self.vertices[self.faces[rim]] - at, inside[self.faces[rim]], way)
        sixth = np.einsum("ij,ij->i", cut[:, 0], np.cross(cut[:, 1], cut[:, 2]))
        # From ``at`` instead of the middle: each sum moves by what the faces' areas say.
        total, place = whole.astype(np.float64) @ self.sums, at - self.middle
        own, normal, moment, product = total[0], total[1:4], total[4:7], total[7:].reshape(3, 3)
        seen = own - place @ normal
        moved = moment - product @ place - 3 * place * seen
        volume = float(seen + sixth.sum()) / 6
        middle = (moved + sixth @ cut.sum(axis=1)) / (24 * volume) if volume else np.zeros(3)
        return PartBeyond(volume, np.asarray(at + middle), abs(float(edge @ way)) / 2, self.vertices[inside])


def _cut_faces(corners: Array, inside: Flags, way: Array) -> tuple[Array, Array]:
    """Return what lies inside of faces (m, 3, 3) that the plane through 0 cuts, as triangles (q, 3, 3), and twice the
    area of the cut (3,)."""
    # The one corner on its own side comes first; the order around stays.
    one = inside.sum(axis=1) == 1
    first = (inside == one[:, None]).argmax(axis=1)
    a, b, c = (corners[np.arange(len(corners)), (first + k) % 3] for k in range(3))
    ha, hb, hc = a @ way, b @ way, c @ way
    ab = a + (ha / (ha - hb))[:, None] * (b - a)
    ac = a + (ha / (ha - hc))[:, None] * (c - a)
    two = ~one
    triangles = [
        np.stack([a[one], ab[one], ac[one]], axis=1),
        np.stack([ab[two], b[two], c[two]], axis=1),
        np.stack([ab[two], c[two], ac[two]], axis=1),
    ]
    return np.concatenate(triangles), (np.cross(ab, ac) * np.where(one, 1.0, -1.0)[:, None]).sum(axis=0)


def compacted(vertices: Array, faces: Ints) -> tuple[Array, Ints]:
    """Return the surface without the vertices that no face uses; the others keep their order."""
    used = np.zeros(len(vertices), bool)
    used[faces] = True
    return vertices[used], (np.cumsum(used) - 1)[faces]


def undirected_edges(faces: Ints) -> tuple[Ints, Ints]:
    """Return the sides of all faces as keys (3 m,), equal for both directions, and their direction (+1, −1)."""
    start = faces.ravel()
    end = faces[:, [1, 2, 0]].ravel()
    low, high = np.minimum(start, end), np.maximum(start, end)
    return low * (int(faces.max(initial=0)) + 1) + high, np.where(start < end, 1, -1)


def open_edges(faces: Ints) -> Ints:
    """Return the (k, 2) sides ``start, end`` that have no face on their other side."""
    if len(faces) == 0:
        return np.zeros((0, 2), np.int64)
    keys, _ = undirected_edges(faces)
    ordered = np.sort(keys)
    changes = np.concatenate([[True], ordered[1:] != ordered[:-1], [True]])
    alone = ordered[changes[:-1] & changes[1:]]
    if len(alone) == 0:
        return np.zeros((0, 2), np.int64)
    lonely = np.isin(keys, alone)
    return np.stack([faces.ravel()[lonely], faces[:, [1, 2, 0]].ravel()[lonely]], axis=1)


def is_closed(faces: Ints) -> bool:
    """Tell whether every side is met by as many faces going one way as the other."""
    if len(faces) == 0:
        return False
    keys, direction = undirected_edges(faces)
    return bool(np.array_equal(np.sort(keys[direction > 0]), np.sort(keys[direction < 0])))

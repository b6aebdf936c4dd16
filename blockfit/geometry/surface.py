"""Triangle surfaces as plain arrays: area, volume, and whether they close.

Vertices (n, 3) in any length unit, faces (m, 3) counter-clockwise seen from outside.
Not checked here: that the faces do not cut each other."""

from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints

__all__ = [
    "PartBeyond",
    "any_corner",
    "area_vectors",
    "centroid",
    "compacted",
    "is_closed",
    "open_edges",
    "part_beyond",
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


def part_beyond(vertices: Array, faces: Ints, inside: Flags, at: Array, way: Array) -> PartBeyond:
    """Return what the faces (m, 3) of a closed surface enclose beyond the plane through ``at`` (3,) square to ``way``.

    ``inside`` (n,) are the vertices of that part; faces with none of them do not count. The sum of tetrahedra from a
    point of the plane needs no lid.

    >>> import numpy as np
    >>> from blockfit.geometry.surface import part_beyond
    >>> corners = np.array([[0, 0, 0], [6, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> part = part_beyond(corners, faces, corners[:, 0] > 3, np.array([3.0, 0, 0]), np.array([1.0, 0, 0]))
    >>> round(part.volume_mm3, 9), round(part.cut_mm2, 9)
    (0.125, 0.125)
    """
    local = vertices - at
    height = local @ way
    a, b, c = (inside[faces[:, k]] for k in range(3))
    count = a.astype(np.int8) + b + c
    triangles = [local[faces[count == 3]]]
    edge = np.zeros(3)
    for number in (1, 2):
        some = faces[count == number]
        if len(some) == 0:
            continue
        # The one corner on its own side comes first; the order around stays.
        alone = inside[some] == (number == 1)
        first = alone.argmax(axis=1)
        turned = some[np.arange(len(some))[:, None], (first[:, None] + np.arange(3)) % 3]
        a, b, c = (local[turned[:, k]] for k in range(3))
        ha, hb, hc = (height[turned[:, k]] for k in range(3))
        ab = a + (ha / (ha - hb))[:, None] * (b - a)
        ac = a + (ha / (ha - hc))[:, None] * (c - a)
        if number == 1:
            triangles.append(np.stack([a, ab, ac], axis=1))
            edge += np.cross(ab, ac).sum(axis=0)
        else:
            triangles += [np.stack([ab, b, c], axis=1), np.stack([ab, c, ac], axis=1)]
            edge += np.cross(ac, ab).sum(axis=0)
    whole = np.concatenate(triangles)
    sixth = np.einsum("ij,ij->i", whole[:, 0], np.cross(whole[:, 1], whole[:, 2]))
    volume = float(sixth.sum()) / 6
    middle = (sixth[:, None] * whole.sum(axis=1)).sum(axis=0) / (24 * volume) if volume else np.zeros(3)
    return PartBeyond(volume, np.asarray(at + middle), abs(float(edge @ way)) / 2, vertices[inside])


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

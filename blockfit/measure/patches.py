"""Pieces of a surface that hang together, by shared sides or corners; scipy.sparse's one home."""

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.surface import undirected_edges

__all__ = ["face_pairs", "linked", "patches", "pieces"]


def linked(count: int, first: Ints, second: Ints) -> Ints:
    """Return (count,) group numbers of items joined by links ``first[i]``–``second[i]``."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    links = coo_array((np.ones(len(first), np.int8), (first, second)), shape=(count, count))
    return np.asarray(connected_components(links, directed=False)[1], np.int64)


def pieces(faces: Ints, vertices: int) -> Ints:
    """Return (m,) which piece each face belongs to; pieces share no corner."""
    group = linked(vertices, np.concatenate([faces[:, 0], faces[:, 1]]), np.concatenate([faces[:, 1], faces[:, 2]]))
    return np.unique(group[faces[:, 0]], return_inverse=True)[1].astype(np.int64)


def face_pairs(faces: Ints) -> tuple[Ints, Ints, Flags]:
    """Return the pairs of faces on sides that exactly two share, and whether both run along it the same way.

    Two faces of a consistent surface run along their common side in opposite ways.
    """
    keys, direction = undirected_edges(faces)
    order = np.argsort(keys, kind="stable")
    keys, direction, owner = keys[order], direction[order], order // 3
    starts = np.flatnonzero(np.concatenate([[True], keys[1:] != keys[:-1]])[: len(keys)])
    runs = np.diff(np.append(starts, len(keys)))
    two = starts[runs == 2]
    return owner[two], owner[two + 1], np.asarray(direction[two] == direction[two + 1])


def patches(faces: Ints, label: Ints) -> Ints:
    """Return (m,) which patch each face belongs to: faces of equal ``label`` joined by sides."""
    first, second, _ = face_pairs(faces)
    alike = label[first] == label[second]
    return linked(len(faces), first[alike], second[alike])


def areas(vertices: Array, faces: Ints) -> Array:
    """Return (m,) face areas."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return np.asarray(np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2)

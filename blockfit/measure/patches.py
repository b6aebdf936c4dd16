"""Pieces of a surface that hang together, by shared sides or corners; scipy.sparse's one home."""

from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.surface import undirected_edges

__all__ = ["Links", "areas", "face_pairs", "linked", "members", "opposed_pairs", "patches", "pieces"]


@dataclass(frozen=True, slots=True, eq=False)
class Links:
    """Links between items, both ways, in the order of the items they start from: item k's begin at ``begins[k]``."""

    begins: Ints
    starts: Ints
    ends: Ints

    @classmethod
    def of(cls, count: int, first: Ints, second: Ints) -> "Links":
        """Return the links of ``count`` items, ``first[i]``–``second[i]``; what is given twice counts once."""
        both = np.unique(np.concatenate([first * count + second, second * count + first]))
        starts, ends = both // count, both % count
        return cls(np.searchsorted(starts, np.arange(count + 1)), starts, ends)

    def groups(self, label: Array | Flags) -> Ints:
        """Return (n,) group numbers of items joined by links between items of equal ``label`` (n,).

        >>> import numpy as np
        >>> from blockfit.measure.patches import Links
        >>> ring = Links.of(4, np.arange(4), (np.arange(4) + 1) % 4)
        >>> [len(np.unique(ring.groups(np.array(label)))) for label in ([1, 1, 2, 2], [1, 2, 1, 2])]
        [2, 4]
        """
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import connected_components

        alike = label[self.starts] == label[self.ends]
        before = np.concatenate([[0], np.cumsum(alike)])
        kept = self.ends[alike]
        links = csr_array((np.ones(len(kept)), kept, before[self.begins]), shape=(len(self.begins) - 1,) * 2)
        # Links run both ways, so that what is joined is joined strongly: no need to turn them round.
        return np.asarray(connected_components(links, connection="strong")[1], np.int64)


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


def members(group: Ints) -> list[Ints]:
    """Return the members of each group of (n,) group numbers, in their order; −1 is none.

    >>> import numpy as np
    >>> from blockfit.measure.patches import members
    >>> [each.tolist() for each in members(np.array([4, -1, 2, 4]))]
    [[2], [0, 3]]
    """
    order = np.argsort(group, kind="stable")
    order = order[group[order] >= 0]
    return list(np.split(order, np.flatnonzero(np.diff(group[order])) + 1)) if len(order) else []


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


def opposed_pairs(faces: Ints) -> tuple[Ints, Ints] | None:
    """Return the pairs of faces on every side, or ``None`` unless each is shared by just two, that run along it in
    opposite ways: the surface is then closed and consistent."""
    first, second, same = face_pairs(faces)
    return (first, second) if 2 * len(first) == 3 * len(faces) and not same.any() else None


def patches(faces: Ints, label: Ints) -> Ints:
    """Return (m,) which patch each face belongs to: faces of equal ``label`` joined by sides."""
    first, second, _ = face_pairs(faces)
    alike = label[first] == label[second]
    return linked(len(faces), first[alike], second[alike])


def areas(vertices: Array, faces: Ints) -> Array:
    """Return (m,) face areas."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return np.asarray(np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2)

"""How far points lie from a closed surface: exact, outside positive, inside negative. mm. libigl's one home.

A tree of boxes finds the nearest place of the surface; the side comes from the angle-weighted normal there (Baerentzen
and Aanaes, IEEE Transactions on Visualization and Computer Graphics 11(3), 2005, from memory), which is right for every
closed surface that does not cross itself. Scans fold and cross: further from the surface than a grid is coarse, the
winding number at the grid's nodes decides instead, and nearer wherever the faces that meet there do not agree."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.surface import area_vectors, is_closed, undirected_edges
from blockfit.geometry.tolerances import LEAST_SIZE, NOT_ZERO
from blockfit.measure.columns import columns_of
from blockfit.measure.views import Lattice, View, face_view, lattice_over

__all__ = ["DistanceGrid", "SurfaceDistance", "gridded", "winding_numbers"]

_ON_RIM = 1e-9  # of the surface's size: a place so near a side or a corner counts as lying on it
_AGREE = 1e-9  # of a distance: less disagreement is rounding
_FOLDED = 0.2  # squared length of two faces' normals together: they face apart by all but 26°
_EDGEWAYS = 0.05
_SUMMED = 20_000_000  # pairs of a face and a point that are summed one by one; beyond, far faces are taken together
_GRID = 48  # nodes along each side of the grid of winding numbers
_ASIDE = 1e-3  # of the pitch: columns round corners to less


@dataclass(frozen=True, slots=True, eq=False)
class DistanceGrid:
    """Signed distances at the nodes of a grid, ``values`` (i, j, k) at ``origin + steps · (i, j, k)``."""

    origin: Array
    steps: Array
    values: Array

    def about(self, points: Array) -> Array:
        """Return (n,) distances at the nodes nearest to (n, 3) points; beside the grid, and as far again."""
        at = (points - self.origin) / self.steps
        kept = np.clip(np.rint(at), 0, np.array(self.values.shape) - 1).astype(np.int64)
        beside = np.linalg.norm((np.clip(at, 0, np.array(self.values.shape) - 1) - at) * self.steps, axis=-1)
        return np.asarray(self.values[kept[..., 0], kept[..., 1], kept[..., 2]] + beside)

    def bounds(self, points: Array) -> tuple[Array, Array]:
        """Return (n,) what the distances of (n, 3) points are at least and at most: none changes faster than the way.

        >>> import numpy as np
        >>> from blockfit.measure.distance import gridded
        >>> grid = gridded(lambda nodes: np.linalg.norm(nodes, axis=1) - 1, -np.ones(3), np.ones(3), 3)
        >>> low, high = grid.bounds(np.array([[0.9, 0.0, 0.0]]))
        >>> (low <= 0.9 - 1).item(), (high >= 0.9 - 1).item()
        (True, True)
        """
        at = np.rint((points - self.origin) / self.steps)
        node = np.clip(at, 0, np.array(self.values.shape) - 1).astype(np.int64)
        value = self.values[node[..., 0], node[..., 1], node[..., 2]]
        way = np.linalg.norm(node * self.steps + self.origin - points, axis=-1)
        return value - way, value + way


def gridded(distances: Callable[[Array], Array], low: Array, high: Array, count: int) -> DistanceGrid:
    """Return a grid of distances between two corners, ``count`` nodes along the longest side."""
    size = np.maximum(high - low, LEAST_SIZE)
    counts = np.maximum(2, np.round((count - 1) * size / float(size.max())).astype(np.int64) + 1)
    lines = [np.linspace(a, a + b, n) for a, b, n in zip(low, size, counts, strict=True)]
    nodes = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 3)
    return DistanceGrid(low, size / (counts - 1), distances(nodes).reshape(tuple(counts)))


def winding_numbers(vertices: Array, faces: Ints, points: Array) -> Array:
    """Return (n,) generalized winding numbers of (n, 3) points; about 1/2 on a closed surface, fractions near holes.

    Exact for few pairs of faces and points; for many, within about a hundredth (Barill and others, Fast winding
    numbers for soups and clouds, ACM Transactions on Graphics 37(4), 2018, from memory).

    >>> import numpy as np
    >>> from blockfit.measure.distance import winding_numbers
    >>> corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> winding_numbers(corners, faces, np.array([[0.5, 0.5, 0.5], [9, 9, 9]])).round(6).tolist()
    [1.0, 0.0]
    """
    return _Winding(vertices, faces).numbers(points)


class _Winding:
    """Winding numbers of one surface; the tree in which far faces are taken together is built once."""

    def __init__(self, vertices: Array, faces: Ints) -> None:
        self._surface = np.array(vertices, np.float64, order="C"), np.array(faces, np.int64, order="C")
        self._asked = 0
        self._tree: Any = None

    def numbers(self, points: Array) -> Array:
        """Return (n,) winding numbers of (n, 3) points: exact as long as few are asked for, all in all."""
        import igl

        faces = len(self._surface[1])
        if len(points) == 0 or faces == 0:
            return np.zeros(len(points))
        asked = np.array(points, np.float64, order="C")
        self._asked += len(points)
        if faces * self._asked <= _SUMMED:
            return np.asarray(igl.winding_number(*self._surface, asked), np.float64).ravel()
        if not hasattr(igl, "FastWindingNumberBVH"):  # libigl before 2.6.3 keeps no tree
            return np.asarray(igl.fast_winding_number(*self._surface, asked), np.float64).ravel()
        if self._tree is None:
            self._tree = igl.FastWindingNumberBVH()
            self._tree.init(*self._surface, 2)
        return np.asarray(self._tree.winding_number(asked, 2.0), np.float64).ravel()


class SurfaceDistance:
    """Answers for many points of one surface; faces of any size.

    >>> import numpy as np
    >>> from blockfit.measure.distance import SurfaceDistance
    >>> corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> SurfaceDistance(corners, faces).signed(np.array([[1.0, 1, -3], [1, 1, 0.5]]))[0].tolist()
    [3.0, -0.5]
    """

    def __init__(self, vertices: Array, faces: Ints, *, folds: bool = True) -> None:
        """Build the tree over a surface of (n, 3) vertices and (m, 3) faces.

        A surface that ``folds`` or crosses itself, as scans do, has its sides checked by winding numbers as well.
        """
        import igl

        self._vertices = np.array(vertices, np.float64, order="C")
        self._faces = np.array(faces, np.int64, order="C")
        self._nodes: _Nodes | None = None
        self._winding = _Winding(self._vertices, self._faces)
        self._folds = folds
        self._size = float(np.ptp(self._vertices, axis=0).max(initial=0.0))
        self._tree = igl.AABB()
        self._tree.init(self._vertices, self._faces)
        outward = area_vectors(self._vertices, self._faces)
        self._normals = outward / np.maximum(np.linalg.norm(outward, axis=1), NOT_ZERO)[:, None]

    @cached_property
    def _edges(self) -> tuple[Array, Flags]:
        """The normals along sides, and where the faces that meet there are folded; rays need neither."""
        return _edge_normals(self._faces, self._normals)

    @cached_property
    def _corners(self) -> tuple[Array, Flags]:
        """The same at corners."""
        normals = _corner_normals(self._vertices, self._faces, self._normals)
        return normals, _corner_folds(self._faces, self._normals, normals)

    def signed(self, points: Array) -> tuple[Array, Array]:
        """Return (n,) signed distances of (n, 3) points and the (n, 3) nearest places on the surface."""
        asked = np.array(points, np.float64, order="C").reshape(-1, 3)
        away, inside, unsure, nearest = self._beside(asked)
        if self._folds:
            self._settle(asked, away, inside, unsure)
        elif unsure.any():
            inside[unsure] = self._winding.numbers(asked[unsure]) > 0.5
        return np.where(inside, -away, away), nearest

    def seen_from(self, points: Array, ways: Array, *, crosses: bool = False) -> tuple[Array, Array, Array]:
        """Return (n,) signed distances of (n, 3) points, the nearest places (n, 3), and how far on (n,) rays along
        ``ways`` (n, 3), unit vectors, meet the surface.

        The rays vote on the side with the normals, and winding numbers are asked only where the two differ: quicker
        than `signed` for many points that are asked once. Of a surface that ``crosses`` itself, as scans do, they
        decide everywhere. A ray that meets nothing is nan.
        """
        asked = np.array(points, np.float64, order="C").reshape(-1, 3)
        away, inside, unsure, nearest = self._beside(asked)
        face, far = self.first_met(asked, ways)
        leaves = (face >= 0) & ((self._normals[face] * ways).sum(axis=1) > 0)
        doubt = np.flatnonzero(((leaves != inside) | unsure | crosses) & (away > _ON_RIM * self._size))
        inside[doubt] = self._winding.numbers(asked[doubt]) > 0.5
        return np.where(inside, -away, away), nearest, np.where(face >= 0, far, np.nan)

    def _beside(self, asked: Array) -> tuple[Array, Flags, Flags, Array]:
        """Return how far points lie from the surface, which lie inside by its normals, where that is not sure, and the
        nearest places."""
        squared, face, nearest = self._tree.squared_distance(self._vertices, self._faces, asked)
        face, nearest = np.asarray(face, np.int64).ravel(), np.asarray(nearest, np.float64).reshape(-1, 3)
        away = np.sqrt(np.asarray(squared, np.float64).ravel())
        inside, unsure = self._sides(face, nearest, asked - nearest)
        return away, inside, unsure, nearest

    def nearest(self, points: Array) -> tuple[Ints, Array]:
        """Return (n,) the faces nearest to (n, 3) points, and the (n, 3) places on them."""
        asked = np.array(points, np.float64, order="C").reshape(-1, 3)
        _, face, place = self._tree.squared_distance(self._vertices, self._faces, asked)
        return np.asarray(face, np.int64).ravel(), np.asarray(place, np.float64).reshape(-1, 3)

    def _settle(self, points: Array, away: Array, inside: Flags, unsure: Flags) -> None:
        """Correct which of (n, 3) points lie ``inside``; no surface is nearer than ``away`` (n,).

        A point further from the surface than from a node of the grid lies on the node's side; of the others only those
        are asked again, by winding numbers, where the normals do not agree.
        """
        if self._nodes is None:
            self._nodes = _nodes_of(self._vertices, self._faces)
        side, way = self._nodes.nearest(points)
        far = way < away
        inside[far] = side[far]
        near = np.flatnonzero(unsure & ~far)
        if len(near):
            inside[near] = self._winding.numbers(points[near]) > 0.5

    def first_met(self, starts: Array, ways: Array) -> tuple[Ints, Array]:
        """Return the first face (−1: none) that rays from (n, 3) places along (n, 3) unit vectors meet, and how far on.

        For looking, not for proofs: a ray through an edge may pass it.
        """
        begin, way = np.array(starts, np.float64, order="C"), np.array(ways, np.float64, order="C")
        face, far, _ = self._tree.intersect_ray_first(self._vertices, self._faces, begin, way)
        return np.asarray(face, np.int64).ravel(), np.asarray(far, np.float64).ravel()

    def _sides(self, face: Ints, places: Array, to: Array) -> tuple[Flags, Flags]:
        """Return which points lie inside by the normals at their nearest places, and where those do not agree.

        ``to`` (n, 3) leads from the places, each on its face, to the points.
        """
        a, b, c = (self._vertices[self._faces[face, k]] for k in range(3))
        ab, ac, ap = b - a, c - a, places - a
        bb, bc, cc = (ab * ab).sum(1), (ab * ac).sum(1), (ac * ac).sum(1)
        pb, pc = (ap * ab).sum(1), (ap * ac).sum(1)
        total = bb * cc - bc * bc
        safe = np.where(total > 0, total, 1.0)
        v, w = (cc * pb - bc * pc) / safe, (bb * pc - bc * pb) / safe
        shares = np.stack([1 - v - w, v, w], axis=1)
        # How far the place lies from each side: of a sliver, shares say little.
        longest = np.sqrt(np.stack([((c - b) ** 2).sum(1), cc, bb], axis=1))
        height = np.sqrt(np.maximum(total, 0.0))[:, None] / np.maximum(longest, NOT_ZERO)
        small = shares * height <= _ON_RIM * self._size
        rim = small.sum(axis=1)
        on_edge, on_corner = np.flatnonzero(rim == 1), np.flatnonzero(rim >= 2)
        own = (to * self._normals[face]).sum(axis=1)
        along, other = own.copy(), own.copy()
        # The side opposite corner k runs from corner k + 1 to k + 2: it is the face's side number k + 1.
        both = self._edges[0][face[on_edge], (small[on_edge].argmax(axis=1) + 1) % 3]
        along[on_edge] = (to[on_edge] * both).sum(axis=1)
        other[on_edge] = along[on_edge] - own[on_edge]
        corner = self._faces[face[on_corner], shares[on_corner].argmax(axis=1)]
        along[on_corner] = other[on_corner] = (to[on_corner] * self._corners[0][corner]).sum(axis=1)
        length = np.linalg.norm(to, axis=1)
        folded = np.zeros(len(face), bool)
        folded[on_edge] = self._edges[1][face[on_edge], (small[on_edge].argmax(axis=1) + 1) % 3]
        folded[on_corner] = self._corners[1][corner]
        unsure = (own * other < 0) & (np.minimum(np.abs(own), np.abs(other)) > _AGREE * length)
        return np.asarray(along < 0), np.asarray(unsure & folded & (length > 0))


@dataclass(frozen=True, slots=True, eq=False)
class _Nodes:
    """Which nodes lie inside: ``inside`` (cells of the lattice, levels), the levels at ``low + pitch · k`` of depth."""

    view: View
    lattice: Lattice
    low: float
    inside: Flags

    def nearest(self, points: Array) -> tuple[Flags, Array]:
        """Return whether the node near each of (n, 3) points lies inside, and how far away it is at most."""
        seen, depth = self.view.seen(points)
        row, column = self.lattice.cells(seen)
        levels = self.inside.shape[1]
        level = np.clip(np.rint((depth - self.low) / self.lattice.pitch), 0, levels - 1).astype(np.int64)
        aside = self.lattice.places(row, column) - seen
        down = self.low + level * self.lattice.pitch - depth
        way = np.sqrt((aside**2).sum(axis=1) + down**2)
        # Columns round corners to a fraction of the pitch: so near the surface a node may be on the wrong side.
        return self.inside[row * self.lattice.columns + column, level], way + _ASIDE * self.lattice.pitch


def _nodes_of(vertices: Array, faces: Ints) -> _Nodes:
    """Return which nodes of a grid over a surface lie inside: by columns, or by winding numbers if it is open."""
    view = face_view("bottom")
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    pitch = max(float((high - low).max()) / (_GRID - 1), NOT_ZERO)
    lattice = lattice_over(view, vertices, pitch)
    _, depth = view.seen(vertices)
    first = float(depth.min())
    levels = max(1, int((float(depth.max()) - first) / pitch) + 2)
    cells = lattice.rows * lattice.columns
    if not is_closed(faces):
        each = np.arange(cells)
        flat = lattice.places(*np.divmod(each, lattice.columns))
        column = flat[:, :1] * view.right + flat[:, 1:] * view.up
        nodes = column[:, None] + (first + pitch * np.arange(levels))[:, None] * view.into
        return _Nodes(
            view, lattice, first, winding_numbers(vertices, faces, nodes.reshape(-1, 3)).reshape(cells, -1) > 0.5
        )
    columns = columns_of(vertices, faces, view, lattice)
    change = np.zeros((cells, levels + 1), np.int64)
    for ends, by in ((columns.enter, 1), (columns.leave, -1)):
        level = np.clip(np.ceil((ends - first) / pitch), 0, levels).astype(np.int64)
        np.add.at(change, (columns.cell, level), by)
    return _Nodes(view, lattice, first, np.cumsum(change, axis=1)[:, :-1] > 0)


def _edge_normals(faces: Ints, normals: Array) -> tuple[Array, Flags]:
    """Return (m, 3, 3): for each face's side k, from corner k to k + 1, the sum of its faces' normals.

    And (m, 3) whether those are not two, or fold back upon each other: nowhere else can the sum mislead.
    """
    keys, _ = undirected_edges(faces)
    _, edge = np.unique(keys, return_inverse=True)
    total = np.zeros((int(edge.max(initial=-1)) + 1, 3))
    np.add.at(total, edge, np.repeat(normals, 3, axis=0))
    folds = (np.bincount(edge, minlength=len(total)) != 2) | ((total**2).sum(axis=1) < _FOLDED)
    return np.asarray(total[edge].reshape(-1, 3, 3)), np.asarray(folds[edge].reshape(-1, 3))


def _corner_folds(faces: Ints, normals: Array, corner_normals: Array) -> Flags:
    """Return (n,) where some face lies edgeways to a vertex's normal or turns away from it: a fold, or a needle."""
    along = np.full(len(corner_normals), np.inf)
    upright = corner_normals / np.maximum(np.linalg.norm(corner_normals, axis=1), NOT_ZERO)[:, None]
    for k in range(3):
        np.minimum.at(along, faces[:, k], (normals * upright[faces[:, k]]).sum(axis=1))
    return np.asarray(along < _EDGEWAYS)


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

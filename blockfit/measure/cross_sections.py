"""Plane sections of closed surfaces in any direction: outline, area, middle, second moments. mm.

Not checked here: that the surface is closed and does not cross itself. Exact for the surface given."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.measure.patches import linked
from blockfit.measure.sections import area_of, distance_from, parts_of, rings_of

__all__ = ["Section", "Surfaces", "least_of_each", "section_areas", "section_near", "sections_of_each"]


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """A plane section: area, centroid (3,), second moments about it along the plane's axes, and its outline.

    ``moments`` (2, 2) are ∫uu, ∫uv; ∫uv, ∫vv in mm⁴ over the plane's ``axes`` (2, 3); ``rim`` (n, 2) are the
    outline's corners from the centroid along them, ``outline`` (n, 3) the same in space.
    """

    area_mm2: float
    centre: Array
    moments: Array
    axes: Array
    rim: Array

    @property
    def outline(self) -> Array:
        """The outside's corners (n, 3)."""
        return np.asarray(self.centre + self.rim @ self.axes)


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """Where planes cross faces: of each line the plane, its ends (q, 3), the stone on its left, and what side of a face
    each end lies on: equal numbers are the very same point."""

    plane: Ints
    start: Array
    end: Array
    start_side: Ints
    end_side: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Surfaces:
    """Closed surfaces side by side, to be cut together: corners (n, 3), faces (m, 3), where each one's corners begin
    (k + 1,), and which one each face belongs to."""

    vertices: Array
    faces: Ints
    begins: Ints
    owner: Ints

    @classmethod
    def of(cls, each: Sequence[tuple[Array, Ints]]) -> "Surfaces":
        """Put surfaces side by side, each given by its corners and faces."""
        begins = np.cumsum([0, *[len(vertices) for vertices, _ in each]])
        faces = [faces + begin for (_, faces), begin in zip(each, begins[:-1].tolist(), strict=True)]
        owner = np.repeat(np.arange(len(each)), [len(some) for some in faces])
        return cls(np.concatenate([vertices for vertices, _ in each]), np.concatenate(faces), begins, owner)

    def heights(self, normals: Array, offsets: Array) -> Array:
        """Return (n, p) heights of corners over each surface's own planes, normals (k, p, 3) and offsets (k, p)."""
        over = np.empty((len(self.vertices), normals.shape[1]))
        for k, (start, end) in enumerate(pairwise(self.begins.tolist())):
            over[start:end] = self.vertices[start:end] @ normals[k].T - offsets[k]
        return over


def section_near(vertices: Array, faces: Ints, normal: Array, at: Array) -> Section | None:
    """Return the connected part of a closed surface's section through ``at`` that holds it or is nearest to it.

    ``None`` where the plane meets nothing.
    """
    return sections_of_each(Surfaces.of([(vertices, faces)]), normal[None, None], at[None, None])[0][0]


def sections_of_each(surfaces: Surfaces, normals: Array, places: Array) -> list[list[Section | None]]:
    """Return what `section_near` does for planes of many small surfaces: p with normals (k, p, 3) through places
    (k, p, 3) of each.

    Outlines are joined by the sides of faces that they cross, all planes together: several times as quick as one by
    one. Sides without a face beyond end an outline, which then is none.

    >>> import numpy as np
    >>> from blockfit.measure.cross_sections import Surfaces, sections_of_each
    >>> corners = np.array([[0.0, 0, 0], [6, 0, 0], [0, 6, 0], [0, 0, 6]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> levels = np.array([[[1.0, 1, 2], [1, 1, 3]], [[2, 2, 3], [1, 1, 20]]])
    >>> both = Surfaces.of([(corners, faces), (2 * corners, faces)])
    >>> found = sections_of_each(both, np.tile([0.0, 0, 1], (2, 2, 1)), levels)
    >>> [[s and round(s.area_mm2, 9) for s in sections] for sections in found]
    [[8.0, 4.5], [40.5, None]]
    """
    loops, count = _Loops.of(surfaces, normals, places), normals.shape[1]
    return [[loops.section(count * k + plane) for plane in range(count)] for k in range(len(normals))]


def least_of_each(surfaces: Surfaces, normals: Array, places: Array) -> list[tuple[int, Section] | None]:
    """Return each surface's least of `sections_of_each` and its number; the first of equal ones, ``None`` for none."""
    loops, count = _Loops.of(surfaces, normals, places), normals.shape[1]
    plain = loops.holding >= 0
    clear = np.full(len(plain), np.inf)
    clear[plain] = loops.area[loops.holding[plain]]
    areas = clear.reshape(-1, count)
    trials = (loops.some & ~plain).reshape(-1, count)
    trials[np.arange(len(areas)), areas.argmin(axis=1)] |= np.isfinite(areas).any(axis=1)
    least: list[tuple[int, Section] | None] = []
    for k in range(len(normals)):
        tried = [(plane, loops.section(count * k + plane)) for plane in np.flatnonzero(trials[k]).tolist()]
        found = [(plane, section) for plane, section in tried if section is not None]
        least.append(min(found, key=lambda one: (one[1].area_mm2, one[0])) if found else None)
    return least


def section_areas(vertices: Array, faces: Ints, normal: Array, levels: Array) -> Array:
    """Return (p,) areas of the whole sections of a closed surface at levels (p,) along a unit vector.

    >>> import numpy as np
    >>> from blockfit.measure.cross_sections import section_areas
    >>> corners = np.array([[0.0, 0, 0], [6, 0, 0], [0, 6, 0], [0, 0, 6]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> section_areas(corners, faces, np.array([0.0, 0, 1]), np.array([2.0, 4])).round(9).tolist()
    [8.0, 2.0]
    """
    surface = Surfaces.of([(vertices, faces)])
    lines = _lines_of(surface, np.tile(normal, (1, len(levels), 1)), levels[None])
    twice = np.cross(lines.start, lines.end) @ normal
    return np.asarray(np.bincount(lines.plane, weights=twice, minlength=len(levels)) / 2)


@dataclass(frozen=True, slots=True, eq=False)
class _Loops:
    """The closed outlines of many sections, square to (p, 3) normals through (p, 3) places.

    ``lines`` (q, 4) are in each plane's ``axes`` (p, 2, 3) from its place; line k is followed by ``after[k]``. Of each
    loop there are its first line, its plane, whether it is closed, its area, first and second moments about the place.
    ``some`` (p,): the plane has an outline; ``holding`` (p,): the loop that holds its place, −1 where not clear:
    none does, or there are holes.
    """

    lines: Array
    after: Ints
    first: Ints
    plane: Ints
    closed: Flags
    area: Array
    firsts: Array
    seconds: Array
    axes: Array
    places: Array
    some: Flags
    holding: Ints

    @classmethod
    def of(cls, surfaces: Surfaces, each_normals: Array, each_places: Array) -> "_Loops":
        """Join the lines in which planes cross faces to outlines, and sum each of them up (Green's theorem)."""
        lines = _lines_of(surfaces, each_normals, (each_normals * each_places).sum(axis=2))
        axes, places = _axes_of(each_normals.reshape(-1, 3)), each_places.reshape(-1, 3)
        keys, numbers = np.unique(np.concatenate([lines.start_side, lines.end_side]), return_inverse=True)
        begin, stop = numbers[: len(lines.plane)], numbers[len(lines.plane) :]
        out, into = np.bincount(begin, minlength=len(keys)), np.bincount(stop, minlength=len(keys))
        group = linked(len(keys), begin, stop)
        loop = group[begin]
        a = np.einsum("qj,qij->qi", lines.start - places[lines.plane], axes[lines.plane])
        b = np.einsum("qj,qij->qi", lines.end - places[lines.plane], axes[lines.plane])
        (u, v), (p, q) = a.T, b.T
        twice = u * q - p * v

        def summed(weights: Array) -> Array:
            return np.asarray(np.bincount(loop, weights=weights, minlength=len(keys)))

        area = summed(twice) / 2
        turns = summed(np.where((v > 0) != (q > 0), np.where((twice > 0) == (q > 0), np.sign(q - v), 0.0), 0.0))
        firsts = np.stack([summed(twice * (u + p)), summed(twice * (v + q))], axis=1) / 6
        uu = summed(twice * (u * u + u * p + p * p)) / 12
        vv = summed(twice * (v * v + v * q + q * q)) / 12
        uv = summed(twice * (u * q + 2 * u * v + 2 * p * q + p * v)) / 24
        seconds = np.stack([uu, uv, uv, vv], axis=1).reshape(-1, 2, 2)
        after, first = np.full(len(keys), -1), np.full(len(keys), -1)
        after[begin] = np.arange(len(begin))  # the line that leaves each point
        first[loop] = np.arange(len(begin))
        # Where more than two faces meet on a side, an outline has no one way on.
        ended = np.zeros(len(keys), bool)
        ended[group[(out != 1) | (into != 1)]] = True
        closed = (first >= 0) & ~ended
        plane = np.where(first >= 0, lines.plane[first], -1)
        some, unclear, holding = np.zeros(len(places), bool), np.zeros(len(places), bool), np.full(len(places), -1)
        some[plane[closed]] = True
        unclear[plane[closed & (area <= 0)]] = True
        holds = np.flatnonzero(closed & (np.rint(turns) == 1))
        holding[plane[holds]] = holds
        holding[unclear | (np.bincount(plane[holds], minlength=len(places)) > 1)] = -1
        both = np.column_stack([a, b])
        return cls(both, after[stop], first, plane, closed, area, firsts, seconds, axes, places, some, holding)

    def section(self, plane: int) -> Section | None:
        """Return the section of a plane that holds its place or is nearest to it."""
        loop, axes, place = int(self.holding[plane]), self.axes[plane], self.places[plane]
        if loop < 0:
            return self._nearest(plane)
        area = float(self.area[loop])
        middle = self.firsts[loop] / area
        moments = self.seconds[loop] - area * np.outer(middle, middle)
        return Section(area, place + middle @ axes, moments, axes, self._rim(loop) - middle)

    def _nearest(self, plane: int) -> Section | None:
        """Return the section where outlines have holes, cross, or lie beside the place."""
        closed = self.closed & (self.plane == plane)
        parts = parts_of(area_of([self._rim(loop) for loop in np.flatnonzero(closed).tolist()]))
        if not parts:
            return None
        zero = np.zeros((1, 2))
        area, measures = min(parts, key=lambda part: (distance_from(part[0], zero)[0], part[1].area))
        axes, middle = self.axes[plane], measures.middle
        rim = rings_of(area)[0] - middle
        return Section(measures.area, self.places[plane] + middle @ axes, measures.moments, axes, rim)

    def _rim(self, loop: int) -> Array:
        """Return the corners (n, 2) of a closed outline, in order."""
        start = line = int(self.first[loop])
        order: list[int] = []
        while True:
            order.append(line)
            line = int(self.after[line])
            if line == start:
                break
        return np.asarray(self.lines[order, :2])


def _axes_of(normals: Array) -> Array:
    """Return (p, 2, 3) two unit vectors in the planes square to (p, 3) unit vectors, right-handed with them."""
    first = np.cross(normals, np.eye(3)[np.abs(normals).argmin(axis=1)])
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return np.stack([first, np.cross(normals, first)], axis=1)


def _lines_of(surfaces: Surfaces, normals: Array, offsets: Array) -> _Lines:
    """Return where planes ``normal · x = offset`` cross the faces; both faces on a side get the very same point.

    The planes, (k, p, 3) and (k, p), are numbered through: the first surface's, the second's, ...
    """
    faces, heights = surfaces.faces, surfaces.heights(normals, offsets)  # (n, p)
    above = heights > 0
    packed = np.packbits(above, axis=1)  # eight planes in a byte: most faces are cut by none
    a, b, c = (packed[faces[:, k]] for k in range(3))
    mixed = (a | b | c) & ~(a & b & c)
    some = np.flatnonzero(mixed.any(axis=1))
    row, column = np.nonzero(np.unpackbits(mixed[some], axis=1, count=normals.shape[1]))
    face = some[row]
    plane = surfaces.owner[face] * normals.shape[1] + column
    cut = faces[face]
    up = above[cut, column[:, None]]
    after = up[:, [1, 2, 0]]
    leaves, enters = up & ~after, after & ~up  # where the face's rim goes down, and where it comes up again
    start, start_side = _crossing(surfaces.vertices, heights, cut, plane, column, leaves.argmax(axis=1))
    end, end_side = _crossing(surfaces.vertices, heights, cut, plane, column, enters.argmax(axis=1))
    return _Lines(plane, start, end, start_side, end_side)


def _crossing(vertices: Array, heights: Array, cut: Ints, plane: Ints, column: Ints, side: Ints) -> tuple[Array, Ints]:
    """Return (q, 3) where planes cross a side of each face, and a number for each such point."""
    rows = np.arange(len(cut))
    a, b = cut[rows, side], cut[rows, (side + 1) % 3]
    low, high = np.minimum(a, b), np.maximum(a, b)
    rise = heights[high, column] - heights[low, column]
    share = -heights[low, column] / rise
    point = vertices[low] + share[:, None] * (vertices[high] - vertices[low])
    return point, (plane * len(vertices) + low) * len(vertices) + high

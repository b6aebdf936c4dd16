"""Which parts of a surface are seen, and so reached by a straight tool, along a direction.

Resolved to the columns' pitch: an element is hidden if the first surface of its column lies before the
element's own plane there. Slopes are compared, not only depths, so that steep surfaces do not hide themselves."""

from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.surface import area_vectors
from blockfit.geometry.tolerances import NOT_ZERO
from blockfit.measure.booleans import refined
from blockfit.measure.columns import crossings, first_depths
from blockfit.measure.views import Lattice, View, lattice_over

__all__ = ["EDGE_ON", "Elements", "elements_of", "first_seen", "front_depths", "reached", "skimmed"]

_WANTED = 60_000  # elements of a figure: its faces, the large ones divided
EDGE_ON = 1e-3  # n·d below which a surface is edge on, and not reached
_AHEAD = 1e-6  # n·d below which an element may be the first that is met


@dataclass(frozen=True, slots=True, eq=False)
class Elements:
    """The figure's surface as small faces, with each face's middle in ``points``, ``normals`` and ``areas``."""

    vertices: Array
    faces: Ints
    points: Array
    normals: Array
    areas: Array


def elements_of(vertices: Array, faces: Ints, pitch_mm: float) -> Elements:
    """Return the surface with large faces divided, none finer than the pitch can tell apart."""
    area = float(np.linalg.norm(area_vectors(vertices, faces), axis=1).sum())
    side = max(2 * pitch_mm, 1.5 * float(np.sqrt(area * 2.31 / _WANTED)))
    vertices, faces = refined(vertices, faces, side)
    outward = area_vectors(vertices, faces)
    areas = np.linalg.norm(outward, axis=1)
    normals = outward / np.maximum(areas, NOT_ZERO)[:, None]
    return Elements(vertices, faces, vertices[faces].mean(axis=1), normals, areas)


def reached(elements: Elements, view: View, pitch_mm: float, among: Flags | None = None) -> Flags:
    """Return (m,) which elements face the viewer and have nothing before them along ``view.into``.

    ``among`` (m,) limits the question to some elements; the others are returned as not reached.
    """
    facing = -(elements.normals @ view.into) > EDGE_ON
    if among is not None:
        facing &= among
    hit = np.zeros(len(facing), bool)
    asked = np.flatnonzero(facing)
    if len(asked) == 0:
        return hit
    # Only columns through the elements in question are needed.
    lattice = lattice_over(view, elements.points[asked], pitch_mm)
    first, owner = front_depths(elements, view, lattice)
    plane, cell, slack = first_seen(elements, view, lattice, asked)
    hit[asked] = (first[cell] >= plane - slack) | (owner[cell] == asked)
    return hit


def front_depths(elements: Elements, view: View, lattice: Lattice) -> tuple[Array, Ints]:
    """Return for every cell the depth of the first surface (inf: none) and its element (−1).

    The first surface of a closed solid always faces the viewer, so that half of the elements can be left out.
    """
    ahead = np.flatnonzero(elements.normals @ view.into < _AHEAD)
    found = crossings(elements.vertices, elements.faces[ahead], view, lattice, entering_only=True)
    depth, owner = first_depths(found, lattice)
    return depth, np.where(owner >= 0, ahead[owner], -1)


def first_seen(elements: Elements, view: View, lattice: Lattice, asked: Ints) -> tuple[Array, Ints, Array]:
    """Return the depth of each asked element's plane where its column stands, that cell, and the slack to allow.

    The slack grows with the slope: a steep element's neighbours curve away within a pitch.
    """
    seen, depth = view.seen(elements.points[asked])
    row, column = lattice.cells(seen)
    normals = elements.normals[asked]
    along = np.minimum(normals @ view.into, -EDGE_ON)
    away = lattice.places(row, column) - seen
    plane = depth - (normals @ np.stack([view.right, view.up], axis=1) * away).sum(axis=1) / along
    slope = np.minimum(np.sqrt(np.maximum(1 - along**2, 0)) / -along, 8)
    return plane, row * lattice.columns + column, lattice.pitch * (0.3 + 0.25 * slope)


def skimmed(elements: Elements, view: View, pitch_mm: float) -> Flags:
    """Return (m,) which elements lie edge on to the viewer, within 3°, with nothing before them.

    A tool slides along them; they hide nothing and are not hidden. They are looked at a pitch outside the surface.
    """
    edge_on = np.abs(elements.normals @ view.into) <= np.sin(np.radians(3))
    free = np.zeros(len(edge_on), bool)
    asked = np.flatnonzero(edge_on)
    if len(asked) == 0:
        return free
    outside = elements.points[asked] + 1.5 * pitch_mm * elements.normals[asked]
    lattice = lattice_over(view, outside, pitch_mm)
    first, _ = front_depths(elements, view, lattice)
    seen, depth = view.seen(outside)
    row, column = lattice.cells(seen)
    free[asked] = first[row * lattice.columns + column] >= depth
    return free

"""Sound stone between the figure and the block's faces. Exact: the least lies at a vertex of the figure.

mm, block frame. Skin does not count as stone."""

from dataclasses import dataclass

import numpy as np

from blockfit.search.result import Fit, counted_faces
from blockfit.solids.arrays import Array

__all__ = ["Cover", "stone_cover"]


@dataclass(frozen=True, slots=True, eq=False)
class Cover:
    """``least_mm`` on the faces that count, ``at`` (3,) and towards ``least_face``; ``by_face`` on every face.

    ``per_vertex_mm`` (n,) is each vertex's least distance to a face that counts. ``tolerance_mm`` has been taken
    off all of them, for points taken by hand.
    """

    least_mm: float
    least_face: str
    by_face: dict[str, float]
    at: Array
    per_vertex_mm: Array
    tolerance_mm: float


def stone_cover(fit: Fit) -> Cover:
    """Return how much sound stone covers the figure. Faces asked for none do not count, unless all are.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.safest(bf.Figure.from_points(corners), bf.Block.box(160, 200, 250), stance=bf.Stance.upright())
    >>> bf.stone_cover(fit).by_face["left"]
    30.0
    """
    block, placed = fit.block, fit.solid().vertices
    tolerance = fit.figure.tolerance_mm * fit.scale
    stone = block.sound_mm - placed @ block.normals.T - tolerance  # (n, f)
    counted = counted_faces(fit.asked_cover_mm)
    per_vertex = stone[:, counted].min(axis=1)
    vertex = int(per_vertex.argmin())
    faces = np.flatnonzero(counted)
    return Cover(
        least_mm=float(per_vertex[vertex]),
        least_face=block.names[int(faces[int(stone[vertex, counted].argmin())])],
        by_face={name: float(least) for name, least in zip(block.names, stone.min(axis=0), strict=True)},
        at=placed[vertex].copy(),
        per_vertex_mm=per_vertex,
        tolerance_mm=tolerance,
    )

"""Sound stone between the figure and the block's faces. Exact: the least lies at a vertex of the figure.

mm, block frame. Skin does not count as stone. In a rough block the least is the exact distance to its surface."""

from dataclasses import dataclass, field

import numpy as np

from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array
from blockfit.kinds import kinds_checked
from blockfit.measure.booleans import refined
from blockfit.measure.distance import SurfaceDistance
from blockfit.search.result import Fit, counted_faces
from blockfit.solids.block import SURFACE

__all__ = ["Cover", "stone_cover"]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Cover(Result):
    """``least_mm`` on the faces that count, ``at`` (3,) and towards ``least_face``; ``by_face`` on every face.

    ``per_vertex_mm`` (n,) is each vertex's least distance to a face that counts. ``margin_mm`` has been taken
    off all of them: a figure grown by a ball reaches exactly that much further towards every plane.

    All in mm, ``at`` in the block's frame, and exact; in a rough block ``least_mm`` is the distance to its surface,
    less its skin.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.safest(cube, bf.Block.box(160, 200, 250), cover={"bottom": 0, "other": 20}, stance=bf.Stance.fixed())
    >>> cover = bf.stone_cover(fit)
    >>> round(cover.least_mm, 3), abs(round(cover.by_face["bottom"], 3)), cover.per_vertex_mm.shape, cover.margin_mm
    (30.0, 0.0, (8,), 0.0)
    """

    least_mm: float = field(metadata=fact("least cover", Sure.EXACT, Rounding.DOWN))
    least_face: str = field(metadata=fact("towards", Sure.EXACT))
    by_face: dict[str, float] = field(
        metadata=fact("on each face", Sure.EXACT, Rounding.DOWN, key="by_face_mm", measure=Measure.LENGTH)
    )
    at: Array = field(metadata=fact("at", Sure.EXACT, key="at_mm", measure=Measure.LENGTH))
    per_vertex_mm: Array
    margin_mm: float = field(metadata=fact("taken off for the figure's margin", Sure.GIVEN))


@kinds_checked
def stone_cover(fit: Fit) -> Cover:
    """Return how much sound stone covers the figure. Faces asked for none do not count, unless all are.

    In mm, with skin and the figure's margin taken off; exact. Raises `BadValueError` for a fit without a placement.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.safest(bf.Figure.from_points(corners), bf.Block.box(160, 200, 250), stance=bf.Stance.upright())
    >>> bf.stone_cover(fit).by_face["left"]
    30.0
    """
    block, placed = fit.block, fit.solid().vertices
    margin = fit.figure.margin_mm * fit.scale
    stone = block.sound_mm - placed @ block.normals.T - margin  # (n, f)
    counted = counted_faces(fit.asked_cover_mm)
    per_vertex = stone[:, counted].min(axis=1)
    if block.surface is not None:
        return _in_rough(fit, stone, placed)
    vertex = int(per_vertex.argmin())
    faces = np.flatnonzero(counted)
    return Cover(
        least_mm=float(per_vertex[vertex]),
        least_face=block.names[int(faces[int(stone[vertex, counted].argmin())])],
        by_face={name: float(least) for name, least in zip(block.names, stone.min(axis=0), strict=True)},
        at=placed[vertex].copy(),
        per_vertex_mm=per_vertex,
        margin_mm=margin,
    )


def _in_rough(fit: Fit, stone: Array, placed: Array) -> Cover:
    """Return the cover under a rough block's own surface; by its named faces, the stone up to where they stand."""
    body = fit.block.surface
    assert body is not None
    vertices, faces = refined(body.vertices, body.faces, max(fit.block.size_mm) / 40)
    away, _ = SurfaceDistance(vertices, faces).signed(placed)
    margin = fit.figure.margin_mm * fit.scale
    per_vertex = -away - float(fit.block.skin_mm.max()) - margin
    vertex = int(per_vertex.argmin())
    exact = dict(fit.kept_mm).get(SURFACE, np.inf) - float(fit.block.skin_mm.max())
    return Cover(
        least_mm=min(float(per_vertex[vertex]), exact),
        least_face=SURFACE.removeprefix("the "),
        by_face={name: float(least) for name, least in zip(fit.block.names, stone.min(axis=0), strict=True)},
        at=placed[vertex].copy(),
        per_vertex_mm=per_vertex,
        margin_mm=margin,
    )

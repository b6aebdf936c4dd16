"""The stone as it stands, as far as a search needs it: the block less all that is gone. mm, block frame."""

from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import hull_corners, hull_planes
from blockfit.geometry.tolerances import PARALLEL, TOUCHING
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.flaw import Flaw
from blockfit.solids.stone import Stone

__all__ = ["StageStone", "block_of"]

_FLAT_FACES = 400
_MOST_PLANES = 14  # of the stone's own hull, beside those that stand around it


@dataclass(frozen=True, eq=False)
class StageStone:
    """A closed surface of stone, in words what has gone from the block, and the flaws that are still in it."""

    stone: Figure
    gone: tuple[str, ...]
    flaws: tuple[Flaw, ...] = ()

    @property
    def kind(self) -> Stone | None:
        """What stone it is, if that is known."""
        return None

    def doubt_mm(self, points: Array) -> float:
        """Return how far its surface may lie from where it is said to be, about (n, 3) places: 0 if it is no scan."""
        return 0.0


def block_of(stage: StageStone) -> Block:
    """Return the stone as it stands as a rough block: its surface, with planes of its hull around it.

    A hull of few faces is met exactly; of a scan's many faces the planes stand around it, and the bound that they
    prove holds all the more.

    >>> from blockfit import Figure
    >>> from blockfit.solids.stage import StageStone, block_of
    >>> corners = [[0, 0, 0], [600, 0, 0], [0, 900, 0], [0, 0, 1000]]
    >>> stone = Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> block_of(StageStone(stone, ())).name
    'the stone as it stands'
    """
    around = Block.scanned(stage.stone, stone=stage.kind, name="the stone as it stands", flaws=stage.flaws)
    normals = [*around.normals, *_hull_normals(stage.stone.vertices, around.normals)]
    own = np.array(normals)
    offsets = (stage.stone.vertices @ own.T).max(axis=0)
    names = (*around.names, *(f"hull {k}" for k in range(1, len(own) - len(around.names) + 1)))
    return Block(
        own,
        offsets,
        names,
        kind="scanned",
        stone=stage.kind,
        name=around.name,
        flaws=stage.flaws,
        surface=stage.stone,
    )


def _hull_normals(vertices: Array, known: Array) -> list[Array]:
    """Return the normals of those faces of the hull that take most off the planes known."""
    normals, offsets = hull_planes(vertices[hull_corners(vertices)])
    apart = (normals @ known.T).max(axis=1) < PARALLEL
    normals, offsets = normals[apart], offsets[apart]
    if not 0 < len(normals) <= _FLAT_FACES:  # of a hull of very many faces none takes off much
        return []
    corners = vertices[hull_corners(vertices)]
    on_face = (np.abs(corners @ normals.T - offsets) < TOUCHING * max(1.0, float(np.ptp(corners)))).astype(np.float64)
    extent = [float(np.ptp(corners[face > 0], axis=0).max()) for face in on_face.T]
    chosen: list[Array] = []
    for k in np.argsort(extent)[::-1]:
        if all(float(normals[k] @ other) < 0.99 for other in chosen):
            chosen.append(normals[k])
        if len(chosen) == _MOST_PLANES:
            break
    return chosen

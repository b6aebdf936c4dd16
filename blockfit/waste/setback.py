"""How far the whole figure can move and still keep its cover: the carver's reserve. mm, block frame.

In a convex block as bought only vertices count, and the answer is exact. In the stone as it stands, or a rough block,
the moved figure must lie in what is left: exact to a thousandth of a millimetre, by booleans."""

from dataclasses import dataclass

import numpy as np

from blockfit.search.result import Fit
from blockfit.solids.arrays import Array
from blockfit.solids.figure import require_solid
from blockfit.solids.stage import Stage
from blockfit.waste.room import room_along

__all__ = ["Setback", "setback"]

_WAYS = {"left": (-1.0, 0.0, 0.0), "right": (1.0, 0.0, 0.0), "up": (0.0, 0.0, 1.0)}


@dataclass(frozen=True, slots=True, eq=False)
class Setback:
    """``back_mm`` is the reserve; ``limit_face`` and the figure's point ``at`` (3,) are what end it.

    ``left_mm``, ``right_mm`` and ``up_mm`` are how far it can move those ways instead.
    """

    back_mm: float
    limit_face: str
    at: Array
    left_mm: float
    right_mm: float
    up_mm: float


def setback(fit: Fit, stage: Stage | None = None) -> Setback:
    """Return how far the figure can go straight back with the cover that was asked, and to the sides and up.

    ``stage`` is the stone as it stands: then the figure must lie in what is left as well.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(100, 260, 150), stance=bf.Stance.fixed())
    >>> bf.setback(fit).back_mm, bf.setback(fit).up_mm
    (160.0, 50.0)
    """
    back, face, at = _to_the_planes(fit, np.array([0.0, 1.0, 0.0]))
    sides = {name: _to_the_planes(fit, np.array(way))[0] for name, way in _WAYS.items()}
    stone = stage.stone if stage is not None else fit.block.surface
    if stone is None:
        return Setback(back, face, at, sides["left"], sides["right"], sides["up"])
    placed = fit.solid()
    require_solid(placed, "the setback in the stone as it stands")
    by, place = room_along(placed, stone, (0.0, 1.0, 0.0), back)
    if by < back:
        back, face, at = by, "the stone as it stands" if stage is not None else "the block's surface", place
    held = {name: room_along(placed, stone, way, sides[name])[0] for name, way in _WAYS.items()}
    return Setback(back, face, at, held["left"], held["right"], held["up"])


def _to_the_planes(fit: Fit, way: Array) -> tuple[float, str, Array]:
    """Return how far the figure can go along a way within the block's planes, which face ends it and where."""
    block, placed = fit.block, fit.solid().vertices
    along = block.normals @ way
    heights = placed @ block.normals.T  # (n, f)
    slack = block.sound_mm - fit.asked_cover_mm - heights.max(axis=0) - fit.figure.tolerance_mm * fit.scale
    room = np.where(along > 1e-12, slack / np.where(along > 1e-12, along, 1.0), np.inf)
    face = int(room.argmin())
    return max(0.0, float(room[face])), block.names[face], placed[int(heights[:, face].argmax())].copy()

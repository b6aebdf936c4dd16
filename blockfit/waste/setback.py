"""How far the whole figure can move straight back and still keep its cover: the carver's reserve.

Exact in a convex block as bought: only vertices count. mm, block frame."""

from dataclasses import dataclass

import numpy as np

from blockfit.search.result import Fit
from blockfit.solids.arrays import Array

__all__ = ["Setback", "setback"]


@dataclass(frozen=True, slots=True, eq=False)
class Setback:
    """``back_mm`` is the reserve; ``limit_face`` and the figure's point ``at`` (3,) are what end it."""

    back_mm: float
    limit_face: str
    at: Array


def setback(fit: Fit) -> Setback:
    """Return how far the figure can go straight back with the cover that was asked.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(100, 260, 150), stance=bf.Stance.fixed())
    >>> bf.setback(fit).back_mm
    160.0
    """
    block, placed = fit.block, fit.solid().vertices
    along = block.normals[:, 1]
    heights = placed @ block.normals.T  # (n, f)
    slack = block.sound_mm - fit.asked_cover_mm - heights.max(axis=0) - fit.figure.tolerance_mm * fit.scale
    room = np.where(along > 1e-12, slack / np.where(along > 1e-12, along, 1.0), np.inf)
    face = int(room.argmin())
    return Setback(max(0.0, float(room[face])), block.names[face], placed[int(heights[:, face].argmax())].copy())

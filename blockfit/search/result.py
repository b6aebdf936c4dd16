"""The answer to a question about one figure and one block.

mm, block frame. Every placement is checked with all vertices of the figure, apart from the search."""

from dataclasses import dataclass
from enum import Enum
from functools import cached_property

import numpy as np

from blockfit.errors import BadValueError
from blockfit.solids.arrays import Array, Flags
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.placement import Placement
from blockfit.solids.stance import Stance

__all__ = ["TOUCH", "Fit", "Verdict", "counted_faces", "cover_of_faces", "verified_cover_mm"]

TOUCH = 1e-9  # of the block's size: what rounding may take from the cover


class Verdict(Enum):
    """Whether the figure fits."""

    FITS = "a placement is known"
    CANNOT_FIT = "proved: no placement does what was asked"
    UNDECIDED = "budget of cells spent, the bounds still straddle what was asked"


@dataclass(frozen=True, eq=False)
class Fit:
    """One figure in one block.

    ``scale_bound >= scale`` and ``cover_bound_mm >= cover_mm`` are proved (to rounding, about 1e-12), as far as
    the question asked for them. ``placement`` is the best one known, also if it is not enough; ``None`` if the
    cover leaves no room at all. ``short_mm`` is how much every face would have to give for a figure that does
    not fit, on ``short_faces``. ``setback_mm`` is set by `safest` with ``seek="setback"``, with its bound.
    """

    figure: Figure
    block: Block
    verdict: Verdict
    placement: Placement | None
    scale: float
    scale_bound: float
    cover_mm: float
    cover_bound_mm: float
    gap: float
    gap_mm: float
    cells: int
    asked_cover_mm: Array
    stance: Stance
    question: str
    stands_on: str = "bottom"
    setback_mm: float | None = None
    setback_bound_mm: float | None = None
    short_mm: float = 0.0
    short_faces: tuple[str, ...] = ()
    trace: Array | None = None

    @cached_property
    def _solid(self) -> Figure:
        if self.placement is None:
            raise BadValueError(f"{self.figure.name} has no placement in {self.block.name}: the cover leaves no room")
        vertices = self.placement.apply(self.figure.vertices)
        marks = {name: tuple(self.placement.apply(np.array(p)).tolist()) for name, p in self.figure.landmarks.items()}
        return Figure(vertices, self.figure.faces, landmarks=marks, name=self.figure.name)

    def solid(self) -> Figure:
        """Return the placed figure, in the block frame. Raises `BadValueError` if there is no placement."""
        return self._solid


def counted_faces(asked_mm: Array) -> Flags:
    """Return (f,) the faces that count for the least cover: those asked for some, or all if none was."""
    asked = asked_mm > 0
    return np.asarray(asked if asked.any() else np.ones(len(asked), bool))


def cover_of_faces(figure: Figure, block: Block, placement: Placement) -> Array:
    """Return (f,) the sound stone between each face and the figure's nearest vertex, in mm."""
    placed = placement.apply(figure.vertices)
    tolerance = figure.tolerance_mm * placement.scale
    return np.asarray(block.sound_mm - (placed @ block.normals.T).max(axis=0) - tolerance)


def verified_cover_mm(figure: Figure, block: Block, placement: Placement, asked_mm: Array, merit: float) -> float:
    """Return the least cover of a placement, having checked that it keeps what the search says it keeps.

    ``merit`` below 0 is how much the search itself says is missing on every face.
    """
    cover = cover_of_faces(figure, block, placement)
    hair = TOUCH * max(*block.size_mm, float(np.abs(placement.shift_mm).max()) * 1e-3)
    worst = float((cover - asked_mm).min())
    if worst < min(0.0, merit) - hair:
        raise AssertionError(f"a placement misses its cover by {-worst:g} mm: a fault in blockfit, please report it")
    return float(cover[counted_faces(asked_mm)].min())

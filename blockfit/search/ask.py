"""What is asked of a figure and a block, as one value: made once, checked once, and kept with the answer."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum

from blockfit.errors import BadValueError
from blockfit.facts.mappings import FrozenMapping
from blockfit.kinds import take_fields
from blockfit.solids.block import CoverAsked
from blockfit.solids.stance import Stance
from blockfit.solids.standing import LAYERS
from blockfit.units import Length, length_mm, ratio_value

__all__ = ["GAP", "MAX_CELLS", "YARD_GAP", "Ask", "Seek", "standing_cover"]

GAP, YARD_GAP = 1e-5, 1e-3
"""What is left by default between answer and bound: of one block, and of each of a yard, which is only ranked."""
MAX_CELLS = 400_000  # of rotations: about a minute on the hardest hulls met
_COUNTED_MM = 1e-6  # asked of a face so that it counts: faces asked for none do not, and bind nothing


class Seek(Enum):
    """What is made as large (or, of a block, as small) as possible.

    `largest` seeks ``SCALE``; `safest` seeks ``COVER``, or ``SETBACK`` with ``seek="setback"``; `smallest_block` seeks
    ``BLOCK``.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.safest(cube, bf.Block.box(300, 200, 250), seek="setback")
    >>> fit.ask.seek is bf.Seek.SETBACK, bf.Seek("safest").name
    (True, 'COVER')
    """

    SCALE = "largest"
    COVER = "safest"
    SETBACK = "most setback"
    BLOCK = "smallest block"


@dataclass(frozen=True, slots=True)
class Ask:
    """One question. `largest`, `safest`, `smallest_block` and `compare` build it from their keywords.

    ``scale`` is the size at which cover, setback or a block is sought; ``scales`` the least scale of any use and the
    most wanted, where the scale is. ``cover`` (mm, text, or by face name with ``"other"``) is kept on the sound stone
    of every face. ``stance`` limits turn and lean, ``stands_on`` the faces on which the block may be stood (``"any"``
    for all), ``layers`` how its bed may lie then: ``any``, ``level`` or ``upright``. The search ends when its bound is
    within ``gap`` (of the scale, or times the block's least side) of the best, or after ``max_cells`` cells of
    rotations. To ask again, change what is to be different and give it to `answer`.

    Raises `BadValueError` for anything out of range; faces are checked against the block that is asked about.

    >>> from dataclasses import replace
    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(300, 200, 250), stance=bf.Stance.upright())
    >>> tight = bf.answer(fit.figure, fit.block, replace(fit.ask, cover=25))
    >>> fit.scale, tight.scale
    (2.0, 1.5)
    """

    seek: Seek = Seek.SCALE
    scale: float = 1.0
    scales: tuple[float, float] = (0.0, math.inf)
    cover: CoverAsked = 0.0
    stance: Stance = field(default_factory=Stance.free)
    gap: float = GAP
    stands_on: str | Sequence[str] = "bottom"
    layers: str = "any"
    max_cells: int = MAX_CELLS

    def __post_init__(self) -> None:
        """Check every field, and take lengths, ratios and lists in as plain numbers and tuples."""
        if not isinstance(self.stance, Stance):
            raise BadValueError(f"stance={self.stance!r} must be a Stance, such as Stance.upright(30)")
        if self.seek not in (*Seek, *(seek.value for seek in Seek)):
            raise BadValueError(f"seek={self.seek!r} must be one of {', '.join(map(str, Seek))}")
        object.__setattr__(self, "seek", Seek(self.seek))
        take_fields(self, but=("scale", "scales"))
        if not (math.isfinite(self.gap) and self.gap >= 0):
            raise BadValueError(f"gap={self.gap!r} must be 0 or more; 1e-3 proves the answer to a thousandth")
        if self.max_cells < 1:
            raise BadValueError(f"max_cells={self.max_cells!r} must be at least 1")
        if self.layers not in LAYERS:
            raise BadValueError(f"layers={self.layers!r} must be one of {', '.join(LAYERS)}")
        object.__setattr__(self, "scale", ratio_value(self.scale, "scale"))
        object.__setattr__(self, "scales", _checked_scales(self.scales))
        object.__setattr__(self, "cover", _checked_cover(self.cover))
        object.__setattr__(self, "stands_on", _faces(self.stands_on))

    @property
    def is_scale(self) -> bool:
        """Whether the scale is what is sought."""
        return self.seek is Seek.SCALE


def standing_cover(other: Length, bottom: Length = 0) -> dict[str, float]:
    """Return the cover of a figure that stands on the bottom: ``bottom`` there and ``other`` on all other faces.

    Where none is asked at all, the other faces still count, so that it is the bottom that binds nothing.

    >>> from blockfit.search.ask import standing_cover
    >>> standing_cover("2 cm"), standing_cover(0)
    ({'bottom': 0.0, 'other': 20.0}, {'bottom': 0.0, 'other': 1e-06})
    """
    bare = length_mm(other, "cover", least=0)
    return {"bottom": length_mm(bottom, "bottom cover", least=0), "other": max(bare, _COUNTED_MM)}


def _checked_scales(scales: tuple[float, float]) -> tuple[float, float]:
    try:
        least, most = (float(scale) for scale in scales)
    except (TypeError, ValueError) as error:
        raise BadValueError(f"scales={scales!r} must be two numbers: the least and the most of any use") from error
    if not 0 <= least <= most or most == 0:
        raise BadValueError(f"scales={scales!r} must be the least and the most scale of any use, the least first")
    return least, most


def _checked_cover(cover: CoverAsked) -> CoverAsked:
    if isinstance(cover, Mapping):
        return FrozenMapping({str(face): length_mm(by, f"cover of {face}", least=0) for face, by in cover.items()})
    return length_mm(cover, "cover", least=0)


def _faces(stands_on: str | Sequence[str]) -> str | tuple[str, ...]:
    if not stands_on:
        raise BadValueError(f'stands_on={stands_on!r} must name a face, or several, or be "any"')
    return stands_on if isinstance(stands_on, str) else tuple(str(face) for face in stands_on)

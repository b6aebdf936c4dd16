"""A flat cut, and how it is set out in the stone. mm, block frame."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import NOT_ZERO
from blockfit.solids.block import Block
from blockfit.waste.cuts.marks import Hollow, Mark, marks_of
from blockfit.waste.cuts.methods import Method, depth_needed

__all__ = ["Cut", "cuts_of"]

_PLACES = 6  # by which a cut through rough stone is set out
_BESIDE_MM = 5.0  # nearer to another cut there is no stone to mark


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Cut(Result):
    """A flat cut: the piece lies where ``normal · x >= offset_mm``.

    ``area_m2`` is what is sawn, ``outline`` (k, 3) its corners in order, ``kerf_mm`` its width, ``method`` what
    makes it and ``depth_mm`` how deep that must reach. ``opposed`` cuts come from both sides. ``marks`` are the lines
    to snap, one for each face of the stone as it then stands that the cut crosses, in order round it. A rough block has
    no faces: there ``places_mm`` (n, 3) are where the cut meets the stone's surface, spread round it.

    ``normal`` (3,) is a unit vector, ``outline`` is in mm, and all that is measured is exact; kerf and method are as
    given.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.safest(cube, bf.Block.box(500, 100, 100), stance=bf.Stance.fixed())
    >>> cut = bf.best_first_cut(fit, clearance=20, kerf=10).cut
    >>> (cut.normal.round(6) + 0).tolist(), round(cut.offset_mm, 3), cut.kerf_mm
    ([1.0, 0.0, 0.0], 330.0, 10.0)
    >>> round(cut.area_m2, 4), [mark.face for mark in cut.marks]
    (0.01, ['front', 'bottom', 'back', 'top'])
    """

    normal: Array = field(metadata=fact("normal", Sure.EXACT, shown=False))
    offset_mm: float = field(metadata=fact("offset", Sure.EXACT, shown=False))
    area_m2: float = field(metadata=fact("sawn", Sure.EXACT))
    method: str = field(metadata=fact("by", Sure.GIVEN))
    kerf_mm: float = field(metadata=fact("kerf", Sure.GIVEN))
    depth_mm: float = field(metadata=fact("depth", Sure.EXACT, Rounding.UP))
    outline: Array = field(metadata=fact("outline", Sure.EXACT, key="outline_mm", shown=False))
    opposed: bool
    marks: tuple[Mark, ...] = field(metadata=fact("lines to snap", Sure.EXACT, shown=False))
    places_mm: Array | None = field(default=None, metadata=fact("passes through", Sure.EXACT, shown=False))


def cuts_of(
    block: Block,
    gone: Sequence[Hollow],
    normals: Array,
    offsets: Array,
    methods: Sequence[Method],
    outlines: Sequence[Array],
    areas_m2: Sequence[float],
) -> tuple[Cut, ...]:
    """Return the cuts of a piece where ``normals @ x >= offsets``, set out in the block as hollows have left it.

    On a rough block no face is flat: a cut then has no marks, and is set out by places on its outline.
    """
    kerfs = np.array([method.kerf_mm for method in methods])
    planes = [(normal, float(offset)) for normal, offset in zip(normals, offsets, strict=True)]
    cuts = []
    for k, (normal, offset) in enumerate(planes):
        method = methods[k]
        cuts.append(
            Cut(
                normal=normal,
                offset_mm=offset,
                area_m2=areas_m2[k],
                method=method.name,
                kerf_mm=method.kerf_mm,
                depth_mm=depth_needed(outlines[k], normal, planes[:k] + planes[k + 1 :]),
                outline=outlines[k],
                opposed=method.opposed and len(planes) == 1,
                marks=marks_of(block, gone, normals, offsets, kerfs, k) if block.surface is None else (),
                places_mm=None if block.surface is None else _places(outlines[k], planes[:k] + planes[k + 1 :]),
            )
        )
    return tuple(cuts)


def _places(outline: Array, others: Sequence[tuple[Array, float]]) -> Array:
    """Return places (n, 3) spread evenly along the outline of a cut, but where it meets other cuts."""
    if len(outline) < 3:
        return np.zeros((0, 3))
    sides = np.roll(outline, -1, axis=0) - outline
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(sides, axis=1))])
    at = np.linspace(0, along[-1], 4 * _PLACES, endpoint=False)
    which = np.clip(np.searchsorted(along, at, side="right") - 1, 0, len(sides) - 1)
    share = (at - along[which]) / np.maximum(along[which + 1] - along[which], NOT_ZERO)
    spread = outline[which] + share[:, None] * sides[which]
    on_stone = np.ones(len(spread), bool)
    for normal, offset in others:
        on_stone &= np.abs(spread @ normal - offset) > _BESIDE_MM
    kept = spread[on_stone]
    return np.asarray(kept[:: max(1, len(kept) // _PLACES)][:_PLACES])

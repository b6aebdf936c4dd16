"""The single cut that frees most stone beside a figure, with a bound that no other cut beats. mm, block frame."""

from dataclasses import dataclass, field

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.polytope import corners_of
from blockfit.kinds import kinds_checked
from blockfit.measure.booleans import arrays_of, hull_solid
from blockfit.search.proof.parting import most_stone_beyond, parting_of
from blockfit.search.proof.support import hull_of
from blockfit.search.result import Fit, Verdict
from blockfit.solids.figure import Figure
from blockfit.units import M3_PER_MM3, Length, length_mm
from blockfit.waste.cuts.cut import Cut
from blockfit.waste.rescued.freeing import freed_cuts

__all__ = ["ROUNDING_MM", "FirstCut", "best_first_cut"]

ROUNDING_MM = 1e-6
"""A cut keeps so much more from the figure: rounding takes none of its clearance."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class FirstCut(Result):
    """The through cut that frees most stone, the ``piece``, and the volume that no other through cut exceeds.

    ``cut`` and ``piece`` are ``None`` where nothing is free.

    Volumes are m³, kerf excluded. The cut is exact, and the bound is proved.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.safest(cube, bf.Block.box(500, 100, 100), stance=bf.Stance.fixed())
    >>> first = bf.best_first_cut(fit, clearance=20, kerf=10)
    >>> (first.cut.normal.round(6) + 0).tolist(), first.piece.size_mm[1:]
    ([1.0, 0.0, 0.0], (100.0, 100.0))
    >>> round(first.volume_m3, 4), first.volume_bound_m3 <= first.volume_m3 * 1.01
    (0.0017, True)
    """

    cut: Cut | None
    piece: Figure | None
    volume_m3: float = field(metadata=fact("frees", Sure.EXACT, Rounding.DOWN))
    volume_bound_m3: float = field(metadata=fact("no single cut frees more than", Sure.PROVED, Rounding.UP))


@kinds_checked
def best_first_cut(fit: Fit, *, clearance: Length = 20, kerf: Length = 10, gap: float = 1e-2) -> FirstCut:
    """Return the one through cut that frees most stone, proved to ``gap``: no cut in any direction frees more by that.

    It keeps ``clearance`` and the ``kerf`` from the figure where it stands; its reserve is not kept.

    Lengths are mm or text. The cut is exact, the bound proved. Raises `BadValueError` for a figure that does not fit, a
    rough block, and options out of range.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.safest(bf.Figure.from_points(corners), bf.Block.box(500, 100, 100), scale=1, stance=bf.Stance.fixed())
    >>> first = bf.best_first_cut(fit, clearance=20, kerf=10)
    >>> round(first.volume_m3, 4), first.volume_bound_m3 <= first.volume_m3 * 1.01
    (0.0017, True)
    """
    if fit.placement is None or fit.verdict is not Verdict.FITS:
        raise BadValueError(f"{fit.figure.name} does not fit in {fit.block.name}; a cut needs a figure that fits")
    if fit.block.surface is not None:
        raise BadValueError("cuts are planned in a sawn block, not in a rough one: square it first")
    if not (np.isfinite(gap) and gap > 0):
        raise BadValueError(f"gap={gap!r} must be more than 0")
    kerf_mm = length_mm(kerf, "kerf", least=0)
    slack_mm = fit.figure.margin_mm * fit.scale
    clear_mm = length_mm(clearance, "clearance", least=0) + kerf_mm + slack_mm + ROUNDING_MM
    hull, block = hull_of(fit.solid()), fit.block
    first = hull.points + hull.centre
    question = parting_of(block.normals, block.offsets_mm, first, clear_mm, hull, 0.0)
    if question is None:
        raise AssertionError("a block that holds a figure has corners: a fault in blockfit, please report it")
    normal, volume, bound = most_stone_beyond(question, gap=gap)
    if not volume > 0:
        return FirstCut(None, None, 0.0, bound * M3_PER_MM3)
    at = np.array([float((first @ normal).max()) + clear_mm])
    corners = corners_of(np.vstack([block.normals, -normal]), np.append(block.offsets_mm, -at))[0]
    piece = Figure(*arrays_of(hull_solid(corners)), name=f"a piece of {block.name}")
    (cut,) = freed_cuts(block, corners, normal[None], at, kerf_mm)
    return FirstCut(cut, piece, volume * M3_PER_MM3, bound * M3_PER_MM3)

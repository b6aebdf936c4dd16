"""A second figure from the waste of the first: the cuts that free it, the piece, and the largest fit in that piece.

mm, block frame. Exact: the cuts clear the first figure, the second lies in the piece. For one cut a bound is proved."""

from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding
from blockfit.facts.systems import units_of
from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import corners_of
from blockfit.kinds import kinds_checked
from blockfit.measure.booleans import arrays_of, hull_solid
from blockfit.search.choice.fit import largest
from blockfit.search.proof.parting import Parted, largest_beyond, parting_of
from blockfit.search.proof.support import hull_of
from blockfit.search.result import Fit, Verdict
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.sawn import sawn_block
from blockfit.solids.stance import Stance
from blockfit.units import Length, length_mm
from blockfit.waste.cuts.cut import Cut
from blockfit.waste.placed import placed_solid
from blockfit.waste.rescued.first_cut import ROUNDING_MM
from blockfit.waste.rescued.freeing import freed_cuts
from blockfit.waste.rescued.more_cuts import more_cuts

__all__ = ["SecondFigure", "largest_from_waste"]

_MAX_CELLS = 3_000_000
_GAP = 1e-4  # how closely the second figure's scale in its piece is answered


@dataclass(frozen=True, slots=True, eq=False)
class SecondFigure:
    """The largest second figure found in the waste: its ``cuts``, the ``piece`` that they free, and its ``fit`` there.

    ``scale`` is 0, with neither piece nor fit, where nothing is free. No single cut that clears the first figure frees
    a figure larger than ``scale_bound`` (proved, in sound stone); ``None`` where that was not asked: for more than one
    cut, or in a block with flaws. The piece is a block too: ``fit.block``, in the first block's frame.

    Cuts, piece and fit are exact; ``cells`` is the work spent. ``print`` it for a line in words.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.safest(cube, bf.Block.box(330, 100, 100), stance=bf.Stance.fixed())
    >>> beside = bf.largest_from_waste(fit, cube, clearance=0, kerf=15, cover=0, stance=bf.Stance.fixed(), gap=1e-3)
    >>> len(beside.cuts), round(beside.scale, 2), beside.scale <= beside.scale_bound
    (1, 1.0, True)
    >>> beside.solid().vertices.max(axis=0).round().tolist()
    [330.0, 100.0, 100.0]
    """

    cuts: tuple[Cut, ...]
    piece: Figure | None
    fit: Fit | None
    scale: float
    scale_bound: float | None
    cells: int

    def solid(self) -> Figure:
        """Return the second figure in its place, in the first block's frame."""
        if self.fit is None:
            raise BadValueError("nothing is free beside the first figure; ask for less clearance, kerf or cover")
        return self.fit.solid()

    def __str__(self) -> str:
        """Return what was found, in plain words."""
        return self.text()

    @kinds_checked
    def text(self, units: str = "metric") -> str:
        """Return what was found, in plain words."""
        shown = units_of(units)
        if self.fit is None or self.piece is None:
            return "no second figure: nothing that is free beside the first holds it"
        proved = "" if self.scale_bound is None else f"; no single cut frees one over {self.scale_bound:.4f} (proved)"
        size = shown.sizes(self.piece.size_mm, Rounding.UP)
        sawn = sum(cut.area_m2 for cut in self.cuts)
        ways = {1: "a through cut", 2: "a rebate", 3: "a corner"}[len(self.cuts)]
        return (
            f"{self.fit.figure.name} at {np.floor(self.scale * 1e4) / 1e4:.4f} of full size{proved}, from {ways} of "
            f"{shown.floor_area(sawn)}, in a piece within {size}"
        )


@kinds_checked
def largest_from_waste(  # noqa: PLR0913
    fit: Fit,
    other: Figure,
    *,
    cuts: int = 1,
    clearance: Length = 20,
    kerf: Length = 10,
    cover: Length = 5,
    stance: Stance | None = None,
    gap: float = 1e-2,
    max_cells: int = _MAX_CELLS,
) -> SecondFigure:
    """Return the largest ``other`` that up to three flat ``cuts`` free beside the figure of a fit.

    The cuts keep ``clearance`` and the ``kerf`` from the first figure where it stands (its reserve is not kept); the
    second keeps ``cover`` on every face of its piece, sound stone on those of the block. ``stance`` is the second's, in
    the first block's frame. For one cut every direction and every rotation is searched, until the bound is within
    ``gap`` of the scale or ``max_cells`` are spent; for two (a rebate) and three (a corner) the best found is returned,
    never less than what fewer give.

    Lengths are mm or text. Cuts and fit are exact. Raises `BadValueError` for a first figure that does not fit, a rough
    block, and options out of range, and for more than one cut `OpenSurfaceError` for a first figure that is no solid.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.safest(cube, bf.Block.box(330, 100, 100), scale=1, stance=bf.Stance.fixed())
    >>> beside = bf.largest_from_waste(fit, cube, clearance=0, kerf=15, cover=0, stance=bf.Stance.fixed(), gap=1e-3)
    >>> round(beside.scale, 3), beside.scale_bound <= beside.scale * 1.001
    (1.0, True)
    """
    _checked(fit, cuts, gap, max_cells)
    stance = stance or Stance.free()
    kerf_mm, cover_mm = length_mm(kerf, "kerf", least=0), length_mm(cover, "cover", least=0)
    slack_mm = fit.figure.margin_mm * fit.scale  # of the first figure's own points
    clear_mm = length_mm(clearance, "clearance", least=0) + kerf_mm + slack_mm + ROUNDING_MM
    hull = hull_of(fit.solid())
    first = hull.points + hull.centre
    found = _one_cut(fit.block, first, other, clear_mm, cover_mm, stance, gap, max_cells)
    cells = 0 if found is None else found.cells
    bound = (0.0 if found is None else found.bound) if cuts == 1 and fit.block.is_plain else None
    best = None
    if found is not None and found.scale > 0:
        normals = found.normal[None]
        best = _fitted(fit.block, normals, (first @ found.normal).max() + clear_mm, other, cover_mm, stance)
    if cuts > 1:
        best = more_cuts(fit, placed_solid(fit, "a rebate"), other, cuts, clear_mm, cover_mm, stance, best)
    if best is None:
        return SecondFigure((), None, None, 0.0, bound, cells)
    normals, offsets, second = best
    piece = Figure(*arrays_of(hull_solid(second.block.corners_mm)), name=second.block.name)
    told = freed_cuts(fit.block, second.block.corners_mm, normals, offsets, kerf_mm)
    bound = None if bound is None else max(bound, second.scale)
    return SecondFigure(told, piece, second, second.scale, bound, cells)


def _checked(fit: Fit, cuts: int, gap: float, max_cells: int) -> None:
    if fit.placement is None or fit.verdict is not Verdict.FITS:
        raise BadValueError(
            f"{fit.figure.name} does not fit in {fit.block.name}; a second figure needs the first to fit"
        )
    if fit.block.surface is not None:
        raise BadValueError("a second figure is planned in a sawn block, not in a rough one: square it first")
    if cuts not in (1, 2, 3):
        raise BadValueError(f"cuts={cuts!r} must be 1, 2 or 3")
    if not (np.isfinite(gap) and gap > 0) or max_cells < 1:
        raise BadValueError(f"gap={gap!r} and max_cells={max_cells!r} must be more than 0")


def _one_cut(  # noqa: PLR0913
    block: Block, first: Array, other: Figure, clear: float, cover: float, stance: Stance, gap: float, max_cells: int
) -> Parted | None:
    """Return the best single cut with what none beats; ``None`` where the cover leaves nothing of the block."""
    question = parting_of(block.normals, block.sound_mm - cover, first, clear + cover, hull_of(other), other.margin_mm)
    return None if question is None else largest_beyond(question, stance, gap=gap, max_cells=max_cells)


def _fitted(
    block: Block, normals: Array, offsets: Array | float, other: Figure, cover: float, stance: Stance
) -> tuple[Array, Array, Fit] | None:
    """Return cuts with the largest fit in what they free; ``None`` if that is nothing."""
    at = np.atleast_1d(np.asarray(offsets, np.float64))
    try:
        corners = corners_of(np.vstack([block.normals, -normals]), np.concatenate([block.offsets_mm, -at]))[0]
        piece = sawn_block(corners, block, margin_mm=0.0, name=f"a piece of {block.name}")
    except BadValueError:
        return None
    fit = largest(other, piece, cover=cover, stance=stance, gap=_GAP)
    return (normals, at, fit) if fit.placement is not None and fit.verdict is Verdict.FITS else None

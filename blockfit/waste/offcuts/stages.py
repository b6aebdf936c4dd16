"""The stone as it stands at any stage: the block less all that is gone. mm, block frame."""

from collections.abc import Iterable

from blockfit.errors import BadValueError
from blockfit.measure.booleans import Solid, arrays_of, solid_from, unite
from blockfit.search.flawed.obstacles import stone_of
from blockfit.search.result import Fit
from blockfit.solids.figure import Figure
from blockfit.solids.stage import Stage
from blockfit.waste.offcuts.plan import OffcutPlan

__all__ = ["stage_of"]


def stage_of(
    fit: Fit,
    *,
    offcuts: OffcutPlan | None = None,
    pieces: int | None = None,
    gone: Iterable[tuple[str, Figure]] = (),
    scan: Figure | None = None,
) -> Stage:
    """Return the stone as it stands: the block less offcuts (or the first so many ``pieces``), and less other solids.

    ``gone`` are named closed surfaces that have been cut away: holes, planes of roughing out as solids, what was lost.
    A ``scan`` of the stone instead of the block is taken as it is. The block's flaws stay known. Raises
    `BadValueError` if nothing is left.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(100, 260, 150), stance=bf.Stance.fixed())
    >>> round(bf.stage_of(fit).stone.volume_m3, 6)
    0.0039
    """
    words: list[str] = []
    if scan is not None:
        solid: Solid = solid_from(scan.vertices, scan.faces)
        words.append("as scanned")
    else:
        solid = stone_of(fit.block)
    if offcuts is not None:
        count = len(offcuts.pieces) if pieces is None else pieces
        if count == len(offcuts.pieces):
            solid = solid ^ solid_from(offcuts.left.vertices, offcuts.left.faces)
        else:
            taken = [solid_from(p.solid.vertices, p.solid.faces) for p in offcuts.pieces[:count]]
            solid = solid - unite(taken) if taken else solid
        words += [f"offcut {k}" for k in range(1, count + 1)]
    for name, body in gone:
        solid = solid - solid_from(body.vertices, body.faces)
        words.append(name)
    if solid.is_empty():
        raise BadValueError("nothing is left of the stone")
    vertices, faces = arrays_of(solid)
    return Stage(Figure(vertices, faces, name="stone as it stands"), tuple(words), fit.block.flaws)

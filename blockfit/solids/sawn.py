"""A piece sawn from a block, as a block of its own: same frame, stone and bed; skin and flaws go with it. mm."""

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import CLOSE
from blockfit.solids.block import Block
from blockfit.solids.flaw import Flaw

__all__ = ["may_reach", "sawn_block"]

_SAME_MM = 1e-3  # within it a face of the piece is a face of the block


def sawn_block(corners: Array, origin: Block, *, margin_mm: float, name: str) -> Block:
    """Return the convex piece with these corners (n, 3) of ``origin`` as a block.

    The faces that it keeps of the block keep their skin; its sawn faces lose ``margin_mm`` of bruised stone. Flaws that
    may reach into it come along. Raises `BadValueError` where skin and margin leave no sound stone.

    >>> import numpy as np
    >>> from blockfit import Block
    >>> from blockfit.solids.sawn import sawn_block
    >>> origin = Block.box(900, 700, 1600, stone="marble", skin=15, bed="z")
    >>> upper = origin.corners_mm[origin.corners_mm[:, 2] > 0]
    >>> piece = sawn_block(np.vstack([upper, upper - [0, 0, 400]]), origin, margin_mm=5, name="offcut 1")
    >>> dict(zip(piece.names, piece.skin_mm.tolist()))["bottom"], float(piece.skin_mm.max()), piece.bed
    (5.0, 15.0, 'z')
    """
    bare = Block.convex(corners, stone=origin.stone, name=name, bed=origin.bed)
    skin = {}
    for face, normal, offset in zip(bare.names, bare.normals, bare.offsets_mm, strict=True):
        along = np.abs(origin.normals @ normal - 1) < CLOSE
        same = np.flatnonzero(along & (np.abs(origin.offsets_mm - offset) < _SAME_MM))
        skin[face] = float(origin.skin_mm[same[0]]) if len(same) else margin_mm
    block = Block.convex(corners, stone=origin.stone, name=name, bed=origin.bed, skin=skin)
    return block.with_flaws(*[flaw for flaw in origin.flaws if may_reach(flaw, block)])


def may_reach(flaw: Flaw, block: Block) -> bool:
    """Whether a flaw with its margin may reach into a block: no face parts them."""
    if flaw.kind == "beyond":
        return bool((block.corners_mm @ flaw.normal).max() > flaw.offset_mm - flaw.margin_mm)
    if flaw.surface is not None:
        nearest = (flaw.surface.vertices @ block.normals.T).min(axis=0)
    else:
        nearest = block.normals @ flaw.centre - flaw.radius_mm
    return bool((nearest - flaw.margin_mm < block.offsets_mm).all())

"""What second figures and shared blocks have in common: cuts set out in the whole block. mm."""

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.measure.sections import polygon_area
from blockfit.solids.block import Block
from blockfit.units import M2_PER_MM2
from blockfit.waste.cuts.cut import Cut, cuts_of
from blockfit.waste.cuts.division import outline
from blockfit.waste.cuts.methods import any_method

__all__ = ["freed_cuts"]


def freed_cuts(block: Block, corners: Array, normals: Array, offsets: Array, kerf: float) -> tuple[Cut, ...]:
    """Return the cuts of a piece with these corners (n, 3), where ``normals @ x >= offsets``, set out in the block."""
    rims = [outline(corners, normal, float(offset)) for normal, offset in zip(normals, offsets, strict=True)]
    across = [np.linalg.svd(normal[None])[2][1:] for normal in normals]
    areas = [polygon_area(rim @ a.T) * M2_PER_MM2 if len(rim) else 0.0 for rim, a in zip(rims, across, strict=True)]
    return cuts_of(block, (), normals, offsets, any_method(kerf) * len(normals), rims, areas)

"""What second figures and shared blocks have in common: cuts set out in the whole block. mm."""

from collections.abc import Sequence

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.measure.sections import polygon_area
from blockfit.solids.block import Block
from blockfit.waste.offcuts.division import outline
from blockfit.waste.offcuts.marks import marks_of
from blockfit.waste.offcuts.methods import depth_needed
from blockfit.waste.offcuts.plan import Cut

__all__ = ["cuts_of"]


def cuts_of(block: Block, corners: Array, normals: Array, offsets: Array, kerf: float) -> tuple[Cut, ...]:
    """Return the cuts of a piece with these corners (n, 3), where ``normals @ x >= offsets``, set out in the block."""
    kerfs = np.full(len(normals), kerf)
    planes: Sequence[tuple[Array, float]] = [(n, float(o)) for n, o in zip(normals, offsets, strict=True)]
    told = []
    for k, (normal, offset) in enumerate(planes):
        rim = outline(corners, normal, offset)
        across = np.linalg.svd(normal[None])[2][1:]
        others = [plane for j, plane in enumerate(planes) if j != k]
        told.append(
            Cut(
                normal=normal,
                offset_mm=offset,
                area_m2=polygon_area(rim @ across.T) * 1e-6 if len(rim) else 0.0,
                method="any",
                kerf_mm=kerf,
                depth_mm=depth_needed(rim, normal, others),
                outline=rim,
                opposed=False,
                marks=marks_of(block, (), normals, offsets, kerfs, k),
            )
        )
    return tuple(told)

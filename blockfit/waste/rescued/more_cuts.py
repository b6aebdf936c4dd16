"""Rebates and corners that free a second figure: the best found, by trying the planner's wedges and moving them. mm."""

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import corners_of, polytope_volume
from blockfit.geometry.tolerances import NOTHING_MM
from blockfit.search.choice.fit import largest
from blockfit.search.result import Fit, Verdict
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.sawn import sawn_block
from blockfit.solids.stance import Stance
from blockfit.waste.cuts.clipping import reach_beyond
from blockfit.waste.offcuts.wedges import Samples, best_wedges, draw_out
from blockfit.waste.sampling import grid_points, surface_points, thinned

__all__ = ["more_cuts"]

Found = tuple[Array, Array, Fit]

_SAMPLES = 9_000
_SEEDS, _MOVES = 6, 36  # wedges fitted to begin with, and how often the best is moved
_GAP = 1e-3  # how closely a figure's scale in a part is answered


def more_cuts(  # noqa: PLR0913
    fit: Fit, figure: Figure, other: Figure, cuts: int, clear: float, cover: float, stance: Stance, best: Found | None
) -> Found | None:
    """Return normals (c, 3), offsets (c,) and fit of the best piece found that 2 to ``cuts`` cuts free, or ``best``.

    ``clear`` is what must lie between a cut and the first ``figure``. Each plane is set by cutting the figure itself.
    """
    block, random = fit.block, np.random.default_rng(0)
    spacing = (block.volume_m3 * 1e9 / _SAMPLES) ** (1 / 3)
    surface = thinned(surface_points(figure, 0.7 * spacing), 0.8 * spacing)
    samples = Samples(grid_points(block, _SAMPLES), surface, np.full(len(surface), clear), _SAMPLES)
    wedges = best_wedges(samples, most_cuts=cuts, least_mm=2 * cover, seed=0, tries=160, faces=block.normals)
    several = [wedge for wedge in wedges if len(wedge.normals) > 1][:_SEEDS]
    trials = [_set(block, figure, wedge.normals, wedge.offsets, clear) for wedge in several]
    for normals, offsets, _ in sorted(filter(None, trials), key=lambda p: -p[2])[:_SEEDS]:
        best = _better(best, _fitted(block, normals, offsets, other, cover, stance, best))
    for attempt in range(_MOVES):
        if best is None or len(best[0]) < 2:
            break
        spread = 0.25 * (1 - attempt / _MOVES) + 0.02
        normals = best[0] + spread * random.normal(size=best[0].shape) * (random.random((len(best[0]), 1)) < 0.7)
        normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        offsets = best[1] + spread * 0.3 * min(block.size_mm) * random.normal(size=len(normals))
        planes = _set(block, figure, normals, offsets, clear)
        if planes is not None:
            best = _better(best, _fitted(block, planes[0], planes[1], other, cover, stance, best))
    return best


def _set(
    block: Block, figure: Figure, normals: Array, offsets: Array, clear: float
) -> tuple[Array, Array, float] | None:
    """Return planes as far in as the figure allows, one after the other, and the volume of what they free."""
    offsets = np.asarray(offsets, np.float64).copy()
    for _ in range(2):
        for k in range(len(normals)):
            others = np.arange(len(normals)) != k
            bounds = offsets[others] - clear + NOTHING_MM
            reach = reach_beyond(figure.vertices, figure.faces, normals[others], bounds, normals[k])
            lowest = float((block.corners_mm @ normals[k]).min())
            offsets[k] = max(lowest, reach + clear)
    try:
        corners, touching = corners_of(
            np.vstack([block.normals, -normals]), np.concatenate([block.offsets_mm, -offsets])
        )
    except BadValueError:
        return None
    used = np.isin(np.arange(len(normals)) + len(block.normals), touching)
    if not used.any() or draw_out(normals[used]) is None:
        return None
    return normals[used], offsets[used], polytope_volume(corners)


def _fitted(
    block: Block, normals: Array, offsets: Array, other: Figure, cover: float, stance: Stance, best: Found | None
) -> Found | None:
    """Return the largest fit in a piece, if it beats the best so far."""
    try:
        corners = corners_of(np.vstack([block.normals, -normals]), np.concatenate([block.offsets_mm, -offsets]))[0]
        piece = sawn_block(corners, block, margin_mm=0.0, name=f"a piece of {block.name}")
    except BadValueError:
        return None
    least = 0.0 if best is None else best[2].scale
    fit = largest(other, piece, cover=cover, stance=stance, gap=_GAP, scales=(least, np.inf), max_cells=60_000)
    return (normals, offsets, fit) if fit.placement is not None and fit.verdict is Verdict.FITS else None


def _better(one: Found | None, other: Found | None) -> Found | None:
    """Return the larger of two."""
    if one is None or other is None:
        return one or other
    return other if other[2].scale > one[2].scale else one

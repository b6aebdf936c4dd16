"""The questions a carver asks of one figure and one block: how large, and how deep in the stone.

mm, block frame. Every placement reported is checked once more with all vertices, apart from the search."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Flags
from blockfit.search.choice.solve import MAX_CELLS, placed, solve
from blockfit.search.flawed.rough import found_deepest, found_largest, plain_of
from blockfit.search.proof.questions import Question, question_about
from blockfit.search.proof.support import hull_of
from blockfit.search.result import (
    TOUCH,
    Fit,
    Verdict,
    best_standing,
    counted_faces,
    cover_of_faces,
    drawn_in,
    verified_cover_mm,
)
from blockfit.solids.block import Block, CoverAsked, cover_by_face
from blockfit.solids.figure import Figure
from blockfit.solids.placement import Placement
from blockfit.solids.stance import Stance
from blockfit.solids.standing import standings
from blockfit.units import Ratio, ratio_value

__all__ = ["largest", "safest"]


def largest(
    figure: Figure,
    block: Block,
    *,
    cover: CoverAsked = 0,
    stance: Stance | None = None,
    gap: float = 1e-5,
    scales: tuple[float, float] = (0.0, np.inf),
    stands_on: str | Sequence[str] = "bottom",
    bed: str = "any",
    max_cells: int = MAX_CELLS,
) -> Fit:
    """Return the largest scale at which ``figure`` fits in ``block``, and a scale that is proved out of reach.

    ``cover`` (mm, text, or by face) is kept on the sound stone of every face. The search ends when the bound is
    within ``gap`` of the scale, or after ``max_cells`` cells of rotations. ``scales`` are the least scale that
    is of any use and the most that is wanted. ``stands_on`` names the faces on which the block may be stood
    (``"any"`` for all), ``bed`` asks for its layers ``level`` or ``upright``.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(300, 200, 250), stance=bf.Stance.upright())
    >>> fit.verdict.name, fit.scale
    ('FITS', 2.0)
    """
    stance = stance or Stance.free()
    _check_gap(gap, max_cells)
    least, most = _check_scales(scales)
    ways = standings(block, stands_on, bed)
    fits = []
    for way in ways:
        plain = plain_of(way.block)
        fit = _largest(figure, plain, cover, stance, gap, least, most, max_cells)
        fits.append(fit if way.block.is_plain else found_largest(figure, way.block, fit, least, most))
    return best_standing(ways, fits)


def _largest(
    figure: Figure,
    block: Block,
    cover: CoverAsked,
    stance: Stance,
    gap: float,
    least: float,
    most: float,
    max_cells: int,
) -> Fit:
    asked = cover_by_face(block, cover)
    hull = hull_of(figure)
    if hull.radius + figure.tolerance_mm <= 0 and not np.isfinite(most):
        raise BadValueError(f"{figure.name} is a single point, which fits at any scale; give scales=(0, most)")
    zeros = np.zeros(len(asked))
    question = question_about(block, asked, zeros, tolerance=figure.tolerance_mm, most=most)
    short, tight = question.room_missing()
    if short >= 0:
        return _no_room(figure, block, asked, stance, max(0.0, short), tight)

    def allow(best: float) -> float:
        enough = best * (1 + gap)
        return enough if best >= least else max(best, min(enough, least * (1 - 1e-12)))

    found = solve(question, hull, stance, allow, max_cells)
    bound = max(found.bound, found.value)
    verdict = Verdict.FITS if found.value >= least else Verdict.CANNOT_FIT if bound < least else Verdict.UNDECIDED
    placement = drawn_in(figure, block, placed(hull, question, found.rotation, found.value, 0.0), asked)
    return Fit(
        figure=figure,
        block=block,
        verdict=verdict,
        placement=placement,
        scale=placement.scale,
        scale_bound=bound,
        cover_mm=verified_cover_mm(figure, block, placement, asked, 0.0),
        cover_bound_mm=np.inf,
        gap=bound / placement.scale - 1,
        gap_mm=0.0,
        cells=found.cells,
        asked_cover_mm=asked,
        stance=stance,
        question="largest",
        trace=found.trace,
    )


def safest(
    figure: Figure,
    block: Block,
    *,
    scale: Ratio = 1.0,
    cover: CoverAsked = 0,
    stance: Stance | None = None,
    gap: float = 1e-5,
    seek: str = "cover",
    stands_on: str | Sequence[str] = "bottom",
    bed: str = "any",
    max_cells: int = MAX_CELLS,
) -> Fit:
    """Return the placement at ``scale`` with the deepest least cover, or with ``seek="setback"`` the most reserve.

    ``cover`` must be kept everywhere; the least over the faces asked for some (over all, if none was) is what is
    made deepest. The search ends when the
    bound is within ``gap`` times the block's least side of the best. The verdict is `CANNOT_FIT`, proved, if no
    placement keeps the cover; ``short_mm`` then tells how much is missing on the faces named. ``stands_on`` and
    ``bed`` are those of `largest`.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> bf.safest(bf.Figure.from_points(corners), bf.Block.box(160, 200, 250), stance=bf.Stance.upright()).cover_mm
    30.0
    """
    stance = stance or Stance.free()
    _check_gap(gap, max_cells)
    if seek not in ("cover", "setback"):
        raise BadValueError(f'seek={seek!r} must be "cover" or "setback"')
    scale = ratio_value(scale, "scale")
    ways = standings(block, stands_on, bed)
    fits = []
    for way in ways:
        fit = _safest(figure, plain_of(way.block), scale, cover, stance, gap, seek, max_cells)
        fits.append(fit if way.block.is_plain else found_deepest(figure, way.block, fit))
    return best_standing(ways, fits)


def _safest(
    figure: Figure,
    block: Block,
    scale: float,
    cover: CoverAsked,
    stance: Stance,
    gap: float,
    seek: str,
    max_cells: int,
) -> Fit:
    asked = cover_by_face(block, cover)
    counted = counted_faces(asked)
    hull = hull_of(figure)
    question, least_asked = _safest_question(figure, block, asked, counted, scale, seek)
    tolerance_mm = gap * min(block.size_mm)

    def allow(best: float) -> float:
        return best + tolerance_mm if best >= 0 else min(best + tolerance_mm, -TOUCH)

    found = solve(question, hull, stance, allow, max_cells)
    hair = TOUCH * max(block.size_mm)
    bound = max(found.bound, found.value)
    verdict = Verdict.FITS if found.value >= -hair else Verdict.CANNOT_FIT if bound < 0 else Verdict.UNDECIDED
    reported, cells, short = found, found.cells, 0.0
    faces: tuple[str, ...] = ()
    if verdict is not Verdict.FITS:
        # What is missing is told as an equal share of every face, whatever was sought.
        question = question_about(block, asked, np.ones(len(asked)), scale=scale, tolerance=figure.tolerance_mm)
        reported = solve(question, hull, stance, lambda best: best + tolerance_mm, max_cells)
        cells, short = cells + reported.cells, max(0.0, -reported.value)
        if reported.value >= -hair:  # what was sought was not found, but it fits
            verdict, short = Verdict.FITS, 0.0
    merit = min(reported.value, 0.0) if seek == "setback" and verdict is Verdict.FITS else reported.value
    placement = placed(hull, question, reported.rotation, scale, merit)
    least_mm = verified_cover_mm(figure, block, placement, asked, min(0.0, reported.value))
    if short:
        faces = _tight_faces(figure, block, placement, asked, short)
    sought = seek == "cover"
    gap_mm = bound - found.value if np.isfinite(found.value) else float(tolerance_mm)
    if verdict is not Verdict.FITS:  # the least of all faces: what sticks out counts
        least_mm = float(cover_of_faces(figure, block, placement).min())
    cover_bound = max(least_mm, least_asked + bound) if sought else np.inf
    fits_back = seek == "setback" and verdict is Verdict.FITS
    return Fit(
        figure=figure,
        block=block,
        verdict=verdict,
        placement=placement,
        scale=scale,
        scale_bound=scale,
        cover_mm=least_mm,
        cover_bound_mm=cover_bound,
        gap=0.0,
        gap_mm=gap_mm,
        cells=cells,
        asked_cover_mm=asked,
        stance=stance,
        question="safest" if sought else "most setback",
        setback_mm=found.value if fits_back else None,
        setback_bound_mm=bound if fits_back else None,
        short_mm=short,
        short_faces=faces,
        trace=found.trace,
    )


def _safest_question(
    figure: Figure, block: Block, asked: Array, counted: Flags, scale: float, seek: str
) -> tuple[Question, float]:
    """Return the question, and what its merit must be added to to be the least cover of the faces that count.

    Where those are asked for different covers, every face stands twice: once for what it must keep, without
    gain, and once, bare, for what is made deepest.
    """
    if seek == "setback":
        loads = np.maximum(block.normals[:, 1], 0.0)
        return question_about(block, asked, loads, scale=scale, tolerance=figure.tolerance_mm), 0.0
    least, most = float(asked[counted].min()), float(asked[counted].max())
    if least == most:
        loads = counted.astype(np.float64)
        return question_about(block, asked, loads, scale=scale, tolerance=figure.tolerance_mm), least
    kept = question_about(block, asked, np.zeros(len(asked)), scale=scale, tolerance=figure.tolerance_mm)
    bare = kept.offsets + asked
    return (
        replace(
            kept,
            normals=np.vstack([kept.normals, kept.normals[counted]]),
            offsets=np.concatenate([kept.offsets, bare[counted]]),
            loads=np.concatenate([kept.loads, np.ones(int(counted.sum()))]),
        ),
        0.0,
    )


def _no_room(figure: Figure, block: Block, asked: Array, stance: Stance, short: float, tight: Flags) -> Fit:
    """Return the answer where the cover alone is more than the block holds."""
    return Fit(
        figure=figure,
        block=block,
        verdict=Verdict.CANNOT_FIT,
        placement=None,
        scale=0.0,
        scale_bound=0.0,
        cover_mm=-np.inf,
        cover_bound_mm=np.inf,
        gap=0.0,
        gap_mm=0.0,
        cells=0,
        asked_cover_mm=asked,
        stance=stance,
        question="largest",
        short_mm=short,
        short_faces=tuple(name for name, is_tight in zip(block.names, tight, strict=True) if is_tight),
    )


def _tight_faces(figure: Figure, block: Block, placement: Placement, asked: Array, short: float) -> tuple[str, ...]:
    """Return the faces on which the missing stone is missing in full."""
    missing = asked - cover_of_faces(figure, block, placement)
    hair = max(1e-6 * short, TOUCH * max(block.size_mm))
    return tuple(name for name, by in zip(block.names, missing, strict=True) if by >= short - hair)


def _check_gap(gap: float, max_cells: int) -> None:
    if not (np.isfinite(gap) and gap >= 0):
        raise BadValueError(f"gap={gap!r} must be 0 or more; 1e-3 proves the answer to a thousandth")
    if max_cells < 1:
        raise BadValueError(f"max_cells={max_cells!r} must be at least 1")


def _check_scales(scales: tuple[float, float]) -> tuple[float, float]:
    try:
        least, most = (float(scale) for scale in scales)
    except (TypeError, ValueError) as error:
        raise BadValueError(f"scales={scales!r} must be two numbers: the least and the most of any use") from error
    if not 0 <= least <= most or most == 0:
        raise BadValueError(f"scales={scales!r} must be the least and the most scale of any use, the least first")
    return least, most

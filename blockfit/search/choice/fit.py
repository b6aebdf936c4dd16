"""The questions a carver asks of one figure and one block: how large, and how deep in the stone.

mm, block frame. Every placement reported is checked once more with all vertices, apart from the search."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Flags
from blockfit.geometry.tolerances import ROUNDING, TOUCHING
from blockfit.kinds import kinds_checked
from blockfit.search.ask import GAP, MAX_CELLS, Ask, Seek
from blockfit.search.choice.certified import certified
from blockfit.search.choice.solve import placed, solve
from blockfit.search.flawed.rough import found_deepest, found_largest, plain_of
from blockfit.search.proof.explore import Found
from blockfit.search.proof.questions import Question, question_about
from blockfit.search.proof.rounding import rounding_margin
from blockfit.search.proof.support import Hull, hull_of
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
from blockfit.search.witness.writing import Way
from blockfit.solids.block import Block, CoverAsked, cover_by_face
from blockfit.solids.figure import Figure
from blockfit.solids.placement import Placement
from blockfit.solids.stage import StageStone, block_of
from blockfit.solids.stance import Stance
from blockfit.solids.standing import Standing, standings
from blockfit.units import Ratio, ratio_value

__all__ = ["answer", "largest", "safest"]

_SEEKS = {"cover": Seek.COVER, "setback": Seek.SETBACK}


@kinds_checked
def largest(  # noqa: PLR0913
    figure: Figure,
    block: Block | StageStone,
    *,
    cover: CoverAsked = 0,
    stance: Stance | None = None,
    gap: float = GAP,
    scales: tuple[float, float] = (0.0, np.inf),
    stands_on: str | Sequence[str] = "bottom",
    layers: str = "any",
    max_cells: int = MAX_CELLS,
    certificate: bool = False,
) -> Fit:
    """Return the largest scale at which ``figure`` fits in ``block``, and a scale that is proved out of reach.

    The keywords are those of `Ask`: ``cover`` (mm, text, or by face) is kept on the sound stone of every face;
    ``scales`` are the least scale that is of any use and the most that is wanted; ``stands_on`` names the faces on
    which the block may be stood (``"any"`` for all), ``layers`` asks for its bed ``level`` or ``upright``. The search
    ends when the bound is within ``gap`` of the scale, or after ``max_cells`` cells of rotations.
    ``certificate=True`` writes the proof down as the fit's ``certificate``, for `verify` or anyone else to check, and
    rounds scale and bound so that they hold in exact arithmetic. ``block`` may be the stone as it stands, a `Stage`:
    then the best is found and checked by exact solids, and the bound is that of the planes around the stone's hull.

    Scale and placement are exact, checked with every vertex, and the bound is proved; in rough or flawed stone it is
    that of the same question without flaws. Raises `BadValueError` for options out of range, a face that the block does
    not have, and a figure of one point where no most scale is given.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(300, 200, 250), stance=bf.Stance.upright())
    >>> fit.verdict.name, fit.scale
    ('FITS', 2.0)
    """
    ask = Ask(
        seek=Seek.SCALE,
        cover=cover,
        stance=stance or Stance.free(),
        gap=gap,
        scales=scales,
        stands_on=_as_given(stands_on),
        layers=layers,
        max_cells=max_cells,
    )
    return answer(figure, block, ask, certificate=certificate)


@kinds_checked
def safest(  # noqa: PLR0913
    figure: Figure,
    block: Block | StageStone,
    *,
    scale: Ratio = 1.0,
    cover: CoverAsked = 0,
    stance: Stance | None = None,
    gap: float = GAP,
    seek: str = "cover",
    stands_on: str | Sequence[str] = "bottom",
    layers: str = "any",
    max_cells: int = MAX_CELLS,
    certificate: bool = False,
) -> Fit:
    """Return the placement at ``scale`` with the deepest least cover, or with ``seek="setback"`` the most reserve.

    ``cover`` must be kept everywhere; the least over the faces asked for some (over all, if none was) is what is
    made deepest. The search ends when the bound is within ``gap`` times the block's least side of the best. The
    verdict is `CANNOT_FIT`, proved, if no placement keeps the cover; ``short_mm`` then says how much is missing on
    the faces named. The other keywords are those of `largest`.

    ``scale`` is 1 at full size. Cover and placement are exact, checked with every vertex; the bound is proved. Raises
    `BadValueError` for another ``seek``, options out of range, and a face that the block does not have.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> bf.safest(bf.Figure.from_points(corners), bf.Block.box(160, 200, 250), stance=bf.Stance.upright()).cover_mm
    30.0
    """
    if seek not in _SEEKS:
        raise BadValueError(f'seek={seek!r} must be "cover" or "setback"')
    ask = Ask(
        seek=_SEEKS[seek],
        scale=ratio_value(scale, "scale"),
        cover=cover,
        stance=stance or Stance.free(),
        gap=gap,
        stands_on=_as_given(stands_on),
        layers=layers,
        max_cells=max_cells,
    )
    return answer(figure, block, ask, certificate=certificate)


@kinds_checked
def answer(figure: Figure, block: Block | StageStone, ask: Ask, *, certificate: bool = False) -> Fit:
    """Return the fit that ``ask`` describes; ``replace(fit.ask, …)`` asks again with a difference.

    Raises `BadValueError` for a cover or a face that the block does not have, and for `Seek.BLOCK`, which has no
    block yet: ask `smallest_block`.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> figure, block = bf.Figure.from_points(corners), bf.Block.box(160, 200, 250)
    >>> bf.answer(figure, block, bf.Ask(seek=bf.Seek.COVER, stance=bf.Stance.fixed())).cover_mm
    30.0
    """
    if ask.seek is Seek.BLOCK:
        raise BadValueError("the smallest block is sought without a block: ask smallest_block")
    stood = block_of(block) if isinstance(block, StageStone) else block
    ways = standings(stood, ask.stands_on, ask.layers)
    fits, sites = [], []
    for way in ways:
        site = _Site(figure, plain_of(way.block), ask)
        fit = _largest(site) if ask.is_scale else _safest(site)
        if not way.block.is_plain:
            found = found_largest if ask.is_scale else found_deepest
            fit = found(figure, way.block, fit)
        fits.append(fit)
        sites.append(site)
    best = best_standing(ways, fits)
    return (
        certified(best, stood, [_way(way, site, best) for way, site in zip(ways, sites, strict=True)])
        if certificate
        else best
    )


def _way(standing: Standing, site: "_Site", best: Fit) -> Way:
    """Return the block as it stands with the question whose bound is to be proved there."""
    faces, shift = np.arange(len(site.cover_mm)), 0.0
    if site.ask.is_scale:
        question = site.question(np.zeros(len(faces)), most=site.ask.scales[1])
    elif best.verdict is Verdict.CANNOT_FIT:
        question = site.question(np.ones(len(faces)), scale=site.ask.scale)
    else:
        question, shift = _safest_question(site)
        if site.ask.seek is Seek.COVER:
            counted, bare = counted_faces(site.cover_mm), len(faces) + faces
            doubled = len(question.normals) > len(faces)
            faces = np.concatenate([faces, bare[counted]]) if doubled else np.where(counted, bare, faces)
    return Way(standing.face, site.block, standing.rotation, site.cover_mm, question, faces, shift)


@dataclass(frozen=True, eq=False)
class _Site:
    """One figure in one convex block as it stands, and what is asked of them."""

    figure: Figure
    block: Block
    ask: Ask

    @cached_property
    def cover_mm(self) -> Array:
        """The (f,) cover asked of each face."""
        return cover_by_face(self.block, self.ask.cover)

    @cached_property
    def hull(self) -> Hull:
        return hull_of(self.figure)

    @property
    def touch_mm(self) -> float:
        """What rounding may take from the cover."""
        return TOUCH * max(self.block.size_mm)

    def question(self, loads: Array, *, scale: float | None = None, most: float = np.inf) -> Question:
        tolerance = self.figure.margin_mm
        return question_about(self.block, self.cover_mm, loads, scale=scale, tolerance=tolerance, most=most)

    def fit(self, verdict: Verdict, placement: Placement | None, **facts: object) -> Fit:
        """Return an answer; what is not among ``facts`` was not sought."""
        nothing = {"scale_bound": facts["scale"], "cover_bound_mm": np.inf, "gap": 0.0, "gap_mm": 0.0}
        asked = {"asked_cover_mm": self.cover_mm, "ask": self.ask}
        known = {"figure": self.figure, "block": self.block, "verdict": verdict, "placement": placement}
        return Fit(**{**nothing, **asked, **known, **facts})  # type: ignore[arg-type]


def _largest(site: _Site) -> Fit:
    ask, (least, most) = site.ask, site.ask.scales
    if site.hull.radius + site.figure.margin_mm <= 0 and not np.isfinite(most):
        raise BadValueError(f"{site.figure.name} is a single point, which fits at any scale; give scales=(0, most)")
    question = site.question(np.zeros(len(site.cover_mm)), most=most)
    short, tight = question.room_missing()
    if short >= 0:
        return _no_room(site, max(0.0, short), tight)

    spare = rounding_margin(question, site.hull, least)

    def allow(best: float) -> float:
        enough = best * (1 + ask.gap)
        return enough if best >= least else max(best, min(enough, least * (1 - ROUNDING) - spare))

    found = solve(question, site.hull, ask.stance, allow, ask.max_cells)
    bound = max(found.bound, found.value)
    bound = max(found.value, min(most, bound + rounding_margin(question, site.hull, bound)))
    verdict = Verdict.FITS if found.value >= least else Verdict.CANNOT_FIT if bound < least else Verdict.UNDECIDED
    bare = placed(site.hull, question, found.rotation, found.value, 0.0)
    placement = drawn_in(site.figure, site.block, bare, site.cover_mm)
    return site.fit(
        verdict,
        placement,
        scale=placement.scale,
        scale_bound=bound,
        cover_mm=verified_cover_mm(site.figure, site.block, placement, site.cover_mm, 0.0),
        gap=bound / placement.scale - 1,
        cells=found.cells,
        trace=found.trace,
    )


def _safest(site: _Site) -> Fit:
    question, least_asked = _safest_question(site)
    tolerance_mm = site.ask.gap * min(site.block.size_mm)

    spare = rounding_margin(question, site.hull, 0.0)

    def allow(best: float) -> float:
        return best + tolerance_mm if best >= 0 else min(best + tolerance_mm, -TOUCH - spare)

    found = solve(question, site.hull, site.ask.stance, allow, site.ask.max_cells)
    bound = max(found.bound, found.value)
    bound += rounding_margin(question, site.hull, bound)
    gap_mm = bound - found.value if np.isfinite(found.value) else float(tolerance_mm)
    short, cells = 0.0, found.cells
    verdict = Verdict.CANNOT_FIT if bound < 0 else Verdict.UNDECIDED
    if found.value >= -site.touch_mm:
        verdict, reported = Verdict.FITS, found
    else:
        question, reported = _least_missing(site, tolerance_mm)
        cells, short = cells + reported.cells, max(0.0, -reported.value)
        if reported.value >= -site.touch_mm:  # what was sought was not found, but it fits
            verdict, short = Verdict.FITS, 0.0
    sought = site.ask.seek is Seek.COVER
    merit = reported.value if sought or verdict is not Verdict.FITS else min(reported.value, 0.0)
    placement = placed(site.hull, question, reported.rotation, site.ask.scale, merit)
    if verdict is Verdict.FITS:
        placement = drawn_in(site.figure, site.block, placement, site.cover_mm, shrinks=False)
    least_mm = verified_cover_mm(site.figure, site.block, placement, site.cover_mm, min(0.0, reported.value))
    if verdict is not Verdict.FITS:  # the least of all faces: what sticks out counts
        least_mm = float(cover_of_faces(site.figure, site.block, placement).min())
    has_setback = not sought and verdict is Verdict.FITS
    return site.fit(
        verdict,
        placement,
        scale=site.ask.scale,
        cover_mm=least_mm,
        cover_bound_mm=max(least_mm, least_asked + bound) if sought else np.inf,
        gap_mm=gap_mm,
        cells=cells,
        setback_mm=found.value if has_setback else None,
        setback_bound_mm=None if sought or verdict is Verdict.CANNOT_FIT else bound,
        short_mm=short,
        short_faces=_tight_faces(site, placement, short) if short else (),
        trace=found.trace,
    )


def _least_missing(site: _Site, tolerance_mm: float) -> tuple[Question, Found]:
    """Return question and answer where what is missing is an equal share of every face, whatever was sought."""
    even = site.question(np.ones(len(site.cover_mm)), scale=site.ask.scale)
    return even, solve(even, site.hull, site.ask.stance, lambda best: best + tolerance_mm, site.ask.max_cells)


def _safest_question(site: _Site) -> tuple[Question, float]:
    """Return the question, and what its merit must be added to to be the least cover of the faces that count.

    Where those are asked for different covers, every face stands twice: once for what it must keep, without
    gain, and once, bare, for what is made deepest.
    """
    asked, scale = site.cover_mm, site.ask.scale
    if site.ask.seek is Seek.SETBACK:
        return site.question(np.maximum(site.block.normals[:, 1], 0.0), scale=scale), 0.0
    counted = counted_faces(asked)
    least, most = float(asked[counted].min()), float(asked[counted].max())
    if least == most:
        return site.question(counted.astype(np.float64), scale=scale), least
    kept = site.question(np.zeros(len(asked)), scale=scale)
    bare = kept.offsets + asked
    both = replace(
        kept,
        normals=np.vstack([kept.normals, kept.normals[counted]]),
        offsets=np.concatenate([kept.offsets, bare[counted]]),
        loads=np.concatenate([kept.loads, np.ones(int(counted.sum()))]),
    )
    return both, 0.0


def _no_room(site: _Site, short: float, tight: Flags) -> Fit:
    """Return the answer where the cover alone is more than the block holds."""
    return site.fit(
        Verdict.CANNOT_FIT,
        None,
        scale=0.0,
        cover_mm=-np.inf,
        cells=0,
        short_mm=short,
        short_faces=tuple(name for name, is_tight in zip(site.block.names, tight, strict=True) if is_tight),
    )


def _tight_faces(site: _Site, placement: Placement, short: float) -> tuple[str, ...]:
    """Return the faces on which the missing stone is missing in full."""
    missing = site.cover_mm - cover_of_faces(site.figure, site.block, placement)
    tolerance = max(TOUCHING * short, site.touch_mm)
    return tuple(name for name, by in zip(site.block.names, missing, strict=True) if by >= short - tolerance)


def _as_given(stands_on: str | Sequence[str]) -> str | tuple[str, ...]:
    return stands_on if isinstance(stands_on, str) else tuple(stands_on)

"""After a loss: where the figure still goes, and the job with the placement that is taken."""

from dataclasses import replace
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.systems import METRIC
from blockfit.geometry.tolerances import CLOSE
from blockfit.jobs.job import Job
from blockfit.jobs.stone import stone_now
from blockfit.kinds import kinds_checked
from blockfit.search.ask import Seek
from blockfit.search.choice.ladder import Recovery, Rung, moved_words
from blockfit.search.choice.recovery import lost_flaws, recover
from blockfit.search.result import Fit, Verdict
from blockfit.solids.block import SURFACE
from blockfit.solids.flaw import Flaw
from blockfit.solids.placement import Placement
from blockfit.solids.stance import Stance
from blockfit.units import Length, length_mm

__all__ = ["ladder", "taken"]

_LETTERS = "abc"


@kinds_checked
def ladder(job: Job, *, margin: Length = 0, **limits: Any) -> Recovery:
    """Return where the figure still goes in the stone as it stands, clear by ``margin`` of all that was lost.

    ``limits`` are the further keywords of `recover`, such as ``turn``, ``lean``, ``aside`` and ``least_scale``.
    """
    return recover(job.fit, job.lost_so_far, stone=stone_now(job), margin=margin, **limits)


@kinds_checked
def taken(job: Job, found: Recovery, letter: str, *, why: str = "", margin: Length = 0, when: str | None = None) -> Job:
    """Return the job with the placement of a rung, ``a``, ``b`` or ``c``.

    The stone as it stands and the fit before stay in the job; what was lost is a flaw from now on, with ``margin``;
    plan, points and planes were for the other placement and are dropped. Raises `BadValueError` for a rung that has
    none.
    """
    if letter not in tuple(_LETTERS):
        raise BadValueError(f"take={letter[:20]!r} must be a, b or c: a rung of the ladder")
    rung = found.rungs[_LETTERS.index(letter)]
    if rung.placement is None:
        raise BadValueError(f"rung {letter} has no placement to take: {rung.name} was not found")
    stone = stone_now(job)
    extra_mm = length_mm(margin, "margin", least=0)
    lost = [replace(flaw, margin_mm=flaw.margin_mm + extra_mm) for flaw in lost_flaws(job.lost_so_far)]
    after = replace(
        job, fit=_fit_at(job.fit, rung, rung.placement, lost), plan=None, points=None, planes=(), stage=stone
    )
    words = f"{letter}) {rung.name}: {moved_words(rung, METRIC)}"
    words += f": {why}" if why else ""
    return after.noted("moved", words, job.fit, when=when)


def _fit_at(fit: Fit, rung: Rung, placement: Placement, lost: list[Flaw]) -> Fit:
    """Return the fit at a rung's placement: at that scale as asked, the best found, nothing more proved of it."""
    named = {SURFACE, *(flaw.name for flaw in (*fit.block.flaws, *lost))}
    limits = fit.ask.stance
    tilt, turn = (
        limit if by <= limit + CLOSE else min(180.0, by + CLOSE)
        for limit, by in ((limits.tilt, placement.tilt_deg), (limits.turn, abs(placement.turn_deg)))
    )
    ask = replace(fit.ask, seek=Seek.COVER, scale=placement.scale, stance=Stance(tilt, turn))
    return replace(
        fit,
        block=fit.block.with_flaws(*lost),
        verdict=Verdict.FITS,
        placement=placement,
        scale=placement.scale,
        scale_bound=placement.scale,
        cover_mm=rung.cover_mm,
        cover_bound_mm=np.inf,
        gap=0.0,
        gap_mm=0.0,
        cells=0,
        ask=replace(ask, stands_on="bottom", layers="any"),
        setback_mm=None,
        setback_bound_mm=None,
        short_mm=0.0,
        short_faces=(),
        trace=None,
        kept_mm=tuple(one for one in rung.kept_mm if one[0] in named),
        proof="best found",
        flaw_cost=None,
    )

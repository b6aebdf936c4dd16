"""A fit with its certificate: which bound is to be proved, and the numbers as the certificate rounds them."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import ROUNDING
from blockfit.geometry.turns import from_quaternions
from blockfit.search.ask import Seek
from blockfit.search.choice.solve import placed
from blockfit.search.proof.support import hull_of
from blockfit.search.result import Fit, Verdict
from blockfit.search.witness.writing import Claim, Way, certificate_of, moved_by
from blockfit.solids.block import Block
from blockfit.solids.placement import Placement

__all__ = ["certified"]

_LAST_DIGITS = 4e-13  # of the scale or the block: the least above what was reached that is tried to be proved


def certified(fit: Fit, block: Block, ways: Sequence[Way]) -> Fit:
    """Return a fit with its certificate, about the block as given, and with the numbers that the certificate proves.

    Where no cells that could be stored prove the gap asked for, a wider one is proved; the certificate is None where
    not even that can be, and of a setback whose verdict is open.
    """
    claim = _claim(fit, ways)
    certificate = None if claim is None else certificate_of(fit.figure, block, fit.stance, ways, claim)
    if certificate is None or claim is None:
        return fit
    if certificate.question == "largest":
        proved = replace(fit, scale_bound=certificate.bound)
    elif certificate.question == "cover":
        proved = replace(fit, cover_bound_mm=certificate.bound)
    else:
        proved = fit if certificate.question == "short" else replace(fit, setback_bound_mm=certificate.bound)
    proved = replace(proved, certificate=certificate)
    return proved if np.isnan(certificate.value) else _as_placed(proved, moved_by(block, ways[claim.placed]))


def _as_placed(fit: Fit, move_mm: Array) -> Fit:
    """Return the fit with the placement of its certificate and what that reaches."""
    proof = fit.certificate
    assert proof is not None
    scale = proof.value if proof.question == "largest" else fit.scale
    placement = Placement(scale, from_quaternions(proof.turn), proof.shift_mm + move_mm)
    gap_mm = proof.bound - proof.value
    if proof.question == "largest":
        return replace(fit, placement=placement, scale=scale, gap=fit.scale_bound / scale - 1)
    if proof.question == "cover":
        return replace(fit, placement=placement, cover_mm=proof.value, gap_mm=gap_mm)
    if proof.question == "setback":  # the placement asked for is another: as far forward as it can stand
        return replace(fit, setback_mm=proof.value, gap_mm=gap_mm)
    return replace(fit, placement=placement)


def _claim(fit: Fit, ways: Sequence[Way]) -> Claim | None:
    question, value, bound = _sought(fit)
    if not np.isfinite(bound):
        return None
    is_scale = question == "largest"
    least_mm = min(min(way.block.size_mm) for way in ways)
    size = bound if is_scale else max(max(way.block.size_mm) for way in ways)
    gap = fit.ask.gap * (max(value, 0.0) if is_scale else least_mm)
    if question == "short":  # what is missing was found, and no more: the least above it is tried
        bound += _LAST_DIGITS * size
    # Knowing the answer, the certificate may prove a gap that the search could not; but not more than was asked.
    eased = [max(value + gap * times, value + _LAST_DIGITS * size) for times in (1, 10, 100, 1000)]
    bounds = [b for b in (bound, *eased) if fit.stance.is_upright or b >= eased[0]]
    most = fit.ask.scales[1] if is_scale else np.inf
    if is_scale and fit.verdict is Verdict.CANNOT_FIT:
        bounds = [min(b, np.nextafter(fit.ask.scales[0], 0)) for b in bounds]
        bounds = bounds if fit.placement is not None else [0.0, ROUNDING]
    elif question == "short":
        bounds = [b for b in (*bounds, value / 2) if b < 0]
    elif is_scale and bound >= most:
        bounds = [most]
    bounds = sorted(set(bounds))
    stood = next(
        k for k, way in enumerate(ways) if way.face == fit.stands_on and np.array_equal(way.rotation, fit.block_turn)
    )
    plain = fit.proof == "proved" and (fit.verdict is not Verdict.UNDECIDED or is_scale)
    placement = fit.placement if plain else None
    if question == "setback" and placement is not None:  # where the fit stands it may be held up by what lies beside it
        merit = value - _LAST_DIGITS * size
        placement = placed(hull_of(fit.figure), ways[stood].question, placement.rotation, fit.scale, merit)
    scale = 0.0 if is_scale else fit.scale
    return Claim(question, scale, float(most), [float(b) for b in bounds], placement, stood, float(value))


def _sought(fit: Fit) -> tuple[str, float, float]:
    """Return the certificate's question, what was reached, and the bound; infinite where none was proved."""
    if fit.ask.is_scale:
        return "largest", fit.scale, fit.scale_bound
    if fit.verdict is Verdict.CANNOT_FIT:
        return "short", -fit.short_mm, -fit.short_mm
    if fit.ask.seek is Seek.COVER:
        return "cover", fit.cover_mm, fit.cover_bound_mm
    return "setback", fit.setback_mm or 0.0, np.inf if fit.setback_bound_mm is None else fit.setback_bound_mm

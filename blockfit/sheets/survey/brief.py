"""The ten lines a survey begins with, in the order in which things are decided."""

from collections.abc import Sequence

from blockfit.search.result import Fit, Verdict
from blockfit.sheets.survey.cutting import pieces_words
from blockfit.sheets.survey.doubts import unit_doubts
from blockfit.sheets.survey.fitting import gains_words, height_words, reserve_sure, scale_words, verdict_words
from blockfit.sheets.words import Layout, standing_words
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.undercut import Undercuts
from blockfit.waste.reserve.cover import Cover
from blockfit.waste.reserve.setback import Setback
from blockfit.waste.standing.weight import Weights

__all__ = ["brief_lines", "first_words"]


def brief_lines(  # noqa: PLR0913
    fit: Fit,
    cover: Cover | None,
    reserve: Setback | None,
    cut: Undercuts | None,
    plan: OffcutPlan | None,
    weight: Weights | None,
    gains: Sequence[tuple[str, Fit]],
    would_fit: Fit | None,
    alarms: Sequence[str],
    layout: Layout,
    *,
    in_stage: bool = False,
) -> list[str]:
    """Return the verdict, the block, the reserve, the pieces, what can hurt, and what to do first."""
    units = layout.units
    lines = layout.item("Verdict", verdict_words(fit, units))
    if fit.placement is not None:
        size = f"{scale_words(fit)}: {height_words(fit, units)} high"
        lines += layout.item("Size", size if fit.verdict is Verdict.FITS else f"{size}, as far as it goes")
        for words in unit_doubts(fit):
            lines += layout.item("Is it so?", words)
        lines += layout.item("Stands", standing_words(fit.placement) + _best_gain(gains, fit, layout))
    lines += layout.item("Block", _block_words(fit, layout))
    if would_fit is not None:
        lines += layout.item("Would fit", f"at {scale_words(would_fit)}")
    if cover is not None and reserve is not None:
        limit = reserve.limit_face if reserve.limit_face.startswith("the ") else f"the {reserve.limit_face}"
        sure = f" ({reserve_sure(fit, reserve, units, in_stage=True)})" if in_stage else ""
        lines += layout.item("Reserve", f"{units.length(reserve.back_mm)} straight back, then {limit} ends it{sure}")
        at = f"{units.length(cover.least_mm)} towards the {cover.least_face}, {units.length(float(cover.at[2]))} up"
        lines += layout.item("Least cover", at)
    if plan is not None and weight is not None:
        chips = units.volume(weight.chips_m3) if weight.chips_kg is None else units.mass(weight.chips_kg)
        lines += layout.item("Comes off", f"{pieces_words(plan, weight, units)}; chips {chips}")
    if fit.verdict is Verdict.FITS and cut is not None and not alarms:
        found = "nothing was found that falls, breaks of its own weight or is too much"
        thinner = "; as carved the figure is thinner than its outlines: ask again" if fit.figure.is_envelope else ""
        lines += layout.item("Stands, carries", found + thinner)
    return lines + layout.item("Do first", first_words(fit, cut, plan, would_fit, alarms, in_stage=in_stage))


def first_words(
    fit: Fit,
    cut: Undercuts | None,
    plan: OffcutPlan | None,
    would_fit: Fit | None,
    alarms: Sequence[str],
    *,
    in_stage: bool = False,
) -> str:
    """Return what to do first."""
    if unit_doubts(fit):
        return (
            "check the unit of the figure's file, its ratio and the block's size: nothing else here holds before that"
        )
    if fit.verdict is Verdict.CANNOT_FIT:
        other = "take a larger block" if would_fit is None else "take a larger block, or the scale that would fit"
        if fit.figure.is_envelope:
            return f"do not buy this block on outlines alone: {other}, or ask again with a maquette"
        return f"do not buy this block for this size: {other}"
    if fit.verdict is Verdict.UNDECIDED:
        return "allow the search more, ask for a smaller scale, or take another block; buy nothing on this answer"
    if alarms:
        return "have what is named under READ FIRST looked at by a qualified person, before buying or cutting"
    if in_stage:
        return "see how much stone is left, and where (stone_left, blockfit left), before the next cut"
    if plan is not None and plan.pieces:
        piece = plan.pieces[0]
        return (
            f"sound the block, set out and saw offcut 1 (the {piece.kind}, below), slung before its last cut is through"
        )
    if cut is not None:
        return f"sound the block, then rough out from the {cut.front} (blockfit mark draws the planes)"
    return "sound the block and mark its flaws before anything else"


def _best_gain(gains: Sequence[tuple[str, Fit]], fit: Fit, layout: Layout) -> str:
    """Return the most that another stance would gain, where that is worth saying."""
    if not fit.ask.is_scale or not gains or fit.scale <= 0:
        return ""
    best = max(gains, key=lambda gain: gain[1].scale)
    if best[1].scale / fit.scale - 1 < 0.01:
        return ""
    return f"; {gains_words([best], fit, layout.units)}"


def _block_words(fit: Fit, layout: Layout) -> str:
    units, block = layout.units, fit.block
    stone = block.stone
    weight = units.volume(block.volume_m3)
    if stone is not None:
        low, high = stone.low_kg_m3 / stone.density_kg_m3, stone.high_kg_m3 / stone.density_kg_m3
        weight = f"{units.mass(block.mass_kg, low, high)} of {stone.name}"
    price = "" if block.price is None else f"; price {block.price:,.0f}"
    return f"{units.sizes(block.size_mm)}, {weight}{price}"

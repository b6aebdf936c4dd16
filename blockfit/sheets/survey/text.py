"""The sections of a survey as lines of plain text, one function for each; `overview` puts them in order.

Every number says what it is: proved, exact, resolved to a pitch, or an estimate."""

import math
from collections.abc import Sequence

from blockfit.geometry.arrays import Array
from blockfit.search.result import Fit, Verdict
from blockfit.sheets.setting_out import piece_words, way_out_words
from blockfit.sheets.words import (
    asked,
    entry,
    item,
    kg,
    length,
    litres,
    missing,
    point,
    rounded_down,
    rounded_up,
    standing_words,
    wrapped,
)
from blockfit.solids.figure import Figure
from blockfit.units import KG_PER_LB, feet_and_inches
from blockfit.waste.offcuts.plan import Offcut, OffcutPlan
from blockfit.waste.reach.undercut import Undercuts
from blockfit.waste.reserve.cover import Cover
from blockfit.waste.reserve.setback import Setback
from blockfit.waste.standing.weight import Weights

__all__ = [
    "CAUTIONS",
    "cautions_section",
    "cover_section",
    "fit_section",
    "flaws_section",
    "gains_section",
    "offcuts_section",
    "scan_section",
    "undercuts_section",
    "weights_section",
]

_MOST_REGIONS = 8
_LEAST_REGION = 0.01  # of the listed regions' area; smaller ones are counted, not listed

CAUTIONS = (
    "Lifting, tipping, propping: everything here is an estimate for planning. Have lifting gear, supports and the "
    "order of cuts checked by a qualified person, and follow local codes. A block can tip while a piece leaves it.",
    "Dust: cutting stone frees crystalline silica. The limit in US general industry is 50 µg/m³ over 8 hours "
    "(29 CFR 1910.1053); wet cutting, extraction and a respirator are usual. Follow the rules where you work.",
)


def fit_section(fit: Fit) -> list[str]:
    """Return the verdict, the scale with its bound, the finished height and how the figure stands."""
    block = fit.block
    width, depth, height = block.size_mm
    lines = [f"{fit.figure.name} in {block.name}", ""]
    what = f"{asked(width)} wide, {asked(depth)} deep, {asked(height)} high{_skin(fit)}"
    lines += item("Block", f"{what}{'' if block.stone is None else f', {block.stone.name}'}; {_cover_asked(fit)}")
    if fit.stands_on != "bottom":
        lines += item("Block stands on", f"its {fit.stands_on}; sizes and sides here are as it then stands")
    lines += item("Stance asked", fit.stance.words())
    if fit.placement is None:
        lines += item(
            "Verdict",
            f"CANNOT FIT (proved). The cover alone is more than the block holds: {missing(fit.short_mm)} too much "
            f"on each of {', '.join(fit.short_faces)}. Ask for less cover or take a larger block.",
        )
        return lines
    lines += item("Verdict", _verdict_words(fit))
    if fit.ask.is_scale:
        lines += item(
            "Largest scale",
            f"{rounded_down(fit.scale, 4):.4f} of full size{'' if fit.proof == 'proved' else ', the best found'}; no "
            f"placement of this stance exceeds {rounded_up(fit.scale_bound, 4):.4f} (proved)",
        )
    else:
        lines += item("Scale", f"{fit.scale:g} of full size, as asked")
    tall = float(fit.solid().vertices[:, 2].max() - fit.solid().vertices[:, 2].min())
    lines += item("Finished height", f"{length(tall)} ({feet_and_inches(tall)}), as it stands in the block")
    lines += item("How it stands", standing_words(fit.placement))
    return lines


def gains_section(gains: Sequence[tuple[str, Fit]], fit: Fit) -> list[str]:
    """Return one line on what leaning or any turn would gain."""
    if not gains or fit.placement is None:
        return []
    parts = []
    for name, other in gains:
        if other.placement is None:
            continue
        if fit.ask.is_scale:
            more = other.scale / fit.scale - 1
            parts.append(
                f"{name} gains {_percent(more)}" + (f" ({rounded_down(other.scale, 4):.4f})" if more > 5e-4 else "")
            )
        elif fit.verdict is not Verdict.FITS:
            parts.append(f"with {name} it {_fits_words(other)}")
        else:
            more = other.cover_mm - fit.cover_mm
            parts.append(f"{name} gains {length(more)} of cover" if more >= 1 else f"{name} gains nothing")
    return item("Other stances", "; ".join(parts) + " (best found)")


def cover_section(cover: Cover, reserve: Setback, *, plain: bool = True) -> list[str]:
    """Return the stone on every face, where it is thinnest, and the reserve behind; ``plain``: among no flaws."""
    sure = "exact" if plain else "never more than there is"
    lines = item(
        "Least cover",
        f"{length(cover.least_mm)} towards the {cover.least_face}, at {point(cover.at)} (exact)",
    )
    faces = "On each face" if cover.least_face != "block's surface" else "To its planes"
    lines += item(faces, ", ".join(f"{name} {length(by)}" for name, by in cover.by_face.items()))
    if cover.tolerance_mm:
        lines += item("", f"{cover.tolerance_mm:.1f} mm is taken off for the tolerance of the points")
    lines += item(
        "Reserve",
        f"the whole figure can be set back {length(reserve.back_mm)} with its cover kept; {_the(reserve.limit_face)} "
        f"ends it; or moved {length(reserve.left_mm)} to the left, {length(reserve.right_mm)} to the right, "
        f"{length(reserve.up_mm)} up ({sure}, in the block as bought)",
    )
    return lines


def flaws_section(fit: Fit) -> list[str]:
    """Return the distance kept from every flaw, and what they cost."""
    lines: list[str] = []
    for name, by in fit.kept_mm:
        lines += item("Kept clear", f"{name}: {length(by)} (exact)")
    if fit.flaw_cost is not None:
        cost = f"{fit.flaw_cost:.4f} of scale" if fit.ask.is_scale else f"{length(fit.flaw_cost)} of cover"
        lines += item("They cost", f"{cost}, against the same block without them (best found, not proved best)")
    return lines


def _the(face: str) -> str:
    return face if face.startswith("the ") else f"the {face}"


def undercuts_section(cut: Undercuts) -> list[str]:
    """Return the four volumes, the reach of each face and the regions left for later."""
    lines = item(
        "Waste",
        f"before the figure {litres(cut.front_m3)}, beside it {litres(cut.beside_m3)}, between its surfaces "
        f"{litres(cut.trapped_m3)}, behind it {litres(cut.rear_m3)} (columns {cut.pitch_mm:.3g} mm apart; "
        f"they miss {litres(abs(cut.residual_m3))})",
    )
    reach = ", ".join(f"{name} {share:.0%}" for name, share in cut.reach_by_face.items())
    lines += item("Reached from", f"{reach} of the surface, by a straight tool")
    if cut.skims_mm2 > 0:
        area = f"{cut.skims_mm2 / 100:,.0f} cm²"
        how = f"is met from the {cut.front} edge on or at less than {cut.least_angle_deg:g}°"
        lines += item("Skids", f"{area} {how}: a tool only skids there, so come from another side")
    total = sum(region.area_mm2 for region in cut.regions)
    listed = [r for r in cut.regions if r.area_mm2 >= _LEAST_REGION * total][:_MOST_REGIONS]
    lines += item("Undercut", f"{len(cut.regions)} regions are not reached from the {cut.front}:")
    for region in listed:
        first = [str(k) if k <= len(listed) else "a smaller one" for k in region.after]
        after = f"; after {', '.join(dict.fromkeys(first))}" if first else ""
        lines += entry(
            f"{region.number}. {region.place}: {region.approach}, {region.area_mm2 / 100:,.0f} cm², "
            f"{_stone_words(region.stone_m3, region.stone_kg)}, up to {length(region.depth_mm)} behind the front "
            f"surface{_opening_words(region.opening_mm)}{after}"
        )
    rest = cut.regions[len(listed) :]
    small = sum(region.area_mm2 for region in rest) + cut.scattered_mm2
    if small > 0:
        lines += entry(f"and {len(rest)} smaller ones with scattered spots, {small / 100:,.0f} cm² together")
    return lines


def offcuts_section(plan: OffcutPlan, weight: Weights) -> list[str]:
    """Return the pieces to take off whole, in order, and what stopping sooner would save."""
    if not plan.pieces:
        return item("Offcuts", f"none worth taking off whole{_limit_words(plan)}") + _wished(plan)
    saved = kg(weight.offcuts_kg, weight.low, weight.high) if weight.offcuts_kg is not None else litres(plan.volume_m3)
    lines = item(
        "Offcuts",
        f"{len(plan.pieces)} pieces save {plan.recovered:.0%} of the waste, {saved}, for {plan.sawn_m2:.2f} m² of "
        f"cuts up to {plan.kerf_mm:g} mm wide; {asked(plan.clearance_mm)} clear of the figure beyond cut, drift and "
        "overrun (exact solids; the choice is good, not proved best):",
    )
    for number, piece in enumerate(plan.pieces, 1):
        lines += _piece_lines(number, piece, plan, weight)
        lines += [line for words in piece_words(piece, plan.block) for line in entry("   " + words)]
    lines += _wished(plan)
    if plan.reserve_mm > 0:
        later = sum(piece.stage != "before carving" for piece in plan.pieces)
        waits = f"{later} of them ({litres(plan.later_m3)}) wait for the front; reserve 0 would let those leave first"
        lines += item(
            "Reserve kept",
            f"what leaves before carving leaves a setback of {length(plan.reserve_mm)}; "
            f"{waits if later else 'no piece needs more than that'}",
        )
    if plan.too_light_m3 > 5e-4:
        lines += entry(f"parts too light to keep go with the chips: {litres(plan.too_light_m3)}")
    if len(plan.pieces) > 1:
        lines += item("Fewer or more", _trade_words(plan))
    lines += item(
        "Slinging",
        "the hook must hang plumb above a piece's centre of gravity, in slings that cannot slip, before its last "
        "cut is finished; where a web is named, opposed cuts may leave it until the piece is slung",
    )
    return lines


def _piece_lines(number: int, piece: Offcut, plan: OffcutPlan, weight: Weights) -> list[str]:
    size = " x ".join(f"{side:,.0f}" for side in piece.size_mm)
    box = " x ".join(f"{rounded_down(side, 0):,.0f}" for side in piece.box_mm)
    ends = len(piece.cuts) > 1 or piece.kind.endswith("divided")
    cuts = (", then " if piece.kind.endswith("divided") else " and ").join(
        f"{cut.area_m2:.2f} m² {_cut_words(cut.normal)}{_by(cut.method)}"
        + (f" {rounded_up(cut.depth_mm, 0):,.0f} mm deep" if ends else "")
        for cut in piece.cuts
        if round(cut.area_m2, 2) > 0
    )
    weighs = kg(piece.weight_kg, weight.low, weight.high) if piece.weight_kg is not None else litres(piece.volume_m3)
    stands = piece.left_stands
    left = kg(piece.left_kg) if piece.left_kg is not None else litres(piece.left_m3)
    rest = f"leaves {left} standing"
    if not stands.stands:
        rest = f"leaves {left}, WHICH DOES NOT STAND BY ITSELF: it tips over the {stands.weakest}"
    elif stands.weakest_deg < 15:
        rest += f", which tips over the {stands.weakest} at {rounded_down(stands.weakest_deg, 0):.0f}°"
    web = "" if piece.web is None else f"; web {rounded_up(piece.web.area_m2 * 1e4, 0):,.0f} cm²"
    late = f"; {piece.stage}" if plan.reserve_mm else ""
    x, y, z = (round(c) + 0 for c in piece.centre_mm.tolist())
    return entry(
        f"{number}. {piece.kind}, within {size} mm (holds a box of {box}), {weighs}{late}; cut {cuts}{web}; centre of "
        f"gravity {x:,}, {y:,}, {z:,}; drawn out {way_out_words(piece.draw_out)}; {rest}, "
        f"setback {length(piece.setback_mm)}"
    )


def _wished(plan: OffcutPlan) -> list[str]:
    """Return what was asked of the pieces, kept or not, and what other kinds of cuts would save."""
    lines = [line for wish in plan.wishes for line in item("Wished" if wish.kept else "NOT KEPT", wish.text)]
    kinds = [f"{k.cuts} cuts {k.recovered:.0%} in {k.pieces} pieces ({k.sawn_m2:.2f} m² sawn)" for k in plan.by_cuts]
    return lines + (item("By kind of cut", ", ".join(kinds)) if kinds else [])


def _trade_words(plan: OffcutPlan) -> str:
    """Return what stopping after some of the pieces saves: up to six of the steps."""
    steps = plan.trade_off
    shown = sorted({round(k * (len(steps) - 1) / 5) for k in range(6)}) if len(steps) > 6 else range(len(steps))
    words = [f"{steps[k].pieces} for {steps[k].recovered:.0%} ({steps[k].sawn_m2:.2f} m² sawn)" for k in shown]
    return f"pieces, the waste saved and the sawing: {', '.join(words)}"


def _by(method: str) -> str:
    return "" if method == "any" else f" by {method}"


def weights_section(weight: Weights, *, pounds: bool = False) -> list[str]:
    """Return the weights and how the block grows lighter; ``pounds`` adds them beside the kilograms."""

    def weighed(value: float | None, ranged: bool = False) -> str:
        shown = kg(value, weight.low, weight.high) if ranged else kg(value)
        return f"{shown}, {rounded_up((value or 0.0) / KG_PER_LB, 0):,.0f} lb" if pounds else shown

    if weight.block_kg is None:
        text = f"block {litres(weight.block_m3)}, figure {litres(weight.figure_m3)}, waste {litres(weight.removed_m3)}"
        lines = item("Volumes", f"{text}; name the stone for weights (--stone)")
    else:
        lines = item("Block", weighed(weight.block_kg, ranged=True))
        lines += item("Figure", weighed(weight.figure_kg, ranged=True))
        lines += item("Waste", weighed(weight.removed_kg, ranged=True))
        lines += item("of it offcuts", weighed(weight.offcuts_kg, ranged=True))
        lines += item("of it chips", weighed(weight.chips_kg, ranged=True))
        if weight.wet > 1:
            soaked = weighed(weight.block_kg * weight.high * weight.wet)
            lines += item("Soaked", f"the block up to {soaked}, at its heaviest and with all the water it drinks")
    for stage in weight.stages:
        gone, left = (
            (weighed(stage.removed_kg), weighed(stage.left_kg))
            if stage.left_kg is not None
            else (litres(stage.removed_m3), litres(stage.left_m3))
        )
        lines += entry(f"{stage.name}: {gone} out, {left} left")
    lines += entry("(every weight is rounded up on its own; stages count what the offcuts have left)")
    if weight.allowances:
        over = ", ".join(
            f"{a.tool} {asked(a.thickness_mm)} ({kg(a.over_kg) if a.over_kg is not None else litres(a.over_m3)})"
            for a in weight.allowances
        )
        lines += item("Left over it", f"by each tool, bruised stone included: {over} (estimates: area times thickness)")
    return lines


def scan_section(fit: Fit) -> list[str]:
    """Return what was mended on reading, and what the figure is good for."""
    figure = fit.figure
    facts = f"{len(figure.faces):,} faces, {figure.area_m2:.2f} m² at full size"
    facts += f", {litres(figure.volume_m3)}" if figure.volume_m3 is not None else ""
    lines = item(
        "Figure read", f"{figure.name}: {facts}" + (f"; a maquette at 1:{figure.ratio:g}" if figure.ratio != 1 else "")
    )
    if figure.landmarks:
        lines += item("Landmarks", f"{len(figure.landmarks)} read{_far_landmarks(figure)}")
    if not figure.repairs:
        return lines + item("Mended", "nothing needed mending")
    for k, repair in enumerate(figure.repairs):
        lines += item("Mended" if k == 0 else "", repair.text)
    return lines


def _far_landmarks(figure: Figure) -> str:
    """Return a caution about landmarks that lie off the figure by a tenth of its size: often a wrong unit."""
    low, high = figure.vertices.min(axis=0), figure.vertices.max(axis=0)
    slack = 0.1 * float((high - low).max())
    far = [name for name, at in figure.landmarks.items() if ((at < low - slack) | (at > high + slack)).any()]
    return f"; {', '.join(far)} lie off the figure: is their unit the file's?" if far else ""


def cautions_section(extra: Sequence[str] = ()) -> list[str]:
    """Return the cautions, each once."""
    lines: list[str] = []
    for text in (*CAUTIONS, *extra):
        lines += ["  " + line for line in wrapped("- " + text, "  ")]
    return lines


def _verdict_words(fit: Fit) -> str:
    if fit.verdict is Verdict.FITS:
        return "FITS"
    short = f"{missing(fit.short_mm)} is missing on each of {', '.join(fit.short_faces)}"
    if fit.verdict is Verdict.CANNOT_FIT:
        return f"CANNOT FIT (proved): at best {short}" if fit.short_mm else "CANNOT FIT (proved)"
    if fit.proof != "proved":
        return "UNDECIDED: no place was found for it; that there is none is not proved"
    return "UNDECIDED: the budget of cells is spent; allow more with max_cells"


def _fits_words(fit: Fit) -> str:
    if fit.verdict is Verdict.FITS:
        return f"FITS, with {length(fit.cover_mm)} of cover"
    return "does not fit either" if fit.verdict is Verdict.CANNOT_FIT else "is not decided"


def _opening_words(opening_mm: float | None) -> str:
    """Return how thick a tool still gets in, where that could matter."""
    return f", open to tools of {opening_mm:.0f} mm" if opening_mm is not None and opening_mm < 100 else ""


def _stone_words(cubic_metres: float, kilograms: float | None) -> str:
    if cubic_metres < 5e-6:
        return "hardly any stone"
    return f"{litres(cubic_metres)} of stone" + ("" if kilograms is None else f" ({kg(kilograms)})")


def _cover_asked(fit: Fit) -> str:
    return "cover asked " + _by_face(dict(zip(fit.block.names, fit.asked_cover_mm.tolist(), strict=True)))


def _skin(fit: Fit) -> str:
    if not fit.block.skin_mm.any():
        return ""
    skin = _by_face(dict(zip(fit.block.names, fit.block.skin_mm.tolist(), strict=True)))
    return f", less a skin of {skin} (cover is sound stone inside it)"


def _by_face(lengths: dict[str, float]) -> str:
    common = max(set(lengths.values()), key=list(lengths.values()).count)
    other = [f"{name} {asked(by)}" for name, by in lengths.items() if by != common]
    return ", ".join([asked(common), *other])


def _percent(share: float) -> str:
    return "nothing" if share < 5e-4 else f"{share:.1%}"


def _limit_words(plan: OffcutPlan) -> str:
    return "" if plan.lift_limit_kg is None else f", none over {plan.lift_limit_kg:g} kg at the stone's heaviest"


def _cut_words(normal: Array) -> str:
    """Return how a cut lies: upright, level or slanting, and on which side of the block."""
    sides = ((0, "left", "right"), (1, "front", "back"), (2, "bottom", "top"))
    words = [
        (abs(float(normal[k])), low if normal[k] < 0 else high)
        for k, low, high in sides
        if abs(float(normal[k])) > 0.25
    ]
    side = " ".join(word for _, word in sorted(words, reverse=True)[:2])
    lean = math.degrees(math.asin(min(1.0, abs(float(normal[2])))))
    lie = "level" if lean > 87.5 else "upright" if lean < 2.5 else f"{lean:.0f}° off plumb"
    lie = f"{90 - lean:.0f}° off level" if 45 < lean <= 87.5 else lie
    return f"{lie} at the {side}"

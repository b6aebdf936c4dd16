"""The survey's sections on what is reached, what comes off whole, and what is carried out."""

import math

from blockfit.facts.measures import Rounding
from blockfit.facts.systems import UnitSystem
from blockfit.geometry.arrays import Array
from blockfit.sheets.setting_out import piece_words, way_out_words
from blockfit.sheets.words import Layout, rounded_down
from blockfit.waste.offcuts.piece import Offcut
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.regions import Region
from blockfit.waste.reach.undercut import Undercuts
from blockfit.waste.rescued.worth import worth
from blockfit.waste.standing.weight import Weights

__all__ = [
    "line_lines",
    "offcuts_section",
    "piece_lines",
    "pieces_together",
    "pieces_words",
    "region_words",
    "undercuts_section",
    "weights_section",
]

_MOST_REGIONS = 8
_LEAST_REGION = 0.01  # of the listed regions' area; smaller ones are counted, not listed
_OPEN_MM = 100.0  # a tool this thick goes anywhere: wider openings are not worth saying
_SHOWN_M3 = 5e-6  # less is shown as 0.00 l
_COUNTED_M3 = 5e-4  # half a litre of chips is worth a line


def undercuts_section(cut: Undercuts, layout: Layout) -> list[str]:
    """Return the regions left for later, the reach of each face and the four volumes."""
    units = layout.units
    total = sum(region.area_mm2 for region in cut.regions)
    enough = 0.0 if layout.shows_all else _LEAST_REGION * total
    listed = [r for r in cut.regions if r.area_mm2 >= enough][: None if layout.shows_all else _MOST_REGIONS]
    advice = f"Everything that shows from the {cut.front} is carved first; these places wait, in this order."
    if not cut.regions:
        advice = f"All of the figure is reached from the {cut.front} with a straight tool; nothing has to wait."
    lines = layout.paragraph(advice)
    if cut.regions:
        lines += layout.item("Undercut", f"{len(cut.regions)} regions are not reached from the {cut.front}:")
    numbers = {region.number for region in listed}
    for region in listed:
        lines += layout.entry(region_words(region, numbers, units))
    small = sum(r.area_mm2 for r in cut.regions if r.number not in numbers) + cut.scattered_mm2
    if small > 0:
        rest = len(cut.regions) - len(listed)
        more = f"and {rest} smaller ones with scattered spots" if rest else "and scattered spots"
        lines += layout.entry(f"{more}, {units.area(small)} together: seen to as their neighbours are opened")
    reach = ", ".join(f"{name} {share:.0%}" for name, share in cut.reach_by_face.items())
    lines += layout.item("Reached from", f"{reach} of the surface, by a straight tool")
    if cut.skims_mm2 > 0:
        lines += layout.item(
            "Glances off",
            f"{units.area(cut.skims_mm2)} is met from the {cut.front} edge on or at less than "
            f"{cut.least_angle_deg:g}°: a tool only glances off there, so come from another side",
        )
    lines += layout.item(
        "Waste",
        f"before the figure {units.volume(cut.front_m3)}, beside it {units.volume(cut.beside_m3)}, between its "
        f"surfaces {units.volume(cut.trapped_m3)}, behind it {units.volume(cut.rear_m3)} (columns "
        f"{units.given(cut.pitch_mm)} apart; they miss {units.volume(abs(cut.residual_m3))})",
    )
    return lines


def region_words(region: Region, listed: set[int], units: UnitSystem) -> str:
    """Return where an undercut place is, from where and how it is reached, and after which of those ``listed``."""
    stone = "hardly any stone"
    if region.stone_m3 >= _SHOWN_M3:
        weight = "" if region.stone_kg is None else f" ({units.mass(region.stone_kg)})"
        stone = f"{units.volume(region.stone_m3)} of stone{weight}"
    opening = region.opening_mm
    narrow = f", open to tools of {units.given(round(opening))}" if opening is not None and opening < _OPEN_MM else ""
    first = [str(k) for k in region.after if k in listed]
    after = f"; after {', '.join(dict.fromkeys(first))}" if first else ""
    return (
        f"{region.number}. {region.place.text(units)}: {region.approach}, {units.area(region.area_mm2)}, {stone}, "
        f"up to {units.length(region.depth_mm)} behind the front surface{narrow}{after}"
    )


def pieces_words(plan: OffcutPlan, weight: Weights, units: UnitSystem) -> str:
    """Return how many pieces save how much of the waste."""
    if not plan.pieces:
        limit = plan.lift_limit_kg
        most = f", none over {units.mass(limit, rounded=Rounding.DOWN)} at the stone's heaviest" if limit else ""
        return f"none worth taking off whole{most}"
    saved = units.volume(plan.volume_m3)
    if weight.offcuts_kg is not None:
        saved = units.mass(weight.offcuts_kg, weight.low, weight.high)
    count = "one piece saves" if len(plan.pieces) == 1 else f"{len(plan.pieces)} pieces save"
    return f"{count} {plan.recovered:.0%} of the waste, {saved}, for {units.floor_area(plan.sawn_m2)} of sawing"


def offcuts_section(plan: OffcutPlan, weight: Weights, layout: Layout) -> list[str]:
    """Return the pieces to take off whole, in order, and what stopping sooner would save."""
    units = layout.units
    if not plan.pieces:
        found = layout.item("Offcuts", pieces_words(plan, weight, units)) + _wished(plan, layout)
        return found + _worth_lines(plan, layout)
    lines = layout.paragraph(
        "Take these off whole, in this order, each slung before its last cut is finished: the hook plumb above its "
        "centre of gravity, in slings that cannot slip. Where a web is named, opposed cuts may leave it until then."
    )
    sure = "exact solids" if plan.block.surface is None else "solids of the stone as scanned"
    lines += layout.item(
        "Offcuts",
        f"{pieces_words(plan, weight, units)}; cuts up to {units.given(plan.kerf_mm)} wide, "
        f"{units.given(plan.clearance_mm)} clear of the figure beyond cut, drift and overrun ({sure}; the choice "
        "is good, not proved best):",
    )
    for number, piece in enumerate(plan.pieces, 1):
        lines += piece_lines(number, piece, plan, weight, layout) + line_lines(piece, plan, layout)
    return lines + pieces_together(plan, layout)


def pieces_together(plan: OffcutPlan, layout: Layout) -> list[str]:
    """Return what is said of all pieces: wishes, worth, the reserve kept, and what stopping sooner would save."""
    units = layout.units
    lines = _wished(plan, layout) + _worth_lines(plan, layout)
    if plan.reserve_mm > 0:
        later = sum(piece.stage != "before carving" for piece in plan.pieces)
        waits = (
            f"{later} of them ({units.volume(plan.later_m3)}) wait for the front; reserve 0 would let those leave first"
        )
        lines += layout.item(
            "Reserve kept",
            f"what leaves before carving leaves a setback of {units.length(plan.reserve_mm)}; "
            f"{waits if later else 'no piece needs more than that'}",
        )
    if plan.too_light_m3 > _COUNTED_M3:
        lines += layout.entry(f"parts too light to keep go with the chips: {units.volume(plan.too_light_m3)}")
    if len(plan.pieces) > 1:
        lines += layout.item("Fewer or more", _trade_words(plan, layout))
    return lines


def _wished(plan: OffcutPlan, layout: Layout) -> list[str]:
    """Return what was asked of the pieces, kept or not, and what other kinds of cuts would save."""
    lines = [line for wish in plan.wishes for line in layout.item("Wished" if wish.kept else "NOT KEPT", wish.text)]
    area = layout.units.floor_area
    kinds = [f"{k.cuts} cuts {k.recovered:.0%} in {k.pieces} pieces ({area(k.sawn_m2)} sawn)" for k in plan.by_cuts]
    return lines + (layout.item("By kind of cut", ", ".join(kinds)) if kinds else [])


def _worth_lines(plan: OffcutPlan, layout: Layout) -> list[str]:
    """Return what the pieces bring less what they cost, where prices were given."""
    if plan.prices is None:
        return []
    if not plan.pieces:
        return layout.item("Worth", "by your prices and rates no piece found pays")
    told = worth(plan)
    each = ", ".join(f"{piece.number}: {piece.net:,.0f}" for piece in told.pieces)
    return layout.item("Worth", f"by your prices and rates {told.net:,.0f} net (estimate), by piece {each}")


def piece_lines(number: int, piece: Offcut, plan: OffcutPlan, weight: Weights, layout: Layout) -> list[str]:
    """Return a piece: what it weighs and holds, its cuts, its way out, and what it leaves."""
    units = layout.units
    weighs = units.volume(piece.volume_m3)
    if piece.weight_kg is not None:
        weighs = units.mass(piece.weight_kg, weight.low, weight.high)
    late = f"; leaves {piece.stage}" if plan.reserve_mm else ""
    size, box = units.sizes(piece.size_mm, Rounding.UP), units.sizes(piece.box_mm, Rounding.DOWN)
    lines = layout.entry(f"{number}. {piece.kind}, {weighs}, within {size}, holds a box of {box}{late}")
    web = "" if piece.web is None else f"; web {units.area(piece.web.area_m2 * 1e6)}"
    lines += layout.below(f"cut {_cuts_words(piece, units)}{web}")
    way = f"centre of gravity {units.point(piece.centre_mm)}; drawn out {way_out_words(piece.draw_out)}"
    return lines + layout.below(f"{way}; {_left_words(piece, units)}")


def line_lines(piece: Offcut, plan: OffcutPlan, layout: Layout) -> list[str]:
    """Return the lines to snap for each cut of a piece."""
    said = piece_words(piece, plan.block, units=layout.units.name)
    return [line for words in said for line in layout.below(words)]


def _cuts_words(piece: Offcut, units: UnitSystem) -> str:
    divided = piece.kind.endswith("divided")
    ends = len(piece.cuts) > 1 or divided
    return (", then " if divided else " and ").join(
        f"{units.floor_area(cut.area_m2)} {_cut_words(cut.normal)}"
        + ("" if cut.method == "any" else f" by {cut.method}")
        + (f" {units.missing(cut.depth_mm)} deep" if ends else "")
        for cut in piece.cuts
        if round(cut.area_m2, 2) > 0
    )


def _left_words(piece: Offcut, units: UnitSystem) -> str:
    """Return what stays on the banker after a piece, and whether it stands."""
    left = units.mass(piece.left_kg) if piece.left_kg is not None else units.volume(piece.left_m3)
    stands = piece.left_stands
    rest = f"leaves {left} standing"
    if not stands.stands:
        rest = f"leaves {left}, WHICH DOES NOT STAND BY ITSELF: {stands.falls}"
    elif stands.weakest_deg < 15:
        rest += f", which tips over the {stands.weakest} at {rounded_down(stands.weakest_deg, 0):.0f}°"
    return f"{rest}, setback {units.length(piece.setback_mm)}"


def _trade_words(plan: OffcutPlan, layout: Layout) -> str:
    """Return what stopping after some of the pieces saves: up to six of the steps."""
    steps = plan.trade_off
    some = sorted({round(k * (len(steps) - 1) / 5) for k in range(6)})
    shown = range(len(steps)) if layout.shows_all or len(steps) <= 6 else some
    area = layout.units.floor_area
    words = [f"{steps[k].pieces} for {steps[k].recovered:.0%} ({area(steps[k].sawn_m2)} sawn)" for k in shown]
    return f"pieces, the waste saved and the sawing: {', '.join(words)}"


def weights_section(weight: Weights, layout: Layout, *, ends: tuple[str, str] = ("", "")) -> list[str]:
    """Return the weights and how the block grows lighter.

    ``ends`` are words before the figure's and the waste's, where those are an upper and a lower end.
    """
    units = layout.units

    def weighed(value: float | None) -> str:
        return units.mass(value, weight.low, weight.high)

    if weight.block_kg is None:
        figure, waste = f"figure {ends[0]}".rstrip(), f"waste {ends[1]}".rstrip()
        volumes = (("block", weight.block_m3), (figure, weight.figure_m3), (waste, weight.removed_m3))
        words = ", ".join(f"{name} {units.volume(value)}" for name, value in volumes)
        lines = layout.item("Volumes", f"{words}; name the stone for weights (--stone)")
    else:
        lines = layout.paragraph("Plan transport, hoist and floor by the upper ends of these ranges.")
        named = (
            ("Block", weight.block_kg), ("Figure", weight.figure_kg), ("Waste", weight.removed_kg),
            ("of it offcuts", weight.offcuts_kg), ("of it chips", weight.chips_kg),
        )  # fmt: skip
        for name, value in named:
            end = {"Figure": ends[0], "Waste": ends[1]}.get(name, "")
            lines += layout.item(name, end + weighed(value))
        if weight.wet > 1:
            soaked = units.mass(weight.block_kg * weight.high * weight.wet)
            lines += layout.item("Soaked", f"the block up to {soaked}, at its heaviest and with all it absorbs")
    for stage in weight.stages:
        gone, left = units.volume(stage.removed_m3), units.volume(stage.left_m3)
        if stage.left_kg is not None:
            gone, left = units.mass(stage.removed_kg), units.mass(stage.left_kg)
        lines += layout.entry(f"{stage.name}: {gone} out, {left} left")
    lines += layout.entry("(every weight is rounded up on its own; stages count what the offcuts have left)")
    if weight.allowances:
        over = ", ".join(
            f"{a.tool} {units.given(a.thickness_mm)} "
            f"({units.volume(a.over_m3) if a.over_kg is None else units.mass(a.over_kg)})"
            for a in weight.allowances
        )
        lines += layout.item(
            "Left over it", f"by each tool, bruised stone included: {over} (estimates: area times thickness)"
        )
    return lines


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

"""The survey's sections on standing, moving and thin stone. Estimates for planning; the cautions stand beside them."""

from blockfit.facts.measures import Rounding
from blockfit.facts.phrases import Phrase
from blockfit.facts.systems import UnitSystem
from blockfit.sheets.words import Layout, rounded_down, rounded_up
from blockfit.waste.standing.handling import Handling, Load
from blockfit.waste.standing.lifting import Lift
from blockfit.waste.standing.turning import Turning
from blockfit.waste.strength.necks import Neck
from blockfit.waste.strength.thin import ThinStone

__all__ = ["handling_section", "thin_section"]

_SHOWN = 5  # necks printed; the record has them all
_FAR = 0.1  # of the rupture strength: necks below are counted, not listed
_WEAK_DEG = 15.0  # what tips at less is reported at every stage (common practice, no source)


def handling_section(moved: Handling, layout: Layout) -> list[str]:
    """Return how the stone stands at every stage that matters, and what turning, rolling and lifting take."""
    units = layout.units
    first, *between, last = moved.loads
    lines = layout.paragraph("Before each move, wedge or prop what is named here, and check gear against these loads.")
    lines += layout.item("As delivered", _load_words(first, units))
    doubtful = [load for load in between if layout.shows_all or _doubtful(load)]
    for load in doubtful:
        lines += layout.entry(f"{load.name}: {_load_words(load, units)}")
    if between and not any(map(_doubtful, between)):
        least = min(between, key=lambda load: load.stands.weakest_deg)
        tips = rounded_down(least.stands.weakest_deg, 0)
        lines += layout.entry(f"it stands after every stage; least {least.name}, where it tips at {tips:.0f}°")
    floor = f"on what lies within {units.given(moved.flat_mm)} of the floor"
    lines += layout.item("Finished figure", f"{_load_words(last, units)}, {floor}")
    if last.level is not None:
        cut = last.level
        lines += layout.entry(
            f"its base cut level {units.given(cut.height_mm)} up, it would stand; it tips over the "
            f"{cut.stands.weakest} at {rounded_down(cut.stands.weakest_deg, 0):.0f}°"
        )
    elif not last.stands.stands and not last.stands.loose:
        lines += layout.entry("cutting its base level by up to a tenth of its height does not make it stand")
    lines += _turning_lines(moved, layout)
    return lines + _lifting_lines(moved, layout)


def _turning_lines(moved: Handling, layout: Layout) -> list[str]:
    units = layout.units
    groups: dict[str, list[str]] = {}  # edges that ask the same are named together
    for turn in moved.turns:
        groups.setdefault(_turn_words(turn, units), []).append(turn.edge)
    words = "; ".join(f"over the {' or the '.join(edges)}: {what}" for what, edges in groups.items())
    lines = layout.item("Turning it up", words or "it has no edge to turn over")
    lines += layout.entry(
        "(pull at the highest and farthest place of the far side, square to the line from the edge; past the balance "
        "hold it back as far)"
    )
    low, high = (units.mass(pull) for pull in moved.rollers.break_out_kg)
    least, most = (units.mass(pull) for pull in moved.rollers.rolling_kg)
    return lines + layout.item(
        "On rollers",
        f"a pull of {low} to {high} breaks the block out on a hard level floor, {least} to {most} keeps it rolling "
        "(a vendor's guideline: 5-10 % and half that)",
    )


def _lifting_lines(moved: Handling, layout: Layout) -> list[str]:
    units = layout.units
    lines: list[str] = []
    shown = [*moved.lifts[:2], *(pair for pair in moved.lifts[2:] if layout.shows_all or pair[1].warnings)]
    for k, (name, lift) in enumerate(shown):
        lines += layout.item("Slings" if k == 0 else "", f"{name}: {_lift_words(lift, units)}")
    kept: dict[str, list[str]] = {}
    for check in moved.checks:
        about = check.named.text(units)
        if layout.shows_all or not check.kept or check.named.gaps or check.about == "slope":
            said = Phrase.of("{about}: {words}", about=check.named, words=check.words)
            lines += layout.item("Limit kept" if check.kept else "TOO MUCH", said)
        else:
            kept.setdefault(about, []).append(check.words.text(units))
    for about, words in kept.items():
        more = f" (and {len(words) - 1} lighter or smaller loads)" if len(words) > 1 else ""
        lines += layout.item("Limit kept", f"{about}: {words[0]}{more}")
    if not moved.stone_named:
        density = "2,700 kg/m³" if units.name == "metric" else "169 lb/cu ft"
        lines += layout.entry(f"no stone is named: weights here count {density}")
    return lines


def thin_section(thin: ThinStone, layout: Layout) -> list[str]:
    """Return where the figure is thinnest and what its own weight asks of its necks."""
    units = layout.units
    lines = layout.paragraph("Leave a strut or a web at the first of these until all around them is finished.")
    lines += layout.item(
        "Thinnest",
        f"about {units.length(thin.least_mm, Rounding.NEAREST)}, at {units.point(thin.at_mm)} (samples "
        f"{units.given(round(thin.spacing_mm, 1))} apart; creases left out)",
    )
    if not thin.necks:
        lines += layout.item("Necks", "no part was found that hangs on a single neck")
    if thin.rupture_mpa is None:
        lines += layout.item("Strength", thin.rupture_source)
    else:
        low, high = thin.rupture_mpa
        ranged = units.stress(low, 3) if low == high else f"{units.stress(low, 3)} to {units.stress(high, 3)}"
        lines += layout.item("Strength", f"modulus of rupture {ranged}: {thin.rupture_source}")
    near = [neck for neck in thin.necks if layout.shows_all or _share(thin, neck) is None or _share(thin, neck) >= _FAR]
    listed = near if layout.shows_all else near[:_SHOWN]
    for number, neck in enumerate(listed, 1):
        lines += layout.entry(f"{number}. {_neck_words(thin, neck, units)}")
    lines += _far_necks(thin, [neck for neck in thin.necks if neck not in listed], layout)
    lines += _standing_lines(thin, layout)
    if not thin.stands:
        lines += layout.entry("it does not stand by itself: level sections hold only once it is wedged up or cut level")
    counts = "" if thin.jerk == 1 else f", the weight counted {thin.jerk:g} times"
    return lines + layout.entry(
        f"(estimates for planning, by plain beams on exact sections{counts}; shear, stress raisers and whatever bears "
        "at both ends (a lintel, drapery that bridges) are left out, and tools, transport and flaws ask more than "
        "weight does)"
    )


def _share(thin: ThinStone, neck: Neck) -> float:
    """Return what a neck's stress is of the least strength at most; endless where no strength is known."""
    shares = thin.share_of_rupture(neck)
    return float("inf") if shares is None else shares[1]


def _far_necks(thin: ThinStone, rest: list[Neck], layout: Layout) -> list[str]:
    if not rest:
        return []
    most = max(_share(thin, neck) for neck in rest)
    known = "" if most == float("inf") else f", at most {rounded_up(100 * most, 1):g} % of the rupture strength"
    count = "one more neck" if len(rest) == 1 else f"{len(rest)} more necks"
    return layout.entry(f"and {count}{known}" if len(rest) < len(thin.necks) else f"{len(rest)} necks{known}")


def _neck_words(thin: ThinStone, neck: Neck, units: UnitSystem) -> str:
    stress, shares = max(0.0, neck.stress_mpa), thin.share_of_rupture(neck)
    share = prop = ""
    if shares is not None and stress > 0:
        most = f"{rounded_up(100 * shares[1], 1 if shares[1] < 0.1 else 0):g} %"
        share = f", up to {most} of the rupture strength"
        share += " — IT WOULD NOT CARRY ITSELF" if shares[1] >= 1 else ""
    if neck.prop_mm is not None and neck.prop_share is not None and shares is not None and shares[1] >= 0.02:
        prop = (
            f"; a strut left at {units.point(neck.prop_mm)} that carries {neck.prop_share:.0%} of it would halve that"
        )
    early = "; carved free early from the front" if neck.early else ""
    weighs = units.mass(neck.part_m3 * thin.density_kg_m3)
    hangs = f"{weighs} {units.length(neck.lever_mm)} to the {neck.towards}" if neck.lever_mm > 1 else weighs
    kind = "level, all that stands here, " if neck.stands else ""
    return (
        f"at {units.point(neck.centre_mm)}: {kind}{units.area(neck.area_mm2)} carries {hangs}: {units.stress(stress)} "
        f"from its own weight{share}{early}{prop}"
    )


def _standing_lines(thin: ThinStone, layout: Layout) -> list[str]:
    """Return the level section that is pressed most, how it is shared, and what lying on battens asks."""
    units = layout.units
    lines: list[str] = []
    pressed = max(thin.bearings, key=lambda b: b.compression_mpa, default=None)
    if pressed is not None:
        loops = len(pressed.outlines)
        shares = ", ".join(f"{share:.0%}" for share in pressed.shares)
        shared = f" in {loops} parts that carry {shares}" if 1 < loops <= 6 else ""
        lines += layout.item(
            "Stands on",
            f"at most {units.stress(rounded_up(pressed.compression_mpa, 2), 3)} of pressure, "
            f"{units.length(pressed.height_mm)} up: {units.area(pressed.area_mm2)}{shared} under "
            f"{units.mass(pressed.above_m3 * thin.density_kg_m3)}",
        )
    for side, height, tension, _ in thin.lying:
        lines += layout.item(
            "Lying",
            f"on {side}, across the two battens: {units.stress(tension)} at {units.length(height)} of its height",
        )
    return lines


def _doubtful(load: Load) -> bool:
    weak = not load.stands.stands or load.stands.weakest_deg < _WEAK_DEG
    return weak or (load.on_supports is not None and not load.on_supports.stands)


def _load_words(load: Load, units: UnitSystem) -> str:
    low, high = load.weight_range_kg
    ratio = (low / load.weight_kg, high / load.weight_kg) if load.weight_kg else (1.0, 1.0)
    words = f"{units.mass(load.weight_kg, *ratio)}, centre of gravity {units.point(load.centre_mm)}, "
    stands = load.stands
    if stands.stands:
        words += f"stands; tips over the {stands.weakest} at {rounded_down(stands.weakest_deg, 0):.0f}°"
    elif stands.loose:
        words += f"DOES NOT STAND BY ITSELF: {stands.falls}"
    else:
        outside = units.given(round(-stands.margin_mm))
        words += f"DOES NOT STAND BY ITSELF: the plumb line lies {outside} outside its base"
    held = load.on_supports
    if held is not None and held.stands:
        tips = rounded_down(held.weakest_deg, 0)
        words += f"; on the supports given it tips over the {held.weakest} at {tips:.0f}°"
    elif held is not None:
        words += "; ON THE SUPPORTS GIVEN IT DOES NOT STAND"
    return words


def _turn_words(turn: Turning, units: UnitSystem) -> str:
    if turn.goes_by_itself:
        return "IT GOES OVER BY ITSELF"
    after = ""
    if turn.rests_deg is not None:
        after = f", then {'rests on its next side' if turn.rests else 'DOES NOT REST on its next side'} at "
        after += f"{turn.rests_deg:.0f}°"
    return (
        f"{units.mass(turn.pull_kg[0][1])} to start, balanced at {rounded_down(turn.balance_deg, 0):.0f}°, sweeping "
        f"{units.missing(turn.diagonal_mm)}{after}"
    )


def _lift_words(lift: Lift, units: UnitSystem) -> str:
    if lift.warnings:
        return " ".join(words.text(units) for words in lift.warnings)
    legs = "one leg" if lift.counted_legs == 1 else "two legs (a rigid load hangs on two)"
    return f"{units.mass(lift.tension_kg)} in each of {legs} at {lift.angle_deg:g}°, at the heaviest it may be"

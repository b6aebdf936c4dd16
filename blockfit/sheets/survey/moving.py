"""The survey's sections on standing, moving and thin stone. Estimates for planning; the cautions stand beside them."""

from blockfit.sheets.words import asked, entry, item, kg, length, point, rounded_down, rounded_up
from blockfit.waste.standing.handling import Handling, Load
from blockfit.waste.standing.lifting import Lift
from blockfit.waste.standing.turning import Turning
from blockfit.waste.strength.thin import ThinStone

__all__ = ["handling_section", "thin_section"]

_SHOWN = 5  # necks printed; the record has them all
_WEAK_DEG = 15.0  # what tips at less is told at every stage (common practice, no source)


def handling_section(told: Handling) -> list[str]:
    """Return how the stone stands at every stage that matters, and what turning, rolling and lifting take."""
    first, *between, last = told.loads
    lines = item("As delivered", _load_words(first))
    doubtful = [load for load in between if _doubtful(load)]
    for load in doubtful:
        lines += entry(f"{load.name}: {_load_words(load)}")
    if between and not doubtful:
        least = min(between, key=lambda load: load.stands.weakest_deg)
        tips = rounded_down(least.stands.weakest_deg, 0)
        lines += entry(f"it stands after every stage; least {least.name}, where it tips at {tips:.0f}°")
    lines += item("Finished figure", f"{_load_words(last)}, on what lies within {told.flat_mm:g} mm of the floor")
    if last.level is not None:
        cut = last.level
        lines += entry(
            f"its base cut level {cut.height_mm:g} mm up, it would stand; it tips over the {cut.stands.weakest} at "
            f"{rounded_down(cut.stands.weakest_deg, 0):.0f}°"
        )
    elif not last.stands.stands:
        lines += entry("cutting its base level by up to a tenth of its height does not make it stand")
    lines += item("Turning it up", "; ".join(_turn_words(turn) for turn in told.turns) or "it has no edge to turn over")
    lines += entry(
        "(pull at the highest and farthest place of the far side, square to the line from the edge; past the"
    )
    lines += entry("balance hold it back as far)")
    low, high = told.rollers.break_out_kg
    rolling = told.rollers.rolling_kg
    lines += item(
        "On rollers",
        f"a pull of {kg(low)} to {kg(high)} breaks the block out on a hard level floor, {kg(rolling[0])} to "
        f"{kg(rolling[1])} keeps it rolling (a vendor's guideline: 5-10 % and half that)",
    )
    for k, (name, lift) in enumerate(told.lifts[:2]):
        lines += item("Slings" if k == 0 else "", f"{name}: {_lift_words(lift)}")
    refused = [(name, lift) for name, lift in told.lifts[2:] if lift.warnings]
    for name, lift in refused:
        lines += entry(f"{name}: {_lift_words(lift)}")
    for check in told.checks:
        lines += item("Limit kept" if check.kept else "TOO MUCH", f"{check.about}: {check.text}")
    if not told.stone_named:
        lines += entry("no stone is named: weights here count 2,700 kg/m³")
    return lines


def thin_section(thin: ThinStone) -> list[str]:
    """Return where the figure is thinnest and what its own weight asks of its necks."""
    lines = item(
        "Thinnest",
        f"about {thin.least_mm:.0f} mm, at {point(thin.at_mm)} (samples {thin.spacing_mm:.2g} mm apart; creases "
        "left out)",
    )
    if not thin.necks:
        lines += item("Necks", "no part was found that hangs on a single neck")
    if thin.rupture_mpa is None:
        lines += item("Strength", thin.rupture_source)
    else:
        low, high = thin.rupture_mpa
        lines += item("Strength", f"modulus of rupture {low:.3g} to {high:.3g} MPa: {thin.rupture_source}")
    for number, neck in enumerate(thin.necks[:_SHOWN], 1):
        stress = max(0.0, neck.stress_mpa)
        shares = thin.share_of_rupture(neck)
        share = ""
        if shares is not None and stress > 0:
            most = f"{rounded_up(100 * shares[1], 1 if shares[1] < 0.1 else 0):g} %"
            share = f", up to {most} of the rupture strength" + (
                " — IT WOULD NOT CARRY ITSELF" if shares[1] >= 1 else ""
            )
        prop = ""
        if neck.prop_mm is not None and neck.prop_share is not None and shares is not None and shares[1] >= 0.02:
            prop = f"; a strut left at {point(neck.prop_mm)} that carries {neck.prop_share:.0%} of it would halve that"
        early = "; carved free early from the front" if neck.early else ""
        weighs = kg(neck.part_m3 * thin.density_kg_m3)
        hangs = f"{weighs} {length(neck.lever_mm)} to the {neck.towards}" if neck.lever_mm > 1 else weighs
        kind = "level, all that stands here, " if neck.stands else ""
        section = f"{kind}{neck.area_mm2 / 100:.1f} cm²"
        lines += entry(
            f"{number}. at {point(neck.centre_mm)}: {section} carries {hangs}: {stress:.2g} MPa from its own "
            f"weight{share}{early}{prop}"
        )
    lines += _standing_lines(thin)
    if not thin.stands:
        lines += entry("it does not stand by itself: level sections hold only once it is wedged up or cut level")
    counts = "" if thin.jerk == 1 else f", the weight counted {thin.jerk:g} times"
    lines += entry(
        f"(estimates for planning, by plain beams on exact sections{counts}; shear, stress raisers and "
        "whatever bears at both ends (a lintel, drapery that bridges) are left out, and tools, "
        "transport and flaws ask more than weight does)"
    )
    return lines


def _standing_lines(thin: ThinStone) -> list[str]:
    """Return the level section that is pressed most, how it is shared, and what lying on battens asks."""
    lines: list[str] = []
    pressed = max(thin.bearings, key=lambda b: b.compression_mpa, default=None)
    if pressed is not None:
        loops = len(pressed.outlines)
        shares = ", ".join(f"{share:.0%}" for share in pressed.shares)
        shared = f" in {loops} parts that carry {shares}" if 1 < loops <= 6 else ""
        lines += item(
            "Stands on",
            f"at most {rounded_up(pressed.compression_mpa, 2):g} MPa of pressure, {length(pressed.height_mm)} up: "
            f"{pressed.area_mm2 / 100:.1f} cm²{shared} under {kg(pressed.above_m3 * thin.density_kg_m3)}",
        )
    for side, height, tension, _ in thin.lying:
        lines += item(
            "Lying", f"on {side}, across the two battens: {tension:.2g} MPa at {length(height)} of its height"
        )
    return lines


def _doubtful(load: Load) -> bool:
    weak = not load.stands.stands or load.stands.weakest_deg < _WEAK_DEG
    return weak or (load.on_supports is not None and not load.on_supports.stands)


def _load_words(load: Load) -> str:
    low, high = load.weight_range_kg
    ratio = (low / load.weight_kg, high / load.weight_kg) if load.weight_kg else (1.0, 1.0)
    x, y, z = (round(c) + 0 for c in load.centre_mm.tolist())
    words = f"{kg(load.weight_kg, *ratio)}, centre of gravity {x:,}, {y:,}, {z:,}, "
    stands = load.stands
    if stands.stands:
        words += f"stands; tips over the {stands.weakest} at {rounded_down(stands.weakest_deg, 0):.0f}°"
    else:
        words += f"DOES NOT STAND BY ITSELF: the plumb line lies {asked(round(-stands.margin_mm))} outside its base"
    held = load.on_supports
    if held is not None:
        words += (
            f"; on the supports given it tips over the {held.weakest} at {rounded_down(held.weakest_deg, 0):.0f}°"
            if held.stands
            else "; ON THE SUPPORTS GIVEN IT DOES NOT STAND"
        )
    return words


def _turn_words(turn: Turning) -> str:
    if turn.goes_by_itself:
        return f"over the {turn.edge} IT GOES OVER BY ITSELF"
    after = ""
    if turn.rests_deg is not None:
        after = f", then {'rests on its next side' if turn.rests else 'DOES NOT REST on its next side'} at "
        after += f"{turn.rests_deg:.0f}°"
    return (
        f"over the {turn.edge} {kg(turn.pull_kg[0][1])} to start, balanced at "
        f"{rounded_down(turn.balance_deg, 0):.0f}°, sweeping {rounded_up(turn.diagonal_mm, 0):,.0f} mm{after}"
    )


def _lift_words(lift: Lift) -> str:
    if lift.warnings:
        return " ".join(lift.warnings)
    legs = "one leg" if lift.counted_legs == 1 else "two legs (a rigid load hangs on two)"
    return f"{kg(lift.tension_kg)} in each of {legs} at {lift.angle_deg:g}°, at the heaviest it may be"

"""What can hurt someone, said first: what does not stand, what is too much, what would break of its own weight."""

from blockfit.facts.measures import Rounding
from blockfit.facts.systems import UnitSystem
from blockfit.waste.standing.handling import Handling, LimitCheck, Load
from blockfit.waste.standing.lifting import LEAST_ANGLE_DEG, Lift
from blockfit.waste.strength.thin import ThinStone

__all__ = ["alarms_of"]

_SHOWN = 3  # of each kind; the others are counted


def alarms_of(moved: Handling | None, thin: ThinStone | None, *, units: UnitSystem) -> list[str]:
    """Return what must be read before anything else, a sentence each; none where nothing is wrong."""
    told: list[str] = []
    if moved is not None:
        fallen = [f"{load.name}{_cut_level(load, units)}" for load in moved.loads if not load.stands.stands]
        told += _counted("DOES NOT STAND BY ITSELF", fallen)
        loose = moved.loads[-1].stands.loose
        held = [f"{units.volume(one.volume_m3)} with its middle at {units.point(one.centre_mm)}" for one in loose]
        told += _counted("PARTS OF THE FIGURE ARE JOINED TO NOTHING (exact) and fall once they are carved free", held)
        propped = [load.name for load in moved.loads if load.on_supports is not None and not load.on_supports.stands]
        told += _counted("DOES NOT STAND ON THE SUPPORTS GIVEN", propped)
        told += [f"{name}: {lift.warnings[0].text(units)}" for name, lift in moved.lifts[:1] if _bad_angle(lift)]
        worst: dict[str, LimitCheck] = {}
        for check in moved.checks:
            if not check.kept and check.over >= worst.get(check.about, check).over:
                worst[check.about] = check
        told += [f"{check.named.text(units)}, {check.words.text(units)}" for check in worst.values()]
    if thin is not None and thin.rupture_mpa is not None:
        broken = []
        for neck in thin.necks:
            shares = thin.share_of_rupture(neck)
            if shares is not None and shares[1] >= 1 and (thin.stands or not neck.stands):
                stress, least = units.stress(neck.stress_mpa, 3), units.stress(thin.rupture_mpa[0], 3)
                where = f"{units.area(neck.area_mm2)} {units.length(float(neck.centre_mm[2]), Rounding.NEAREST)} up"
                broken.append(f"{where}, {stress} where stone ruptures from {least}")
        told += _counted("WOULD BREAK OF ITS OWN WEIGHT (estimate)", broken)
        laid = [
            f"on {side}, {units.stress(stress, 3)}"
            for side, _, stress, _ in thin.lying
            if stress >= thin.rupture_mpa[0]
        ]
        told += _counted("WOULD BREAK LYING ON THE BATTENS GIVEN (estimate)", laid)
    return told


def _cut_level(load: Load, units: UnitSystem) -> str:
    return "" if load.level is None else f" (its base cut level {units.given(load.level.height_mm)} up, it would)"


def _bad_angle(lift: Lift) -> bool:
    return lift.angle_deg < LEAST_ANGLE_DEG and bool(lift.warnings)


def _counted(what: str, names: list[str]) -> list[str]:
    if not names:
        return []
    more = f"; and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return [f"{what}: {'; '.join(names[:_SHOWN])}{more}"]

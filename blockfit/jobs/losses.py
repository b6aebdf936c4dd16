"""Stone that was lost goes into the log: how much of it there was."""

from blockfit.carving.stages import Stage
from blockfit.carving.taken import lost_solids
from blockfit.errors import BadValueError
from blockfit.geometry.tolerances import NOTHING_M3
from blockfit.jobs.job import Job
from blockfit.jobs.readings import last_readings
from blockfit.jobs.stone import stone_now
from blockfit.kinds import kinds_checked
from blockfit.marking.check import Check
from blockfit.measure.booleans import body_of
from blockfit.solids.block import Block
from blockfit.solids.flaw import Flaw
from blockfit.units import M3_PER_MM3, rounded_up

__all__ = ["lose"]


@kinds_checked
def lose(job: Job, *lost: Flaw, readings: bool = False, note: str = "", when: str | None = None) -> Job:
    """Return the job with lost stone noted: balls, solids, or with ``readings`` what was cut too deep.

    Raises `BadValueError` where nothing was lost: nothing is named, or there is no stone where it is said to have been;
    and where all of the stone would be.
    """
    about: list[Flaw | Check] = list(lost)
    words: list[str] = []
    if lost:
        stone = stone_now(job)
        for flaw in lost:
            litres = _lost_m3(stone, job.fit.block, flaw) * 1e3
            words.append(f"{_words(flaw)}, about {litres:.2g} l of the stone")
    if readings:
        checked = last_readings(job)
        if checked is None or not checked.too_deep:
            raise BadValueError("no reading of this placement is too deep; blockfit check notes readings in the job")
        about.append(checked)
        count = len(checked.too_deep)
        places = "a place" if count == 1 else f"{count} places"
        words.append(f"{places} cut too deep, {rounded_up(-checked.readings[0].left_mm):.1f} mm at most")
    if not about:
        raise BadValueError("say what was lost: a ball, a solid, or the readings that are too deep")
    return job.noted("lost", "; ".join(words) + (f": {note}" if note else ""), tuple(about), when=when)


def _lost_m3(stone: Stage, block: Block, flaw: Flaw) -> float:
    """Return how much of the stone as it stands a flaw takes; raise where that is nothing, or all."""
    body, whole = body_of(stone.stone), stone.volume_m3
    taken = sum([float((body ^ solid).volume()) for _, solid in lost_solids(flaw, block)]) * M3_PER_MM3
    if taken <= NOTHING_M3:
        raise BadValueError(
            f"{_words(flaw)} lies where there is no stone (any more): check its place, its unit, and where it is "
            "measured from"
        )
    if taken >= whole - NOTHING_M3:
        raise BadValueError(f"{_words(flaw)} takes all of the stone: check its size and its unit")
    return taken


def _words(flaw: Flaw) -> str:
    if flaw.kind == "ball":
        x, y, z = (f"{value:.0f}" for value in flaw.centre)
        return f"{flaw.name}: a ball of {rounded_up(flaw.radius_mm):g} mm around {x}, {y}, {z}"
    return flaw.name

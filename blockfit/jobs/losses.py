"""What was lost of the stone, and the placement that is taken after it."""

from collections.abc import Sequence

from blockfit.errors import BadValueError
from blockfit.jobs.job import Job
from blockfit.jobs.readings import last_readings
from blockfit.kinds import kinds_checked
from blockfit.marking.check import Check
from blockfit.solids.flaw import Flaw
from blockfit.units import rounded_up

__all__ = ["lose", "lost_so_far"]


@kinds_checked
def lose(job: Job, *lost: Flaw, readings: bool = False, note: str = "", when: str | None = None) -> Job:
    """Return the job with lost stone noted: balls, solids, or with ``readings`` what was cut too deep.

    Raises `BadValueError` where nothing was lost.
    """
    about: list[Flaw | Check] = list(lost)
    words = [_words(flaw) for flaw in lost]
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


def lost_so_far(job: Job) -> tuple[Flaw | Check, ...]:
    """Return what was lost since the placement was chosen, or since a scan that shows the stone without it."""
    return tuple(one for entry in job.since_seen if entry.what == "lost" for one in _listed(entry.about))


def _listed(about: object) -> Sequence[Flaw | Check]:
    return about if isinstance(about, tuple) else ()


def _words(flaw: Flaw) -> str:
    if flaw.kind == "ball":
        x, y, z = (f"{value:.0f}" for value in flaw.centre)
        return f"{flaw.name}: a ball of {rounded_up(flaw.radius_mm):g} mm around {x}, {y}, {z}"
    return flaw.name

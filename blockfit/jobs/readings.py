"""Readings taken back from the stone, in the job's own frame, and kept in its log."""

from collections.abc import Mapping
from typing import Any

from blockfit.jobs.job import Job
from blockfit.kinds import kinds_checked
from blockfit.marking.check import OUTSIDE, Check, check
from blockfit.marking.datum import Datum
from blockfit.units import Length

__all__ = ["last_readings", "read_back"]


@kinds_checked
def read_back(
    job: Job,
    readings: Mapping[str, Any],
    *,
    datum: Datum | None = None,
    error: Length = 2,
    note: str = "",
    when: str | None = None,
) -> tuple[Job, Check]:
    """Return the job with readings in its log, and what they say.

    They are measured from ``datum``; without one, from where the job's points are, or from the block's edges.
    """
    if datum is None and job.points is not None:
        datum = job.points.datum
    checked = check(job.fit, readings, datum=datum, error=error)
    deep = len(checked.too_deep)
    count = len(checked.readings)
    words = f"{count} reading{'' if count == 1 else 's'}, {f'{deep} TOO DEEP' if deep else 'none too deep'}"
    if checked.outside:
        words += f", {len(checked.outside)} OUTSIDE THE BLOCK: {OUTSIDE}"
    return job.noted("readings", words + (f": {note}" if note else ""), checked, when=when), checked


def last_readings(job: Job) -> Check | None:
    """Return the readings taken last since the placement was chosen, or ``None``."""
    for entry in reversed(job.log):
        if entry.what == "moved":
            return None
        if entry.what == "readings" and isinstance(entry.about, Check):
            return entry.about
    return None

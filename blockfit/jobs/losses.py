"""What was lost of the stone, as the log says."""

from collections.abc import Sequence

from blockfit.jobs.job import Job
from blockfit.marking.check import Check
from blockfit.solids.flaw import Flaw

__all__ = ["lost_so_far"]


def lost_so_far(job: Job) -> tuple[Flaw | Check, ...]:
    """Return what was lost since the placement was chosen, or since a scan that shows the stone without it."""
    return tuple(one for entry in job.since_seen if entry.what == "lost" for one in _listed(entry.about))


def _listed(about: object) -> Sequence[Flaw | Check]:
    return about if isinstance(about, tuple) else ()

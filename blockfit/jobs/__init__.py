"""The job on file: one placement for as long as the work takes, and the dated log of what was done.

Each of these takes a job and returns it with one more entry in its log; `Job.save` writes it."""

from blockfit.jobs.done import done
from blockfit.jobs.job import Job, open_job
from blockfit.jobs.losses import lose
from blockfit.jobs.moves import ladder, taken
from blockfit.jobs.readings import read_back
from blockfit.jobs.scans import scanned
from blockfit.jobs.stone import stone_now
from blockfit.jobs.tables import marked, planned

__all__ = [
    "Job",
    "done",
    "ladder",
    "lose",
    "marked",
    "open_job",
    "planned",
    "read_back",
    "scanned",
    "stone_now",
    "taken",
]

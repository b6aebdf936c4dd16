"""A scan of the stone taken into a job: laid into the block's frame, and from then on the stone as it stands."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from blockfit.carving.registration import Registration, register
from blockfit.facts.mappings import FrozenMapping
from blockfit.jobs.job import Job
from blockfit.jobs.stone import stone_now
from blockfit.kinds import kinds_checked
from blockfit.solids.figure import Figure
from blockfit.units import Length

__all__ = ["scanned"]


@kinds_checked
def scanned(  # noqa: PLR0913
    job: Job,
    scan: Figure,
    marks: Mapping[str, Sequence[Any]] | None = None,
    *,
    scale: float | None = None,
    mark_error: Length = 2,
    what: str = "scan",
    note: str = "",
    when: str | None = None,
) -> tuple[Job, Registration]:
    """Return the job with a scan as its stone, and how it was laid into the block: see `register`.

    It is laid onto what the log says is left. The log keeps where it lies, how well, and the scan's file; ``what`` is
    ``scan``, or ``lost`` where the scan is to show a loss.
    """
    laid = register(scan, job.fit, marks=marks, stage=stone_now(job), scale=scale, mark_error=mark_error)
    about = {
        "file": scan.source,
        "sha256": scan.source_sha256,
        "transform": laid.transform,
        "marks_mm": FrozenMapping(laid.marks_mm),
        "rms_mm": laid.rms_mm,
    }
    words = f"{scan.name}: {len(laid.marks_mm)} marks, {laid.rms_mm:.2f} mm rms" + (f": {note}" if note else "")
    after = replace(job, stage=laid.stage)
    return after.noted(what, words, FrozenMapping(about), when=when), laid

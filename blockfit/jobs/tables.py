"""The plan of pieces, the points and the planes that a job keeps: they stay once work on them has begun."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from blockfit.errors import BadValueError
from blockfit.facts.mappings import FrozenMapping
from blockfit.jobs.done import done_so_far
from blockfit.jobs.job import Job
from blockfit.kinds import kinds_checked
from blockfit.marking.pointing import Pointing
from blockfit.marking.roughing import Roughing
from blockfit.waste.offcuts.plan import OffcutPlan

__all__ = ["marked", "planned"]


@kinds_checked
def planned(job: Job, plan: OffcutPlan, *, asked: Mapping[str, Any] = FrozenMapping(), when: str | None = None) -> Job:
    """Return the job with a plan of pieces to save. Raises `BadValueError` if pieces of another have left."""
    if job.plan is not None and done_so_far(job).pieces:
        raise BadValueError("pieces of the plan have left: it stays")
    after = replace(job, plan=plan, asked=_frozen({**job.asked, **asked}))
    return after.noted("planned", f"{len(plan.pieces)} pieces to save", when=when)


@kinds_checked
def marked(job: Job, *, points: Pointing | None = None, planes: Roughing | None = None, when: str | None = None) -> Job:
    """Return the job with a table of points, or of planes from one face, in the place of an earlier one.

    Raises `BadValueError` where work on the earlier one has begun.
    """
    so_far = done_so_far(job)
    told, tables = [], job.planes
    if points is not None:
        if job.points is not None and so_far.points:
            raise BadValueError("some points of the table have been cut: they stay")
        told.append(f"{len(points.points)} points")
    if planes is not None:
        if so_far.of("plane", planes.face):
            raise BadValueError(f"some planes from the {planes.face} are worked: they stay")
        tables = (*(table for table in tables if table.face != planes.face), planes)
        told.append(f"{len(planes.planes)} planes from the {planes.face}")
    if not told:
        raise BadValueError("give points= or planes=: a table to keep")
    return replace(job, points=points or job.points, planes=tables).noted("marked", ", ".join(told), when=when)


def _frozen(asked: Mapping[str, Any]) -> FrozenMapping[str, Any]:
    """Return what was asked as a mapping that never changes, those within it too."""
    return FrozenMapping({name: _frozen(one) if isinstance(one, dict) else one for name, one in asked.items()})

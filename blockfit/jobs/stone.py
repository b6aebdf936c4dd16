"""The stone as it stands in a job: the block, or its last scan, less all that was done and lost since."""

from dataclasses import replace

from blockfit.carving.stages import Stage, stage_of
from blockfit.jobs.done import done_in
from blockfit.jobs.job import Job
from blockfit.kinds import kinds_checked
from blockfit.marking.pointing import Pointing
from blockfit.solids.flaw import Flaw

__all__ = ["stone_now"]


@kinds_checked
def stone_now(job: Job) -> Stage:
    """Return the stone as it stands, exact for what the log names. Raises `BadValueError` if nothing is left."""
    so_far = done_in(job.since_seen)
    counts = dict(so_far.planes)
    tables = [table for table in job.planes if counts.get(table.face)]
    return stage_of(
        job.fit,
        offcuts=job.plan if so_far.pieces else None,
        pieces=so_far.pieces if so_far.pieces else None,
        planes=tables or None,
        to=[counts[table.face] for table in tables] if tables else None,
        points=None if job.points is None or not so_far.points else _of_faces(job.points, so_far.points),
        lost=[one for one in job.lost_so_far if isinstance(one, Flaw)],
        scan=job.stage,
    )


def _of_faces(points: Pointing, faces: tuple[str, ...]) -> Pointing:
    """Return the points of these faces alone."""
    return replace(
        points,
        points=tuple(point for point in points.points if point.face in faces),
        facets={face: held for face, held in points.facets.items() if face in faces},
        between=tuple(one for one in points.between if one.face in faces),
        from_words={face: words for face, words in points.from_words.items() if face in faces},
    )

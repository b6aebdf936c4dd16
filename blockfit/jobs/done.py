"""What has been done to the stone: pieces taken, planes worked, points cut, in the order in which the sheets say.

A name is a piece of the plan (``offcut 2``, ``offcuts 1-3``), planes of a table (``planes 1-6``, ``back planes 1-4``)
or points cut to their stops (``points``, ``front points``)."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from blockfit.errors import BadValueError, plain_text
from blockfit.filing.log import Entry
from blockfit.jobs.job import Job
from blockfit.kinds import kinds_checked

__all__ = ["Done", "done", "done_in", "done_so_far", "done_words"]

_NAME = re.compile(
    r"(?:([a-z0-9][a-z0-9 ]*?)\s+)?(offcut|plane|point)s?(?:\s+(\d{1,4})(?:\s*(?:-|–|to)\s*(\d{1,4}))?)?"
)


@dataclass(frozen=True, slots=True)
class Done:
    """How many pieces of the plan have left, how many planes are worked from each face, and whose points are cut."""

    pieces: int = 0
    planes: tuple[tuple[str, int], ...] = ()
    points: tuple[str, ...] = ()

    def of(self, kind: str, face: str) -> int:
        """Return how many of a kind are done, for one face."""
        if kind == "offcut":
            return self.pieces
        return dict(self.planes).get(face, 0) if kind == "plane" else int(face in self.points)


def done_so_far(job: Job) -> Done:
    """Return what has been done since the placement was chosen."""
    return done_in(job.since_placed)


def done_in(entries: Sequence[Entry]) -> Done:
    """Return what these entries of the log say was done."""
    counts: dict[tuple[str, str], int] = {}
    for entry in entries:
        for name in entry.about if entry.what == "done" and isinstance(entry.about, tuple) else ():
            match = _NAME.fullmatch(str(name))
            if match is not None:
                place = match.group(2), match.group(1) or ""
                counts[place] = max(counts.get(place, 0), int(match.group(3) or 1))
    planes = tuple((face, count) for (kind, face), count in counts.items() if kind == "plane")
    points = tuple(face for kind, face in counts if kind == "point")
    return Done(counts.get(("offcut", ""), 0), planes, points)


@kinds_checked
def done(job: Job, *names: str, note: str = "", when: str | None = None) -> Job:
    """Return the job with what was done noted, in order: the first piece first, plane after plane.

    Raises `BadValueError` for what no sheet of the job names, what is done already, or what comes later.
    """
    if not names:
        raise BadValueError(f"name what was done; {_there_is(job)}")
    so_far = done_so_far(job)
    found: list[str] = []
    words: list[str] = []
    counts: dict[tuple[str, str], int] = {}
    for name in names:
        for kind, face, first, last in _meant(job, name):
            at = counts.get((kind, face), so_far.of(kind, face))
            if last <= at:
                raise BadValueError(f"{plain_text(name)[:60]!r} is done already: see the log")
            if first > at + 1:
                raise BadValueError(
                    f"{plain_text(name)[:60]!r} comes after {_words(kind, face, at + 1, first - 1)}, which is not "
                    "done; name that too, if it has gone in whatever way"
                )
            found += [_words(kind, face, number, number) for number in range(at + 1, last + 1)]
            words.append(_words(kind, face, at + 1, last))
            counts[kind, face] = last
    noted = f": {plain_text(note)}" if note else ""
    return job.noted("done", ", ".join(words) + noted, tuple(found), when=when)


def done_words(job: Job) -> str:
    """Return in a sentence what is done, and what there is on the sheets."""
    so_far = done_so_far(job)
    told = [_words("offcut", "", 1, so_far.pieces)] if so_far.pieces else []
    told += [_words("plane", face, 1, count) for face, count in so_far.planes]
    told += [_words("point", face, 1, 1) for face in so_far.points]
    return f"done: {', '.join(told) or 'nothing yet'}; {_there_is(job)}"


def _words(kind: str, face: str, first: int, last: int) -> str:
    where = f"{face} " if face else ""
    if kind == "point":
        return f"{where}points"
    return f"{where}{kind} {first}" if first == last else f"{where}{kind}s {first}-{last}"


def _meant(job: Job, name: str) -> list[tuple[str, str, int, int]]:
    """Return the kinds, faces, and first and last numbers that a name means."""
    plain = " ".join(plain_text(name).lower().split())
    match = _NAME.fullmatch(plain)
    faces = _faces(job)
    if match is None:
        kinds = [kind for kind, held in faces.items() if held]
        near = get_close_matches(plain.split(" ")[0] if plain else "", [f"{kind}s" for kind in kinds], n=1)
        meant = f"did you mean {near[0]}? " if near else ""
        raise BadValueError(f"{plain_text(name)[:60]!r} is nothing on the sheets; {meant}{_there_is(job)}")
    face, kind = match.group(1) or "", match.group(2)
    first, last = int(match.group(3) or 0), int(match.group(4) or match.group(3) or 0)
    known = faces[kind]
    if not known:
        raise BadValueError(f"{plain_text(name)[:60]!r}: {_lacking(kind)}")
    if not face and len(known) == 1:
        face = next(iter(known))
    if kind == "point" and not face:
        cut = done_so_far(job).points
        return [(kind, one, 1, 1) for one in known if one not in cut] or [(kind, one, 1, 1) for one in known]
    if face not in known:
        raise BadValueError(f"{plain_text(name)[:60]!r}: which face? There are {', '.join(known)} {kind}s")
    if kind == "point":
        return [(kind, face, 1, 1)]
    if not 1 <= first <= last <= known[face]:
        raise BadValueError(f"{plain_text(name)[:60]!r}: there are {_words(kind, face, 1, known[face])}")
    return [(kind, face, first, last)]


def _faces(job: Job) -> dict[str, dict[str, int]]:
    """Return by kind the faces that have some, and how many."""
    pieces = 0 if job.plan is None else len(job.plan.pieces)
    points: Sequence[str] = () if job.points is None else tuple(job.points.from_words)
    return {
        "offcut": {"": pieces} if pieces else {},
        "plane": {table.face: len(table.planes) for table in job.planes},
        "point": dict.fromkeys(points, 1),
    }


def _lacking(kind: str) -> str:
    return {
        "offcut": "the job has no plan of pieces to save",
        "plane": "no planes are marked yet: blockfit mark makes their table",
        "point": "no points are marked yet: blockfit mark makes their table",
    }[kind]


def _there_is(job: Job) -> str:
    """Return in words what can be done."""
    told = [_words(kind, face, 1, count) for kind, held in _faces(job).items() for face, count in held.items() if count]
    return f"there are {', '.join(told)}" if told else "nothing is planned or marked yet: see blockfit mark"

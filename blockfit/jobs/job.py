"""A job: one figure in one block, what is to be done to the stone, and what has been."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from blockfit.carving.stages import Stage
from blockfit.errors import BadValueError, UnreadableFileError, shown_name
from blockfit.facts.mappings import FrozenMapping
from blockfit.filing.job_file import read_parts, write_parts
from blockfit.filing.log import Entry, new_entry
from blockfit.jobs.classes import KNOWN
from blockfit.kinds import kinds_checked
from blockfit.marking.check import Check
from blockfit.marking.pointing import Pointing
from blockfit.marking.roughing import Roughing
from blockfit.search.result import Fit
from blockfit.solids.flaw import Flaw
from blockfit.units import rounded_down
from blockfit.waste.offcuts.plan import OffcutPlan

__all__ = ["Job", "open_job"]

_PARTS: dict[str, tuple[type, ...]] = {
    "fit": (Fit,),
    "plan": (OffcutPlan, type(None)),
    "points": (Pointing, type(None)),
    "planes": (tuple,),
    "stage": (Stage, type(None)),
    "asked": (Mapping,),
    "log": (tuple,),
}


@dataclass(frozen=True, eq=False, repr=False)
class Job:
    """One figure in one block over the months: the ``fit``, and the ``log`` of all that happened, oldest first.

    ``plan``, ``points`` and ``planes`` (a table for each face worked from) are as they were once made, and stay;
    ``stage`` is the stone as it stands, where that cannot be told from them; ``asked`` are the options that they
    were made with. ``path`` is where it was opened, or saved last.

    Numbers are the same to the last bit after saving and opening; ``when`` in the log is ISO 8601, local time. A job is
    never changed: each step returns a new one. ``print`` it for the log.

    >>> import pathlib, tempfile
    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.largest(cube, bf.Block.box(300, 200, 250), stance=bf.Stance.upright())
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     fit.save(pathlib.Path(folder) / "cube.blockfit")
    ...     job = bf.open_job(pathlib.Path(folder) / "cube.blockfit").noted("note", "the block came").save()
    >>> job, job.fit.scale == fit.scale, [entry.what for entry in job.since_placed]
    (Job('figure' in '300 x 200 x 250 mm', 2 entries), True, ['placed', 'note'])
    """

    fit: Fit
    log: tuple[Entry, ...]
    plan: OffcutPlan | None = None
    points: Pointing | None = None
    planes: tuple[Roughing, ...] = ()
    stage: Stage | None = None
    asked: Mapping[str, Any] = field(default_factory=FrozenMapping)
    path: Path | None = None

    @kinds_checked
    def save(self, path: str | Path | None = None) -> "Job":
        """Write the job to ``path``, or where it comes from; return it with that path.

        The file appears whole or not at all, the three states before it stay beside as ``….earlier-1.blockfit`` and so
        on. A file that another hand has changed since is not written over; a job that has no file yet takes the place
        of none to which something has happened. Raises `BadValueError`, `UnreadableFileError`.
        """
        file = self.path if path is None else Path(path)
        if file is None:
            raise BadValueError("this job has no file yet: name one, as in job.save('kneeling.blockfit')")
        parts = {name: getattr(self, name) for name in _PARTS}
        write_parts(
            file,
            {name: value for name, value in parts.items() if value is not None},
            fresh=self.path is None,
            known=KNOWN,
        )
        return replace(self, path=file)

    @property
    def since_placed(self) -> tuple[Entry, ...]:
        """What happened since the placement was chosen: what its tables name is counted from there."""
        return self._after(lambda entry: entry.what == "moved")

    @property
    def since_seen(self) -> tuple[Entry, ...]:
        """What happened to the stone since `stage`, or the block, showed it: since a scan, or the placement."""
        return self._after(lambda e: e.what in ("moved", "scan") or (e.what == "lost" and isinstance(e.about, Mapping)))

    @property
    def lost_so_far(self) -> tuple[Flaw | Check, ...]:
        """What was lost of the stone since then: flaws, and readings that were too deep."""
        held = [entry.about for entry in self.since_seen if entry.what == "lost" and isinstance(entry.about, tuple)]
        return tuple(one for about in held for one in about)

    def _after(self, is_last: Callable[[Entry], bool]) -> tuple[Entry, ...]:
        return self.log[max((k + 1 for k, entry in enumerate(self.log) if is_last(entry)), default=0) :]

    @kinds_checked
    def noted(self, what: str, words: str, about: Any = None, *, when: str | None = None) -> "Job":
        """Return the job with one more entry in its log.

        >>> import blockfit as bf
        >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
        >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(300, 200, 250))
        >>> job = bf.Job(fit, ()).noted("note", "the block came", when="2026-03-02T09:30:00+01:00")
        >>> print(job.log[-1])
        2026-03-02 09:30  note      the block came
        """
        return replace(self, log=(*self.log, new_entry(what, words, about, when=when)))

    def __repr__(self) -> str:
        """Return the figure, the block and how much has happened."""
        return f"Job({self.fit.figure.name!r} in {self.fit.block.name!r}, {len(self.log)} entries)"

    def __str__(self) -> str:
        """Return the log as lines."""
        head = f"{self.fit.figure.name} in {self.fit.block.name}, scale {rounded_down(self.fit.scale, 4):.4f}"
        return "\n".join([head, *(f"  {entry}" for entry in self.log)]) + "\n"


@kinds_checked
def open_job(path: str | Path) -> Job:
    """Return the job in a file, exactly as it was saved; nothing in the file is run.

    Files of earlier versions are opened too. Raises `UnreadableFileError` for a file that is damaged, cut short, no
    job, or written by a later version; where an earlier state beside it is whole, its name is given.

    >>> import tempfile, pathlib, blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(300, 200, 250))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     fit.save(pathlib.Path(folder) / "cube.blockfit")
    ...     job = bf.open_job(pathlib.Path(folder) / "cube.blockfit")
    >>> job.fit.scale == fit.scale, [entry.what for entry in job.log]
    (True, ['placed'])
    """
    file = Path(path)
    parts = read_parts(file, KNOWN)
    held = {name: parts.get(name) for name in _PARTS}
    held |= {"asked": parts.get("asked", FrozenMapping()), "planes": parts.get("planes", ())}
    wrong = [name for name, value in held.items() if not isinstance(value, _PARTS[name])]
    wrong += [name for name in parts if name not in _PARTS]
    for name, kind in (("log", Entry), ("planes", Roughing)):
        wrong += [] if name in wrong or all(isinstance(one, kind) for one in held[name] or ()) else [name]
    if wrong:
        raise UnreadableFileError(f"{shown_name(file)} is damaged: its {wrong[0]} is none")
    return Job(**held, path=file)  # type: ignore[arg-type]

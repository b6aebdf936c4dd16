"""Readings taken back from the stone: how much is still on it, or how much too deep it was cut, and where.

mm, block frame. Distances to the figure are exact for its surface; what a reading is worth is the user's error."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array, frozen
from blockfit.marking.datum import Datum
from blockfit.marking.table import in_columns
from blockfit.measure.booleans import refined
from blockfit.measure.distance import SurfaceDistance
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.units import Length, length_mm
from blockfit.waste.placed import placed_solid

__all__ = ["OUTSIDE", "Check", "Reading", "check"]

OUTSIDE = "is the number, its unit and the datum right?"
"""What to ask of readings that lie outside the block."""

_MOST_MM = 1e6


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Reading(Result):
    """One place on the stone: where it is (3,), and the stone still over the figure there, below 0 if cut too deep.

    ``verdict`` is ``stone on it``, ``too deep``, or ``within the error`` of zero; ``outside the block`` where there was
    never any stone: the number, its unit or the datum is wrong. ``nearest_mm`` (3,) is the figure's nearest point.
    """

    name: str = field(metadata=fact("reading", Sure.GIVEN))
    at_mm: Array = field(metadata=fact("at", Sure.GIVEN))
    left_mm: float = field(metadata=fact("stone left", Sure.EXACT, Rounding.DOWN))
    verdict: str = field(metadata=fact("verdict", Sure.EXACT))
    nearest_mm: Array = field(metadata=fact("nearest", Sure.EXACT, shown=False))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Check(Result):
    """All readings, the worst first; ``error_mm`` is what each may be wrong by.

    All in mm, in the block's frame; distances are exact for the figure's surface.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> checked = bf.check(fit, {"over the toe": (300, 40, 60), "by the heel": (150, 60, 100)}, error=2)
    >>> [(reading.name, reading.verdict, round(reading.left_mm)) for reading in checked.readings]
    [('by the heel', 'too deep', -10), ('over the toe', 'stone on it', 10)]
    >>> len(checked.too_deep), checked.error_mm
    (1, 2.0)
    """

    readings: tuple[Reading, ...] = field(metadata=fact("readings", Sure.EXACT))
    error_mm: float = field(metadata=fact("error of each", Sure.GIVEN))

    @property
    def too_deep(self) -> tuple[Reading, ...]:
        """Readings that lie inside the figure by more than the error: `recover` takes them as lost stone."""
        return tuple(reading for reading in self.readings if reading.verdict == "too deep")

    @property
    def outside(self) -> tuple[Reading, ...]:
        """Readings that lie outside the block by more than the error: something is wrong with them, or with all."""
        return tuple(reading for reading in self.readings if reading.verdict == "outside the block")

    def rows(self) -> list[tuple[str, ...]]:
        """Return the table as text, a heading first."""
        table: list[tuple[str, ...]] = [("name", "across mm", "in mm", "up mm", "stone on it mm", "verdict")]
        for reading in self.readings:
            x, y, z = (f"{value:.1f}" for value in reading.at_mm)
            table.append((reading.name, x, y, z, f"{reading.left_mm:.1f}", reading.verdict))
        return table

    def __str__(self) -> str:
        """Return the table in columns."""
        return in_columns(self.rows())


def check(
    fit: Fit,
    readings: Mapping[str, Any] | Iterable[Any],
    *,
    datum: Datum | None = None,
    error: Length = 2,
) -> Check:
    """Return what readings taken back from the stone say.

    ``readings`` are places on the stone as it stands, (across, in, up) in mm from ``datum`` (default: the block's
    edges): a mapping from names, or (n, 3) numbers such as the points of a new scan. ``error`` is what each may be
    wrong by. Raises `BadValueError` for readings that are no numbers.
    """
    figure = placed_solid(fit, "checking readings")
    error_mm = length_mm(error, "error", least=0)
    if not isinstance(readings, Iterable) or isinstance(readings, str | bytes):
        raise BadValueError(f"readings={readings!r} must be named places, or a list of them, (n, 3)")
    if isinstance(readings, Mapping):
        names, values = [str(name) for name in readings], list(readings.values())
    else:
        values = readings if isinstance(readings, np.ndarray) else list(readings)  # type: ignore[assignment]
        names = [f"reading {k}" for k in range(1, len(values) + 1)]
    if len(values) == 0:
        raise BadValueError("readings is empty: there is nothing to check")
    taken = frozen(values, (None, 3), "readings")
    if np.abs(taken).max() > _MOST_MM:
        raise BadValueError(f"readings has one of {np.abs(taken).max():.3g} mm, over a kilometre; check the unit")
    points = (datum or Datum.edges(fit.block)).points(taken)
    vertices, faces = refined(figure.vertices, figure.faces, max(figure.size_mm) / 60)
    away, nearest = SurfaceDistance(vertices, faces).signed(points)
    beyond = _beyond(fit.block, points)
    told = []
    for k in np.argsort(away, kind="stable"):
        left = float(away[k])
        verdict = "too deep" if left < -error_mm else "within the error" if left <= error_mm else "stone on it"
        verdict = "outside the block" if beyond[k] > error_mm else verdict
        told.append(Reading(names[k], points[k].copy(), left, verdict, nearest[k].copy()))
    return Check(tuple(told), error_mm)


def _beyond(block: Block, points: Array) -> Array:
    """Return (n,) how far points lie outside the block at least, below 0 inside."""
    if block.surface is not None:
        return SurfaceDistance(block.surface.vertices, block.surface.faces).signed(points)[0]
    return np.asarray((points @ block.normals.T - block.offsets_mm).max(axis=1))

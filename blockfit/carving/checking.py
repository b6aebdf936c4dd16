"""What has been taken back from the stone, compared with the figure: single readings, or a whole scan; and the pace."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, overload

from blockfit.carving.left import StoneLeft, stone_left
from blockfit.carving.registration import Registration
from blockfit.carving.scan_stone import stone_of_scan
from blockfit.carving.stages import stage_from
from blockfit.errors import BadValueError
from blockfit.kinds import above_0, kinds_checked
from blockfit.marking.check import Check
from blockfit.marking.check import check as check_readings
from blockfit.marking.datum import Datum
from blockfit.measure.booleans import arrays_of
from blockfit.search.flawed.obstacles import stone_of
from blockfit.search.result import Fit
from blockfit.solids.figure import Figure
from blockfit.solids.stage import StageStone
from blockfit.units import Length, length_mm

__all__ = ["Pace", "check", "pace"]

_SAME_M3 = 5e-6  # 0.005 l: what is shown as 0.00 l


@overload
def check(fit: Fit, readings: Registration | StageStone | Figure, *, error: Length = 2) -> StoneLeft: ...
@overload
def check(
    fit: Fit, readings: Mapping[str, Any] | Iterable[Any], *, datum: Datum | None = None, error: Length = 2
) -> Check: ...
@kinds_checked
def check(fit: Fit, readings: Any, *, datum: Datum | None = None, error: Length = 2) -> Check | StoneLeft:
    """Return what readings taken back from the stone say, or how much stone a scan of it leaves.

    ``readings`` are places on the stone as it stands, (across, in, up) in mm from ``datum`` (default: the block's
    edges): a mapping from names, or (n, 3) numbers; ``error`` is what each may be wrong by. A scan is a registered one
    (see `register`), a stage, or a surface that lies in the block's frame already; of that, holes are closed, and what
    lies further outside the block than ``error`` is left out. Raises `BadValueError` for readings that are no numbers.

    Distances are exact for the figure's surface; what a reading is worth is your own error. Raises `OpenSurfaceError`
    for a figure that is no solid.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [60, 0, 0], [0, 100, 0], [0, 0, 1000]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.largest(figure, bf.Block.box(60, 100, 1000), stance=bf.Stance.fixed())
    >>> bf.check(fit, {"the edge": (0, 0, 500)}).readings[0].verdict
    'within the error'
    >>> round(bf.check(fit, fit.solid()).volume_m3, 9)
    0.0
    """
    if isinstance(readings, Registration):
        return stone_left(fit, readings.stage)
    if isinstance(readings, StageStone):
        return stone_left(fit, readings)
    if not isinstance(readings, Figure):
        return check_readings(fit, readings, datum=datum, error=error)
    if readings.is_solid:
        return stone_left(fit, readings, error=error)
    before = fit.block.surface or Figure(*arrays_of(stone_of(fit.block)), name=fit.block.name)
    spare = length_mm(error, "error", least=0)
    found = stone_of_scan(readings.vertices, readings.faces, before, spare, 0.0)
    stage = stage_from(fit, found.solid, ("as scanned",), None, found.seen, found.repairs)
    return stone_left(fit, stage, error=error)


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast stone went between two dates: ``days`` apart, ``gone_m3`` in all, a day, and an hour of the user's own.

    ``hours_left`` is what remains at that pace, by volume; both are ``None`` without hours. Finishing goes slower than
    roughing out: it is a least, not a promise.

    ``per_hour_m3`` is m³ an hour. An estimate, from your own days and hours alone.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [60, 0, 0], [0, 100, 0], [0, 0, 1000]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.largest(figure, bf.Block.box(60, 100, 1000), stance=bf.Stance.fixed())
    >>> whole, done = bf.check(fit, bf.stage_of(fit)), bf.check(fit, fit.solid())
    >>> found = bf.pace(whole, done, ("2026-03-02", "2026-03-12"), hours=50)
    >>> found.days, round(found.gone_m3, 6), round(found.per_day_m3, 6), found.hours_left < 0.01
    (10, 0.005, 0.0005, True)
    """

    days: int
    gone_m3: float
    per_day_m3: float
    per_hour_m3: float | None
    hours_left: float | None


@kinds_checked
def pace(
    first: StoneLeft, later: StoneLeft, dates: tuple[str | date, str | date], *, hours: float | None = None
) -> Pace:
    """Return how fast the stone went between two stages on two ``dates``, and what remains.

    ``dates`` are written year-month-day, or are dates of Python.

    ``hours`` are those that the user worked between them: what remains is told from them alone. Raises `BadValueError`
    for dates that are none or not in order, for hours that are not above 0, and where there is more stone later.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [60, 0, 0], [0, 100, 0], [0, 0, 1000]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.largest(figure, bf.Block.box(60, 100, 1000), stance=bf.Stance.fixed())
    >>> whole, done = bf.check(fit, bf.stage_of(fit)), bf.check(fit, fit.solid())
    >>> told = bf.pace(whole, done, ("2026-03-02", "2026-03-12"), hours=50)
    >>> told.days, round(told.per_hour_m3, 6)
    (10, 0.0001)
    """
    try:
        start, end = (date.fromisoformat(str(day)) for day in dates)
    except ValueError as error:
        raise BadValueError(f"dates={dates!r} must be two days such as 2026-03-02, the earlier first") from error
    days = (end - start).days
    if days <= 0:
        raise BadValueError(f"dates={dates!r} must be two days, the earlier first")
    if hours is not None:
        above_0(hours, "hours")
    gone = first.volume_m3 - later.volume_m3
    if abs(gone) < _SAME_M3:
        raise BadValueError("no stone has gone between the two stages, first and later: there is no pace to tell")
    if gone < 0:
        raise BadValueError(f"{-gone * 1000:.2f} l more are left later than before: check the scans")
    per_hour = None if hours is None else gone / hours
    left = None if per_hour is None else later.volume_m3 / per_hour
    return Pace(days, gone, gone / days, per_hour, left)

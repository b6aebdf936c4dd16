"""What has been taken back from the stone, compared with the figure: single readings, or a whole scan."""

from collections.abc import Iterable, Mapping
from typing import Any, overload

from blockfit.carving.left import StoneLeft, stone_left
from blockfit.carving.registration import Registration
from blockfit.carving.scan_stone import stone_of_scan
from blockfit.carving.stages import stage_from
from blockfit.marking.check import Check
from blockfit.marking.check import check as check_readings
from blockfit.marking.datum import Datum
from blockfit.measure.booleans import arrays_of
from blockfit.search.flawed.obstacles import stone_of
from blockfit.search.result import Fit
from blockfit.solids.figure import Figure
from blockfit.solids.stage import StageStone
from blockfit.units import Length, length_mm

__all__ = ["check"]


@overload
def check(fit: Fit, readings: Registration | StageStone | Figure, *, error: Length = 2) -> StoneLeft: ...
@overload
def check(
    fit: Fit, readings: Mapping[str, Any] | Iterable[Any], *, datum: Datum | None = None, error: Length = 2
) -> Check: ...
def check(fit: Fit, readings: Any, *, datum: Datum | None = None, error: Length = 2) -> Check | StoneLeft:
    """Return what readings taken back from the stone say, or how much stone a scan of it leaves.

    ``readings`` are places on the stone as it stands, (across, in, up) in mm from ``datum`` (default: the block's
    edges): a mapping from names, or (n, 3) numbers; ``error`` is what each may be wrong by. A scan is a registered one
    (see `register`), a stage, or a surface that lies in the block's frame already; of that, holes are closed, and what
    lies further outside the block than ``error`` is left out. Raises `BadValueError` for readings that are no numbers.

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
        return stone_left(fit, readings)
    before = fit.block.surface or Figure(*arrays_of(stone_of(fit.block)), name=fit.block.name)
    spare = length_mm(error, "error", least=0)
    found = stone_of_scan(readings.vertices, readings.faces, before, spare, 0.0)
    return stone_left(fit, stage_from(fit, found.solid, ("as scanned",), None, found.seen, found.repairs))

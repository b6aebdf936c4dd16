"""The placed figure as a solid, and the pitch its columns are measured by."""

import math
from weakref import WeakKeyDictionary

from blockfit.errors import BadValueError
from blockfit.measure.booleans import keep_moved, lighter
from blockfit.search.result import Fit, Verdict
from blockfit.solids.figure import Figure, require_solid

__all__ = ["default_pitch_mm", "light_solid", "placed_solid"]

_MANY = 60_000  # faces: beyond them a surface within a fifth of a millimetre serves where nothing finer is asked
_LIGHT_MM = 0.2
_COLUMNS, _THROUGH = 400, 20  # pitches along a block, and through a thin one
_light: "WeakKeyDictionary[Figure, Figure]" = WeakKeyDictionary()


def placed_solid(fit: Fit, what: str) -> Figure:
    """Return the placed figure, or raise: `OpenSurfaceError` if it is no solid, `BadValueError` if it sticks out."""
    require_solid(fit.figure, what)
    if fit.placement is None or fit.verdict is not Verdict.FITS:
        raise BadValueError(
            f"{what} needs a figure that fits, and {fit.figure.name} does not fit in {fit.block.name}; "
            "ask largest() for the size that does"
        )
    placed = fit.solid()
    if len(placed.faces) > _MANY:
        keep_moved(fit.figure, placed, fit.placement.scale * fit.placement.rotation, fit.placement.shift_mm)
    return placed


def light_solid(figure: Figure, resolved_mm: float = math.inf) -> tuple[Figure, float]:
    """Return a figure of very many faces as one of fewer, and how far the two may lie apart (0 for others).

    It stays as it is where the answer is resolved so finely that the difference could show.
    """
    if len(figure.faces) <= _MANY or resolved_mm < 4 * _LIGHT_MM:
        return figure, 0.0
    if figure not in _light:
        _light[figure] = Figure(*lighter(figure, _LIGHT_MM), name=figure.name)
    return _light[figure], _LIGHT_MM


def default_pitch_mm(fit: Fit) -> float:
    """Return a 400th of the block's longest side, less for a thin block, as far as no view has more columns for it."""
    thin, middle, long = sorted(fit.block.size_mm)
    return min(long / _COLUMNS, max(thin / _THROUGH, math.sqrt(long * middle) / _COLUMNS))

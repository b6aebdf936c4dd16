"""The placed figure as a solid, and the pitch its columns are measured by."""

from blockfit.errors import BadValueError
from blockfit.search.result import Fit, Verdict
from blockfit.solids.figure import Figure, require_solid

__all__ = ["default_pitch_mm", "placed_solid"]


def placed_solid(fit: Fit, what: str) -> Figure:
    """Return the placed figure, or raise: `OpenSurfaceError` if it is no solid, `BadValueError` if it sticks out."""
    require_solid(fit.figure, what)
    if fit.placement is None or fit.verdict is not Verdict.FITS:
        raise BadValueError(
            f"{what} needs a figure that fits, and {fit.figure.name} does not fit in {fit.block.name}; "
            "ask largest() for the size that does"
        )
    return fit.solid()


def default_pitch_mm(fit: Fit) -> float:
    """Return a 400th of the block's longest side."""
    return max(fit.block.size_mm) / 400

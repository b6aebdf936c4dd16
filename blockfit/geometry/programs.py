"""Small programs, linear by highspy and others by scipy.optimize; the one home of both."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import ROUNDING

__all__ = ["Program", "fitted", "largest_box", "least"]

_ENDLESS = 1e20  # what the solver takes for infinite
_POSITIVE = 1e-12  # sides are taken for at least this: a logarithm of 0 has no value
_LEAST_SIDE = 1e-6  # of the ball's radius: the solver goes no nearer to a flat box

Bounds = Sequence[tuple[float | None, float | None]]


@dataclass(frozen=True, slots=True, eq=False)
class Program:
    """The best point (n,) and the duals (m,) >= 0 of the rows."""

    point: Array
    duals: Array


def least(cost: Array, rows: Array, rest: Array, bounds: Bounds | None = None) -> Program | None:
    """Return a corner where ``cost @ x`` is least subject to ``rows @ x <= rest``, or ``None`` if nowhere or endless.

    Variables are free unless ``bounds`` says otherwise. By the dual simplex method without presolve, quickest for
    programs of some tens of rows.
    """
    import highspy

    if float(np.min(rest, initial=0.0)) <= -_ENDLESS:
        return None
    count, width = rows.shape
    low, high = np.array(bounds or [(None, None)] * width, np.float64).T  # None becomes nan
    solver = _solver()
    taken = solver.passModel(
        width, count, count * width, int(highspy.MatrixFormat.kRowwise), int(highspy.ObjSense.kMinimize), 0.0,
        np.asarray(cost, np.float64), np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high),
        np.full(count, -np.inf), np.asarray(rest, np.float64), np.arange(0, count * width + 1, width, dtype=np.int32),
        np.tile(np.arange(width, dtype=np.int32), count), np.ascontiguousarray(rows, np.float64).ravel(),
        np.zeros(width, np.int32),  # nothing integral
    )  # fmt: skip
    finite = np.isfinite(rows).all() and np.isfinite(rest).all()
    if not finite or highspy.HighsStatus.kError in (taken, solver.run()):
        raise AssertionError("a program that the solver refuses: a fault in blockfit, please report it")
    if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return None
    found = solver.getSolution()
    return Program(np.array(found.col_value), -np.array(found.row_dual))


@cache
def _quiet() -> Any:
    import highspy

    class Quiet(highspy.Highs):
        def enableCallbacks(self) -> None:
            """Do without them: there are none, and setting them up prints a banner."""

    return Quiet


def _solver() -> Any:
    """Return a solver of its own, so that no program's answer depends on the one before it."""
    solver = _quiet()()
    for option, value in (("output_flag", False), ("presolve", "off"), ("solver", "simplex")):
        solver.setOptionValue(option, value)
    return solver


def largest_box(normals: Array, offsets: Array, centre: Array, radius: float) -> Array:
    """Return the sizes (3,) of the largest box, square to the axes, where ``normals @ x <= offsets``.

    Starts from the cube in a ball that lies inside. Its product of sides has one maximum, as its logarithm is
    concave; the box is shrunk by what the solver may have missed.
    """
    from scipy.optimize import minimize

    reach = np.abs(normals) / 2
    scale = radius or 1.0
    start = np.concatenate([centre, np.full(3, 2 * radius / 3**0.5 * 0.9)]) / scale

    def spare(v: Array) -> Array:
        return np.asarray(offsets / scale - normals @ v[:3] - reach @ v[3:])

    found = minimize(  # type: ignore[call-overload]
        lambda v: -float(np.log(np.maximum(v[3:], _POSITIVE)).sum()),
        start,
        jac=lambda v: np.concatenate([np.zeros(3), -1 / np.maximum(v[3:], _POSITIVE)]),
        constraints={"type": "ineq", "fun": spare, "jac": lambda v: -np.hstack([normals, reach])},
        bounds=[(None, None)] * 3 + [(_LEAST_SIDE, None)] * 3,
        method="SLSQP",
    )
    best = found.x if found.success else start
    worst = float((spare(best) / np.maximum(reach @ best[3:], _POSITIVE)).min())
    # Rounded down to a ten-thousandth: the solver's last digits hang on how many threads it had.
    return np.asarray(np.floor(best[3:] * min(1.0, 1.0 + worst) * scale * 1e4) / 1e4)


def fitted(misses: Callable[[Array], Array], start: Array) -> Array:
    """Return the point (n,) near ``start`` where the squares of ``misses`` sum to the least."""
    from scipy.optimize import least_squares

    return np.asarray(least_squares(misses, start, xtol=ROUNDING, ftol=ROUNDING, gtol=ROUNDING).x)

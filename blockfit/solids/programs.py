"""Small linear programs; scipy.optimize's one home."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from blockfit.solids.arrays import Array

__all__ = ["Program", "fitted", "largest_box", "least"]

Bounds = Sequence[tuple[float | None, float | None]]


@dataclass(frozen=True, slots=True, eq=False)
class Program:
    """The best point (n,) and the duals (m,) >= 0 of the rows."""

    point: Array
    duals: Array


def least(
    cost: Array, rows: Array, rest: Array, bounds: Bounds | None = None, *, simplex: bool = False
) -> Program | None:
    """Return where ``cost @ x`` is least subject to ``rows @ x <= rest``, or ``None`` if nowhere or without end.

    Variables are free unless ``bounds`` says otherwise. ``simplex`` asks for a corner, without presolve: quicker
    for the smallest programs.
    """
    from scipy.optimize import linprog

    found = linprog(
        cost,
        A_ub=rows,
        b_ub=rest,
        bounds=bounds or [(None, None)] * len(cost),
        method="highs-ds" if simplex else "highs",
        options={"presolve": not simplex},
    )
    if found.status != 0 or found.x is None:
        return None
    return Program(np.asarray(found.x), -np.asarray(found.ineqlin.marginals))


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
        lambda v: -float(np.log(np.maximum(v[3:], 1e-12)).sum()),
        start,
        jac=lambda v: np.concatenate([np.zeros(3), -1 / np.maximum(v[3:], 1e-12)]),
        constraints={"type": "ineq", "fun": spare, "jac": lambda v: -np.hstack([normals, reach])},
        bounds=[(None, None)] * 3 + [(1e-6, None)] * 3,
        method="SLSQP",
    )
    best = found.x if found.success else start
    worst = float((spare(best) / np.maximum(reach @ best[3:], 1e-12)).min())
    # Rounded down to a ten-thousandth: the solver's last digits hang on how many threads it had.
    return np.asarray(np.floor(best[3:] * min(1.0, 1.0 + worst) * scale * 1e4) / 1e4)


def fitted(misses: Callable[[Array], Array], start: Array) -> Array:
    """Return the point (n,) near ``start`` where the squares of ``misses`` sum to the least."""
    from scipy.optimize import least_squares

    return np.asarray(least_squares(misses, start, xtol=1e-12, ftol=1e-12, gtol=1e-12).x)

"""Small linear programs; scipy.optimize's one home."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blockfit.solids.arrays import Array

__all__ = ["Program", "least"]

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

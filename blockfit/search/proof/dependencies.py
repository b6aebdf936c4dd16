"""Minimal nonnegative dependencies of a block's normals: the weights that turn faces into a bound.

For weights λ ≥ 0 with Σ λ_j n_j = 0, adding up λ_j times the condition of face j,
``n_j·x + s h_j <= b_j``, cancels the shift x and leaves ``s Σ λ_j h_j <= Σ λ_j b_j``. By linear
programming duality the minimal ones together are exact: the figure fits if and only if all hold.
A box has three, one for each pair of opposite faces.

Of other blocks the list may miss some whose faces are nearly, not exactly, parallel; the search learns those from
linear programs as it goes. A dependency that cancels only nearly is made good where it is used (`Question.rows`)."""

from functools import cache
from itertools import combinations

import numpy as np

from blockfit.geometry.arrays import Array, Flags

__all__ = ["MOST_LISTED", "USED", "cancelled", "dependencies", "exact_dependency", "pair_rows"]

_NEARLY = 1e-8  # of the largest singular value: below it normals count as dependent
MOST_LISTED = 24  # up to 10,626 fours; beyond that the search collects dependencies as it needs them
USED = 1e-7  # of the largest dual: a smaller one is the solver's rounding
_OPPOSITE = 1e-14  # normals that cancel to the last digits
_DEPENDS, _VANISHES = 1e-9, 1e-10  # singular values above which normals are independent, below which they depend


def dependencies(normals: Array) -> tuple[Array, bool]:
    """Return (k, f) dependencies, each row adding up to 1, and whether they are all there are.

    >>> import numpy as np
    >>> from blockfit.search.proof.dependencies import dependencies
    >>> box = np.vstack([np.eye(3), -np.eye(3)])
    >>> dependencies(box)[0].tolist()[0]
    [0.5, 0.0, 0.0, 0.5, 0.0, 0.0]
    """
    return _dependencies(normals.tobytes(), len(normals))


@cache
def _dependencies(raw: bytes, count: int) -> tuple[Array, bool]:
    normals = np.frombuffer(raw).reshape(count, 3)
    found = [_opposite(normals)]
    complete = count <= MOST_LISTED
    if complete:
        found += [_minimal(normals, 3), _minimal(normals, 4)]
    rows = np.concatenate(found)
    rows.flags.writeable = False
    return rows, complete


def exact_dependency(normals: Array, duals: Array) -> Array | None:
    """Return (f,) weights that add up to 1, from a solver's duals, made as exact as the normals allow; None for none.

    What they leave over is made good where they are used, so that no rounding enters a proof.
    """
    used = np.flatnonzero(duals > USED * duals.max(initial=0))
    if len(used) == 0:
        return None
    weights = cancelled(normals[used], duals[used])
    row = np.zeros(len(normals))
    row[used] = duals[used] / duals[used].sum() if weights is None else weights
    return row


def cancelled(normals: Array, weights: Array) -> Array | None:
    """Return the nearest weights with ``weights @ normals == 0``, adding up to 1; ``None`` if not all are above 0."""
    # Normals that are nearly dependent are not forced: what is left over is made good where the weights are used.
    for _ in range(2):  # the second pass takes the first one's rounding away
        weights = weights - np.linalg.lstsq(normals.T, normals.T @ weights, rcond=_NEARLY)[0]
    return weights / weights.sum() if (weights > 0).all() else None


def pair_rows(weights: Array) -> Flags:
    """Return (k,) whether each dependency is a pair of opposite faces."""
    return np.asarray((weights > 0).sum(axis=1) == 2)


def _opposite(normals: Array) -> Array:
    """Return a row for each pair of opposite normals."""
    against = normals @ normals.T
    first, second = np.nonzero(np.triu(against < -0.9, 1))
    exact = np.linalg.norm(normals[first] + normals[second], axis=1) < _OPPOSITE
    first, second = first[exact], second[exact]
    rows = np.zeros((len(first), len(normals)))
    rows[np.arange(len(first)), first] = rows[np.arange(len(first)), second] = 0.5
    return rows


def _minimal(normals: Array, size: int) -> Array:
    """Return rows with exactly ``size`` positive weights: the normals of a simplex around the origin."""
    choices = np.array(list(combinations(range(len(normals)), size)), np.int64)
    if len(choices) == 0:
        return np.zeros((0, len(normals)))
    # The null vector of the 3 x size matrix: its smallest singular direction.
    _, spread, turned = np.linalg.svd(np.swapaxes(normals[choices], 1, 2), full_matrices=True)
    null = turned[:, -1, :] * np.sign(turned[:, -1, :1])
    single = spread[:, size - 2] > _DEPENDS  # otherwise a smaller set already depends
    depends = np.ones(len(choices), bool) if size == 4 else spread[:, 2] < _VANISHES
    keep = single & depends & (null > _DEPENDS).all(axis=1)
    rows = np.zeros((int(keep.sum()), len(normals)))
    np.put_along_axis(rows, choices[keep], null[keep] / null[keep].sum(axis=1, keepdims=True), axis=1)
    return rows

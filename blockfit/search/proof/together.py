"""How little rows, alone or weighed together, can become over cells of rotations; see `bounds`."""

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import NOT_ZERO
from blockfit.search.proof.bounds import least_over_turns, least_over_vertical, least_width
from blockfit.search.proof.cells import Cells

__all__ = ["least_of", "least_together"]


def least_of(matrices: Array, radii: Array, turned: Cells, *, pair: bool = False) -> Array:
    """Return (b,) lower bounds of tr(E N) over each cell's rotations."""
    trace = np.einsum("bii->b", matrices)
    if turned.are_turns:
        level = matrices[:, 0, 0] + matrices[:, 1, 1]
        return least_over_vertical(level, matrices[:, 0, 1] - matrices[:, 1, 0], matrices[:, 2, 2], radii)
    x, y, z = (matrices[:, i, j] - matrices[:, j, i] for i, j in ((1, 2), (2, 0), (0, 1)))
    axial = np.sqrt(x * x + y * y + z * z)
    if pair:
        return least_width(trace, axial, radii)
    symmetric = (matrices + np.swapaxes(matrices, 1, 2)) / 2
    squares = np.maximum((symmetric**2).sum(axis=(1, 2)) - trace**2 / 3, 0)
    return least_over_turns(trace, axial, np.sqrt(squares), radii)


def least_together(matrices: Array, radii: Array) -> Array:
    """Return (b,) the most that pairs of rows, weighed together, must reach over each cell's rotations.

    ``matrices`` (b, k, 3, 3) are each divided by its room, so that the scale times any average of theirs is at most 1.
    Where two rows would give by turning opposite ways, their average gives only by the square of the turn.
    """
    first, second = np.triu_indices(matrices.shape[1], 1)
    axes = np.stack([matrices[..., i, j] - matrices[..., j, i] for i, j in ((1, 2), (2, 0), (0, 1))], axis=-1)
    one, other = axes[:, first], axes[:, second]
    apart = other - one
    share = np.clip((other * apart).sum(axis=2) / np.maximum((apart**2).sum(axis=2), NOT_ZERO), 0, 1)[..., None, None]
    mixed = share * matrices[:, first] + (1 - share) * matrices[:, second]
    trace = np.einsum("bkii->bk", mixed)
    axial = np.linalg.norm(share[..., 0] * one + (1 - share[..., 0]) * other, axis=2)
    symmetric = (mixed + np.swapaxes(mixed, -1, -2)) / 2
    squares = np.maximum((symmetric**2).sum(axis=(-2, -1)) - trace**2 / 3, 0)
    together = least_over_turns(trace, axial, np.sqrt(squares), radii[:, None]).max(axis=1)
    return np.asarray(np.maximum(together, NOT_ZERO))

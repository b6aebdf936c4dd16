"""The array types used throughout, and how a value takes in an array: copied, checked, frozen."""

from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from blockfit.errors import BadValueError

__all__ = ["Array", "Flags", "Ints", "all_differ", "distinct_rows", "frozen"]

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

Rows = TypeVar("Rows", Array, Ints)

_ODD = np.uint64(0x9E3779B97F4A7C15)  # spreads bits when multiplied by: 2^64 over the golden ratio, made odd


def frozen(values: Any, shape: tuple[int | None, ...], name: str) -> Array:
    """Return our own read-only copy of ``values`` as float64; ``None`` in ``shape`` is any length.

    Raises `BadValueError` where the shape differs or a value is not finite.
    """
    try:
        array = np.array(values, dtype=np.float64)
    except (TypeError, ValueError, OverflowError) as error:
        raise BadValueError(f"{name} must be numbers: {error}") from error
    if array.ndim != len(shape) or any(w not in (None, n) for w, n in zip(shape, array.shape, strict=True)):
        wanted = " x ".join("n" if n is None else str(n) for n in shape)
        raise BadValueError(f"{name} has shape {array.shape}; {wanted} is needed")
    if not np.isfinite(array).all():
        bad = int(np.count_nonzero(~np.isfinite(array)))
        raise BadValueError(f"{name} has {bad} values that are infinite or not a number; remove them first")
    array.flags.writeable = False
    return array


def distinct_rows(rows: Rows) -> tuple[Rows, Ints]:
    """Return the different rows (k, c) in order, and (n,) which of them each row is; float64 or int64.

    The same as numpy's ``unique`` along the first axis, several times as fast: rows are told apart by one number
    mixed from their bits, and compared in full only afterwards.

    >>> import numpy as np
    >>> from blockfit.geometry.arrays import distinct_rows
    >>> found, which = distinct_rows(np.array([[1.0, 2.0], [0.0, 5.0], [1.0, 2.0]]))
    >>> found.tolist(), which.tolist()
    ([[0.0, 5.0], [1.0, 2.0]], [1, 0, 1])
    """
    plain = np.ascontiguousarray(rows) + rows.dtype.type(0)  # −0.0 is 0.0
    mixed = _mixed(plain)
    order = np.argsort(mixed)
    mixed, plain = mixed[order], plain[order]
    new = np.concatenate([[True], mixed[1:] != mixed[:-1]])[: len(mixed)]
    if not (plain[1:] == plain[:-1])[~new[1:]].all():  # two different rows gave one number
        found, where = np.unique(rows, axis=0, return_inverse=True)
        return found, where.ravel().astype(np.int64)
    found = plain[new]
    ranks = np.lexsort(found.T[::-1])
    place = np.empty(len(ranks), np.int64)
    place[ranks] = np.arange(len(ranks))
    where = np.empty(len(rows), np.int64)
    where[order] = place[np.cumsum(new) - 1]
    return found[ranks], where


def all_differ(rows: Ints) -> bool:
    """Tell whether no two rows (n, c) are equal; now and then ``False`` where none are."""
    mixed = np.sort(_mixed(np.ascontiguousarray(rows)))
    return bool((mixed[1:] != mixed[:-1]).all())


def _mixed(rows: Rows) -> npt.NDArray[np.uint64]:
    """Return (n,) a number for each row, mixed from the bits of its values."""
    mixed = np.zeros(len(rows), np.uint64)
    for column in rows.view(np.uint64).T:
        mixed ^= column
        mixed *= _ODD
        mixed ^= mixed >> np.uint64(32)
    return mixed

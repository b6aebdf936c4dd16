"""The array types used throughout, and how a value takes in an array: copied, checked, frozen."""

from typing import Any

import numpy as np
import numpy.typing as npt

from blockfit.errors import BadValueError

__all__ = ["Array", "Flags", "Ints", "frozen"]

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


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

"""Whether two values are the same to the last bit, field by field: written apart from what files them."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum

import numpy as np
import shapely


def same(one, other, path: str = "", seen: dict | None = None) -> None:
    """Raise `AssertionError`, with where, for any difference; what is one object in one is one in the other too."""
    seen = {} if seen is None else seen
    one, other = (value.item() if isinstance(value, np.generic) else value for value in (one, other))
    if isinstance(one, Mapping):
        assert isinstance(other, Mapping), path
        assert list(one) == list(other), path
        for key in one:
            same(one[key], other[key], f"{path}[{key!r}]", seen)
        return
    assert type(one) is type(other), f"{path}: {type(one)} {type(other)}"
    if isinstance(one, np.ndarray):
        assert (one.dtype, one.shape) == (other.dtype, other.shape), path
        assert one.tobytes() == other.tobytes(), path
    elif isinstance(one, Enum) or one is None or isinstance(one, str | bool | int):
        assert one == other, path
    elif isinstance(one, float):
        assert one.hex() == other.hex(), path
    elif isinstance(one, tuple):
        assert len(one) == len(other), path
        for k, (a, b) in enumerate(zip(one, other, strict=True)):
            same(a, b, f"{path}[{k}]", seen)
    elif is_dataclass(one):
        known = seen.setdefault(id(one), other)
        assert known is other, f"{path}: one object has become two"
        for field in fields(one):
            same(getattr(one, field.name), getattr(other, field.name), f"{path}.{field.name}", seen)
    else:
        assert shapely.equals_exact(one, other, 0.0), path
        assert shapely.get_coordinates(one).tobytes() == shapely.get_coordinates(other).tobytes(), path
        assert one.wkb == other.wkb, path

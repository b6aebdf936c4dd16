"""Whether a value is what an annotation says, as deep as the annotation goes."""

import types
from collections.abc import Mapping, Sequence
from enum import Enum
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np

__all__ = ["hints_of", "holds"]


@cache
def hints_of(made: type) -> dict[str, Any]:
    """Return the annotations of a dataclass's fields, by name."""
    return {name: hint for name, hint in get_type_hints(made).items() if name in made.__dataclass_fields__}  # type: ignore[attr-defined]


def holds(value: Any, hint: Any) -> bool:
    """Tell whether a value is what an annotation says; a whole number is a float too, as in annotations.

    >>> from blockfit.filing.hints import holds
    >>> holds((1.0, "a"), tuple[float, str]), holds((1.0, 2), tuple[float, str]), holds({"a": 1}, dict[str, float])
    (True, False, True)
    """
    if hint is Any:
        return True
    if hint is None or hint is type(None):
        return value is None
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return any(holds(value, one) for one in inner)
    if origin is Literal:
        return isinstance(value, str | int) and value in inner
    if origin is not None:
        return _holds_many(value, origin, inner)
    if hint is float:
        return isinstance(value, float | int) and not isinstance(value, bool)
    if hint is int:
        return isinstance(value, int) and not isinstance(value, bool)
    return isinstance(hint, type) and (issubclass(hint, Enum) or hint is not object) and isinstance(value, hint)


def _holds_many(given: Any, origin: Any, inner: tuple[Any, ...]) -> bool:
    if origin is np.ndarray:
        return isinstance(given, np.ndarray) and _is_kind(given, inner)
    if not (isinstance(origin, type) and isinstance(given, origin)) or isinstance(given, str):
        return False
    value: Any = given
    if origin is tuple:
        if len(inner) == 2 and inner[1] is Ellipsis:
            return all(holds(one, inner[0]) for one in value)
        return len(value) == len(inner) and all(map(holds, value, inner))
    if issubclass(origin, Mapping):
        return all(holds(key, inner[0]) and holds(one, inner[1]) for key, one in value.items())
    if issubclass(origin, Sequence):
        return all(holds(one, inner[0]) for one in value)
    return False


def _is_kind(value: Any, inner: tuple[Any, ...]) -> bool:
    """Tell whether an array has the numbers that ``NDArray[...]`` names."""
    wanted = get_args(inner[-1]) if inner else ()
    return not wanted or wanted[0] is Any or issubclass(value.dtype.type, wanted[0])

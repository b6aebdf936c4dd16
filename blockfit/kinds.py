"""What kind of value each option takes, by its own annotation, and the ranges that many options share.

Checked here: that a value is of the kind annotated. A length, ratio or weight (a number or text) is left to `units`,
which says how it is written. Not checked here: whether a value makes sense beside the others."""

import inspect
import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import fields
from decimal import Decimal
from functools import cache, wraps
from numbers import Integral, Real
from os import PathLike
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, ParamSpec, TypeVar, Union, cast, get_args, get_origin, get_type_hints

import numpy as np

from blockfit.errors import BadValueError

__all__ = ["above_0", "counted", "kinds_checked", "number_in", "take_fields"]

_P = ParamSpec("_P")
_R = TypeVar("_R")

_FEW = {2: "two", 3: "three"}
_WHOLE: tuple[Any, ...] = (Mapping, Callable)  # of these only the outside is looked at
_LISTS: tuple[Any, ...] = (Sequence, tuple, list)
_ALONE = (str, bytes, Mapping)  # no lists, though they can be gone through
_WORDS = {
    NoneType: "None",
    bool: "True or False",
    int: "a whole number",
    float: "a number",
    str: "text",
    Path: "a path",
    np.ndarray: "an array",
}


def kinds_checked(function: Callable[_P, _R]) -> Callable[_P, _R]:
    """Let a function check that each of its values is of the kind annotated, before anything else is done.

    Raises `BadValueError` that names the option, its value and what it may be. Whole numbers given as ``20.0`` or
    ``1e6`` are taken in as such.

    >>> from blockfit.kinds import kinds_checked
    >>> @kinds_checked
    ... def half(count: int) -> float:
    ...     return count / 2
    >>> half(1e6)
    500000.0
    >>> half("many")
    Traceback (most recent call last):
        ...
    blockfit.errors.BadValueError: count='many' must be a whole number
    """
    known = inspect.signature(function)
    listed = next((name for name, one in known.parameters.items() if one.kind is one.VAR_POSITIONAL), None)

    @wraps(function)
    def asked(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        given, hints = known.bind(*args, **kwargs), _hints(function)
        for name, value in given.arguments.items():
            if name == listed:
                given.arguments[name] = tuple(_taken(one, name, hints[name]) for one in value)
            elif name in hints:
                given.arguments[name] = _taken(value, name, hints[name])
        return function(*given.args, **given.kwargs)

    return asked


def take_fields(made: Any, but: tuple[str, ...] = ()) -> None:
    """Check each field of a dataclass that is being made by its annotation, as `kinds_checked` does options.

    Those in ``but`` are checked elsewhere: a length that is kept in mm may be given as text.
    """
    hints = _hints(cast(Hashable, type(made)))
    for one in fields(made):
        if one.init and one.name not in but:
            value = getattr(made, one.name)
            if (taken := _taken(value, one.name, hints[one.name])) is not value:
                object.__setattr__(made, one.name, taken)


def counted(value: int, name: str, *, least: int = 0, most: int | None = None) -> int:
    """Return a whole number of at least ``least`` and at most ``most``, or raise `BadValueError`.

    >>> from blockfit.kinds import counted
    >>> counted(3, "slants")
    3
    """
    whole = _taken(value, name, int)
    if whole < least or (most is not None and whole > most):
        bound = f"at least {least}" if most is None else f"{least} to {most}"
        raise BadValueError(f"{name}={value!r} must be a whole number, {bound}")
    return int(whole)


def number_in(value: float, name: str, low: float, high: float = math.inf, what: str = "a number") -> float:
    """Return a finite number from ``low`` to ``high``, both allowed, or raise `BadValueError`.

    >>> from blockfit.kinds import number_in
    >>> number_in(0.5, "share", 0, 1)
    0.5
    """
    if not (_is_number(value) and low <= value <= high and math.isfinite(value)):
        bound = f"{low:g} or more" if math.isinf(high) else f"{low:g} to {high:g}"
        raise BadValueError(f"{name}={value!r} must be {what}, {bound}")
    return float(value)


def above_0(value: float, name: str, what: str = "a number") -> float:
    """Return a finite number above 0, or raise `BadValueError`.

    >>> from blockfit.kinds import above_0
    >>> above_0(0.5, "effort")
    0.5
    """
    if not (_is_number(value) and value > 0 and math.isfinite(value)):
        raise BadValueError(f"{name}={value!r} must be {what}, more than 0")
    return float(value)


@cache
def _hints(asked: Any) -> dict[str, Any]:
    hints = get_type_hints(asked)
    hints.pop("return", None)
    return hints


def _taken(value: Any, name: str, hint: Any) -> Any:
    """Return a value of the kind that is meant, or raise `BadValueError`."""
    if not _fits(value, hint):
        raise BadValueError(f"{name}={value!r} must be {_words(hint)}")
    if isinstance(value, str) and not value and Path in _kinds(hint):
        raise BadValueError(f"{name}='' must be the name of a file")
    return _made(value, _kinds(hint))


def _made(value: Any, kinds: tuple[Any, ...]) -> Any:
    """Return a value that fits as what the code works with: plain numbers and paths, lists that can be gone through
    twice."""
    if _is_number(value):
        return _plain_number(value, kinds)
    if isinstance(value, PathLike) and Path in kinds:
        return Path(value)
    for kind in kinds:
        inner = get_args(kind)
        if get_origin(kind) in _LISTS and isinstance(value, Iterable) and not isinstance(value, _ALONE) and inner:
            if isinstance(value, np.ndarray) and str not in _kinds(inner[0]):
                return value
            if not isinstance(value, list | tuple):
                return tuple(value)
            made = [_made(one, _kinds(inner[0])) for one in value] if inner[0] in (int, float) else value
            return value if all(a is b for a, b in zip(made, value, strict=True)) else type(value)(made)
    return value


def _plain_number(value: Any, kinds: tuple[Any, ...]) -> Any:
    if int in kinds and float not in kinds:
        return value if isinstance(value, int) else int(value)
    if bool in kinds and float not in kinds:
        return bool(value)
    # A length or weight is left to `units`.
    return float(value) if float in kinds and str not in kinds and not isinstance(value, int | float) else value


def _kinds(hint: Any) -> tuple[Any, ...]:
    """Return the kinds of which a value may be any."""
    return get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)


def _fits(value: Any, hint: Any) -> bool:
    kinds = _kinds(hint)
    if float in kinds and str in kinds:  # a length, ratio or weight
        return True
    return any(_is_one(value, kind) for kind in kinds)


def _is_one(value: Any, kind: Any) -> bool:
    """Tell whether a value is of one kind, with all that it holds; kinds that are not known here take anything."""
    if kind is Any:
        return True
    if kind is NoneType:
        return value is None
    if kind is bool:
        return isinstance(value, bool | np.bool_) or (isinstance(value, Integral) and value in (0, 1))
    if kind is Path:
        return isinstance(value, PathLike)
    if kind in (int, float):
        return _is_number(value) and (kind is float or _is_whole(value))
    origin = get_origin(kind) or kind
    if origin is Literal:
        return value in get_args(kind)
    if not isinstance(origin, type):
        return True
    return _holds(value, origin, get_args(kind))


def _holds(value: Any, origin: type, inner: tuple[Any, ...]) -> bool:
    """Tell whether a value is of a class; of lists, mappings and the like also whether what they hold is."""
    if not inner or any(origin is each for each in _WHOLE):
        return isinstance(value, origin)
    if isinstance(value, str | bytes | Mapping) or not isinstance(value, Iterable):
        return False
    if origin is np.ndarray or isinstance(value, np.ndarray):
        return getattr(value, "ndim", 1) > 0
    if not isinstance(value, list | tuple):
        return True  # what is drawn but once is looked at as it is used
    if origin is tuple and inner[-1] is not Ellipsis:
        return len(value) == len(inner) and all(map(_fits, value, inner))
    return all(_fits(one, inner[0]) for one in value)


def _is_number(value: Any) -> bool:
    if isinstance(value, bool | np.bool_):
        return False
    if isinstance(value, np.ndarray):
        return value.shape == () and value.dtype.kind in "iuf"
    return isinstance(value, Real) or (isinstance(value, Decimal) and not value.is_snan())


def _is_whole(value: Any) -> bool:
    return isinstance(value, Integral) or (math.isfinite(value) and int(value) == value)


def _words(hint: Any) -> str:
    """Return what a value may be, in words."""
    kinds = _kinds(hint)
    if float in kinds and str in kinds:
        return "a number or text"
    return " or ".join(map(_one_in_words, kinds))


def _one_in_words(kind: Any) -> str:
    origin, inner = get_origin(kind) or kind, get_args(kind)
    if origin is Literal:
        return " or ".join(map(repr, inner))
    if kind in _WORDS or origin in _WORDS:
        return _WORDS[kind if kind in _WORDS else origin]
    if origin is Callable:
        return "a function"
    if origin is Mapping:
        return "a mapping"
    if origin is tuple and inner and inner[-1] is not Ellipsis:
        if set(inner) == {float} and len(inner) in _FEW:
            return f"{_FEW[len(inner)]} numbers"
        return f"{len(inner)} values ({', '.join(map(_words, inner))})"
    if inner:
        return f"a list, each {_words(inner[0])}"
    name = str(getattr(origin, "__name__", origin))
    return f"{'an' if name[0] in 'AEIOU' else 'a'} {name}"

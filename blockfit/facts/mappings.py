"""Mappings that never change once made, and can still be hashed, sent to another process and written as JSON."""

from typing import Any, NoReturn, TypeVar

__all__ = ["FrozenMapping"]

Key = TypeVar("Key")
Value = TypeVar("Value")


class FrozenMapping(dict[Key, Value]):
    """A dictionary that refuses every change; `types.MappingProxyType` can neither be pickled nor hashed.

    >>> from blockfit.facts.mappings import FrozenMapping
    >>> cover = FrozenMapping({"bottom": 0.0})
    >>> cover["bottom"] = 5.0
    Traceback (most recent call last):
    TypeError: this mapping never changes: make another, as in {**old, 'bottom': …}
    """

    def __hash__(self) -> int:  # type: ignore[override]
        """Return the hash of its items, in whatever order."""
        return hash(frozenset(self.items()))

    def _refuse(self, *given: Any, **named: Any) -> NoReturn:
        key = repr(given[0]) if given and isinstance(given[0], str) else "…"
        raise TypeError(f"this mapping never changes: make another, as in {{**old, {key}: …}}")

    __setitem__ = __delitem__ = __ior__ = _refuse
    update = pop = popitem = clear = setdefault = _refuse

    def __reduce__(self) -> tuple[type, tuple[dict[Key, Value]]]:
        """Return how to make it again elsewhere."""
        return type(self), (dict(self),)

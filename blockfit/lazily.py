"""The package's public names, each imported from its home when it is first used."""

import ast
import importlib
import importlib.util
import sys
from collections.abc import Callable, Sequence
from typing import Any

__all__ = ["attached"]


def attached(package: str, names: Sequence[str]) -> tuple[Callable[[str], Any], Callable[[], list[str]]]:
    """Return a package's ``__getattr__`` and ``__dir__``, for names that its source imports ``if TYPE_CHECKING``.

    What those lines say is so at run time too, only later: there is no second list.

    >>> import blockfit
    >>> blockfit.Block.__module__, "largest" in dir(blockfit)
    ('blockfit.solids.block', True)
    """
    homes = _homes(package)

    def get(name: str) -> Any:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        home, known_there = homes[name]
        room = None if home == package else importlib.import_module(home)
        if room is not None and hasattr(room, known_there):
            found = getattr(room, known_there)
        else:  # a module is meant by the name
            found = importlib.import_module(f"{home}.{known_there}")
        setattr(sys.modules[package], name, found)
        return found

    return get, lambda: sorted({*names, *vars(sys.modules[package])})


def _homes(package: str) -> dict[str, tuple[str, str]]:
    """Return for each name the module that it is imported from, and its name there."""
    spec = importlib.util.find_spec(package)
    loader: Any = None if spec is None else spec.loader
    tree = ast.parse(loader.get_source(package))
    later = [node for node in tree.body if isinstance(node, ast.If)]
    return {
        alias.asname or alias.name: (line.module or package, alias.name)
        for node in later
        for line in node.body
        if isinstance(line, ast.ImportFrom)
        for alias in line.names
    }

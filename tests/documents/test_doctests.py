"""Every example in a docstring runs."""

import doctest
import importlib
import inspect
import pkgutil

import pytest

import blockfit

MODULES = [
    "blockfit",
    *(m.name for m in pkgutil.walk_packages(blockfit.__path__, "blockfit.") if "__main__" not in m.name),
]


@pytest.mark.parametrize("name", MODULES)
@pytest.mark.in_full
def test_examples_run(name):
    failed, _ = doctest.testmod(importlib.import_module(name))
    assert failed == 0


def test_there_are_examples():
    finder = doctest.DocTestFinder()
    found = [test for name in MODULES for test in finder.find(importlib.import_module(name)) if test.examples]
    assert len(found) > 25


def test_every_public_name_has_an_example():
    # Constants alone are let off: a value has no docstring of its own, only its kind's; its module says what it is.
    named = {name: getattr(blockfit, name) for name in blockfit.__all__}
    constants = {
        name
        for name, one in named.items()
        if not (inspect.isclass(one) or inspect.isroutine(one) or inspect.ismodule(one))
    }
    assert constants == {"METHODS", "STONES"}
    without = [name for name, one in named.items() if name not in constants and ">>>" not in (one.__doc__ or "")]
    assert not without, f"no example that runs: {', '.join(without)}"

"""Every example in a docstring runs."""

import doctest
import importlib
import pkgutil

import pytest

import blockfit

MODULES = [
    "blockfit",
    *(m.name for m in pkgutil.walk_packages(blockfit.__path__, "blockfit.") if "__main__" not in m.name),
]


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name):
    failed, _ = doctest.testmod(importlib.import_module(name))
    assert failed == 0


def test_there_are_examples():
    finder = doctest.DocTestFinder()
    found = [test for name in MODULES for test in finder.find(importlib.import_module(name)) if test.examples]
    assert len(found) > 25

"""The command line with mutated words and files; `benchmarks/fuzz_commands.py` runs thousands of the same kind."""

import importlib.util
import sys

import pytest
from conftest import HERE

BENCHMARKS = HERE.parent / "benchmarks"


@pytest.fixture(scope="module")
def fuzz():
    sys.path.insert(0, str(BENCHMARKS))
    try:
        spec = importlib.util.spec_from_file_location("fuzz_commands", BENCHMARKS / "fuzz_commands.py")
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        yield module
    finally:
        sys.path.remove(str(BENCHMARKS))


@pytest.mark.parametrize("seed", range(3))
def test_commands_end_with_an_answer_or_one_short_line(seed, fuzz):
    found = []
    ends = fuzz.run(25, 500 + seed, 120, found.append)
    assert not found, found
    assert sum(ends.values()) == 25
    assert {end.split()[-1] for end in ends} == {"0", "2"}

"""The command line with mutated words and files; `benchmarks/fuzz_commands.py` runs thousands of the same kind."""

import math

import pytest
from conftest import benchmark, slow_after

fuzz = benchmark("fuzz_commands")


@pytest.mark.parametrize("seed", slow_after(1, range(3)))
@pytest.mark.thorough
def test_commands_end_with_an_answer_or_one_short_line(seed):
    found = []
    ends = fuzz.run(25, 500 + seed, math.inf, found.append)
    assert not found, found
    assert sum(ends.values()) == 25
    assert {end.split()[-1] for end in ends} == {"0", "2"}

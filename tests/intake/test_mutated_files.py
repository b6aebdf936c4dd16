"""Mutated inputs end in a figure or in an error with words; what once went wrong is read for ever."""

import logging
import warnings

import pytest
import trimesh
from conftest import HERE, benchmark, slow_after

import blockfit as bf

fuzz = benchmark("fuzz")
CORPUS = sorted((HERE / "data" / "corpus").iterdir())
assert CORPUS, "the corpus is missing: nothing must not pass"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("fuzz")
    trimesh.creation.box((10, 10, 10)).export(place / "whole.stl")
    return place


@pytest.mark.parametrize("file", CORPUS, ids=lambda file: file.name)
def test_what_once_went_wrong(file, folder, caplog):
    caplog.set_level(logging.CRITICAL)
    name = file.name.split("-", 2)[2]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        ended = fuzz.limited(lambda: fuzz.tried(name, file.read_bytes(), folder))
    assert ended == "result" or (ended.endswith("Error") and hasattr(bf, ended)), ended


@pytest.mark.parametrize("seed", slow_after(2, range(4)))
def test_mutated_inputs_end_in_a_result_or_a_told_error(seed, folder):
    """`benchmarks/fuzz.py` runs 20,000 and more of the same kind."""
    logging.getLogger("trimesh").setLevel(logging.CRITICAL)
    ends = set()
    for name, data in fuzz.inputs(150, 100 + seed):
        ends.add(fuzz.limited(lambda name=name, data=data: fuzz.tried(name, data, folder)))
    assert "AN ERROR WITHOUT WORDS" not in ends
    assert {"result", "UnreadableFileError"} <= ends
    assert not [file for file in folder.iterdir() if file.suffix == ".part"]

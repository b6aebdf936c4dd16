"""Hard use: mutated inputs, implausible ones, odd numbers, and surveys that must follow when the figure is changed."""

import importlib.util
import json
import logging
import os
import subprocess
import sys
import warnings

import numpy as np
import pytest
import trimesh
from conftest import HERE, ball, cuboid, joined
from hypothesis import given, settings
from hypothesis import strategies as st

import blockfit as bf

SPEC = importlib.util.spec_from_file_location("fuzz", HERE.parent / "benchmarks" / "fuzz.py")
fuzz = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(fuzz)
CORPUS = sorted((HERE / "data" / "corpus").iterdir())


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
        assert fuzz.limited(lambda: fuzz.tried(name, file.read_bytes(), folder))


@pytest.mark.parametrize("seed", range(4))
def test_mutated_inputs_end_in_a_result_or_a_told_error(seed, folder):
    """`benchmarks/fuzz.py` runs 20,000 and more of the same kind."""
    logging.getLogger("trimesh").setLevel(logging.CRITICAL)
    ends = set()
    for name, data in fuzz.inputs(150, 100 + seed):
        ends.add(fuzz.limited(lambda name=name, data=data: fuzz.tried(name, data, folder)))
    assert "AN ERROR WITHOUT WORDS" not in ends
    assert {"result", "UnreadableFileError"} <= ends
    assert not [file for file in folder.iterdir() if file.suffix == ".part"]


odd = st.one_of(
    st.floats(), st.integers(-10, 10), st.sampled_from([0, -1, 1e-300, 1e300, "", "3", "nan mm", None, "1e9 m"])
)


@given(st.lists(odd, min_size=3, max_size=3), odd, odd)
@settings(max_examples=300)
def test_odd_sizes_and_options(sizes, skin, cover):
    try:
        block = bf.Block.box(*sizes, skin=skin)
        bf.largest(
            bf.Figure.from_points(np.eye(3) * 100), block, cover=cover, stance=bf.Stance.upright(10), max_cells=500
        )
    except bf.BlockfitError as error:
        _has_words(error)


@given(st.lists(st.tuples(odd, odd, odd), min_size=0, max_size=6), st.lists(st.tuples(odd, odd, odd), max_size=4))
@settings(max_examples=200)
def test_odd_arrays(vertices, faces):
    try:
        bf.Figure(vertices, faces)
    except bf.BlockfitError as error:
        _has_words(error)


def _has_words(error):
    assert str(error).strip()


# ---- plausibility ----


def survey_of(figure, block, **options):
    fit = bf.largest(figure, block, stance=bf.Stance.fixed(), **options)
    return str(bf.survey(fit, alternatives=False, pitch=max(block.size_mm) / 60))


def test_a_figure_of_a_wrong_unit_is_doubted():
    for size, block in ((1.7, bf.Block.box(10, 10, 10)), (1.7e6, bf.Block.box(9e5, 9e5, 9e5))):
        assert "is the unit, or the ratio, right" in survey_of(cuboid(0.3 * size, 0.2 * size, size), block)


def test_a_block_that_no_truck_carries():
    assert "more than a truck" in survey_of(cuboid(300, 200, 500), bf.Block.box(3000, 3000, 3000, stone="granite"))


def test_a_maquette_without_detail_for_its_scale():
    assert "no detail finer" in survey_of(ball(10, 2), bf.Block.box(900, 900, 900), scales=(0, 40), gap=0.05)


def test_a_hollow_shell_is_doubted():
    outer, inner = ball(100, 3), ball(99.99, 3)
    shell = joined(outer, bf.Figure(inner.vertices, inner.faces[:, ::-1]))
    assert "less than a thousandth" in survey_of(shell, bf.Block.box(300, 300, 300))


def test_nothing_is_doubted_without_reason(kneeling):
    fit = bf.largest(kneeling, bf.Block.box(900, 700, 1600, stone="marble"), stance=bf.Stance.upright(30))
    from blockfit.sheets.survey.doubts import doubts_of

    assert doubts_of(fit) == []


# ---- a survey follows its figure ----


def numbers(figure, block):
    fit = bf.safest(figure, block, scale=0.45, cover=10, stance=bf.Stance.fixed())
    cut = bf.undercuts(fit, slants=0)
    weight = bf.weights(fit, undercut=cut)
    cover = bf.stone_cover(fit)
    return {
        "cover": cover.least_mm,
        "figure": weight.figure_m3,
        "setback": bf.setback(fit).back_mm,
        "before": cut.front_m3,
        "behind": cut.rear_m3,
        "beside": cut.beside_m3,
        "front": cut.reach_by_face["front"],
        "left": cut.reach_by_face["left"],
        "right": cut.reach_by_face["right"],
        "least": bf.thin_stone(fit).least_mm,
    }


def test_a_survey_follows_as_it_must(kneeling):
    block = bf.Block.box(900, 800, 1500, stone="marble")
    plain = numbers(kneeling, block)
    vertices, faces = kneeling.vertices, kneeling.faces
    order = np.random.default_rng(0).permutation(len(faces))
    shuffled = numbers(bf.Figure(vertices, faces[order]), block)
    moved = numbers(bf.Figure(np.add(vertices, [12345, -9876, 4321]), faces), block)
    mesh = trimesh.Trimesh(vertices, faces, process=False).subdivide()
    finer = numbers(bf.Figure(mesh.vertices, mesh.faces), block)
    for name, other in (("shuffled", shuffled), ("moved", moved), ("finer", finer)):
        for key, value in plain.items():
            allowed = 0.1 if key == "least" else 0.02
            assert other[key] == pytest.approx(value, rel=allowed, abs=1e-3), (name, key)
        assert other["cover"] == pytest.approx(plain["cover"], abs=1e-6)
        assert other["figure"] == pytest.approx(plain["figure"], rel=1e-9)
    mirrored = numbers(bf.Figure(vertices * [-1, 1, 1], faces[:, ::-1]), block)
    assert mirrored["left"] == pytest.approx(plain["right"], abs=0.01)
    assert mirrored["right"] == pytest.approx(plain["left"], abs=0.01)
    assert mirrored["before"] == pytest.approx(plain["before"], rel=0.01)
    half = bf.Block.box(450, 400, 750, stone="marble")
    scaled = bf.safest(bf.Figure(vertices / 2, faces), half, scale=0.45, cover=5, stance=bf.Stance.fixed())
    assert 2 * bf.setback(scaled).back_mm == pytest.approx(plain["setback"], abs=1e-6)


def test_microscopic_and_huge_figures_and_needles():
    for size in (1e-3, 1e5):
        fit = bf.largest(cuboid(0.3 * size, 0.2 * size, size), bf.Block.box(300, 300, 300), stance=bf.Stance.fixed())
        assert fit.scale == pytest.approx(300 / size, rel=1e-9)
    needle = bf.Figure(
        [[0, 0, 0], [1e-6, 0, 0], [0, 1e-6, 0], [0, 0, 500]], [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
    )
    assert bf.largest(needle, bf.Block.box(300, 300, 300)).scale == pytest.approx(np.sqrt(3) * 300 / 500, rel=1e-3)


RUN = """
import json, sys
import blockfit as bf
figure = bf.read_figure(sys.argv[1], unit="m")
fit = bf.largest(figure, bf.Block.box(900, 700, 1600, stone="marble"), cover=20, stance=bf.Stance.leaning(5, 30))
print(json.dumps(bf.survey(fit, alternatives=False).record()))
"""


def test_the_same_bits_with_one_thread_or_two():
    told = []
    for threads in ("1", "2"):
        asked = {**os.environ, "OMP_NUM_THREADS": threads, "OPENBLAS_NUM_THREADS": threads}
        command = [sys.executable, "-c", RUN, str(HERE / "data" / "kneeling.stl")]
        told.append(subprocess.run(command, capture_output=True, text=True, env=asked, check=True).stdout)
    assert told[0] == told[1]
    assert json.loads(told[0])["fit"]["verdict"] == "FITS"

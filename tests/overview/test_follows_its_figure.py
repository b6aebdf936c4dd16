"""A survey follows its figure: shuffled, moved, finer, mirrored or scaled; and the same bits however many threads."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest
import trimesh
from conftest import KNEELING

import blockfit as bf


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


@pytest.mark.slow
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


RUN = """
import json, sys
import blockfit as bf
figure = bf.read_figure(sys.argv[1], unit="m")
fit = bf.largest(figure, bf.Block.box(900, 700, 1600, stone="marble"), cover=20, stance=bf.Stance.leaning(5, 30))
print(json.dumps(bf.survey(fit, alternatives=False).record()))
"""


@pytest.mark.slow
def test_the_same_bits_with_one_thread_or_two():
    told = []
    for threads in ("1", "2"):
        asked = {**os.environ, "OMP_NUM_THREADS": threads, "OPENBLAS_NUM_THREADS": threads}
        command = [sys.executable, "-c", RUN, KNEELING]
        told.append(subprocess.run(command, capture_output=True, text=True, env=asked, check=True).stdout)
    assert told[0] == told[1]
    assert json.loads(told[0])["fit"]["verdict"] == "FITS"

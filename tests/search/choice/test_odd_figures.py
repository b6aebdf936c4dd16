"""Figures that are flat, thin, round, tiny, huge or of one point; blocks of very many faces."""

import numpy as np
import pytest
from conftest import BOX, corners, cuboid, rotations_within, slow_after

import blockfit as bf
from blockfit.search.proof.questions import Question
from blockfit.search.proof.support import hull_of

FIGURE = bf.Figure.from_points(np.random.default_rng(11).normal(size=(25, 3)) * [70, 60, 150])


@pytest.mark.parametrize("stance", slow_after(1, [bf.Stance.upright(40), bf.Stance.free()]), ids=["upright", "free"])
def test_many_faces(stance):
    random = np.random.default_rng(3)
    normals = random.normal(size=(60, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    block = bf.Block.from_planes(normals, 600 + 60 * random.random(60))
    assert len(block.names) > 40
    fit = bf.largest(FIGURE, block, cover=10, stance=stance)
    assert fit.gap <= 1e-3
    question = Question(block.normals, block.sound_mm - 10, np.zeros(len(block.names)))
    points = hull_of(FIGURE).points
    assert not question.is_listed
    assert max(question.value(points, r) for r in rotations_within(stance, 60)) <= fit.scale_bound
    safe = bf.safest(FIGURE, block, scale=fit.scale * 0.9, cover=10, stance=stance)
    assert safe.verdict is bf.Verdict.FITS
    tight = bf.largest(FIGURE, block, cover=700, stance=stance)
    assert tight.verdict is bf.Verdict.CANNOT_FIT
    assert tight.short_mm > 0


@pytest.mark.parametrize("shape", ["flat", "rod", "point", "needle", "ball", "prism", "many"])
def test_odd_hulls_neither_blow_up_nor_stall(shape):
    random = np.random.default_rng(6)
    around = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    points = {
        "flat": random.normal(size=(80, 3)) * [200, 0, 300],
        "rod": np.array([[0, 0, 0], [0, 0, 500.0]]),
        "point": np.array([[1, 2, 3.0]]),
        "needle": random.normal(size=(60, 3)) * [2, 2, 600],
        "ball": _sphere(300) * 200,
        "prism": np.array([[100 * np.cos(a), 100 * np.sin(a), z] for a in around for z in (0, 300)]),
        "many": _sphere(10_000) * [150, 200, 300] * random.uniform(0.99, 1, (10_000, 1)),
    }[shape]
    fit = bf.largest(bf.Figure.from_points(points), BOX, max_cells=60_000, scales=(0, 1000))
    assert fit.verdict is bf.Verdict.FITS
    assert fit.scale <= fit.scale_bound <= fit.scale * 1.05
    assert fit.cells <= 90_000


def _sphere(count):
    from blockfit.geometry.turns import spread_directions

    return spread_directions(count)


def test_a_flat_relief_by_hand():
    # A plate of 400 x 300 without thickness in a 900 x 700 x 1600 box: its hull has no volume. Across the box's
    # largest face, 700... the best it can do is at least the upright answer, 1600/400 and 900/300.
    plate = bf.Figure.from_points([[0, 0, 0], [400, 0, 0], [0, 0, 300], [400, 0, 300]])
    upright = bf.largest(plate, BOX, stance=bf.Stance.fixed())
    assert upright.scale == pytest.approx(900 / 400)
    assert bf.largest(plate, BOX).scale >= 3


def test_a_vertex_without_a_face_is_part_of_the_figure():
    loose = bf.Figure(np.vstack([corners(100, 100, 100), [[1000, 0, 0]]]), [[0, 1, 2], [3, 4, 5], [5, 6, 7]])
    assert bf.largest(loose, bf.Block.box(300, 300, 300), stance=bf.Stance.fixed()).scale == pytest.approx(0.3)


def test_a_single_point_has_no_largest_scale():
    with pytest.raises(bf.BadValueError, match="single point"):
        bf.largest(bf.Figure.from_points([[5, 5, 5]]), bf.Block.box(300, 200, 250))


@pytest.mark.thorough
def test_microscopic_and_huge_figures_and_needles():
    for size in (1e-3, 1e5):
        fit = bf.largest(cuboid(0.3 * size, 0.2 * size, size), bf.Block.box(300, 300, 300), stance=bf.Stance.fixed())
        assert fit.scale == pytest.approx(300 / size, rel=1e-9)
    needle = bf.Figure(
        [[0, 0, 0], [1e-6, 0, 0], [0, 1e-6, 0], [0, 0, 500]], [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
    )
    assert bf.largest(needle, bf.Block.box(300, 300, 300)).scale == pytest.approx(np.sqrt(3) * 300 / 500, rel=1e-3)

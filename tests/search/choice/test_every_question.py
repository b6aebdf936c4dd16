"""Every question, in every stance, in every kind of convex block: the table in DEVELOPERS.md, cell by cell."""

import re

import numpy as np
import pytest
from conftest import HERE, WEDGE, examples, rotations_within
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf
from blockfit.geometry.polytope import corners_of
from blockfit.geometry.turns import from_quaternions
from blockfit.search.proof.questions import Question
from blockfit.search.proof.support import hull_of

CORNER_OFF = bf.Block.from_planes(
    [[0, -1, 0], [0, 1, 0], [-1, 0, 0], [1, 0, 0], [0, 0, -1], [0, 0, 1], [1, -1, 1]], [0, 700, 0, 900, 0, 1500, 1900]
)
BLOCKS = {"box": bf.Block.box(900, 700, 1500), "wedge": WEDGE, "corner off": CORNER_OFF}
STANCES = {
    "free": bf.Stance.free(),
    "upright": bf.Stance.upright(60),
    "leaning": bf.Stance.leaning(20, 100),
    "fixed": bf.Stance.fixed(),
}
FIGURE = bf.Figure.from_points(np.random.default_rng(11).normal(size=(25, 3)) * [70, 60, 150])


def loads(block, seek):
    return np.ones(len(block.names)) if seek == "cover" else np.maximum(block.normals[:, 1], 0)


@pytest.mark.parametrize("kind", BLOCKS)
@pytest.mark.parametrize("name", STANCES)
def test_largest(kind, name):
    block, stance = BLOCKS[kind], STANCES[name]
    fit = bf.largest(FIGURE, block, cover=10, stance=stance)
    assert fit.verdict is bf.Verdict.FITS
    assert fit.gap <= 1e-3 + 1e-12
    question = Question(block.normals, block.sound_mm - 10, np.zeros(len(block.names)))
    points = hull_of(FIGURE).points
    assert max(question.value(points, r) for r in rotations_within(stance)) <= fit.scale_bound
    placed = fit.placement.apply(FIGURE.vertices)
    assert (placed @ block.normals.T <= block.sound_mm - 10 + 1e-9 * max(block.size_mm)).all()
    assert stance.allows(fit.placement.rotation, 1e-6)


@pytest.mark.parametrize("seek", ["cover", "setback"])
@pytest.mark.parametrize("kind", BLOCKS)
@pytest.mark.parametrize("name", STANCES)
def test_safest(kind, name, seek):
    block, stance = BLOCKS[kind], STANCES[name]
    fit = bf.safest(FIGURE, block, scale=0.8, cover=10, stance=stance, seek=seek)
    assert fit.verdict is bf.Verdict.FITS
    question = Question(block.normals, block.sound_mm - 10, loads(block, seek), scale=0.8)
    points = hull_of(FIGURE).points
    best = max(question.value(points, r) for r in rotations_within(stance))
    assert best <= (fit.cover_bound_mm - 10 if seek == "cover" else fit.setback_bound_mm)
    reached = fit.cover_mm - 10 if seek == "cover" else bf.setback(fit).back_mm
    assert reached >= best - fit.gap_mm - 1e-6
    placed = fit.placement.apply(FIGURE.vertices)
    assert (placed @ block.normals.T <= block.sound_mm - 10 + 1e-9 * max(block.size_mm)).all()


@pytest.mark.parametrize("name", STANCES)
def test_smallest_block(name):
    stance = STANCES[name]
    size = bf.smallest_block(FIGURE, cover=10, stance=stance)
    widths = np.ptp(rotations_within(stance) @ FIGURE.vertices.T, axis=2) + 20
    assert size.volume_bound_m3 <= size.volume_m3 <= widths.prod(axis=1).min() * 1e-9 + 1e-15
    assert size.volume_m3 - size.volume_bound_m3 <= 1e-3 * size.volume_m3
    assert bf.stone_cover(size.fit).least_mm == pytest.approx(10, abs=1e-6)
    assert stance.allows(size.fit.placement.rotation, 1e-6)


def test_the_table_names_every_pair():
    text = (HERE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(
        r"^\| (`largest`|`safest`, cover|`safest`, setback|`smallest_block`) \|(.*)\|$", text, re.MULTILINE
    )
    assert len(rows) == 4
    assert all(len([cell for cell in row[1].split("|") if cell.strip()]) == len(STANCES) for row in rows)


@given(st.integers(0, 5000))
@examples(6, 20)
@pytest.mark.thorough
def test_random_convex_blocks_keep_their_promises(seed):
    random = np.random.default_rng(seed)
    block = bf.Block.convex(random.normal(size=(int(random.integers(5, 12)), 3)) * [400, 300, 600])
    points = random.normal(size=(10, 3)) * [50, 60, 90]
    fit = bf.largest(bf.Figure.from_points(points), block, cover=2, gap=1e-2)
    if fit.placement is None:
        return
    placed = fit.placement.apply(points)
    assert (placed @ block.normals.T <= block.sound_mm - 2 + 1e-9 * max(block.size_mm)).all()
    question = Question(block.normals, block.sound_mm - 2, np.zeros(len(block.names)))
    hull = hull_of(bf.Figure.from_points(points)).points
    assert max(question.value(hull, r) for r in rotations_within(bf.Stance.free(), 100)) <= fit.scale_bound * (
        1 + 1e-12
    )
    corners, _ = corners_of(block.normals, block.offsets_mm)
    assert (corners @ block.normals.T <= block.offsets_mm + 1e-6).all()


figures = st.integers(0, 10_000).map(
    lambda seed: np.random.default_rng(seed).normal(size=(int(seed % 14) + 4, 3)) * [60, 90, 140]
)
boxes = st.tuples(*[st.floats(100, 900)] * 3)


@given(figures, boxes, st.sampled_from([bf.Stance.free(), bf.Stance.upright(50), bf.Stance.leaning(20, 30)]))
@examples(10, 25)
def test_no_placement_breaks_its_cover_and_none_beats_the_bound(points, box, stance):
    block = bf.Block.box(*box)
    fit = bf.largest(bf.Figure.from_points(points), block, cover=5, stance=stance, gap=1e-2)
    placed = fit.placement.apply(points)
    size = max(box)
    assert (placed >= 5 - 1e-9 * size).all()
    assert (placed <= np.array(box) - 5 + 1e-9 * size).all()
    hull = hull_of(bf.Figure.from_points(points)).points
    question = Question(block.normals, block.offsets_mm - 5, np.zeros(6))
    random = np.random.default_rng(0)
    for rotation in from_quaternions(random.normal(size=(200, 4))):
        if stance.allows(rotation):
            assert question.value(hull, rotation) <= fit.scale_bound * (1 + 1e-12)

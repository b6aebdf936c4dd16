"""What bounds a cell of rotations: no rotation in it does better, and every rotation lies in some cell."""

import numpy as np
import pytest
from conftest import BOX, examples
from hypothesis import given
from hypothesis import strategies as st
from regular import SOLIDS

import blockfit as bf
from blockfit.geometry.turns import angle_deg, from_quaternions
from blockfit.search.proof import bounds
from blockfit.search.proof.cells import Cells, outside_stance, split, start_cubes, start_patches, start_turns
from blockfit.search.proof.explore import _Search
from blockfit.search.proof.polish import polish
from blockfit.search.proof.questions import Question


def _cells(kind: str, random: np.random.Generator) -> Cells:
    cells = {
        "cubes": start_cubes((0, 1, 2, 3), 3),
        "patches": start_patches(np.array([0.0, 0.0, 1.0]), half_sphere=False, parts=3),
        "turns": start_turns(180, 9),
    }[kind]
    cell = cells.pick(random.integers(0, len(cells), 1))
    shrunk = float(random.uniform(0.02, 1))
    return Cells(cell.centre, cell.half * shrunk, cell.chart, cell.spin * shrunk, cell.axis)


def _within(cell: Cells, random: np.random.Generator) -> np.ndarray:
    """Rotations drawn inside a cell."""
    size = np.array([cell.half[0], cell.half[0], cell.spin[0] if cell.are_patches else cell.half[0]])
    if cell.are_turns:
        size[:2] = 0
    centre = cell.centre + random.uniform(-1, 1, size=(40, 3)) * size
    many = np.zeros(40)
    return Cells(centre, many, np.repeat(cell.chart, 40), many, cell.axis).rotations()


def _random_case(seed: int, kind: str):
    random = np.random.default_rng(seed)
    points = random.normal(size=(12, 3)) * [60, 90, 140]
    normals = BOX.normals if seed % 2 else bf.Block.convex(SOLIDS["dodecahedron"] * 500).normals
    offsets = np.full(len(normals), 400.0)
    question = Question(normals, offsets, np.ones(len(normals)), scale=[None, 0.7][seed % 3 % 2])
    cell = _cells(kind, random)
    search = _Search(question, points, bf.Stance.free())
    if seed % 5 == 0 and kind == "cubes":  # certificates must be sound wherever they came from
        start = from_quaternions(random.normal(size=4))
        certificate = polish(question, points, start, 0.2, bf.Stance.free()).certificate
        search.certificates += [certificate] if certificate else []
    return search, question, points, cell, _within(cell, random)


@pytest.mark.parametrize("kind", ["cubes", "patches", "turns"])
@given(seed=st.integers(0, 100_000))
@examples(30, 150)
def test_no_rotation_in_a_cell_beats_the_cells_bound(kind, seed):
    search, question, points, cell, rotations = _random_case(seed, kind)
    bound = float(search.bound(cell)[0])
    best = max(question.value(points, rotation) for rotation in rotations)
    assert best <= bound + 1e-9 * max(1, abs(bound))
    centre, radius = cell.rotations()[0], np.degrees(cell.radii()[0])
    assert all(angle_deg(rotation @ centre.T) <= radius + 1e-6 for rotation in rotations)


def _is_broken(seed: int) -> bool:
    search, question, points, cell, rotations = _random_case(seed, "cubes")
    bound = float(search.bound(cell)[0])
    return max(question.value(points, r) for r in [*rotations, cell.rotations()[0]]) > bound + 1e-9 * abs(bound)


def test_a_bound_a_little_too_tight_is_caught(monkeypatch):
    """The test above has teeth: with either bound made a little too tight it must fail."""
    for name in ("least_width", "least_over_turns"):
        real = getattr(bounds, name)
        monkeypatch.setattr(f"blockfit.search.proof.explore.{name}", lambda *args, real=real: real(*args) * 1.02)
        assert any(_is_broken(seed) for seed in range(400)), name
        monkeypatch.undo()


@given(st.integers(0, 10_000))
def test_the_turn_bounds_are_tight_where_they_should_be(seed):
    random = np.random.default_rng(seed)
    v, u = random.normal(size=(2, 3))
    u /= np.linalg.norm(u)
    radius = float(random.uniform(0, 3))
    least = bounds.least_width(np.array(v @ u), np.array(np.linalg.norm(np.cross(u, v))), np.array(radius))
    axis = np.cross(v, u)
    axis /= np.linalg.norm(axis)
    angles = np.linspace(-radius, radius, 2001)
    turned = from_quaternions(np.concatenate([np.cos(angles / 2)[:, None], np.sin(angles / 2)[:, None] * axis], axis=1))
    assert least == pytest.approx(min((turned @ v) @ u), abs=1e-5 * np.linalg.norm(v))


@given(st.integers(0, 10_000), st.floats(0, 60), st.floats(0, 120))
def test_cells_outside_the_stance_hold_nothing_it_allows(seed, tilt, turn):
    random = np.random.default_rng(seed)
    cell = _cells("cubes", random)
    stance = bf.Stance(tilt, turn)
    if outside_stance(cell.rotations(), cell.radii(), stance)[0]:
        assert not any(stance.allows(rotation) for rotation in _within(cell, random))


def test_cubes_and_patches_hold_every_rotation():
    # Small cells, so that one that is missing leaves a hole which its neighbours' radii do not hide.
    rotations = from_quaternions(np.random.default_rng(2).normal(size=(400, 4)))
    patches = start_patches(np.array([0.0, 1, 0]), half_sphere=False, parts=16)
    finer = split(split(patches))  # spin by spin, until it weighs no more than the direction
    for cells in (start_cubes((0, 1, 2, 3), 6), patches, finer):
        flat = cells.centre[:, :2] if cells.are_patches else cells.centre
        assert np.allclose((flat - cells.half[:, None]).min(axis=0), -1)
        assert np.allclose((flat + cells.half[:, None]).max(axis=0), 1)
        cos = (np.einsum("rij,cij->rc", rotations, cells.rotations()) - 1) / 2
        assert (np.arccos(np.clip(cos, -1, 1)) <= cells.radii() + 1e-12).any(axis=1).all()
        if cells.are_patches:  # the direction alone must be held as well, whatever the spin
            seen = np.swapaxes(cells.rotations(), 1, 2) @ cells.axis
            asked = np.swapaxes(rotations, 1, 2) @ cells.axis
            assert (np.arccos(np.clip(asked @ seen.T, -1, 1)) <= cells.tilts() + 1e-12).any(axis=1).all()


@pytest.mark.parametrize("limit", [180.0, 30.0])
def test_turns_are_held_from_limit_to_limit(limit):
    cells = start_turns(limit)
    low, high = cells.centre[:, 2] - cells.half, cells.centre[:, 2] + cells.half
    assert np.degrees([low[0], high[-1]]) == pytest.approx([-limit, limit])
    assert np.allclose(low[1:], high[:-1], atol=1e-12)
    assert np.abs(cells.centre[:, 2]).min() < 1e-15  # as read is one of the middles


def test_the_width_bound_keeps_its_digits():
    random = np.random.default_rng(1)
    angle, radius = 10.0 ** random.uniform(-9, -6, 2000), random.uniform(0.01, 0.5, 2000)
    least = bounds.least_width(np.cos(angle), np.sin(angle), radius)
    exact = np.cos(np.longdouble(angle) + np.longdouble(radius))
    assert (least <= exact * (1 + 1e-15)).all()
    assert np.abs(least / exact - 1).max() < 1e-14

"""The search against closed forms, published values, other optimisers, and its own promises."""

import numpy as np
import pytest
from conftest import SHARED, cuboid, needs_meshes
from hypothesis import given, settings
from hypothesis import strategies as st
from regular import SOLIDS
from scipy.optimize import differential_evolution, linprog

import blockfit as bf
from blockfit.geometry.turns import angle_deg, from_quaternions
from blockfit.search.proof import bounds
from blockfit.search.proof.cells import Cells, outside_stance, split, start_cubes, start_patches, start_turns
from blockfit.search.proof.dependencies import dependencies
from blockfit.search.proof.explore import _Search
from blockfit.search.proof.polish import polish
from blockfit.search.proof.questions import Question, question_about
from blockfit.search.proof.support import hull_of
from blockfit.search.proof.widths import least_and_longest

BOX = bf.Block.box(900, 700, 1600)
PHI = (1 + 5**0.5) / 2


def points_figure(points):
    return bf.Figure.from_points(points)


# M. Firsching, Experimental Mathematics 24(1), 2015, Tables 1 and 2: the largest regular solid in a cube.
IN_CUBE = {
    "tetrahedron": 2**0.5,
    "octahedron": 3 * 2**0.5 / 4,
    "dodecahedron": (1 - 10**0.5 / 2 + 2**0.5 / 2 + 5**0.5) / (2**0.5 * PHI**3),
    "icosahedron": 1 / PHI,
}


@pytest.mark.parametrize("name", IN_CUBE)
def test_regular_solids_in_a_cube(name):
    fit = bf.largest(points_figure(SOLIDS[name] * 100), bf.Block.box(100, 100, 100), gap=1e-6)
    assert fit.scale == pytest.approx(IN_CUBE[name], rel=1e-9)
    assert fit.scale <= fit.scale_bound <= fit.scale * (1 + 1e-6)


def test_right_angled_cases_by_hand():
    brick = cuboid(200, 100, 50)
    free = bf.largest(brick, bf.Block.box(100, 180, 400))
    assert free.scale == pytest.approx(1.8, rel=1e-9)  # on end: 50 of 100, 100 of 180, 200 of 400
    upright = bf.largest(brick, bf.Block.box(300, 500, 200), stance=bf.Stance.upright())
    assert upright.scale == pytest.approx(2.5, rel=1e-12)  # turned by 90°, 200 along 500
    assert upright.placement.turn_deg == pytest.approx(90)
    fixed = bf.largest(brick, bf.Block.box(300, 500, 200), stance=bf.Stance.fixed())
    assert fixed.scale == 1.5
    assert fixed.scale_bound == 1.5


def test_a_square_turned_in_its_block():
    # A square of side a turned by t is a(cos t + sin t) wide: in a block 1 x 1.2 it is best unturned.
    plate = cuboid(100, 100, 10)
    fit = bf.largest(plate, bf.Block.box(100, 120, 10), stance=bf.Stance.upright(45))
    assert fit.scale == pytest.approx(1, rel=1e-12)
    assert fit.placement.turn_deg == 0
    # A rod of length L in a square block lies along the diagonal.
    rod = points_figure([[0, 0, 0], [100, 0, 0]])
    fit = bf.largest(rod, bf.Block.box(100, 100, 50), stance=bf.Stance.upright())
    assert fit.scale == pytest.approx(2**0.5, rel=1e-12)
    assert abs(fit.placement.turn_deg) == pytest.approx(45)


def test_shift_is_low_centred_and_forward():
    fit = bf.safest(
        cuboid(100, 100, 100),
        bf.Block.box(300, 400, 500),
        scale=1,
        stance=bf.Stance.upright(10),
        cover={"bottom": 0, "other": 20},
    )
    assert fit.cover_mm == pytest.approx(100)
    low, high = fit.solid().vertices.min(axis=0), fit.solid().vertices.max(axis=0)
    assert low == pytest.approx([100, 100, 0])
    assert high == pytest.approx([200, 200, 100])


def test_nearest_turn_among_equals():
    # Height decides: any turn up to 30° is as good, so the figure stays as read.
    fit = bf.largest(cuboid(100, 100, 400), bf.Block.box(900, 900, 800), stance=bf.Stance.upright(30))
    assert fit.placement.rotation.tolist() == np.eye(3).tolist()
    free = bf.largest(cuboid(100, 100, 400), bf.Block.box(200, 200, 800))
    assert angle_deg(free.placement.rotation) < 1e-6


@pytest.mark.parametrize(
    "stance",
    [bf.Stance.fixed(), bf.Stance.upright(30), bf.Stance.leaning(15, 40), bf.Stance.free()],
    ids=lambda s: s.words(),
)
def test_safest_agrees_with_largest(kneeling, stance):
    """At the largest scale for a cover the deepest cover is that cover."""
    fit = bf.largest(kneeling, BOX, cover=25, stance=stance, gap=1e-6)
    back = bf.safest(kneeling, BOX, scale=fit.scale * (1 - 1e-9), cover=25, stance=stance, gap=1e-6)
    assert back.verdict is bf.Verdict.FITS
    assert back.cover_mm == pytest.approx(25, abs=2e-3)
    assert stance.allows(fit.placement.rotation, 1e-6)
    over = bf.safest(kneeling, BOX, scale=fit.scale_bound * 1.002, cover=25, stance=stance)
    assert over.verdict is bf.Verdict.CANNOT_FIT
    assert over.short_mm > 0
    assert over.short_faces


def test_does_not_fit_is_an_answer():
    fit = bf.safest(cuboid(500, 100, 100), bf.Block.box(300, 300, 300), scale=1, stance=bf.Stance.fixed())
    assert fit.verdict is bf.Verdict.CANNOT_FIT
    assert fit.short_mm == pytest.approx(100)
    assert set(fit.short_faces) == {"left", "right"}
    roomless = bf.largest(cuboid(500, 100, 100), bf.Block.box(300, 300, 300), cover=160)
    assert roomless.verdict is bf.Verdict.CANNOT_FIT
    assert roomless.short_mm == pytest.approx(10)
    assert roomless.placement is None


def test_a_small_budget_leaves_both_bounds(kneeling):
    fit = bf.largest(kneeling, BOX, gap=1e-9, max_cells=500)
    assert fit.scale < fit.scale_bound
    full = bf.largest(kneeling, BOX)
    size = (fit.scale_bound + fit.scale) / 2
    undecided = bf.safest(kneeling, BOX, scale=max(size, full.scale * 1.0005), gap=1e-9, max_cells=300)
    assert undecided.verdict is bf.Verdict.UNDECIDED


def test_most_setback_beats_the_deepest_cover(kneeling):
    deep = bf.safest(kneeling, bf.Block.box(900, 1500, 1600), scale=0.6, cover=20, stance=bf.Stance.upright())
    back = bf.safest(
        kneeling, bf.Block.box(900, 1500, 1600), scale=0.6, cover=20, stance=bf.Stance.upright(), seek="setback"
    )
    assert back.setback_mm >= bf.setback(deep).back_mm
    assert bf.setback(back).back_mm == pytest.approx(back.setback_mm, abs=1e-6)


def test_reruns_agree_to_the_last_digit(kneeling):
    first, second = (bf.largest(kneeling, BOX, stance=bf.Stance.leaning(20)) for _ in range(2))
    assert first.scale == second.scale
    assert first.scale_bound == second.scale_bound
    assert first.placement.rotation.tolist() == second.placement.rotation.tolist()


def test_never_below_a_general_optimiser(kneeling):
    points, dims = hull_of(kneeling).points, np.array(BOX.size_mm)

    def shortfall(v):
        return -(dims / np.ptp(points @ from_quaternions(np.array([1, *v])).T, axis=0)).min()

    rival = differential_evolution(shortfall, [(-1, 1)] * 3, seed=3)
    fit = bf.largest(kneeling, BOX)
    assert fit.scale >= -rival.fun * (1 - 1e-9)
    assert fit.scale_bound >= -rival.fun


def test_one_pair_of_faces_decides():
    # A tall thin block: its height alone limits, so the best rotations form a circle. Proved to 1e-6 all the same.
    random = np.random.default_rng(5)
    points = random.normal(size=(60, 3)) * [1, 1, 3] * 100
    fit = bf.largest(points_figure(points), bf.Block.box(4000, 900, 5000), gap=1e-6)
    assert fit.scale_bound / fit.scale - 1 <= 1e-6
    assert fit.cells < 100_000


# ---- soundness ----

figures = st.integers(0, 10_000).map(
    lambda seed: np.random.default_rng(seed).normal(size=(int(seed % 14) + 4, 3)) * [60, 90, 140]
)
boxes = st.tuples(*[st.floats(100, 900)] * 3)


@given(figures, boxes, st.sampled_from([bf.Stance.free(), bf.Stance.upright(50), bf.Stance.leaning(20, 30)]))
@settings(max_examples=25)
def test_no_placement_breaks_its_cover_and_none_beats_the_bound(points, box, stance):
    block = bf.Block.box(*box)
    fit = bf.largest(points_figure(points), block, cover=5, stance=stance, gap=1e-2)
    placed = fit.placement.apply(points)
    size = max(box)
    assert (placed >= 5 - 1e-9 * size).all()
    assert (placed <= np.array(box) - 5 + 1e-9 * size).all()
    hull = hull_of(points_figure(points)).points
    question = Question(block.normals, block.offsets_mm - 5, np.zeros(6))
    random = np.random.default_rng(0)
    for rotation in from_quaternions(random.normal(size=(200, 4))):
        if stance.allows(rotation):
            assert question.value(hull, rotation) <= fit.scale_bound * (1 + 1e-12)


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
@settings(max_examples=150)
def test_no_rotation_in_a_cell_beats_the_cells_bound(kind, seed):
    search, question, points, cell, rotations = _random_case(seed, kind)
    bound = float(search.bound(cell)[0])
    best = max(question.value(points, rotation) for rotation in rotations)
    assert best <= bound + 1e-9 * max(1, abs(bound))
    centre, radius = cell.rotations()[0], np.degrees(cell.radii()[0])
    assert all(angle_deg(rotation @ centre.T) <= radius + 1e-6 for rotation in rotations)


def test_a_bound_broken_by_a_hair_is_caught(monkeypatch):
    """The test above has teeth: with either bound made a little too tight it must fail."""
    for name in ("least_width", "least_over_turns"):
        real = getattr(bounds, name)
        monkeypatch.setattr(f"blockfit.search.proof.explore.{name}", lambda *args, real=real: real(*args) * 1.02)
        broken = 0
        for seed in range(400):
            search, question, points, cell, rotations = _random_case(seed, "cubes")
            bound = float(search.bound(cell)[0])
            broken += max(question.value(points, r) for r in [*rotations, cell.rotations()[0]]) > bound + 1e-9 * abs(
                bound
            )
        assert broken > 0, name
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


@pytest.mark.parametrize("name", ["tetrahedron", "cube", "octahedron", "dodecahedron"])
def test_dependencies_are_the_dual_of_the_linear_program(name):
    """The closed form equals scipy's linear program for the largest scale at a rotation."""
    block = bf.Block.convex(SOLIDS[name] * 1000)
    question = Question(block.normals, block.offsets_mm, np.zeros(len(block.normals)))
    random = np.random.default_rng(1)
    points = random.normal(size=(20, 3)) * [60, 90, 140]
    weights, complete = dependencies(block.normals)
    assert complete
    assert np.abs(weights @ block.normals).max() < 1e-12
    for rotation in from_quaternions(random.normal(size=(20, 4))):
        heights = (points @ rotation.T @ block.normals.T).max(axis=0)
        rows = np.column_stack([heights, block.normals])
        program = linprog([-1, 0, 0, 0], A_ub=rows, b_ub=block.offsets_mm, bounds=[(None, None)] * 4)
        assert question.value(points, rotation) == pytest.approx(-program.fun, rel=1e-7)


def test_bad_questions_raise(kneeling):
    for wrong in (
        {"gap": -1},
        {"gap": np.nan},
        {"max_cells": 0},
        {"cover": -5},
        {"cover": {"belly": 3}},
        {"scales": (2, 1)},
        {"scales": 3},
    ):
        with pytest.raises(bf.BadValueError):
            bf.largest(kneeling, BOX, **wrong)
    for wrong in ({"scale": 0}, {"scale": np.inf}, {"seek": "gold"}):
        with pytest.raises(bf.BadValueError):
            bf.safest(kneeling, BOX, **wrong)


def test_scales_of_use(kneeling):
    capped = bf.largest(kneeling, BOX, scales=(0.1, 0.4))
    assert capped.scale == capped.scale_bound == 0.4
    assert capped.placement.rotation.tolist() == np.eye(3).tolist()
    assert bf.largest(kneeling, BOX, scales=(0.9, 2)).verdict is bf.Verdict.CANNOT_FIT


def test_hand_taken_points_keep_their_tolerance():
    corners = cuboid(100, 100, 100).vertices
    loose = bf.Figure.from_points(corners, tolerance="3 mm")
    fit = bf.largest(loose, bf.Block.box(212, 300, 300), stance=bf.Stance.fixed())
    assert fit.scale == pytest.approx(212 / 106)
    assert bf.stone_cover(fit).least_mm == pytest.approx(0, abs=1e-9)
    with pytest.raises(bf.OpenSurfaceError, match="from_points|closed solid"):
        bf.undercuts(fit)


# The distance between opposite faces, twice the inradius, for edge 1: E. W. Weisstein, "Octahedron", "Dodecahedron" and
# "Icosahedron", MathWorld (values from memory); between opposite edges of the tetrahedron by hand.
LEAST_WIDTHS = {
    "tetrahedron": 1 / 2**0.5,
    "cube": 1.0,
    "octahedron": 6**0.5 / 3,
    "dodecahedron": (250 + 110 * 5**0.5) ** 0.5 / 10,
    "icosahedron": (3 * 3**0.5 + 15**0.5) / 6,
}


@pytest.mark.parametrize("name", LEAST_WIDTHS)
def test_the_least_width_is_bounded_from_below_and_closely(name):
    least, longest = least_and_longest(SOLIDS[name] * 100)
    assert 0.95 * LEAST_WIDTHS[name] <= least / 100 <= LEAST_WIDTHS[name] * (1 + 1e-12)
    apart = np.linalg.norm(SOLIDS[name][:, None] - SOLIDS[name], axis=2).max() * 100
    assert 0.99 * apart <= longest <= apart * (1 + 1e-12)


@given(st.integers(0, 10_000))
@settings(max_examples=40)
def test_no_direction_is_narrower_than_the_bound(seed):
    random = np.random.default_rng(seed)
    points = random.normal(size=(15, 3)) * random.uniform(1, 50, 3)
    least, _ = least_and_longest(points)
    towards = random.normal(size=(3000, 3))
    towards /= np.linalg.norm(towards, axis=1)[:, None]
    # The narrowest of many, and down from there in ever smaller steps.
    best = towards[np.ptp(points @ towards.T, axis=0).argmin()]
    for size in (0.1, 0.03, 0.01, 0.003):
        near = best + random.normal(size=(300, 3)) * size
        near = np.vstack([best, near / np.linalg.norm(near, axis=1)[:, None]])
        best = near[np.ptp(points @ near.T, axis=0).argmin()]
    assert np.ptp(points @ best) >= least


@needs_meshes
def test_the_best_rotation_is_climbed_to_the_last_digit():
    """What climbs from nearby, with steps of any size, must not find more than the answer.

    In the second box a climb once stopped 3e-8 short: its programs were solved to a tolerance in mm, not in steps.
    """
    figure = bf.read_figure(SHARED / "kneeling_arm_raised.stl", unit="m")
    points = hull_of(figure).points
    for size in ((900, 700, 1600), (1548.17872244, 604.19888124, 1472.67333673), (600, 600, 1200)):
        block = bf.Block.box(*size)
        fit = bf.largest(figure, block)
        question = question_about(block, np.zeros(6), np.zeros(6))
        for trust in (1e-2, 1e-3, 1e-4, 1e-5, 1e-6):
            again = polish(question, points, fit.placement.rotation, trust, bf.Stance.free())
            assert again.value <= fit.scale * (1 + 1e-12)

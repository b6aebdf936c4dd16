"""What is wanted of pieces can be asked, and each is a block again: by hand, by solids, and by what must not change."""

from dataclasses import replace

import numpy as np
import pytest
from conftest import cuboid, mushroom, slow_after
from hands_figures import manifold_of
from scipy.spatial.distance import pdist

import blockfit as bf
from blockfit.solids.sawn import sawn_block
from blockfit.waste.offcuts.wishes import Wishes, _cannot_hold

FIXED = bf.Stance.fixed()


@pytest.fixture(scope="module")
def fit():
    """A column at one end of a long block: 400 x 300 x 600 mm of marble free beside it."""
    block = bf.Block.box(700, 300, 600, stone="marble", skin={"right": 15, "other": 0}, bed="z")
    return bf.safest(cuboid(200, 300, 600), block, stance=FIXED, cover={"left": 0, "right": 1}, seek="setback")


def beside(fit):
    """The same, its figure moved to the left end."""
    at = bf.Placement(1.0, np.eye(3), [0, 0, 0])
    return replace(fit, placement=at)


@pytest.mark.thorough
def test_pieces_of_a_weight(fit):
    """Marble at 2,700 kg/m³: the free 0.086 m³ weigh some 230 kg; pieces of 60 to 80 kg are cut from it."""
    plan = bf.offcuts(beside(fit), kerf=10, clearance=10, reserve=0, weight_kg=(60, 80))
    assert plan.pieces
    assert all(60 <= piece.weight_kg <= 80 for piece in plan.pieces)
    assert [wish.kept for wish in plan.wishes] == [True]
    heavy = bf.offcuts(beside(fit), kerf=10, clearance=10, reserve=0, weight_kg=(5000, 6000))
    assert not heavy.pieces
    assert heavy.wishes[0].text == "no piece of 5000 to 6000 kg can be had"
    first = bf.offcuts(beside(fit), kerf=10, clearance=10, reserve=0, weight_kg=(60, 65), first_only=True)
    assert 60 <= first.pieces[0].weight_kg <= 65 < max(piece.weight_kg for piece in first.pieces)


@pytest.mark.thorough
def test_shapes_and_what_a_piece_holds(fit):
    for shape in ("lump", "slab"):
        plan = bf.offcuts(beside(fit), kerf=10, reserve=0, shape=shape, weight_kg=(40, 300), most_pieces=2)
        for piece in plan.pieces:
            length = pdist(piece.solid.vertices).max()
            assert (piece.least_thickness_mm >= length / 3) == (shape == "lump")
    holding = bf.offcuts(beside(fit), kerf=10, reserve=0, holds=("40 cm", 250, 550))
    assert len(holding.pieces) == 1
    assert bf.largest(cuboid(400, 250, 550), holding.pieces[0].block()).scale >= 1
    assert not bf.offcuts(beside(fit), kerf=10, reserve=0, holds=(600, 250, 550)).pieces


@pytest.mark.parametrize("shape", slow_after(1, ["slab", "lump"]))
def test_what_must_be_divided_is_wanted_part_by_part(fit, shape):
    """230 kg beside the figure: as one piece a lump, as parts light enough to lift slabs."""
    plan = bf.offcuts(beside(fit), kerf=10, reserve=0, shape=shape, lift_limit_kg=70)
    assert plan.pieces
    for piece in plan.pieces:
        assert (piece.least_thickness_mm >= pdist(piece.solid.vertices).max() / 3) == (shape == "lump")
    assert plan.wishes[0].kept


@pytest.mark.slow
def test_what_must_be_divided_holds_what_is_asked_part_by_part(fit):
    asked = {"kerf": 10, "reserve": 0, "lift_limit_kg": 100, "most_pieces": 3}
    holding = bf.offcuts(beside(fit), holds=(300, 250, 400), **asked)
    for piece in holding.pieces:
        assert bf.largest(cuboid(300, 250, 400), piece.block()).scale >= 1
    assert holding.wishes[0].kept == bool(holding.pieces)


def test_a_piece_that_is_said_to_be_too_narrow_short_or_small_holds_nothing():
    """By the search itself; and the body as a piece of its own, and a little less of it, are told apart."""
    seen = set()
    for seed in range(20):
        random = np.random.default_rng(seed)
        body = bf.Figure.from_points(random.uniform(-1, 1, size=(12, 3)) * random.uniform(20, 300, 3))
        assert not _cannot_hold(body.vertices, body)
        assert _cannot_hold(0.99 * body.vertices, body)
        piece = random.uniform(-1, 1, size=(14, 3)) * random.uniform(20, 400, 3)
        fits = bf.largest(body, bf.Block.convex(piece), scales=(1, 1), gap=1e-2).verdict.name == "FITS"
        seen.add((fits, _cannot_hold(piece, body)))
    assert seen >= {(True, False), (False, True)}
    assert (True, True) not in seen


def test_a_wish_is_said_to_be_kept_by_the_finished_pieces_alone():
    slab, lump = (np.array(cuboid(900, 700, deep).vertices) for deep in (120, 800))
    wishes = Wishes(shape="slab", weight_kg=(1, 200), most_m3=0.1)
    shape = {wish.about: wish for wish in wishes.told([(0.0756, slab), (0.504, lump)])}
    assert [shape[about].text for about in ("shape", "weight")] == [
        "asked: every piece is a slab; 1 of 2 do", "asked: every piece weighs 1 to 200 kg; 1 of 2 do",
    ]  # fmt: skip
    assert not any(wish.kept for wish in shape.values())


def test_bad_wishes_name_the_way_out(fit):
    for asked, words in (
        ({"weight_kg": (300, 250)}, "250"), ({"weight_kg": 5}, "two numbers"), ({"shape": "cube"}, "lump"),
        ({"holds": (1, 2)}, "three sides"), ({"cuts": "round"}, "slant"),
        ({"weight_kg": (250, 300), "lift_limit_kg": 280}, "lift limit"),
    ):  # fmt: skip
        with pytest.raises(bf.BadValueError, match=words):
            bf.offcuts(fit, **asked)


@pytest.mark.thorough
def test_kinds_of_cuts(kneeling):
    block = bf.Block.box(*[side + 90 for side in kneeling.size_mm], stone="marble")
    stood = bf.safest(kneeling, block, stance=bf.Stance.upright(0), cover=1)
    plan = bf.offcuts(stood, kerf=0, reserve=0, most_pieces=3, cuts="slant")
    for piece in plan.pieces:
        for cut in piece.cuts:
            assert np.abs(block.normals @ cut.normal).min() < 1e-9  # square to a face
    kinds = {kind.cuts: kind for kind in plan.by_cuts}
    assert set(kinds) == {"any", "slant", "square"}
    assert kinds["slant"].recovered == plan.recovered
    assert kinds["square"].recovered < kinds["slant"].recovered


def test_square_cuts_of_a_block_out_of_square_are_parallel_to_its_own_faces():
    turn = np.array([[0.8, -0.6, 0], [0.6, 0.8, 0], [0, 0, 1]])
    corners = bf.Block.box(600, 400, 900).corners_mm @ turn.T
    figure = bf.Figure(cuboid(200, 200, 880, at=(200, 100, 10)).vertices @ turn.T, cuboid(1, 1, 1).faces)
    skewed = bf.Block.convex(corners, stone="marble")
    stood = bf.safest(figure, skewed, stance=FIXED, cover=1)
    plan = bf.offcuts(stood, kerf=0, reserve=0, cuts="square", compare=False)
    assert plan.pieces
    for piece in plan.pieces:
        for cut in piece.cuts:
            assert np.abs(skewed.normals @ cut.normal).max() > 1 - 1e-9


def test_a_piece_is_a_block(fit):
    plan = bf.offcuts(beside(fit), kerf=10, clearance=10, reserve=0)
    blocks = plan.blocks(margin=8)
    planes = list(zip(fit.block.normals, fit.block.offsets_mm, strict=True))
    assert len(blocks) == len(plan.pieces)
    for piece, block in zip(plan.pieces, blocks, strict=True):
        assert block.stone is fit.block.stone
        assert block.bed == "z"
        assert block.volume_m3 == pytest.approx(piece.volume_m3, rel=1e-9)
        for name, normal, offset, skin in zip(block.names, block.normals, block.offsets_mm, block.skin_mm, strict=True):
            own = any(np.allclose([*normal, offset], [*n, o]) for n, o in planes)
            assert skin == ({"right": 15}.get(name, 0) if own else 8)
        held = bf.largest(cuboid(100, 150, 200), block, cover=5)
        placed = held.solid()
        solid = manifold_of(placed.vertices, placed.faces)
        assert (solid - manifold_of(piece.solid.vertices, piece.solid.faces)).volume() < 1e-3
    table = bf.compare(cuboid(100, 150, 200), blocks, jobs=1)
    assert len(table.rows) == len(blocks)


def test_flaws_go_with_the_piece_that_they_reach():
    flaws = [bf.Flaw.ball((650, 150, 300), 20), bf.Flaw.ball((100, 150, 300), 10), bf.Flaw.beyond((1, 0, 0), 690)]
    origin = bf.Block.box(700, 300, 600).with_flaws(*flaws)
    upper = bf.Block.box(300, 300, 600).corners_mm + np.array([400.0, 0, 0])
    assert sawn_block(upper, origin, margin_mm=0, name="x").flaws == (flaws[0], flaws[2])
    with pytest.raises(bf.BadValueError, match="no sound stone"):
        sawn_block(upper, origin, margin_mm=400, name="x")


@pytest.mark.parametrize("which", slow_after(1, ["mushroom", "kneeling"]))
def test_more_effort_saves_no_less(which, kneeling):
    shape = kneeling if which == "kneeling" else mushroom()
    block = bf.Block.box(*[side + 60 for side in shape.size_mm], stone="marble")
    stood = bf.safest(shape, block, stance=FIXED, cover=0)
    one, two = (bf.offcuts(stood, kerf=0, reserve=0, most_pieces=3, effort=effort) for effort in (1, 2))
    assert two.recovered >= one.recovered - 1e-9
    figure = manifold_of(stood.solid().vertices, stood.solid().faces)
    for piece in two.pieces:
        assert figure.min_gap(manifold_of(piece.solid.vertices, piece.solid.faces), 100) >= 20 - 1e-6
    with pytest.raises(bf.BadValueError, match="effort"):
        bf.offcuts(stood, effort=9)

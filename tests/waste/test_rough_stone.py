"""Rough blocks, whole: what is asked of a sawn block is answered in one that was scanned.

A box given as a scan must answer as the box that it is; a boulder is held against manifold3d and closed forms, and its
cuts are set out again from what is printed of them."""

import math
import re

import manifold3d
import numpy as np
import pytest
import trimesh
from conftest import FIXED, ball, box, cuboid, figure_of, rod, solid_of, union

import blockfit as bf
from blockfit.geometry.polytope import box_corners
from blockfit.sheets.setting_out import cut_words
from blockfit.waste.offcuts.stone import stone_for_pieces

SIZE = (500, 400, 900)


def statue() -> bf.Figure:
    """A post on a plinth with an arm: undercut from the front, below the arm."""
    return figure_of(union(box((-90, -80, 0), (90, 80, 120)), rod(55, 0, 700), box((-20, -25, 450), (180, 25, 510))))


def boulder(size=(620, 560, 1000), detail=3, seed=1) -> bf.Figure:
    """A stone with round edges and bumps, about as large as ``size``."""
    mesh = trimesh.creation.icosphere(subdivisions=detail)
    places = np.sign(mesh.vertices) * np.abs(mesh.vertices) ** 0.4
    places /= np.abs(places).max(axis=0)
    random = np.random.default_rng(seed)
    ways, phases = random.normal(0, 4, (10, 3)), random.uniform(0, 6, 10)
    bumps = np.sin(places @ ways.T + phases).sum(axis=1) / 4
    places = places * np.array(size) / 2 + 15 * bumps[:, None] * mesh.vertex_normals
    return bf.Figure(places - places.min(axis=0), mesh.faces, name="boulder")


@pytest.fixture(scope="module")
def fits():
    """The statue at the same place in a sawn block, and in the same block as a scan."""
    sawn = bf.Block.box(*SIZE, stone="marble")
    rough = bf.Block.scanned(cuboid(*SIZE), stone="marble")
    return [bf.largest(statue(), block, stance=FIXED, cover=20, scales=(1, 1)) for block in (sawn, rough)]


@pytest.fixture(scope="module")
def found():
    block = bf.Block.scanned(boulder(), stone="marble")
    return bf.largest(statue(), block, stance=FIXED, cover=15, scales=(0, 1))


@pytest.fixture(scope="module")
def plan(found):
    return bf.offcuts(found, clearance=15, kerf=8, reserve=0, least_weight_kg=10)


def same_place(fits):
    """The rough fit, its figure put where the sawn one has it."""
    from dataclasses import replace

    return fits[0], replace(fits[1], placement=fits[0].placement)


@pytest.mark.thorough
def test_a_box_that_was_scanned_answers_as_the_box_that_it_is(fits):
    sawn, rough = same_place(fits)
    ours, theirs = bf.undercuts(rough), bf.undercuts(sawn)
    for part in ("front_m3", "beside_m3", "trapped_m3", "rear_m3"):
        assert getattr(ours, part) == pytest.approx(getattr(theirs, part), abs=2e-4), part
    assert ours.reach_by_face == pytest.approx(theirs.reach_by_face)
    assert [region.place for region in ours.regions] == [region.place for region in theirs.regions]
    assert [r.stone_m3 for r in ours.regions] == pytest.approx([r.stone_m3 for r in theirs.regions], abs=1e-4)
    for face in ("front", "top"):
        a, b = (bf.roughing(fit, face=face).planes for fit in (rough, sawn))
        assert [p.removed_m3 for p in a] == pytest.approx([p.removed_m3 for p in b], abs=1e-6)
    weigh = [bf.weights(fit, undercut=cut) for fit, cut in ((rough, ours), (sawn, theirs))]
    assert [s.left_kg for s in weigh[0].stages] == pytest.approx([s.left_kg for s in weigh[1].stages], abs=0.6)


@pytest.mark.slow
def test_a_box_that_was_scanned_stands_and_is_sawn_as_the_box_that_it_is(fits):
    sawn, rough = same_place(fits)
    ours, theirs = bf.undercuts(rough), bf.undercuts(sawn)
    loads = [bf.handling(fit, undercut=cut).loads for fit, cut in ((rough, ours), (sawn, theirs))]
    assert [load.name for load in loads[0]] == [load.name for load in loads[1]]
    for a, b in zip(*loads, strict=True):
        assert a.stands.stands == b.stands.stands
        assert a.centre_mm == pytest.approx(b.centre_mm, abs=1.0)
    plans = [bf.offcuts(fit, kerf=10, reserve=0) for fit in (rough, sawn)]
    assert plans[0].recovered == pytest.approx(plans[1].recovered, abs=0.05)  # 26 planes around it lead elsewhere


def test_pieces_lie_in_the_stone_apart_and_clear_of_the_figure(found, plan):
    """All by manifold3d, from the pieces' own solids."""
    stone, figure = solid_of(found.block.surface), solid_of(found.solid())
    assert len(plan.pieces) >= 3
    left = stone
    for piece in plan.pieces:
        body = solid_of(piece.solid)
        assert (body - stone).volume() < 1
        assert (body - left).volume() < 1  # nothing that an earlier piece took
        assert body.min_gap(figure, 100) >= 15 - 1e-3
        assert body.volume() * 1e-9 == pytest.approx(piece.volume_m3, rel=1e-9)
        sound = solid_of(figure_of(trimesh.convex.convex_hull(piece.convex_mm)))
        assert (sound - body).volume() < 2
        assert piece.block().volume_m3 <= piece.volume_m3 + 1e-9
        assert math.prod(piece.box_mm) * 1e-9 <= piece.block().volume_m3 + 1e-9
        left = left - body
        assert (solid_of(piece.left) - left).volume() < 1
        for cut in piece.cuts:
            assert cut.marks == ()
            away = np.abs(trimesh.proximity.signed_distance(mesh_of(found.block.surface), cut.places_mm))
            # On the stone's own surface, or where an earlier cut has left it flat.
            assert (np.minimum(away, flat_by(plan, cut.places_mm)) < 0.05).all()
    assert (solid_of(plan.left) - stone).volume() < 1
    assert plan.left.volume_m3 + plan.volume_m3 < found.block.volume_m3


def mesh_of(figure):
    return trimesh.Trimesh(figure.vertices, figure.faces, process=False)


def flat_by(plan, places):
    planes = [(c.normal, c.offset_mm - c.kerf_mm * k) for p in plan.pieces for c in p.cuts for k in (0, 1)]
    return np.min([np.abs(places @ normal - offset) for normal, offset in planes], axis=0)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_cuts_set_out_by_what_is_printed_spare_the_figure(found, plan, units):
    """Read the places of each cut from its words, lay a plane through them and saw: figure and clearance stay."""
    figure = found.solid().vertices
    number = r"([\d,. /ftin]+?)(?: mm)? "
    for piece in plan.pieces:
        planes = []
        for cut in piece.cuts:
            words = "; ".join(cut_words(cut, found.block, units=units))
            told = re.findall(rf"\(\d\) {number}from the left, {number}in from the front, {number}up", words)
            assert len(told) >= 4
            places = np.array([[millimetres(text, units) for text in place] for place in told])
            middle = places.mean(axis=0)
            normal = np.linalg.svd(places - middle)[2][2]
            normal *= np.sign(normal @ (piece.centre_mm - middle))
            assert np.abs((places - middle) @ normal).max() < 0.8
            planes.append((normal, float(normal @ middle) - cut.kerf_mm))
        heights = np.array([figure @ normal - offset for normal, offset in planes])
        # A point of the figure is spared if it lies behind one of the piece's cuts, kerf taken out.
        assert heights.min(axis=0).max() <= -14


def millimetres(text, units):
    if units == "metric":
        return float(text.replace(",", ""))
    feet, _, inches = text.rpartition(" ft")
    total = 0.0
    for part in inches.removesuffix(" in").split():
        top, _, under = part.partition("/")
        total += int(top) / int(under or 1)
    return 304.8 * int(feet or 0) + 25.4 * total


@pytest.mark.thorough
def test_weights_sum_up_and_a_skin_is_weighed():
    rough = bf.Block.scanned(ball(400), stone="marble", skin=20)
    fit = bf.safest(cuboid(200, 200, 200), rough, stance=FIXED)
    told = bf.weights(fit)
    # By hand: a shell of 20 mm of a ball of 400 mm.
    assert told.skin_m3 == pytest.approx(4 / 3 * math.pi * (0.4**3 - 0.38**3), rel=0.05)
    assert sum(volume for _, volume in told.parts_m3) == pytest.approx(rough.volume_m3)
    # Before the cube: the ball over a square of 200 mm, less half the cube.
    over = np.linspace(-0.1, 0.1, 401)
    x, z = np.meshgrid(over, over)
    column = np.sqrt(0.4**2 - x**2 - z**2).mean() * 0.04 - 0.1 * 0.04
    assert bf.undercuts(fit).front_m3 == pytest.approx(column, rel=0.02)


@pytest.mark.thorough
def test_the_least_squaring_of_a_ball():
    """By hand: a section π (R² − h²) of half of πR² lies at h = R/√2; a cap of height c takes π c² (R − c/3)."""
    radius = 400
    fit = bf.safest(cuboid(150, 150, 150), bf.Block.scanned(ball(radius, 5), stone="marble"), stance=FIXED)
    told = bf.squaring(fit)
    cap = radius * (1 - math.sqrt(0.5))
    base = told.faces[0]
    assert base.face == "bottom"
    assert base.inset_mm == pytest.approx(cap, rel=0.01)
    assert base.area_m2 == pytest.approx(math.pi * (radius / 1000) ** 2 / 2, rel=0.01)
    assert base.loss_m3 == pytest.approx(math.pi * cap**2 * (radius - cap / 3) * 1e-9, rel=0.02)
    assert told.stands
    assert told.loss_m3 == pytest.approx(sum(face.loss_m3 for face in told.faces))
    assert told.block().volume_m3 == pytest.approx(fit.block.volume_m3 - told.loss_m3)
    assert bf.answer(fit.figure, told.block(), fit.ask).scale == pytest.approx(1)
    for face in told.faces:
        assert face.is_large
        assert face.cover_mm > 0
    whole = bf.squaring(fit, share=1)
    assert not whole.faces[0].is_large  # the figure stands at the middle, and is not cut
    assert whole.faces[0].cover_mm == pytest.approx(0, abs=1e-6)
    with pytest.raises(bf.BadValueError, match="sawn already"):
        bf.squaring(bf.largest(cuboid(10, 10, 10), bf.Block.box(20, 20, 20), stance=FIXED))


def test_the_model_is_set_from_a_frame_around_the_stone(found):
    told = bf.setting(found)
    assert sorted(corner.name for corner in told.corners) == sorted(
        f"{y} {x} {z}" for y in ("front", "back") for x in ("left", "right") for z in ("bottom", "top")
    )
    assert told.inside_mm == pytest.approx([side / told.factor for side in found.block.size_mm])


@pytest.mark.slow
def test_the_model_is_pointed_from_a_frame_around_the_stone(found):
    points = bf.pointing(found, count=30)
    assert "a frame square around the stone" in points.text()
    assert points.points[0].stop_mm > 0


@pytest.mark.slow
def test_the_survey_of_a_boulder_leaves_nothing_out(found):
    told = bf.survey(found, alternatives=False)
    text = told.text()
    assert "NOT ANSWERED" not in text
    for words in ("Least squaring", "no face to snap it on", "Undercut", "behind it", "Box around it"):
        assert words in text
    record = told.record()
    assert record["squaring"]["faces"][0]["face"] == "bottom"
    assert record["offcuts"]["pieces"][0]["cuts"][0]["places_mm"]


def tilted(width, depth, height):
    """A box that no plane along the axes touches flat."""
    return figure_of(box((0, 0, 0), (width, depth, height)).rotate([13, 27, 41]))


@pytest.mark.parametrize("kind", ["turned", "tetrahedron", "prism"])
def test_stones_without_flat_sides_to_the_axes_are_answered_whole(kind):
    stones = {
        "turned": figure_of(box((0, 0, 0), (800, 800, 900)).rotate([0, 0, 45])),
        "tetrahedron": bf.Figure(
            [[0, 0, 0], [900, 0, 0], [0, 900, 0], [0, 0, 1500]], [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
        ),
        "prism": figure_of(rod(600, 0, 900).hull()),
    }
    block = bf.Block.scanned(stones[kind], stone="marble")
    fit = bf.largest(cuboid(100, 80, 200), block, stance=FIXED, cover=15, scales=(0, 0.7))
    cut = bf.undercuts(fit)
    assert set(cut.reach_by_face) == {"front", "back", "left", "right", "bottom", "top"}
    told = bf.weights(fit, undercut=cut)
    assert sum(volume for _, volume in told.parts_m3) == pytest.approx(block.volume_m3)
    assert bf.handling(fit, undercut=cut).loads


@pytest.mark.thorough
def test_sound_stone_lies_a_skin_away_from_the_surface():
    stone = tilted(800, 500, 900)
    fit = bf.largest(
        statue(), bf.Block.scanned(stone, stone="marble", skin=20), stance=FIXED, cover=15, scales=(0, 0.7)
    )
    plan = bf.offcuts(fit, clearance=15, kerf=6, reserve=0, least_weight_kg=10, most_pieces=4)
    assert plan.pieces
    low, high = np.asarray(stone.vertices).min(axis=0) - 200, np.asarray(stone.vertices).max(axis=0) + 200
    outside = box(tuple(low), tuple(high)) - solid_of(stone)
    for piece in plan.pieces:
        body = solid_of(figure_of(trimesh.convex.convex_hull(piece.convex_mm)))
        assert body.min_gap(outside, 60) >= 20 - 1e-3


@pytest.mark.in_full
@pytest.mark.thorough
def test_the_arm_of_an_l_is_a_piece_as_large_as_it_is():
    """One cut beside the figure frees half the stone; a notch at an edge costs little more than the notch."""
    stone = figure_of(union(box((0, 0, 0), (900, 400, 400)), box((0, 0, 0), (350, 400, 1000))))
    fit = bf.safest(statue(), bf.Block.scanned(stone, stone="marble"), stance=FIXED)
    plan = bf.offcuts(fit, clearance=15, kerf=6, reserve=0, least_weight_kg=10, most_pieces=1)
    first = plan.pieces[0]
    assert first.volume_m3 > 0.4 * 0.4 * 0.45
    assert first.block().volume_m3 > 0.7 * first.volume_m3
    notched = figure_of(box((0, 0, 0), (900, 400, 900)) - box((840, -1, -1), (901, 401, 90)))
    fit = bf.largest(statue(), bf.Block.scanned(notched, stone="marble"), stance=FIXED, cover=15, scales=(0, 0.7))
    piece = bf.offcuts(fit, clearance=15, kerf=6, reserve=0, most_pieces=1, cuts="square", compare=False).pieces[0]
    assert piece.block().volume_m3 > 0.85 * piece.volume_m3


@pytest.mark.slow
def test_a_convex_stone_turned_any_way_saves_what_the_convex_block_does():
    stone, recovered = tilted(800, 700, 900), []
    for block in (bf.Block.scanned(stone, stone="marble"), bf.Block.convex(stone.vertices, stone="marble")):
        fit = bf.largest(statue(), block, stance=FIXED, cover=20, scales=(0, 0.5))
        plan = bf.offcuts(fit, clearance=12, kerf=5, reserve=0, lift_limit_kg=250, most_pieces=4)
        recovered.append(plan.recovered)
        assert all(piece.weight_range_kg[1] <= 250 for piece in plan.pieces)
    assert recovered[0] > 0.6 * recovered[1] > 0


def test_what_is_true_already_is_not_sawn():
    """By hand: a box has nothing to lose, whatever share is asked; a peg cannot become larger by being shortened."""
    for size in ((800, 600, 900), (700.6, 333.1, 910.8)):
        fit = bf.largest(statue(), bf.Block.scanned(cuboid(*size)), stance=FIXED, cover=10, scales=(0, 0.3))
        for share in (0.3, 0.95, 1):
            assert bf.squaring(fit, share=share).loss_m3 == pytest.approx(0, abs=1e-9)
    pegged = figure_of(union(box((0, 0, 100), (600, 600, 900)), box((200, 200, 0), (400, 400, 110))))
    fit = bf.safest(cuboid(300, 300, 600), bf.Block.scanned(pegged), stance=FIXED)
    base = bf.squaring(fit, share=1).faces[0]
    assert base.inset_mm == pytest.approx(100, abs=0.01)  # the peg goes, and no more
    assert base.is_large
    assert base.loss_m3 == pytest.approx(0.2 * 0.2 * 0.1, rel=1e-3)


def test_what_lies_outside_the_stone_is_no_piece():
    """A part of a divided piece may hold none of a rough stone at all: it has no sound body, and is no error."""
    ball = manifold3d.Manifold.sphere(300, 24).translate([300, 300, 300]).to_mesh64()
    surface = bf.Figure(np.asarray(ball.vert_properties)[:, :3], np.asarray(ball.tri_verts).astype(np.int64))
    stone = stone_for_pieces(bf.Block.scanned(surface))
    outside = box_corners(np.zeros(3), np.full(3, 50.0))  # a corner of its box, in the air
    assert stone.sound(outside, np.eye(3), 20.0) is None
    assert stone.sound(box_corners(np.full(3, 250.0), np.full(3, 350.0)), np.eye(3), 20.0) is not None

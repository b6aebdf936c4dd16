"""Flaws, rough blocks, stages and recovery: closed forms, exhaustive search, and exact distances of solids."""

import math

import numpy as np
import pytest
import trimesh
from conftest import SHARED, ball, cuboid, needs_meshes
from hypothesis import given, settings
from hypothesis import strategies as st
from test_waste import united

import blockfit as bf
from blockfit.measure.booleans import ball_solid, gap_between, solid_from

FIXED, ANY = bf.Stance.fixed(), bf.Stance.free()


def solid_of(figure):
    return solid_from(figure.vertices, figure.faces)


# ---- flaws ----


def test_a_ball_beside_a_round_cavity_by_formula():
    """A cavity of 50 + 10 in the middle of a cube of 400: the ball sits in a corner, where (200 - r)√3 = r + 60."""
    block = bf.Block.box(400, 400, 400).with_flaws(bf.Flaw.ball((200, 200, 200), 50, margin=10))
    fit = bf.largest(ball(100, 4), block, stance=FIXED)
    exact = (200 * math.sqrt(3) - 60) / (1 + math.sqrt(3)) / 100
    assert fit.scale == pytest.approx(exact, rel=1e-3)  # the ball's faces lie a little inside the true one
    assert fit.proof == "best found"
    assert fit.kept_mm[0][1] >= 10 - 1e-3
    assert fit.flaw_cost == pytest.approx(2 - exact, rel=2e-3)
    assert fit.scale_bound == pytest.approx(2, rel=2e-3)


def test_a_ball_in_a_box_with_a_corner_off():
    """A zone beyond x + y + z = 420 in the far corner of a cube of 200: told as a flaw, and as a plane."""
    normal, offset = np.ones(3) / math.sqrt(3), 420 / math.sqrt(3)
    cube = bf.Block.box(200, 200, 200)
    planes = bf.Block.from_planes(np.vstack([cube.normals, normal]), np.append(cube.offsets_mm, offset))
    proved = bf.largest(ball(50, 4), planes, stance=FIXED)
    found = bf.largest(ball(50, 4), cube.with_flaws(bf.Flaw.beyond(normal, offset)), stance=FIXED)
    assert proved.proof == "proved"
    assert found.scale == pytest.approx(proved.scale, rel=1e-4)


def test_a_stick_past_a_crack():
    """A crack parts a cube at a third: the stick lies in the larger part, no longer than its diagonal."""
    stick = cuboid(10, 10, 300)
    crack = bf.Flaw.crack([[0, 0, 100], [300, 0, 100], [300, 300, 100], [0, 300, 100]], margin=5)
    fit = bf.largest(stick, bf.Block.box(300, 300, 300).with_flaws(crack), stance=ANY)
    above = bf.largest(stick, bf.Block.box(300, 300, 195), stance=ANY)
    assert above.scale * 0.99 <= fit.scale <= above.scale_bound * (1 + 1e-6)
    placed = fit.solid().vertices[:, 2]
    assert placed.min() > 104.9 or placed.max() < 95.1


def test_a_crack_may_pass_through_waste():
    figure = cuboid(100, 100, 400)
    disc = bf.Flaw.disc((300, 50, 200), (0, 0, 1), 80, margin=10)
    fit = bf.safest(figure, bf.Block.box(400, 120, 420).with_flaws(disc), stance=FIXED)
    assert fit.verdict is bf.Verdict.FITS
    assert fit.kept_mm[0][1] >= 10 - 1e-3
    assert fit.solid().vertices[:, 0].max() <= 300 - 80 - 10 + 0.1


def test_a_flaw_that_no_placement_avoids():
    block = bf.Block.box(110, 110, 410).with_flaws(bf.Flaw.ball((55, 55, 200), 20))
    fit = bf.safest(cuboid(100, 100, 400), block, stance=FIXED)
    assert fit.verdict is bf.Verdict.UNDECIDED  # only the relaxation is proved, and it fits
    assert fit.short_mm > 20
    smaller = bf.largest(cuboid(100, 100, 400), block, stance=FIXED)
    assert smaller.verdict is bf.Verdict.FITS
    assert smaller.scale < 0.6


def test_a_small_flaw_inside_the_figure_is_seen():
    """A ball of 3 mm deep within a thick figure, far from its surface."""
    block = bf.Block.box(500, 300, 500).with_flaws(bf.Flaw.ball((250, 150, 250), 3, margin=2))
    fit = bf.safest(cuboid(240, 240, 240), block, stance=FIXED)
    assert fit.verdict is bf.Verdict.FITS
    assert fit.kept_mm[0][1] >= 2 - 1e-3


@given(st.integers(0, 10_000))
@settings(max_examples=5)
def test_random_flaws_are_kept_clear_of(seed):
    random = np.random.default_rng(seed)
    figure = united(cuboid(200, 200, 80), cuboid(80, 80, 400, at=(60, 60, 0)))
    flaws = []
    for k in range(3):
        centre = random.uniform([60, 60, 60], [540, 440, 640])
        if random.random() < 0.5:
            flaws.append(bf.Flaw.ball(centre, random.uniform(10, 50), margin=5, name=f"ball {k}"))
        else:
            flaws.append(bf.Flaw.box(centre - 30, centre + random.uniform(5, 60, 3), margin=5, name=f"box {k}"))
    block = bf.Block.box(600, 500, 700).with_flaws(*flaws)
    fit = bf.largest(figure, block, cover=10, stance=bf.Stance.upright(45))
    assert fit.verdict is bf.Verdict.FITS
    assert fit.scale <= fit.scale_bound * (1 + 1e-9)
    placed = solid_of(fit.solid())
    for flaw, (_, kept) in zip(flaws, fit.kept_mm, strict=True):
        # Apart from the search: manifold3d's own distance; its ball lies outside the true one by a thousandth.
        body = ball_solid(flaw.centre, flaw.radius_mm) if flaw.kind == "ball" else None
        if body is not None:
            assert gap_between(placed, body, 2000) >= 5 - 0.003 * flaw.radius_mm
        assert kept >= 5 - 1e-3
    assert bf.stone_cover(fit).least_mm >= 10 - 1e-6


def test_flaws_turn_with_the_block():
    block = bf.Block.box(600, 300, 200).with_flaws(bf.Flaw.ball((500, 150, 100), 60, margin=5))
    fit = bf.largest(cuboid(100, 100, 200), block, stance=FIXED, stands_on="left")
    assert fit.verdict is bf.Verdict.FITS
    assert fit.kept_mm[0][1] >= 5 - 1e-3
    (flaw,) = fit.block.flaws
    assert flaw.centre[2] == pytest.approx(500)  # the right end is now up


def test_bad_flaws_raise():
    for wrong in (
        lambda: bf.Flaw.box((0, 0, 0), (0, 1, 1)),
        lambda: bf.Flaw.crack([[0, 0, 0], [1, 0, 0]]),
        lambda: bf.Flaw.crack([[0, 0, 0], [1, 0, 0], [2, 0, 0]]),
        lambda: bf.Flaw.disc((0, 0, 0), (0, 0, 0), 5),
        lambda: bf.Flaw.beyond((0, 0, 0), 5),
        lambda: bf.Flaw.ball((0, 0, float("nan")), 5),
        lambda: bf.Flaw.ball((0, 0, 0), -5),
    ):
        with pytest.raises(bf.BadValueError):
            wrong()


# ---- rough blocks ----


def l_block():
    return united(cuboid(600, 300, 200), cuboid(200, 300, 600))


def test_an_l_in_an_l_where_only_its_hull_would_say_no():
    """An L-shaped figure goes as it is into an L-shaped block that is a little larger; its hull would not."""
    figure = united(cuboid(500, 200, 120), cuboid(120, 200, 500))
    block = bf.Block.scanned(l_block(), stone="marble")
    fit = bf.largest(figure, block, stance=FIXED)
    # Each arm: 120 s <= 200 and 500 s <= 600: s = 1.2, and 200 s <= 300.
    assert fit.scale == pytest.approx(1.2, rel=2e-3)
    assert fit.proof == "best found"
    assert (solid_of(fit.solid()) - solid_of(l_block())).volume() < 1
    box = bf.Figure(cuboid(500, 200, 500).vertices, cuboid(500, 200, 500).faces)
    assert bf.largest(box, block, stance=FIXED).scale < 0.6


def test_a_rough_blocks_cover_is_exact():
    figure = ball(60, 4)
    block = bf.Block.scanned(l_block(), stone="marble")
    fit = bf.safest(figure, block, stance=FIXED)
    assert fit.cover_mm == pytest.approx(bf.stone_cover(fit).least_mm, abs=1e-6)
    # The thickest place is where the arms meet: a ball of radius R there touches two outer sides at R and the inner
    # edge at (200, 200): R = (200 - R)√2 + ..., R√2 + R = 200√2; the depth of 300 allows 150. Less the ball's own 60.
    assert fit.cover_mm == pytest.approx(200 * math.sqrt(2) / (1 + math.sqrt(2)) - 60, rel=0.02)
    assert block.volume_m3 == pytest.approx((0.6 * 0.2 + 0.2 * 0.4) * 0.3)
    with pytest.raises(bf.BlockfitError):
        bf.safest(bf.Figure.from_points(figure.vertices), block)


def test_a_rough_block_from_a_file(tmp_path):
    body = l_block()
    trimesh.Trimesh(body.vertices, body.faces).export(tmp_path / "rough.stl")
    block = bf.Block.scanned(tmp_path / "rough.stl", unit="mm", stone="limestone", skin=10)
    assert block.surface.is_solid
    assert block.mass_kg == pytest.approx(0.06 * 2700, rel=1e-6)
    fit = bf.largest(cuboid(100, 100, 100), block, stance=FIXED)
    assert bf.stone_cover(fit).least_mm >= -1e-6
    told = str(bf.survey(fit, alternatives=False))
    assert "the best found" in told
    assert "NOT ANSWERED" in told


# ---- setback and stages ----


def test_setback_in_the_stone_as_it_stands():
    cube = cuboid(100, 100, 100)
    block = bf.Block.box(300, 500, 300, stone="marble")
    fit = bf.safest(cube, block, stance=FIXED, cover={"front": 20, "bottom": 0, "other": 0}, seek="setback")
    assert bf.setback(fit).back_mm == pytest.approx(380)
    # A hole drilled down through the block, its front at y = 300, in the figure's way.
    hole = cuboid(50, 50, 320, at=(125, 300, -10))
    stage = bf.stage_of(fit, gone=[("a drilled hole", hole)])
    told = bf.setback(fit, stage)
    assert told.back_mm == pytest.approx(300 - 120, abs=0.01)
    assert told.limit_face == "the stone as it stands"
    assert stage.gone == ("a drilled hole",)
    assert told.left_mm == pytest.approx(100)
    aside = bf.stage_of(fit, gone=[("a hole aside", cuboid(50, 50, 320, at=(0, 300, -10)))])
    assert bf.setback(fit, aside).back_mm == pytest.approx(380, abs=0.01)


def test_setback_after_offcuts_agrees_with_the_plan(kneeling):
    width, depth, height = kneeling.size_mm
    block = bf.Block.box(width + 60, depth + 210, height + 60, stone="marble")
    fit = bf.safest(kneeling, block, stance=bf.Stance.upright(0), cover={"bottom": 0, "other": 1}, seek="setback")
    plan = bf.offcuts(fit, clearance=0, kerf=0, reserve=60, most_pieces=4)
    stage = bf.stage_of(fit, offcuts=plan)
    assert bf.setback(fit, stage).back_mm >= plan.pieces[-1].setback_mm - 0.01
    assert bf.setback(fit, bf.stage_of(fit, offcuts=plan, pieces=0)).back_mm == pytest.approx(
        bf.setback(fit).back_mm, abs=0.01
    )


# ---- recovery ----


def posed(figure, depth=300, margin=40):
    width, thick, height = figure.size_mm
    block = bf.Block.box(width + 2 * margin, thick + depth, height + margin, stone="marble")
    cover = {"front": margin, "left": margin, "right": margin, "other": 0}
    return bf.safest(figure, block, stance=FIXED, cover=cover)


def test_a_cube_behind_a_lost_front_slab():
    fit = posed(cuboid(200, 200, 200))
    front = fit.solid().vertices[:, 1].min()
    lost = bf.Flaw.beyond((0, -1, 0), -(front + 35), name="the front")  # all before front + 35
    told = bf.recover(fit, lost, margin=5)
    assert told.straight_back.found
    assert told.straight_back.back_mm == pytest.approx(40, abs=1e-3)
    assert told.straight_back.proof == "exact"
    assert told.turned.back_mm <= 40 + 1e-3
    assert told.smaller.scale == pytest.approx(1)
    assert "straight back: 40.0 mm back" in str(told)


def test_only_smaller_will_do():
    """No room behind: a cube that lost a slab of 50 of its 200 goes at three quarters, by hand."""
    figure = cuboid(200, 200, 200)
    fit = bf.safest(figure, bf.Block.box(200, 200, 200), stance=FIXED)
    told = bf.recover(fit, bf.Flaw.beyond((0, -1, 0), -50), turn=0, lean=0)
    assert not told.straight_back.found
    assert not told.turned.found
    assert told.smaller.scale == pytest.approx(0.75, rel=1e-4)
    assert told.scale_bound >= told.smaller.scale
    none = bf.recover(fit, bf.Flaw.beyond((0, -1, 0), -50), turn=0, lean=0, least_scale=0.9)
    assert not none.smaller.found
    assert none.smaller.short_mm == pytest.approx(50, abs=1e-3)


def test_no_shift_of_a_fine_grid_beats_straight_back():
    figure = united(cuboid(200, 120, 60), cuboid(60, 60, 300, at=(70, 30, 0)), cuboid(200, 50, 50, at=(0, 35, 200)))
    fit = posed(figure, depth=400)
    hand = fit.solid().vertices[fit.solid().vertices[:, 0].argmax()]
    lost = ball(45, 4)
    lost = bf.Figure(lost.vertices + hand + [0, 20, 20], lost.faces)
    told = bf.recover(fit, lost, turn=0, lean=0)
    body, moved = solid_of(lost), solid_of(fit.solid())
    free = next(t for t in np.arange(0, 300, 0.25) if (moved.translate([0, t, 0]) ^ body).volume() < 1e-3)
    assert told.straight_back.back_mm <= free + 0.01
    assert told.straight_back.back_mm >= free - 0.5
    assert (moved.translate([0, told.straight_back.back_mm, 0]) ^ body).volume() < 1


def test_an_exhaustive_grid_of_turns_and_shifts_does_not_beat_the_largest():
    """A plate that has lost a round place: scales over every turn (1°) and shift (4 mm) by discs in the plane."""
    figure = cuboid(160, 160, 40)
    fit = bf.safest(figure, bf.Block.box(180, 180, 40), stance=FIXED)
    told = bf.recover(fit, bf.Flaw.ball((150, 150, 20), 60), turn=10, lean=0, aside=60, least_scale=0.3)
    best = 0.0
    for angle in np.radians(np.arange(-10, 11, 1)):
        cos, sin = abs(math.cos(angle)), abs(math.sin(angle))
        turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
        for x in range(20, 160, 4):
            for y in range(20, 160, 4):
                # The square's half side within the walls, and clear of the disc of radius 60.
                wall = min(x, 180 - x, y, 180 - y) / (cos + sin)
                q = np.abs(turn.T @ np.array([150 - x, 150 - y]))
                low, high = 0.0, wall
                for _ in range(20):
                    half = (low + high) / 2
                    gap = math.hypot(*np.maximum(q - half, 0))
                    low, high = (half, high) if gap >= 60 else (low, half)
                best = max(best, low / 80)
    assert told.smaller.found
    assert told.smaller.scale >= min(1.0, best) * 0.99


@needs_meshes
def test_the_raised_hand_is_lost():
    figure = bf.read_figure(SHARED / "kneeling_arm_raised.stl", unit="m")
    hand = figure.vertices[figure.vertices[:, 2].argmax()]
    figure = bf.Figure(figure.vertices, figure.faces, landmarks={"raised hand": tuple(hand)})
    width, depth, height = figure.size_mm
    block = bf.Block.box(width + 80, depth + 200, height + 60, stone="marble")
    fit = bf.safest(figure, block, stance=bf.Stance.upright(0), cover={"bottom": 0, "other": 10}, seek="setback")
    at = np.array(fit.solid().landmarks["raised hand"])
    lost = bf.Flaw.ball(at, 60, name="lost hand")
    told = bf.recover(fit, lost)
    for rung in told.rungs:
        assert rung.found
        assert rung.cover_mm >= 10 - 1e-5
        assert rung.landmarks_mm["raised hand"] > 0
        # Apart from the search: the placed solid against a ball by manifold3d.
        placed = bf.Figure(rung.placement.apply(figure.vertices), figure.faces)
        assert gap_between(solid_of(placed), ball_solid(at, 59.8), 500) > 0
    assert told.turned.back_mm <= told.straight_back.back_mm + 1e-6
    more = bf.recover(fit, lost, effort=3)
    assert more.smaller.scale <= told.smaller.scale * 1.01


def test_readings_too_deep_feed_recovery():
    fit = posed(cuboid(200, 200, 200))
    front = fit.solid().vertices[:, 1].min()
    middle = fit.solid().vertices.mean(axis=0)
    deep = bf.check(fit, {"breast": (middle[0], front + 12, middle[2]), "side": (5, 5, 5)})
    assert [reading.name for reading in deep.too_deep] == ["breast"]
    told = bf.recover(fit, deep)
    assert told.straight_back.back_mm == pytest.approx(12.1, abs=0.05)


def test_a_scan_of_the_stone_and_a_changed_design():
    figure = cuboid(200, 200, 200)
    fit = posed(figure)
    width, depth, height = fit.block.size_mm
    front = fit.solid().vertices[:, 1].min()
    scan = cuboid(width, depth - front - 60, height, at=(0, front + 60, 0))  # all before it is gone
    told = bf.recover(fit, stone=scan)
    assert told.straight_back.back_mm == pytest.approx(60, abs=0.01)
    thicker = bf.Figure(cuboid(200, 260, 200).vertices, figure.faces)
    changed = bf.recover(fit, stone=scan, design=thicker)
    assert changed.straight_back.found
    assert changed.straight_back.back_mm == pytest.approx(60, abs=0.01)


def test_bad_recovery_raises():
    fit = posed(cuboid(200, 200, 200))
    for wrong in ({"turn": -1}, {"lean": 100}, {"least_scale": 0}, {"lost": 5}, {"margin": -1}):
        with pytest.raises(bf.BadValueError):
            bf.recover(fit, **wrong)


def test_the_sheet_before_the_back(kneeling):
    block = bf.Block.box(900, 700, 1600, stone="marble").with_flaws(bf.Flaw.ball((100, 600, 1500), 20, name="a vug"))
    fit = bf.largest(kneeling, block, cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(30))
    points = bf.pointing(fit, count=12)
    first = points.points[0]
    read = bf.check(fit, {first.name: first.block_mm})
    told = bf.before_the_back(fit, points=points, readings=read)
    for words in ("Setback left", "a vug", "1 of 12 read back", "From the back", "no stage was given"):
        assert words in told
    told = bf.before_the_back(fit, stage=bf.stage_of(fit), offcuts=bf.offcuts(fit, kerf=5, reserve=1, most_pieces=1))
    assert "in the stone as it stands" in told

"""Recovery after a loss: closed forms, exhaustive search, and exact distances of solids."""

import math
from dataclasses import replace

import numpy as np
import pytest
from conftest import (
    CRACK,
    FIXED,
    SHARED,
    assert_refused,
    ball,
    brick_fit,
    cuboid,
    needs_meshes,
    no_room,
    solid_of,
    united,
)

import blockfit as bf
from blockfit.measure.booleans import ball_solid, gap_between


def posed(figure, depth=300, margin=40):
    width, thick, height = figure.size_mm
    block = bf.Block.box(width + 2 * margin, thick + depth, height + margin, stone="marble")
    cover = {"front": margin, "left": margin, "right": margin, "other": 0}
    return bf.safest(figure, block, stance=FIXED, cover=cover)


@pytest.mark.thorough
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


@pytest.mark.thorough
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


@pytest.mark.thorough
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


@pytest.mark.slow
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


@pytest.mark.thorough
def test_readings_too_deep_feed_recovery():
    fit = posed(cuboid(200, 200, 200))
    front = fit.solid().vertices[:, 1].min()
    middle = fit.solid().vertices.mean(axis=0)
    deep = bf.check(fit, {"breast": (middle[0], front + 12, middle[2]), "side": (5, 5, 5)})
    assert [reading.name for reading in deep.too_deep] == ["breast"]
    told = bf.recover(fit, deep)
    assert told.straight_back.back_mm == pytest.approx(12.1, abs=0.05)


@pytest.mark.slow
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


@pytest.mark.thorough
def test_recovery_in_words_and_with_landmarks():
    figure = replace(cuboid(100, 100, 200), landmarks={"brow": (50.0, 0.0, 190.0)})
    fit = bf.safest(
        figure, bf.Block.box(200, 220, 260), scale=1, stance=bf.Stance.fixed(), cover={"bottom": 0, "other": 1}
    )
    lost = bf.Flaw.ball((100, fit.placement.apply(np.array([50.0, 0, 190]))[1] - 5, 190), 12)
    told = bf.recover(fit, lost, turn=10, lean=10)
    assert told.rungs[0].found
    assert told.rungs[0].landmarks_mm["brow"] == pytest.approx(told.rungs[0].back_mm, abs=1e-6)
    assert "landmarks move: brow" in str(told)
    nowhere = bf.recover(fit, bf.Flaw.ball((100, 110, 130), 250), effort=0.2)
    assert not any(rung.found for rung in nowhere.rungs)
    assert "nothing found" in str(nowhere)


REFUSED = {
    "recovering nothing": (lambda: bf.recover(no_room(), CRACK), "has no placement"),
    "recovering with no angle": (lambda: bf.recover(brick_fit(), CRACK, turn=190), "turn=190"),
    "recovering with no share": (lambda: bf.recover(brick_fit(), CRACK, least_scale=2), "least_scale=2"),
    "recovering from a word": (lambda: bf.recover(brick_fit(), "corner"), "must be flaws"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])

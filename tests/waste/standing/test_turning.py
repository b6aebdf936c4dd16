"""Turning a block over its edges, by moments."""

import math

import manifold3d
import numpy as np
import pytest
from conftest import FIXED, arrays, box, cuboid, middle_of, union
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf
from blockfit.waste.standing.turning import turning, turnings
from blockfit.waste.statics import balance, base_of


def test_turning_a_box_over_an_edge_by_moments():
    """Moments about the edge: W b/2 = P sqrt(b² + h²) at the start; balanced when the middle is over the edge."""
    turn = turning("front", 1000, 800, 600, 400, 300)
    assert turn.pull_kg[0][1] == pytest.approx(1000 * 400 / math.hypot(800, 600))
    assert turn.balance_deg == pytest.approx(math.degrees(math.atan2(400, 300)))
    assert turn.diagonal_mm == pytest.approx(1000)
    assert turn.pull_kg[-1][1] < 0  # past the balance it must be held back


def test_a_block_wider_above_goes_over_where_statics_says():
    """A frustum upside down: 400 below, 1,000 above, 800 high. Centre by the frustum's formula, balance atan(200/z)."""
    corners = [[x, y, 0] for x in (300, 700) for y in (300, 700)] + [[x, y, 800] for x in (0, 1000) for y in (0, 1000)]
    fit = bf.safest(cuboid(100, 100, 100), bf.Block.convex(corners, stone="marble"), stance=FIXED)
    told = bf.handling(fit)
    a, b = 400.0, 1000.0  # any table of solids: z = h (a² + 2ab + 3b²) / (4 (a² + ab + b²))
    high = 800 * (a * a + 2 * a * b + 3 * b * b) / (4 * (a * a + a * b + b * b))
    balance_deg = math.degrees(math.atan2(200, high))
    assert told.loads[0].stands.weakest_deg == pytest.approx(balance_deg, abs=1e-6)
    assert [turn.balance_deg for turn in told.turns] == pytest.approx([balance_deg] * 4, abs=1e-6)
    turn = told.turns[0]
    # Pulled at the far top edge, 700 across and 800 up from the edge turned over.
    weight = told.loads[0].weight_range_kg[1]
    assert turn.pull_kg[0][1] == pytest.approx(weight * 200 / math.hypot(700, 800))
    assert turn.diagonal_mm == pytest.approx(math.hypot(700, 800))
    assert turn.rests_deg == pytest.approx(math.degrees(math.atan2(800, 300)))  # its slanting side comes down
    assert turn.rests
    assert not turn.goes_by_itself


def test_what_hangs_over_its_base_goes_over_by_itself():
    body = union(box((0, 0, 0), (100, 100, 100)), box((0, 0, 100), (500, 100, 200)))
    vertices, _ = arrays(body)
    _, middle = middle_of(body)
    stands = balance(middle, base_of(vertices))
    turns = {turn.edge: turn for turn in turnings(vertices, middle, 100.0, stands.base)}
    assert turns["right"].goes_by_itself
    assert turns["right"].balance_deg == 0
    assert not turns["left"].goes_by_itself
    # It comes down on its overhang after atan(100/400), and rests on it and the edge: the plumb line lies between.
    assert turns["right"].rests_deg == pytest.approx(math.degrees(math.atan2(100, 400)))
    assert turns["right"].rests


@given(st.integers(0, 10_000), st.floats(0.3, 3), st.floats(-180, 180))
def test_turning_and_scaling_the_scene_changes_no_angle(seed, scale, degrees):
    """A random convex block turned about the vertical, moved and scaled: angles stay, pulls grow with the weight."""
    points = np.random.default_rng(seed).uniform(0, 400, (14, 3))
    points[:5, 2] = 0.0
    hull = manifold3d.Manifold.hull_points(points)
    vertices, _ = arrays(hull)
    _, middle = middle_of(hull)
    base = balance(middle, base_of(vertices)).base
    plain = turnings(vertices, middle, 100.0, base)
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    turn = scale * np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]])
    moved = vertices @ turn.T + [50, -20, 9]
    again = turnings(
        moved,
        middle @ turn.T + [50, -20, 9],
        300.0,
        balance(middle @ turn.T, base_of(moved, scale)).base,
        flat_mm=scale,
    )
    one = sorted((t.balance_deg, t.pull_kg[0][1] * 3, t.rests_deg) for t in plain)
    two = sorted((t.balance_deg, t.pull_kg[0][1], t.rests_deg) for t in again)
    assert np.array(one) == pytest.approx(np.array(two), rel=1e-6, abs=1e-6)


def test_a_bevelled_block_rolls_over_both_its_edges():
    """Bevels of 60 at the foot: it rolls on to the second edge at atan(60/300), hardest there, by hand."""
    ends = ((300, 0), (700, 0), (1000, 60), (1000, 800), (0, 800), (0, 60))
    block = bf.Block.convex([[x, y, z] for x, z in ends for y in (0, 500)], stone="marble")
    fit = bf.safest(cuboid(100, 100, 100), block, stance=FIXED)
    turn = next(t for t in bf.handling(fit).turns if t.edge == "right")
    weight = block.volume_m3 * 2860
    slope, high = math.atan2(60, 300), block.centroid_mm[2]
    arm = 500 * math.cos(slope) - (high - 60) * math.sin(slope)
    assert turn.pull_kg[0][1] == pytest.approx(weight * arm / math.hypot(1000, 740), rel=1e-6)
    assert turn.balance_deg == pytest.approx(math.degrees(math.atan2(500, high - 60)), abs=1e-6)
    assert turn.rests

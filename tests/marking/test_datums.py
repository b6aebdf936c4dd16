"""Datums: there and back, out of square, changed by one sum; and a model that has moved."""

import numpy as np
import pytest
from conftest import BRICK_BLOCK, SLOPING, assert_refused
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf
from blockfit.marking.datum import CORNERS


@given(st.lists(st.floats(-40, 40), min_size=24, max_size=24))
@pytest.mark.thorough
def test_readings_from_a_block_out_of_square_go_there_and_back(moves):
    true = np.array([[x, y, z] for z in (0, 1500) for y in (0, 700) for x in (0, 900)], float)
    datum = bf.Datum("as measured", np.zeros(3), true + np.array(moves).reshape(8, 3))
    points = np.random.default_rng(2).uniform([0, 0, 0], [900, 700, 1500], size=(20, 3))
    assert datum.points(datum.readings(points)) == pytest.approx(points, abs=1e-6)


def test_corner_distances_give_the_corners_back():
    block = bf.Block.box(900, 700, 1500)
    true = np.array([[x, y, z] for z in (0, 1500) for y in (0, 700) for x in (0, 900)], float)
    actual = true.copy()
    actual[[5, 7], 0] += 12  # the right face leans out at the top
    actual[7, 1] += 8
    pairs = [(a, b) for a in range(8) for b in range(a)]
    distances = {(CORNERS[a], CORNERS[b]): float(np.linalg.norm(actual[a] - actual[b])) for a, b in pairs}
    datum = bf.Datum.out_of_square(block, distances)
    assert datum.corners_mm == pytest.approx(actual, abs=0.05)
    # A point 100 mm from the left edge, half way up: the left face is true, so its reading is its place.
    assert datum.readings(np.array([[100.0, 50, 750]]))[0] == pytest.approx([100, 50, 750], abs=0.05)
    first = next(iter(distances))
    with pytest.raises(bf.BadValueError, match="contradict"):
        bf.Datum.out_of_square(block, {**distances, first: distances[first] + 40})
    with pytest.raises(bf.BadValueError, match="no corner"):
        bf.Datum.out_of_square(block, {("front left bottom", "nowhere"): 3})


def test_changing_the_datum_is_one_sum():
    edges, lines = bf.Datum.edges(bf.Block.box(900, 700, 1500)), bf.Datum.lines(centre=450, base=30)
    change = edges.to(lines)
    point = np.array([[500.0, 60, 400]])
    assert edges.readings(point)[0] + change.add_mm == pytest.approx(lines.readings(point)[0])


def test_three_points_tell_how_the_model_has_moved():
    before = np.array([[0, 0, 0], [300, 0, 100], [0, 200, 400]], float)
    turn = np.radians(5)
    rotation = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    after = before @ rotation.T + [10, -4, 2]
    moved = bf.model_moved(before, after)
    assert moved.turn_deg == pytest.approx(5)
    assert moved.left_over_mm == pytest.approx(0, abs=1e-9)
    assert moved.apply(before) == pytest.approx(after)
    assert bf.model_moved(before, np.add(after, [[0, 0, 0], [0, 0, 0], [9, 0, 0]])).left_over_mm > 1
    for wrong in (before[:2], [[0, 0, 0], [1, 1, 1], [2, 2, 2]]):
        with pytest.raises(bf.BadValueError):
            bf.model_moved(wrong, wrong)


def test_a_datum_out_of_square_changes_by_no_one_sum():
    square = bf.Datum.edges(BRICK_BLOCK)
    crooked = bf.Datum.out_of_square(BRICK_BLOCK, {("front left bottom", "front right bottom"): 301})
    with pytest.raises(bf.BlockfitError, match="no one sum"):
        square.to(crooked)


REFUSED = {
    "a block too wide of square": (lambda: bf.Datum.out_of_square(SLOPING, {}), "only a sawn block"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])


def test_lines_and_frames_about_a_block_that_lies_elsewhere():
    """Ten to the right of its left edge is ten, wherever the block's frame begins."""
    corners = np.array([[x, y, z] for x in (1000, 1400) for y in (2000, 2300) for z in (500, 1100)], float)
    block = bf.Block.convex(corners)
    place = np.array([[1200.0, 2100, 600]])
    assert bf.Datum.edges(block).readings(place).tolist() == [[200, 100, 100]]
    assert bf.Datum.lines(centre=200, base=30, front=5, block=block).readings(place).tolist() == [[0, 95, 70]]
    assert bf.Datum.frame(left=50, front=40, block=block).readings(place).tolist() == [[250, 140, 100]]

"""Drawings in which a detail could be taken for the figure, or the figure be too small: taken whole, or refused."""

import math

import ezdxf
import numpy as np
import pytest
from PIL import Image

import blockfit as bf
from blockfit.drawings.dxf import dxf_area
from blockfit.drawings.pictures import picture_cells
from blockfit.drawings.svg import svg_area

BODY = '<rect x="10" y="10" width="40" height="80"/>'
BOX = 'viewBox="0 0 100 100"'
PAPER = f'width="100mm" height="100mm" {BOX}'


def size_of(area, mm_per_unit) -> list[float]:
    left, low, right, high = area.bounds
    return [round((right - left) * mm_per_unit, 3), round((high - low) * mm_per_unit, 3)]


def svg(tmp_path, attributes, body):
    file = tmp_path / "a.svg"
    file.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {attributes}>{body}</svg>')
    area, mm_per_unit, _, notes = svg_area(file)
    return size_of(area, mm_per_unit), " ".join(notes)


@pytest.mark.parametrize(
    ("attributes", "body", "size"),
    [
        (f'width="200mm" height="100mm" {BOX}', BODY, [40, 80]),  # SVG 1.1, 7.8: meet
        (f'width="100mm" height="200mm" {BOX} preserveAspectRatio="xMidYMid slice"', BODY, [80, 160]),
        (PAPER, f'{BODY}<svg x="40">{BODY}</svg>', [80, 80]),
        (PAPER, f'<g style="transform:scale(2,1)">{BODY}</g>', [80, 80]),
        (PAPER, f'<g style="transform: translate(3px, 2px) rotate(90deg)">{BODY}</g>', [80, 40]),
        (PAPER, '<rect x="10" y="10" width="10" height="80" style="width:40px"/>', [40, 80]),
        (PAPER, BODY + '<rect x="20" y="20" width="9" height="9" fill="white" stroke="red"/>', [40, 80]),
    ],
    ids=["meet", "slice", "nested", "style scale", "style turn", "style width", "window"],
)  # fmt: skip
def test_svg_by_hand(tmp_path, attributes, body, size):
    assert svg(tmp_path, attributes, body)[0] == size


@pytest.mark.parametrize("fill", ["white", "none", "#fff0e0"])
def test_an_outlined_body_with_a_black_eye_is_the_body(tmp_path, fill):
    body = f'<rect x="10" y="10" width="40" height="80" fill="{fill}" stroke="black" stroke-width=".3"/>'
    size, notes = svg(tmp_path, PAPER, body + '<circle cx="20" cy="20" r="4"/>')
    assert size == [40, 80]
    assert "taken as well" in notes


def test_a_mitre_as_long_as_the_drawing_says(tmp_path):
    sharp = '<polygon points="10,90 30,90 20,20" stroke="black" stroke-width="6" stroke-miterlimit="{}"/>'
    half = math.atan2(10, 70)
    assert svg(tmp_path, PAPER, sharp.format(20))[0][1] == pytest.approx(70 + 3 + 3 / math.sin(half), abs=0.01)
    assert svg(tmp_path, PAPER, sharp.format(4))[0][1] < 90


@pytest.mark.parametrize(
    ("attributes", "body", "words"),
    [
        (f'width="100mm" height="200mm" {BOX} preserveAspectRatio="none"', BODY, "stretched"),
        (PAPER, f'<g style="transform:scaleX(2)">{BODY}</g>', "transform"),
    ],
)
def test_what_svg_cannot_be_read_right_is_refused(tmp_path, attributes, body, words):
    with pytest.raises(bf.BadValueError, match=words):
        svg(tmp_path, attributes, body)


def dxf(tmp_path, draw):
    drawing = ezdxf.new(units=4)
    draw(drawing.modelspace())
    drawing.saveas(tmp_path / "a.dxf")
    return dxf_area(tmp_path / "a.dxf")


FRAME = [(0, 0), (40, 0), (40, 80), (0, 80)]
DETAIL = [(5, 5), (15, 5), (15, 15), (5, 15)]


def test_a_star_is_stone_in_its_middle_too(tmp_path):
    places = [(100 * math.sin(0.8 * math.pi * k), 100 * math.cos(0.8 * math.pi * k)) for k in range(5)]
    area, *_ = dxf(tmp_path, lambda space: space.add_lwpolyline(places, close=True))
    assert area.area == pytest.approx(11_225.7, rel=1e-4)  # by the shoelace formula over its ten corners


def test_a_broad_line_is_stone_to_its_outer_side(tmp_path):
    area, *_ = dxf(tmp_path, lambda space: space.add_lwpolyline(FRAME, close=True, dxfattribs={"const_width": 10}))
    assert size_of(area, 1) == [50, 90]


def nearly_closed(space):
    for start, end in zip(FRAME, [*FRAME[1:], (0, 0.5)], strict=True):
        space.add_line(start, end)
    space.add_lwpolyline(DETAIL, close=True)


def filled(space):
    space.add_hatch().paths.add_polyline_path(FRAME, is_closed=True)
    space.add_lwpolyline(DETAIL, close=True)


@pytest.mark.parametrize(("draw", "words"), [(nearly_closed, "0.5 units apart"), (filled, "HATCH")])
def test_a_detail_is_not_taken_for_the_figure(tmp_path, draw, words):
    with pytest.raises(bf.BadValueError, match=words):
        dxf(tmp_path, draw)


def test_notes_within_an_outline_do_no_harm(tmp_path):
    def draw(space):
        space.add_lwpolyline(FRAME, close=True)
        space.add_hatch().paths.add_polyline_path(DETAIL, is_closed=True)
        space.add_line((5, 5), (30, 30))
        space.add_line((-50, 40), (90, 40))  # a centre line

    area, _, _, notes = dxf(tmp_path, draw)
    assert size_of(area, 1) == [40, 80]
    assert any("close nothing" in note for note in notes)


@pytest.mark.parametrize("grey", [150, 205])
def test_a_grey_arm_is_asked_about(tmp_path, grey):
    picture = np.full((200, 100), 250, np.uint8)
    picture[20:180, 10:60] = 0
    Image.fromarray(picture).save(tmp_path / "plain.png")
    picture[20:100, 60:90] = grey
    Image.fromarray(picture).save(tmp_path / "arm.png")
    assert not any("a part of the figure?" in note for note in picture_cells(tmp_path / "plain.png").notes)
    assert any("a part of the figure?" in note for note in picture_cells(tmp_path / "arm.png").notes)

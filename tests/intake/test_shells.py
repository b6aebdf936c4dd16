"""Several shells in one file: which are stone, which are hollows, however they face and in whatever order they come.

What is true is computed by trimesh's own booleans from the parts as they were made, before any was turned."""

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf
from blockfit.intake.scan import repaired
from blockfit.measure.distance import winding_numbers


def bar(low, high):
    return trimesh.creation.box(bounds=[low, high])


def cube(side, at=(0, 0, 0)):
    return bar([a - side / 2 for a in at], [a + side / 2 for a in at])


def turned(mesh):
    mesh = mesh.copy()
    mesh.invert()
    return mesh


def read(*meshes, order=None):
    """The volume in cm³ that is read from parts in one surface, and what was said."""
    both: trimesh.Trimesh = trimesh.util.concatenate(list(meshes))
    faces = both.faces if order is None else both.faces[np.random.default_rng(order).permutation(len(both.faces))]
    vertices, faces, done = repaired(np.asarray(both.vertices), np.asarray(faces))
    figure = bf.Figure(vertices, faces)
    return figure, figure.volume_m3 * 1e6, {repair.step: repair for repair in done}


BODY, ARM = bar([0, 0, 0], [300, 300, 900]), bar([250, 100, 600], [700, 200, 700])


@pytest.mark.parametrize("order", [None, 0, 1, 2])
@pytest.mark.parametrize("which", [(False, True), (True, False), (True, True), (False, False)])
def test_an_arm_is_kept_whichever_way_it_faces(which, order):
    parts = [turned(mesh) if turn else mesh for mesh, turn in zip((BODY, ARM), which, strict=True)]
    figure, volume, said = read(*parts, order=order)
    assert volume == pytest.approx(trimesh.boolean.union([BODY, ARM]).volume * 1e-3, rel=1e-9)  # 85,000 cm³
    assert figure.size_mm == pytest.approx((700, 300, 900))
    if any(which):
        assert f"turned {sum(which)} shell" in said["inside out"].text
    if which[1]:
        assert "reach out of it by" in said["inside out"].text


@pytest.mark.parametrize("order", [None, 3, 4])
def test_a_solid_in_a_hollow_in_a_solid(order):
    """10³ − 8³ + 4³ cm³, whichever way the innermost faces."""
    for inner in (cube(40), turned(cube(40))):
        _, volume, said = read(cube(100), turned(cube(80)), inner, order=order)
        assert volume == pytest.approx(1000 - 512 + 64)
        assert "1 closed hollows kept, and 1 shells within them" in said["shells"].text
    _, volume, said = read(turned(cube(100)), cube(80), turned(cube(40)), order=order)  # the whole file inside out
    assert volume == pytest.approx(552)
    assert "not sure" in said["shells"].text


def test_five_deep():
    sides = (100, 80, 60, 40, 20)
    parts = [cube(side) if k % 2 == 0 else turned(cube(side)) for k, side in enumerate(sides)]
    assert read(*parts)[1] == pytest.approx(1000 - 512 + 216 - 64 + 8)


def test_a_rod_through_the_wall_into_the_hollow_stays_stone():
    rod = bar([-10, -10, -10], [100, 10, 10])
    shell = trimesh.boolean.difference([cube(100), cube(80)])
    for one in (rod, turned(rod)):
        _, volume, _ = read(cube(100), turned(cube(80)), one)
        assert volume == pytest.approx(trimesh.boolean.union([shell, rod]).volume * 1e-3, rel=1e-9)


def test_a_hollow_that_touches_the_wall_is_kept_and_not_sure():
    _, volume, said = read(cube(100), turned(cube(40, (0, 0, 30))))
    assert volume == pytest.approx(1000 - 64)
    assert "not sure" in said["shells"].text


@pytest.mark.parametrize("corner", [(100, 0, 0), (100, 100, 0), (100, 100, 100)])
def test_parts_that_touch_in_a_face_a_side_or_a_corner(corner):
    first = bar([0, 0, 0], [100, 100, 100])
    second = bar(corner, np.add(corner, 100))
    for one in (second, turned(second)):
        assert read(first, one)[1] == pytest.approx(2000)
    same = first.copy().apply_translation(corner)  # its triangles lie on those it touches, corner by corner
    for one in (same, turned(same)):
        assert read(first, one)[1] == pytest.approx(2000)


def test_the_same_part_twice_counts_once():
    for one in (cube(100), turned(cube(100))):
        assert read(cube(100), one)[1] == pytest.approx(1000)


shapes = st.tuples(
    st.sampled_from(["bar", "ball", "cone"]),
    st.tuples(*[st.integers(-12, 12)] * 3),
    st.integers(30, 120),
    st.booleans(),
)


def made(kind, at, size):
    if kind == "bar":
        return cube(size, np.multiply(at, 7.3))
    mesh = trimesh.creation.icosphere(2, size / 2) if kind == "ball" else trimesh.creation.cone(size / 2, size)
    return mesh.apply_translation(np.multiply(at, 7.3))


@given(st.lists(shapes, min_size=2, max_size=4), st.integers(0, 99))
def test_random_parts_that_reach_out_of_each_other_are_all_kept(parts, order):
    """Parts that lie whole within another are left to the tests above: inside out they would be hollows."""
    meshes = [made(kind, at, size) for kind, at, size, _ in parts]
    for k, one in enumerate(meshes):
        for other in meshes[:k] + meshes[k + 1 :]:
            rest = trimesh.boolean.difference([one, other])
            if rest.is_empty or rest.volume < 1e-3 * one.volume:
                return
    given_parts = [turned(mesh) if turn else mesh for mesh, (*_, turn) in zip(meshes, parts, strict=True)]
    truth = trimesh.boolean.union(meshes)
    figure, volume, _ = read(*given_parts, order=order)
    assert volume == pytest.approx(truth.volume * 1e-3, rel=1e-6)
    assert figure.size_mm == pytest.approx(np.ptp(truth.bounds, axis=0))


def test_a_figure_whose_extents_change_says_so_first():
    speck = trimesh.creation.box((1, 1, 1)).apply_translation((900, 0, 0))
    both: trimesh.Trimesh = trimesh.util.concatenate([cube(100), speck])
    _, _, done = repaired(np.asarray(both.vertices), np.asarray(both.faces))
    assert done[0].step == "extents"
    assert "950.5 x 100 x 100 to 100 x 100 x 100" in done[0].text
    assert [repair.step for repair in repaired(np.asarray(cube(100).vertices), np.asarray(cube(100).faces))[2]] == []


@given(st.integers(0, 1000))
def test_winding_numbers_agree_with_cast_rays(seed):
    """Outside the project: trimesh counts a ray's crossings."""
    ball = trimesh.creation.icosphere(2, 100)
    points = np.random.default_rng(seed).uniform(-120, 120, (50, 3))
    inside = winding_numbers(np.asarray(ball.vertices), np.asarray(ball.faces), points) > 0.5
    assert (inside == ball.contains(points)).all()

"""Least depths over squares, against rays and clipping by general libraries; readings as printed, parsed back."""

import itertools
import re
from fractions import Fraction

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from conftest import cuboid
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf
from blockfit.marking.rounding import grain_of
from blockfit.marking.ways_in import way_in
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.least_depth import least_cells, least_over
from blockfit.measure.lines import nudged, stretches
from blockfit.measure.shadows import Shadow
from blockfit.measure.views import face_view, lattice_over
from blockfit.units import length_mm


def prism_depth(mesh, face, place, half):
    """The least depth within a square prism along the way in, by manifold3d's boolean."""
    view = face_view(face)
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.array(mesh.vertices, float), np.array(mesh.faces, np.uint64)))
    corners = [
        place[0] * view.right + place[1] * view.up + a * half * view.right + b * half * view.up + c * 3000 * view.into
        for a, b, c in itertools.product((-1, 1), repeat=3)
    ]
    common = solid ^ manifold3d.Manifold.hull_points(np.array(corners))
    if common.is_empty():
        return np.inf
    return float((np.array(common.to_mesh64().vert_properties)[:, :3] @ view.into).min())


@pytest.mark.parametrize("face", ["front", "back", "left", "right", "top", "bottom"])
def test_least_over_squares_is_the_booleans(face):
    random = np.random.default_rng(3)
    mesh = trimesh.boolean.union(
        [
            trimesh.creation.box(bounds=[[0, 0, 0], [200, 150, 60]]),
            trimesh.creation.icosphere(3, 50).apply_translation([80, 60, 90]),
            trimesh.creation.cylinder(1.0, segment=[[150, 70, 0], [170, -60, 250]], sections=8),
        ]
    )
    view = face_view(face)
    seen, _ = view.seen(np.array(mesh.vertices))
    places = random.uniform(seen.min(axis=0) - 5, seen.max(axis=0) + 5, size=(40, 2))
    ours, where = least_over(np.array(mesh.vertices), np.array(mesh.faces), view, places, 4.0)
    for place, depth, at in zip(places, ours, where, strict=True):
        exact = prism_depth(mesh, face, place, 4.0)
        assert depth == pytest.approx(exact, abs=1e-5) or not np.isfinite([depth, exact]).any()
        if np.isfinite(depth):
            assert np.abs(at - place).max() <= 4.0 + 1e-6
    lattice = lattice_over(view, np.array(mesh.vertices), 3.0, plain=True)
    grid = least_cells(np.array(mesh.vertices), np.array(mesh.faces), view, lattice)
    rows, columns = random.integers(0, lattice.rows, 60), random.integers(0, lattice.columns, 60)
    for place, depth in zip(lattice.places(rows, columns), grid[rows, columns], strict=True):
        assert depth <= prism_depth(mesh, face, place, 1.5) + 1e-5  # never deeper than it is


def test_lines_agree_with_cast_rays():
    """Against trimesh's rays (embree): where 400 lines enter and leave a torus."""
    mesh = trimesh.creation.torus(100, 30, major_sections=48, minor_sections=24)
    view = face_view("left")
    seen, _ = view.seen(np.array(mesh.vertices))
    places = nudged(np.random.default_rng(0).uniform(seen.min(axis=0), seen.max(axis=0), (400, 2)), 100)
    found = stretches(np.array(mesh.vertices), np.array(mesh.faces), view, places)
    assert len(found.broken) == 0
    starts = places @ np.stack([view.right, view.up]) - 500 * view.into
    hits, rays, _ = mesh.ray.intersects_location(starts, np.tile(view.into, (400, 1)))
    theirs = sorted(zip(rays.tolist(), np.round(hits @ view.into, 3).tolist(), strict=True))
    ours = sorted(
        (int(line), round(float(at), 3))
        for line, ends in zip(found.line, np.stack([found.enter, found.leave], 1), strict=True)
        for at in ends
    )
    assert [line for line, _ in ours] == [line for line, _ in theirs]
    assert np.array([at for _, at in ours]) == pytest.approx(np.array([at for _, at in theirs]), abs=0.02)


def test_distances_agree_with_trimesh_on_edges_and_corners():
    """Signed distances of a solid with sharp inner and outer edges, against trimesh's proximity and containment."""
    mesh = trimesh.boolean.difference(
        [trimesh.creation.box(extents=[100, 80, 60]), trimesh.creation.box(extents=[50, 40, 80])]
    )
    points = np.random.default_rng(5).uniform(-70, 70, (600, 3))
    ours, nearest = SurfaceDistance(np.array(mesh.vertices), np.array(mesh.faces)).signed(points)
    theirs = trimesh.proximity.signed_distance(mesh, points)
    assert ours == pytest.approx(-theirs, abs=1e-9)
    assert np.linalg.norm(points - nearest, axis=1) == pytest.approx(np.abs(ours), abs=1e-9)


@given(
    st.lists(
        st.tuples(st.integers(0, 6), st.integers(0, 6), st.integers(1, 4), st.integers(1, 4)), min_size=1, max_size=7
    )
)
def test_shadows_of_touching_boxes_lose_nothing(boxes):
    """Boxes on a grid touch along sides, edges and corners: their shadow by shapely's union of rectangles."""
    parts = [manifold3d.Manifold.cube([w, 5 + k, h]).translate([x, 10 * k, z]) for k, (x, z, w, h) in enumerate(boxes)]
    whole = manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add).to_mesh64()
    vertices = np.array(whole.vert_properties, float)[:, :3]
    shadow = Shadow(vertices, np.array(whole.tri_verts, np.int64), (0, 2), np.array([0.0, 1, 0]))
    for count in range(1, len(boxes) + 1):
        exact = shapely.union_all([shapely.box(x, z, x + w, z + h) for x, z, w, h in boxes[:count]])
        got = shadow.up_to(10 * (count - 1) + 1)
        assert got.symmetric_difference(exact).area < 1e-6


@given(
    st.integers(-4000, 4000),
    st.sampled_from(["1/32 in", "1/8 in", 1.5, 2.5, 0.5, 0.1, 1, "1/16 in", "3 mm", 0.3]),
    st.booleans(),
)
def test_readings_printed_and_parsed_back_are_the_rounded_ones(ticks, grain, inches):
    told = grain_of(grain, inches=inches)
    assert told.mm <= length_mm(grain) * (1 + 1e-9)
    words = told.written(ticks)
    if inches:
        match = re.fullmatch(r"(-?)(?:(\d+)(?: |$))?(\d+/\d+)?", words)
        value = (int(match.group(2) or 0) + Fraction(match.group(3) or 0)) * (-1 if match.group(1) else 1)
        assert float(value * Fraction("25.4")) == pytest.approx(ticks * told.mm, abs=1e-9)
    else:
        assert float(words) == pytest.approx(ticks * told.mm, abs=1e-9)


def test_ways_in_by_hand():
    """A wedge that leans back by 100 in 800; a block measured out of square; a rough block that is a box."""
    wedge = bf.Block.convex([[x, y, z] for x in (0, 400) for y, z in ((0, 0), (300, 0), (300, 800), (100, 800))])
    edges = bf.Datum.edges(wedge)
    front = way_in(wedge, edges, "front")
    assert front.entry_mm(np.array([[200.0, 150, 200], [200, 150, 800], [500, 150, 200]])) == pytest.approx(
        [25, 100, np.nan], nan_ok=True
    )
    assert front.entry_mm(np.array([[200.0, 150, 200]]), 8.0) == pytest.approx([26])  # the worst place 8 mm aside
    assert way_in(wedge, edges, "back").entry_mm(np.array([[200.0, 150, 200]])) == pytest.approx([-300])
    # From above, half way down the slope at y = 50 the stone begins at z = 400.
    assert way_in(wedge, edges, "top").entry_mm(np.array([[200.0, 50, 10]])) == pytest.approx([-400])
    true = np.array([[x, y, z] for z in (0, 900) for y in (0, 400) for x in (0, 400)], float)
    leaning = true.copy()
    leaning[[4, 5], 1] += 12  # the front leans back at its top
    leaning[[1, 3, 5, 7], 0] += [0, 0, 8, 8]  # the right side leans out at its top
    block = bf.Block.box(400, 400, 900)
    datum = bf.Datum("as measured", np.zeros(3), leaning)
    at = np.array([[200.0, 100, 450]])
    assert way_in(block, datum, "front").entry_mm(at) == pytest.approx([6])
    assert way_in(block, datum, "right").entry_mm(at) == pytest.approx([-404])
    assert "as measured" in way_in(block, datum, "front").words
    rough = bf.Block(**{**{n: getattr(block, n) for n in block.__dataclass_fields__}, "surface": cuboid(400, 400, 900)})
    for face in ("front", "right", "top", "back", "left", "bottom"):
        ours, boxes = (way_in(b, bf.Datum.edges(block), face).entry_mm(at)[0] for b in (rough, block))
        assert ours == pytest.approx(boxes, abs=1e-6)


def test_landmarks_have_a_stop_only_where_a_straight_way_reaches_them():
    """Two posts on a base: the inner sides are reached from nowhere but, near the ends, from the open front."""
    mesh = trimesh.boolean.union(
        [
            trimesh.creation.box(bounds=b)
            for b in ([[0, 0, 0], [400, 300, 40]], [[0, 0, 0], [60, 300, 400]], [[340, 0, 0], [400, 300, 400]])
        ]
    )
    marks = {
        "inner side": (60, 150, 300),
        "top of the base": (200, 150, 40),
        "outer side": (0, 150, 200),
        "near it": (0, 152, 200),
    }
    figure = bf.Figure(mesh.vertices, mesh.faces, landmarks=marks)
    fit = bf.safest(figure, bf.Block.box(460, 1200, 430), stance=bf.Stance.fixed(), cover=5)
    points = {point.name: point for point in bf.pointing(fit, count=20).points}
    assert (points["inner side"].face, points["inner side"].stop_mm, points["inner side"].depth_mm) == (
        "none",
        None,
        None,
    )
    assert "not reached" in points["inner side"].note
    assert points["top of the base"].face == "top"
    assert points["outer side"].face == "left"
    assert points["outer side"].stop_mm == pytest.approx(25, abs=0.11)
    assert points["near it"].stop_mm is None
    assert "one hole" in points["near it"].note
    assert ",none," in bf.pointing(fit, count=20).csv()

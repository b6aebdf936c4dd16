"""Figures from outlines: closed forms, voxels, silhouettes of solids, contradictions, and what such a figure says."""

import math

import numpy as np
import pytest
import shapely
from conftest import SHARED, ball, cuboid, needs_meshes, torus
from drawings.silhouettes import on_surface, outside_by, seen, silhouette, trimmed, voxels, winding
from hypothesis import given, settings
from hypothesis import strategies as st

import blockfit as bf

VIEWS = ("front", "side", "top")


def shadows(figure):
    """The exact silhouettes of a figure by shapely's union of its triangles."""
    found = {}
    for name in VIEWS:
        triangles = seen(figure, name)[figure.faces]
        u, v = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
        wide = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) > 1e-9
        found[name] = shapely.union_all(shapely.polygons(triangles[wide])).buffer(0)
    return found


# ---- closed forms ----


def test_a_box_from_its_rectangles_is_exact():
    outlines = {"front": shapely.box(10, 0, 410, 1200), "side": shapely.box(-350, 0, -50, 1200)}
    for more in ({}, {"top": shapely.box(10, 50, 410, 350)}, {"back": shapely.box(-410, 0, -10, 1200)}):
        figure = bf.figure_from_outlines(**outlines, **more)
        assert figure.vertices.min(axis=0).tolist() == [10, 50, 0]
        assert figure.vertices.max(axis=0).tolist() == [410, 350, 1200]
        assert (len(figure.faces), figure.margin_mm, figure.is_envelope) == (12, 0, True)
        assert figure.volume_m3 == pytest.approx(0.144, rel=1e-12)
    # A block of its own size holds it at full size, and no more.
    assert bf.largest(figure, bf.Block.box(400, 300, 1200)).scale == pytest.approx(1, rel=1e-9)


def test_a_ball_from_three_circles_is_three_cylinders_in_common():
    # The solid common to three square cylinders of radius r: 8 (2 - sqrt 2) r³ (Steinmetz; a standard integral).
    circle = shapely.Point(0, 0).buffer(100, quad_segs=256)
    two = bf.figure_from_outlines(front=circle, side=circle)
    three = bf.figure_from_outlines(front=circle, side=circle, top=circle)
    assert two.volume_m3 * 1e9 == pytest.approx(16 / 3 * 100**3, rel=1e-4)
    assert three.volume_m3 * 1e9 == pytest.approx(8 * (2 - math.sqrt(2)) * 100**3, rel=1e-4)
    assert three.volume_m3 > ball(100).volume_m3


def test_openings_are_kept():
    arch = shapely.box(0, 0, 600, 1000) - shapely.box(200, 0, 400, 700)
    figure = bf.figure_from_outlines(front=arch, side=shapely.box(0, 0, 250, 1000))
    assert figure.volume_m3 == pytest.approx((0.6 * 1.0 - 0.2 * 0.7) * 0.25, rel=1e-12)


def test_a_view_between_faces_cuts_the_corner_off():
    # An eight-sided column: a square of 200 whose corners a view at 45° cuts to 200 across.
    square, column = shapely.box(-100, 0, 100, 500), shapely.box(-100, 0, 100, 500)
    figure = bf.figure_from_outlines(front=square, side=square, three_quarter=[(45, column), (-45.0, column)])
    octagon = 2 * (math.sqrt(2) - 1) * 200**2  # area of a regular octagon by its width: an elementary formula
    assert figure.volume_m3 * 1e9 == pytest.approx(octagon * 500, rel=1e-9)


# ---- pixels ----


@given(st.integers(0, 10_000))
@settings(max_examples=20)
def test_pixels_give_exactly_the_voxels_that_they_allow(seed):
    check_voxels(seed)


def check_voxels(seed):
    random = np.random.default_rng(seed)
    z, y, x = random.integers(2, 9, 3)
    solid = random.random((z, y, x)) < random.uniform(0.1, 0.9)
    solid[0, 0, 0] = solid[-1, -1, -1] = True  # z from the top, y from the back
    front, side, top = solid.any(axis=1), solid.any(axis=2), solid.any(axis=0)
    figure = bf.figure_from_outlines(front=front, side=side, top=top, pixel=10)
    allowed = voxels(front, side, top)
    assert figure.volume_m3 * 1e9 / 1000 == pytest.approx(allowed, rel=1e-5)
    assert figure.volume_m3 * 1e9 / 1000 >= allowed * (1 - 1e-12)
    assert allowed >= solid.sum()
    assert figure.size_mm == pytest.approx((10 * x, 10 * y, 10 * z))
    k, j, i = (axis + 0.5 for axis in np.nonzero(solid))
    low = figure.vertices.min(axis=0)
    centres = low + 10 * np.stack([i, y - j, z - k], axis=1)
    assert (winding(figure, centres) > 0.5).all()


def check_holds(figure, pitch, count):
    outlines = {name: silhouette(figure, name, pitch) for name in VIEWS}
    hull = bf.figure_from_outlines(**outlines, height=figure.size_mm[2])
    low, high = figure.vertices.min(axis=0), figure.vertices.max(axis=0)
    middle = (hull.vertices.min(axis=0) + hull.vertices.max(axis=0) - low - high) / 2
    points = on_surface(figure, count) + np.array([middle[0], middle[1], -low[2]])
    # Resolved to a pixel; a width of w pixels and a height of h known to one of them are known to w / h more.
    resolved = pitch * (1 + max(1, max(high[:2] - low[:2]) / (high[2] - low[2])))
    assert outside_by(hull, points) <= resolved
    dark = {name: trimmed(one) for name, one in outlines.items()}
    # A row or column more or less of one outline than of another: the voxels are those that all have.
    tall = min(len(dark["front"]), len(dark["side"]))
    wide = min(dark["front"].shape[1], dark["top"].shape[1])
    deep = min(dark["side"].shape[1], len(dark["top"]))
    allowed = voxels(dark["front"][:tall, :wide], dark["side"][:tall, :deep], dark["top"][:deep, :wide])
    unit = hull.size_mm[2] / len(dark["front"])
    return hull, hull.volume_m3 * 1e9 / (allowed * unit**3)


@pytest.mark.thorough
def test_the_hull_of_silhouettes_holds_the_figure(kneeling):
    hull, share = check_holds(kneeling, kneeling.size_mm[2] / 300, 20_000)
    assert share == pytest.approx(1, abs=0.02)  # at 300 pixels a column is a fiftieth of an arm
    assert hull.is_solid
    assert hull.margin_mm > kneeling.size_mm[2] / 300


@needs_meshes
@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "unit"),
    [("striding.stl", "m"), ("kneeling_arm_raised.stl", "m"), ("cat.obj", "m"), ("bust_scan.obj", "m"),
     ("putto_scan.ply", "mm")],
)  # fmt: skip
def test_every_scan_lies_in_the_hull_of_its_silhouettes(name, unit):
    figure = bf.read_figure(SHARED / name, unit=unit)
    hull, share = check_holds(figure, figure.size_mm[2] / 1200, 40_000)
    assert share == pytest.approx(1, abs=0.005)
    exact = bf.figure_from_outlines(**projections(figure))
    assert exact.margin_mm < 1e-3 * figure.size_mm[2]
    assert outside_by(exact, on_surface(figure, 40_000)) <= 1e-6 * figure.size_mm[2] + exact.margin_mm
    # Ten boxes: wherever the hull fits, the figure does; its largest scale is never more.
    random = np.random.default_rng(0)
    for sides in np.array(figure.size_mm) * random.uniform(0.8, 1.6, (10, 3)):
        block = bf.Block.box(*sides)
        of_hull, of_figure = (bf.largest(f, block, stance=bf.Stance.upright(30)) for f in (hull, figure))
        assert of_hull.scale <= of_figure.scale_bound * (1 + 1e-9)
        assert of_hull.scale > 0.8 * of_figure.scale


def projections(figure):
    """Silhouettes by manifold3d's projection along z of the solid turned to each viewer."""
    import manifold3d

    mesh = manifold3d.Mesh64(np.array(figure.vertices), np.array(figure.faces, np.uint64))
    solid = manifold3d.Manifold(mesh)
    rows = {"front": [[1, 0, 0], [0, 0, 1], [0, -1, 0]], "side": [[0, -1, 0], [0, 0, 1], [-1, 0, 0]], "top": np.eye(3)}
    found = {}
    for name, turn in rows.items():
        turned = solid.transform(np.column_stack([np.array(turn, float), np.zeros(3)]))
        rings = [shapely.Polygon(ring) for ring in turned.project().to_polygons() if len(ring) > 2]
        area = shapely.Polygon()
        for ring in sorted(rings, key=lambda one: -one.area):
            area = area.symmetric_difference(ring.buffer(0))
        found[name] = area
    return found


@pytest.mark.thorough
def test_fits_are_ordered_and_covers_are_sure(kneeling):
    hull = bf.figure_from_outlines(**shadows(kneeling))
    random = np.random.default_rng(1)
    for sides in np.array(kneeling.size_mm) * random.uniform(0.8, 1.6, (6, 3)):
        block = bf.Block.box(*sides)
        of_hull, of_figure = (bf.largest(f, block, stance=bf.Stance.upright(30)) for f in (hull, kneeling))
        assert of_hull.scale <= of_figure.scale_bound * (1 + 1e-9)
        # The figure itself, placed as its hull is, keeps the cover that the hull is said to keep.
        placed = of_hull.placement.apply(kneeling.vertices)
        kept = (block.sound_mm - placed @ block.normals.T).min(axis=0)
        told = bf.stone_cover(of_hull).by_face
        assert all(kept[k] >= told[name] - 1e-6 for k, name in enumerate(block.names))


@given(st.integers(0, 10_000))
@settings(max_examples=20)
def test_the_margin_covers_every_figure_within_the_doubt(seed):
    """The margin's proof, tried: grow the outlines by what may be wrong, and no corner gets further than it."""
    from blockfit.drawings.agreement import agreed, sized
    from blockfit.drawings.hull import hull_of_outlines, margin_of
    from blockfit.drawings.reading import Reading, drawn
    from blockfit.drawings.views import view_of

    random = np.random.default_rng(seed)
    solid = random.random((6, 5, 4)) < 0.6
    solid[0, 0, 0] = solid[-1, -1, -1] = True
    arrays = {"front": solid.any(axis=1), "side": solid.any(axis=2), "top": solid.any(axis=0)}
    views = [drawn(view_of(name), dark, Reading()) for name, dark in arrays.items()]
    placed, _, _ = agreed(sized(views, 60.0, 1.0), 2.0)
    margin = margin_of(hull_of_outlines(placed), placed)
    hull = np.array(hull_of_outlines(placed).to_mesh64().vert_properties[:, :3])
    around = np.array(hull_of_outlines(placed, grown=True).to_mesh64().vert_properties[:, :3])
    ways = random.normal(size=(200, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    assert ((ways @ around.T).max(axis=1) <= (ways @ hull.T).max(axis=1) + margin + 1e-9).all()


def test_a_margin_is_kept_as_stone():
    plain = cuboid(100, 100, 400)
    wide = bf.Figure(plain.vertices, plain.faces, margin_mm="10 mm")
    block = bf.Block.box(240, 240, 840)
    # A box within a box, both grown by a ball: s (w + 2 m) = W, by its three pairs of faces.
    assert bf.largest(wide, block, stance=bf.Stance.fixed()).scale == pytest.approx(min(240 / 120, 840 / 420), rel=1e-9)
    fit = bf.safest(wide, block, scale=1.0, stance=bf.Stance.fixed())
    assert fit.cover_mm == pytest.approx((240 - 120) / 2)
    assert bf.stone_cover(fit).margin_mm == 10
    assert bf.setback(fit).back_mm + bf.setback(fit).front_mm == pytest.approx(240 - 120)
    size = bf.smallest_block(wide, stance=bf.Stance.fixed())
    assert (size.width_mm, size.depth_mm, size.height_mm) == pytest.approx((120, 120, 420))


# ---- sizes and contradictions ----


def test_heights_scale_everything_and_missing_sizes_are_asked_for():
    front, side = np.ones((120, 40), bool), np.ones((60, 15), bool)
    figure = bf.figure_from_outlines(front=front, side=side, height="1.2 m")
    assert figure.size_mm == pytest.approx((400, 300, 1200))
    plan = bf.figure_from_outlines(front=front, top=np.ones((45, 60), bool), height="1.2 m")
    assert plan.size_mm == pytest.approx((400, 300, 1200))
    drawn = shapely.box(0, 0, 40, 120)
    quarter = bf.figure_from_outlines(front=drawn, side=drawn, ratio="1:4")
    assert quarter.size_mm == pytest.approx((160, 160, 480))
    assert bf.figure_from_outlines(front=drawn, side=side, height=1200).size_mm == pytest.approx((400, 300, 1200))
    assert bf.figure_from_outlines(front=drawn, side=side).size_mm == pytest.approx((40, 30, 120))
    with pytest.raises(bf.UnitNeededError, match="height"):
        bf.figure_from_outlines(front=front, side=side)


def test_heights_that_no_solid_can_have_are_reported_with_the_least_change():
    front, side = shapely.box(0, 0, 200, 1000), shapely.box(0, 0, 300, 1100)
    with pytest.raises(bf.OutlinesDisagreeError, match=r"height.*100\.0 mm apart.*moves each end of both by 25"):
        bf.figure_from_outlines(front=front, side=side)
    kept = bf.figure_from_outlines(front=front, side=side, reconcile=True)
    assert kept.size_mm == pytest.approx((200, 300, 1100))
    assert kept.margin_mm >= 50
    assert any("100.0 mm apart" in repair.text for repair in kept.repairs)
    near = bf.figure_from_outlines(front=front, side=shapely.box(0, 0, 300, 1001.5))
    assert near.size_mm[2] == pytest.approx(1001.5)  # stretched to the longer, since stone must not be lost
    assert 0.75 <= near.margin_mm < 1.6
    with pytest.raises(bf.OutlinesDisagreeError) as told:
        bf.figure_from_outlines(front=front, side=shapely.box(0, 0, 300, 1000), top=shapely.box(0, 0, 230, 280))
    assert {one.where for one in told.value.contradictions} == {"width", "depth"}


def shadow(figure, axes):
    """The shadow of a figure on two axes, by shapely alone."""
    flat = np.asarray(figure.vertices)[:, axes]
    return shapely.union_all(
        [shapely.MultiPoint(flat[np.array(face)]).convex_hull.buffer(1e-6) for face in figure.faces]
    )


def test_stone_that_another_outline_denies_is_reported_where_it_is():
    gap = shapely.box(0, 0, 200, 400) | shapely.box(0, 500, 200, 1000)
    with pytest.raises(bf.OutlinesDisagreeError, match="400 to 500 mm up") as told:
        bf.figure_from_outlines(front=gap, side=shapely.box(0, 0, 300, 1000))
    (one,) = told.value.contradictions
    assert one.outlines == ("side", "front")
    assert one.by_mm == pytest.approx(50, rel=0.02)  # the middle of the gap lies 50 mm from stone
    # Three outlines: a leg in front that neither side nor top has room for.
    front = shapely.box(0, 0, 200, 1000) - shapely.box(0, 0, 100, 500)
    top = shapely.box(0, 0, 200, 300) - shapely.box(100, 0, 200, 150)
    side = shapely.box(-300, 0, 0, 1000) - shapely.box(-300, 0, -150, 500)
    with pytest.raises(bf.OutlinesDisagreeError, match="front|side"):
        bf.figure_from_outlines(front=front, side=side, top=top)
    kept = bf.figure_from_outlines(front=gap, side=shapely.box(0, 0, 300, 1000), reconcile=True)
    assert kept.volume_m3 == pytest.approx(0.2 * 0.3 * 1.0)  # the gap is closed: the side asks for stone there
    assert any("stone was drawn there" in repair.text for repair in kept.repairs)
    more = bf.figure_from_outlines(front=front, side=side, top=top, reconcile=True)
    for view, asked in (((0, 2), front), ((1, 2), shapely.affinity.scale(side, -1, 1, origin=(0, 0))), ((0, 1), top)):
        shown = shadow(more, view)
        low = np.array(shown.bounds[:2]) - np.array(asked.bounds[:2])
        assert shapely.affinity.translate(asked, *low).difference(shown.buffer(0.01)).area < 1


def test_a_thin_bar_far_from_all_other_stone_is_not_lost():
    """Its corners touch stone, its middle lies 200 mm away: between near corners a side may be far."""
    pillars = shapely.box(0, 0, 100, 1200) | shapely.box(500, 0, 600, 1200)
    front, top = (
        pillars | shapely.box(100, 600, 500, 603.9),
        shapely.box(0, 0, 100, 300) | shapely.box(500, 0, 600, 300),
    )
    with pytest.raises(bf.OutlinesDisagreeError, match="600 to 604 mm up"):
        bf.figure_from_outlines(front=front, top=top)
    kept = bf.figure_from_outlines(front=front, top=top, reconcile=True)
    assert kept.volume_m3 == pytest.approx(2 * 0.1 * 0.3 * 1.2 + 0.4 * 0.3 * 0.0039, rel=1e-4)


def test_outlines_drawn_elsewhere_are_moved_to_meet():
    figure = bf.figure_from_outlines(front=shapely.box(5000, 300, 5200, 1300), side=shapely.box(0, 0, 300, 1000))
    assert figure.size_mm == pytest.approx((200, 300, 1000))
    assert figure.margin_mm == 0
    assert any("moved" in repair.text for repair in figure.repairs)


@pytest.mark.parametrize(
    ("outlines", "words"),
    [
        ({}, "no outlines"),
        ({"front": np.ones((4, 4), bool), "height": 100}, "without an end"),
        ({"front": shapely.LineString([(0, 0), (1, 1)]), "side": shapely.box(0, 0, 1, 1)}, "Polygon"),
        ({"front": shapely.Polygon(), "side": shapely.box(0, 0, 1, 1)}, "no area"),
        ({"front": np.zeros((4, 4), bool), "side": np.ones((4, 4), bool), "height": 9}, "shows nothing"),
        ({"front": np.full((4, 4), 0.3), "side": np.ones((4, 4), bool), "height": 9}, "other than 0 and 1"),
        ({"front": np.ones(4, bool), "side": np.ones((4, 4), bool), "height": 9}, "shape"),
        ({"front": "missing.png", "side": np.ones((4, 4), bool), "height": 9}, "missing"),
        ({"front": "drawing.pdf", "side": np.ones((4, 4), bool), "height": 9}, "are read from"),
        ({"front": shapely.box(0, 0, 1, 1), "three_quarter": (2, shapely.box(0, 0, 1, 1))}, "without an end"),
        ({"front": shapely.box(0, 0, 1, 1), "three_quarter": 45}, "three_quarter"),
        ({"front": shapely.box(0, 0, 1, 1), "side": shapely.box(0, 0, 1, 1), "height": -4}, "height"),
        ({"front": shapely.box(0, 0, 1, 1), "side": shapely.box(0, 0, 1, 1), "tolerance": "x"}, "tolerance"),
    ],
)
def test_what_is_no_outline_is_refused_in_words(outlines, words):
    with pytest.raises(bf.BlockfitError, match=words):
        bf.figure_from_outlines(**outlines)


def test_a_ring_from_above_and_from_before():
    ring = torus(300, 60)
    hull = bf.figure_from_outlines(**shadows(ring))
    assert outside_by(hull, on_surface(ring, 5000)) < 1e-4  # mm; shapely's union leaves 1e-5
    assert hull.volume_m3 > ring.volume_m3
    assert winding(hull, np.zeros((1, 3)))[0] < 0.5  # the opening is kept


@pytest.mark.parametrize("seed", [7, 106, 134, 135, 194, 249, 265])
def test_pictures_whose_pixels_touch_at_corners_lose_nothing(seed):
    # In these manifold3d loses cells where edges of four faces meet; such outlines are grown by a little.
    check_voxels(seed)

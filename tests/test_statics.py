"""What stands, tips, turns and carries: closed forms by hand, and a second implementation straight from manifold3d."""

import math
from itertools import pairwise

import manifold3d
import numpy as np
import pytest
from conftest import cuboid
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

import blockfit as bf
from blockfit.waste.standing.turning import turnings
from blockfit.waste.statics import balance, base_of
from blockfit.waste.strength.bearing import GRAVITY, bearings, lying

FIXED, BARE = bf.Stance.fixed(), {"bottom": 0, "other": 0}
DENSITY = 2700.0


def box(low, high):
    return manifold3d.Manifold.cube([float(b - a) for a, b in zip(low, high, strict=True)]).translate(
        list(map(float, low))
    )


def union(*parts):
    return manifold3d.Manifold.batch_boolean(list(parts), manifold3d.OpType.Add)


def arrays(solid):
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties, float)[:, :3], np.array(mesh.tri_verts, np.int64)


def figure_of(solid, **more):
    return bf.Figure(*arrays(solid), **more)


def middle_of(solid):
    """Volume and centre of gravity by tetrahedra from a far corner: not blockfit's own sum."""
    vertices, faces = arrays(solid)
    apex = vertices.min(axis=0) - 7
    a, b, c = (vertices[faces[:, k]] - apex for k in range(3))
    volumes = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6
    return float(volumes.sum()), apex + (volumes[:, None] * (a + b + c) / 4).sum(axis=0) / volumes.sum()


def margin_of(solid, flat):
    """How far inside its base the plumb line falls, by scipy's hull of what lies within ``flat`` of the floor."""
    vertices, _ = arrays(solid)
    _, middle = middle_of(solid)
    base = vertices[vertices[:, 2] <= vertices[:, 2].min() + flat][:, :2]
    hull = ConvexHull(base)
    return -float((hull.equations[:, :2] @ middle[:2] + hull.equations[:, 2]).max())


# ---- base ----


def test_a_foot_in_the_air_is_no_base():
    """By hand: a body on one foot of 120, its second foot 18 mm up: the plumb line falls 136 mm outside."""
    body = union(
        box((-60, -60, 0), (60, 60, 400)), box((-60, -60, 350), (460, 60, 2000)), box((400, -60, 18), (460, 60, 400))
    )
    fit = bf.safest(figure_of(body), bf.Block.box(700, 300, 2100), stance=FIXED, cover=BARE)
    last = bf.handling(fit).loads[-1]
    assert not last.stands.stands
    assert last.stands.margin_mm == pytest.approx(margin_of(body, 1.0), abs=1e-6)
    assert last.stands.margin_mm == pytest.approx(-135.8, abs=0.1)
    assert last.level.height_mm == 20  # its feet cut level 20 mm up, both reach the floor
    assert last.level.stands.stands
    assert bf.handling(fit, flat=18).loads[-1].stands.stands  # packed by 18 mm it would stand
    told = str(bf.survey(fit, alternatives=False)).splitlines()[:10]
    assert any("DOES NOT STAND BY ITSELF" in line for line in told)
    assert "DOES NOT STAND BY ITSELF" in str(bf.survey(fit, alternatives=False)).split("CAUTIONS")[1]


def test_the_base_while_carving_is_that_of_the_stone_left():
    """A slab that leans forward over a thin foot at the back: the stone before it gone, the base is 500 to 900."""
    body = union(box((0, 500, 0), (400, 600, 60)), box((0, 0, 50), (400, 600, 800)))
    fit = bf.largest(figure_of(body), bf.Block.box(400, 900, 800), stance=FIXED, scales=(0, 1))
    loads = {load.name: load for load in bf.handling(fit).loads}
    first = loads["once the stone before the figure is gone"]
    # Left: the figure, the stone between its foot and body, and all behind it, by hand.
    left = union(body, box((0, 600, 0), (400, 900, 800)))
    assert first.volume_m3 == pytest.approx(middle_of(left)[0] * 1e-9, rel=5e-3)
    assert sorted({round(y) for y in first.stands.base[:, 1]}) == [500, 900]
    exact = middle_of(left)[1][1] - 500
    assert exact < 0
    assert exact - 3 < first.stands.margin_mm <= exact + 0.5  # the worse end
    assert not first.stands.stands
    assert first.stands.within_mm > 0


@pytest.mark.parametrize("seed", range(12))
def test_stages_agree_with_solids_cut_by_manifold(seed):
    """Boxes on a plate: the stone left before and behind is built of boxes, column by column of their corners."""
    random = np.random.default_rng(seed)
    parts = [box((40, 150, 0), (360, 300, 30))]
    for _ in range(3):
        low = random.uniform([40, 60, 0], [250, 300, 200])
        parts.append(box(low, low + random.uniform(60, 110, 3)))
    body = max(union(*parts).decompose(), key=lambda part: part.volume())
    vertices, _ = arrays(body)
    size = (400.0, 500.0, float(vertices[:, 2].max()) + 40)
    fit = bf.safest(figure_of(body), bf.Block.box(*size), stance=FIXED, cover={"bottom": 0, "other": 1})
    placed = fit.solid()
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.array(placed.vertices), np.array(placed.faces, np.uint64)))
    block = box((0, 0, 0), size)
    xs = np.unique(np.round(np.r_[0, size[0], placed.vertices[:, 0]], 6))
    zs = np.unique(np.round(np.r_[0, size[2], placed.vertices[:, 2]], 6))
    gone = []
    for x0, x1 in pairwise(xs):
        for z0, z1 in pairwise(zs):
            column = solid ^ box((x0 + 1e-3, -1, z0 + 1e-3), (x1 - 1e-3, size[1] + 1, z1 - 1e-3))
            if column.volume() > 1e-3:
                first = float(arrays(column)[0][:, 1].min())
                gone.append(box((x0, -1, z0), (x1, first, z1)))
    before = block - union(*gone)
    load = next(x for x in bf.handling(fit).loads if x.name == "once the stone before the figure is gone")
    volume, middle = middle_of(before)
    assert load.volume_m3 == pytest.approx(volume * 1e-9, rel=4e-3)
    assert np.abs(load.centre_mm - middle).max() < 1.0
    assert load.stands.margin_mm == pytest.approx(margin_of(before, 1.0), abs=1.5)
    assert load.stands.margin_mm <= margin_of(before, 1.0) + 0.3  # never the better end


# ---- turning ----


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
    volume, middle = middle_of(body)
    stands = balance(middle, base_of(vertices))
    turns = {turn.edge: turn for turn in turnings(vertices, middle, 100.0, stands.base)}
    assert turns["right"].goes_by_itself
    assert turns["right"].balance_deg == 0
    assert not turns["left"].goes_by_itself
    # It comes down on its overhang after atan(100/400), and rests on it and the edge: the plumb line lies between.
    assert turns["right"].rests_deg == pytest.approx(math.degrees(math.atan2(100, 400)))
    assert turns["right"].rests
    assert volume > 0


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


# ---- sections that carry ----


def by_hand(solid, height):
    """Tension and compression at one height: manifold3d's own slice and halves, sums of small squares (0.5 mm)."""
    below = solid.trim_by_plane([0, 0, -1], -height)
    floor = float(arrays(solid)[0][:, 2].min())
    grounded = [p for p in below.decompose() if arrays(p)[0][:, 2].min() < floor + 1]
    load, first = 0.0, np.zeros(3)
    for part in [
        solid.trim_by_plane([0, 0, 1], height),
        *[p for p in below.decompose() if arrays(p)[0][:, 2].min() >= floor + 1],
    ]:
        volume, middle = middle_of(part)
        load, first = load + volume, first + volume * middle
    centre = first / load
    spots = []
    for part in grounded:
        vertices = arrays(part)[0]
        low, high = vertices[:, :2].min(axis=0), vertices[:, :2].max(axis=0)
        grid = np.stack(
            np.meshgrid(np.arange(low[0], high[0], 0.5) + 0.25, np.arange(low[1], high[1], 0.5) + 0.25), -1
        ).reshape(-1, 2)
        import shapely

        rings = [shapely.Polygon(r) for r in part.slice(height - 1e-4).to_polygons()]
        area = rings[0] if len(rings) == 1 else rings[0].symmetric_difference(shapely.union_all(rings[1:]))
        spots.append(grid[shapely.contains_xy(area, *grid.T)])
    spots = np.concatenate(spots)
    middle = spots.mean(axis=0)
    r = spots - middle
    weight = load * DENSITY * 1e-9 * GRAVITY
    inertia = r.T @ r * 0.25
    slope = np.linalg.solve(inertia, weight * (centre[:2] - middle))
    stress = -(weight / (len(spots) * 0.25) + r @ slope)
    return max(0.0, stress.max()), max(0.0, -stress.min())


def test_a_stem_under_a_body_carries_it_all():
    """σ = M/W - N/A by hand for a round stem of 50 under an eccentric body (any book on strength of materials)."""
    body = union(
        box((-150, -150, 0), (150, 150, 40)),
        manifold3d.Manifold.cylinder(410, 25, 25, 256).translate([0, 0, 30]),
        box((-100, -200, 430), (250, 200, 800)),
    )
    fit = bf.safest(figure_of(body), bf.Block.box(600, 600, 900, stone="marble"), stance=FIXED, cover=BARE)
    neck = bf.thin_stone(fit).necks[0]
    weight = 0.35 * 0.4 * 0.37 * 2860 * GRAVITY
    bending, pressure = weight * 75 / (math.pi * 25**3 / 4), weight / (math.pi * 25**2)
    assert neck.stands
    assert neck.area_mm2 == pytest.approx(math.pi * 25**2, rel=1e-3)
    assert neck.stress_mpa == pytest.approx(bending - pressure, rel=0.01)  # 8.14 MPa; the stem's own weight is left out
    assert bf.thin_stone(fit, jerk=1.5).necks[0].stress_mpa == pytest.approx(1.5 * neck.stress_mpa, rel=1e-6)
    with pytest.raises(bf.BadValueError):
        bf.thin_stone(fit, jerk=0)
    told = str(bf.survey(fit, alternatives=False))
    assert "WOULD BREAK OF ITS OWN WEIGHT" in "\n".join(told.splitlines()[:10])


def test_two_ankles_together_and_how_they_share():
    """A body of 200 wide on two ankles of 40, its weight over a quarter of the way: 3/4 and 1/4, by the lever's law."""
    body = union(
        box((0, 0, 0), (400, 100, 20)),
        box((20, 30, 20), (60, 70, 220)),
        box((340, 30, 20), (380, 70, 220)),
        box((0, 0, 220), (400, 100, 240)),
        box((20, 0, 240), (220, 100, 1240)),
    )
    worst = max(bearings(body, DENSITY), key=lambda b: b.compression_mpa)
    assert worst.area_mm2 == pytest.approx(2 * 40 * 40, rel=1e-6)
    assert len(worst.outlines) == 2
    _, middle = middle_of(body.trim_by_plane([0, 0, 1], worst.height_mm))
    left = (360 - middle[0]) / 320
    assert sorted(worst.shares) == pytest.approx(sorted([left, 1 - left]), abs=0.002)
    assert (worst.tension_mpa, worst.compression_mpa) == pytest.approx(
        by_hand(body, worst.height_mm), rel=0.02, abs=1e-4
    )


def test_a_hanging_arm_carries_nothing_but_weighs():
    """An arm hangs beside a post, its hand 10 mm off the plate: the post's section carries it and is the only loop."""
    body = union(
        box((0, 0, 0), (400, 200, 20)),
        box((0, 60, 20), (80, 140, 700)),
        box((0, 60, 620), (400, 140, 700)),
        box((330, 60, 30), (400, 140, 700)),
    )
    found = [b for b in bearings(body, DENSITY) if 20 < b.height_mm < 619]
    assert found
    for bearing in found:
        assert bearing.area_mm2 == pytest.approx(80 * 80, rel=1e-6)
        assert (bearing.tension_mpa, bearing.compression_mpa) == pytest.approx(
            by_hand(body, bearing.height_mm), rel=0.02
        )


@pytest.mark.parametrize("seed", range(10))
def test_the_worst_height_agrees_with_a_second_implementation(seed):
    """Random stacks of boxes and cylinders: no height of a fine sweep asks more than the worst reported."""
    random = np.random.default_rng(seed)
    parts, top = [], 0.0
    for _ in range(5):
        wide, tall = random.uniform(60, 200, 2), float(random.uniform(60, 200))
        at = random.uniform(-25, 25, 2)
        if random.random() < 0.5:
            parts.append(
                manifold3d.Manifold.cylinder(tall + 2, float(wide[0]) / 2, float(wide[1]) / 2, 48).translate(
                    [*at, top - 1]
                )
            )
        else:
            parts.append(box((*(at - wide / 2), top - 1), (*(at + wide / 2), top + tall + 1)))
        top += tall
    body = union(*parts)
    found = bearings(body, DENSITY)
    tension = max((b.tension_mpa for b in found), default=0.0)
    compression = max(b.compression_mpa for b in found)
    for height in np.linspace(2, top - 2, 40):
        pulled, pressed = by_hand(body, float(height))
        assert pulled <= tension * 1.03 + 1e-4
        assert pressed <= compression * 1.03 + 1e-4


def test_stress_grows_with_size_and_nothing_else():
    body = union(box((0, 0, 0), (100, 100, 300)), box((0, 0, 300), (260, 100, 420)))
    one = bearings(body, DENSITY)[0]
    for scale in (0.5, 4.0):
        again = bearings(body.scale([scale] * 3).translate([77, -5, 31]), DENSITY)[0]
        assert again.tension_mpa == pytest.approx(scale * one.tension_mpa, rel=1e-3)
        assert again.compression_mpa == pytest.approx(scale * one.compression_mpa, rel=1e-3)


def test_lying_on_two_battens_is_the_beam_of_every_table():
    """A prism on supports at its ends: σ = 6 M / (b h²) with M = w L²/8 (uniform load, simple beam)."""
    long, wide, thick = 1000.0, 80.0, 60.0  # laid on its back it is 60 thick (y), on its side 80 (x)
    body = box((0, 0, 0), (wide, thick, long))
    told = {side: (height, tension) for side, height, tension, _ in lying(body, DENSITY, (0.0, long))}
    load = wide * thick * DENSITY * 1e-9 * GRAVITY  # N per mm
    moment = load * long**2 / 8
    assert told["its back"][1] == pytest.approx(6 * moment / (wide * thick**2), rel=0.01)
    assert told["its left"][1] == pytest.approx(6 * moment / (thick * wide**2), rel=0.01)
    assert told["its back"][0] == pytest.approx(long / 2, abs=10)


def fit_of(body, pad=20):
    low, high = arrays(body)[0].min(axis=0), arrays(body)[0].max(axis=0)
    size = high - low
    block = bf.Block.box(size[0] + 2 * pad, size[1] + 2 * pad, size[2], stone="marble")
    return bf.safest(figure_of(body), block, stance=FIXED, cover=BARE)


def rod(radius, low, high, at=(0, 0)):
    return manifold3d.Manifold.cylinder(high - low, radius, radius, 128).translate([*at, low])


def test_a_stump_beside_the_stem_carries_nothing():
    """The stump stands on the same plinth and never touches the body: the stem alone bears it, by hand."""
    stem = union(rod(25, 30, 440, (100, 0)), box((0, -200, 430), (350, 200, 800)))
    body = union(box((-300, -200, 0), (300, 200, 40)), stem, box((-290, -150, 30), (-60, 150, 600)))
    neck = bf.thin_stone(fit_of(body)).necks[0]
    weight = 0.35 * 0.4 * 0.37 * 2860 * GRAVITY
    assert neck.area_mm2 == pytest.approx(math.pi * 25**2, rel=1e-2)
    assert neck.stress_mpa == pytest.approx(weight * 75 / (math.pi * 25**3 / 4) - weight / (math.pi * 25**2), rel=0.01)


def test_an_arm_that_carries_most_of_the_figure_is_a_neck():
    """A level arm of 40 x 40 with 0.072 m³ at its end: at its root 2,019 N x 380 mm / (40³/6) = 72 MPa, by hand."""
    body = union(
        box((-300, -200, 0), (700, 200, 20)), box((-60, -60, 10), (60, 60, 500)),
        box((50, -20, 400), (250, 20, 440)), box((240, -150, 200), (640, 150, 800)),
    )  # fmt: skip
    neck = bf.thin_stone(fit_of(body)).necks[0]
    assert neck.area_mm2 == pytest.approx(1600, rel=1e-3)
    assert neck.stress_mpa == pytest.approx(0.4 * 0.3 * 0.6 * 2860 * GRAVITY * 380 / (40**3 / 6), rel=0.03)


@pytest.mark.parametrize("thin", [2.0, 4.0, 20.0])
def test_a_groove_however_low_is_found(thin):
    """A neck of 30 mm between two bodies: the lever's law on a round section, by hand."""
    body = union(rod(100, 0, 1000), rod(15, 990, 1001 + thin), box((-100, -150, 1000 + thin), (250, 150, 2000)))
    weight = 0.35 * 0.3 * (1.0 - thin / 1e3) * 2860 * GRAVITY
    worst = bf.thin_stone(fit_of(body)).necks[0]
    exact = weight * 75 / (math.pi * 15**3 / 4) - weight / (math.pi * 15**2)
    assert worst.stress_mpa == pytest.approx(exact, rel=0.01)


def test_a_figure_on_a_low_point_and_a_closed_hollow():
    point = union(rod(10, 0, 6), box((-100, -150, 5), (100, 150, 2000)))
    pressed = max(bf.thin_stone(fit_of(point)).bearings, key=lambda b: b.compression_mpa)
    assert pressed.compression_mpa == pytest.approx(0.2 * 0.3 * 1.995 * 2860 * GRAVITY / (math.pi * 100), rel=0.01)
    hollow = union(rod(100, 0, 1000) - rod(95, 200, 800), box((0, -100, 950), (400, 100, 1200)))
    for bearing in bearings(hollow, DENSITY):
        above = middle_of(hollow.trim_by_plane([0, 0, 1], bearing.height_mm))
        assert bearing.above_m3 == pytest.approx(above[0] * 1e-9, rel=1e-6)
        assert bearing.lever_mm < 250


def test_a_taper_is_asked_where_it_carries_most():
    """A cone of an arm, 30 to 15 mm over 620: at its root the weight of all of it, W e / (π r³/4), by hand."""
    first, last, long = 30.0, 15.0, 620.0
    taper = manifold3d.Manifold.cylinder(long + 10, first * (1 + 10 / long * 0.5), last, 128).rotate([0, 90, 0])
    body = union(box((-200, -200, 0), (200, 200, 1800)), taper.translate([190, 0, 1200]))
    neck = bf.thin_stone(fit_of(body)).necks[0]
    volume = math.pi * long / 3 * (first**2 + first * last + last**2)
    middle = long / 4 * (first**2 + 2 * first * last + 3 * last**2) / (first**2 + first * last + last**2)
    exact = volume * 2860e-9 * GRAVITY * middle / (math.pi * first**3 / 4)
    assert neck.stress_mpa == pytest.approx(exact, rel=0.05)


def test_a_rough_block_says_what_hurts_first():
    """A scooped block and a stem that breaks: limits, standing and breaking are answered there too."""
    stone = box((0, 0, 0), (900, 800, 900)) - manifold3d.Manifold.sphere(120, 64).translate([300, 0, 300])
    stem = union(rod(25, 30, 440, (100, 0)), box((0, -200, 430), (350, 200, 800)))
    body = union(box((-300, -200, 0), (300, 200, 40)), stem)
    fit = bf.safest(figure_of(body), bf.Block.scanned(figure_of(stone), stone="marble"), stance=FIXED, cover=0)
    told = str(bf.survey(fit, limits={"hoist_kg": 10}, alternatives=False))
    first = "\n".join(told.splitlines()[:10])
    assert "WOULD BREAK" in first
    assert "TOO MUCH" in first
    assert bf.handling(fit).loads[0].volume_m3 == pytest.approx(middle_of(stone)[0] * 1e-9, rel=1e-6)


def test_lying_pulls_the_side_it_lies_on():
    """A triangular prism, apex behind: on its back the apex is pulled, M c / I with I = b h³/36 (any table)."""
    section = manifold3d.CrossSection([[(-50, 0), (50, 0), (0, 120)]])
    told = bf.thin_stone(fit_of(section.extrude(2000)), battens=(50, 1950)).lying
    load = 100 * 120 / 2 * 2860e-9 * GRAVITY
    moment = load * (1900**2 / 8 - 50**2 / 2)
    inertia = 100 * 120**3 / 36
    stress = {side: tension for side, _, tension, _ in told}
    assert stress["its back"] == pytest.approx(moment * 80 / inertia, rel=0.01)
    assert stress["its front"] == pytest.approx(moment * 40 / inertia, rel=0.01)


# ---- lifts ----


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


def test_supports_count_only_under_the_stone():
    body = union(box((0, 0, 0), (100, 100, 600)), box((0, 0, 590), (700, 100, 900)))
    cover = {"bottom": 0, "top": 0, "other": 50}
    fit = bf.safest(figure_of(body), bf.Block.box(1000, 1000, 900, stone="marble"), stance=FIXED, cover=cover)
    corners = [(50, 50), (950, 50), (950, 950), (50, 950)]
    loads = bf.handling(fit, supports=corners).loads
    assert loads[0].on_supports.stands
    assert not loads[-1].on_supports.stands
    far = bf.handling(fit, supports=[(-5000, -5000), (6000, -5000), (500, 6000)]).loads
    assert not far[0].on_supports.stands


def test_a_line_of_contact_is_measured_to_the_line():
    """A block whose bottom rises by a fifth rests on one edge: the plumb line falls 200 mm beside it."""
    ends = [[x, y, z + x * 0.2] for x in (0, 400) for y in (0, 300) for z in (0, 500)]
    fit = bf.safest(cuboid(50, 50, 50), bf.Block.convex(ends, stone="marble"), stance=FIXED)
    stands = bf.handling(fit).loads[0].stands
    assert not stands.stands
    assert stands.margin_mm == pytest.approx(-200, abs=1e-6)


def test_legs_to_the_corners_and_what_the_feet_press():
    """Four legs at 60° rise by half the diagonal's tangent; three feet of 20 x 20 press on 0.0012 m², by hand."""
    fit = bf.safest(cuboid(300, 300, 290), bf.Block.box(1000, 1000, 300, stone="marble"), stance=FIXED)
    check = bf.handling(fit, legs=4, sling_angle=60, hook_height=1300).checks[0]
    assert check.over == pytest.approx(300 + math.hypot(1000, 1000) / 2 * math.tan(math.radians(60)) - 1300)
    feet = [box((x, y, 0), (x + 20, y + 20, 30)) for x, y in ((0, 0), (380, 0), (190, 380))]
    body = union(*feet, box((0, 0, 29), (400, 400, 200)))
    told = bf.handling(fit_of(body), floor_kg_m2=600)
    last = told.checks[-1]
    kilograms = told.loads[-1].weight_range_kg[1]
    assert last.over == pytest.approx(kilograms / 1.2e-3 - 600, rel=1e-3)


def test_a_tiny_figure_and_slings_too_flat_are_answered():
    body = union(box((0, 0, 0), (0.3, 0.3, 1.0)), box((0, 0, 0.9), (1.0, 0.3, 1.2)))
    fit = fit_of(body, 0.1)
    assert not bf.handling(fit).loads[-1].stands.stands
    told = str(bf.survey(fit_of(body.scale([300] * 3)), alternatives=False, limits={"sling_angle": 20}))
    assert "DO NOT LIFT at 20°" in "\n".join(told.splitlines()[:12])


def test_a_block_needs_its_own_height_under_the_hook():
    """A block 1 m high and 0.8 m wide under legs at 60°: 1,000 + 400 tan 60° = 1,693 mm; 1.6 m is 93 mm too little."""
    fit = bf.safest(cuboid(100, 100, 300), bf.Block.box(800, 600, 1000, stone="marble"), stance=FIXED)
    first = next(c for c in bf.handling(fit, hook_height=1600).checks if c.about == "hook height")
    assert not first.kept
    assert first.over == pytest.approx(1000 + 400 * math.tan(math.radians(60)) - 1600)
    assert "TOO MUCH by 93 mm" in first.text
    with_room = next(
        c for c in bf.handling(fit, hook_height=1700, hook_clearance=50).checks if c.about == "hook height"
    )
    assert not with_room.kept


def test_every_cut_of_a_divided_piece_can_stop_in_stone():
    """Named by issue of work: a saw that must pass through is never asked to stop; depths and order are printed."""
    fit = bf.largest(
        figure_of(manifold3d.Manifold.sphere(250, 64)), bf.Block.box(1200, 700, 700, stone="marble"), stance=FIXED,
        scales=(0, 1), cover=20,
    )  # fmt: skip
    through = {method.name for method in bf.METHODS if method.makes == 1}
    for limit in (100, 150, 400):
        plan = bf.offcuts(fit, lift_limit_kg=limit)
        assert plan.pieces
        for piece in plan.pieces:
            if piece.kind.endswith("divided") or len(piece.cuts) > 1:
                assert not through & {cut.method for cut in piece.cuts}
            deepest = {method.name: method.depth_mm * (2 if method.opposed else 1) for method in bf.METHODS}
            assert all(cut.depth_mm <= deepest[cut.method] for cut in piece.cuts)

"""Thin stone and what it carries: stresses by the formulas of any book on strength of materials."""

import math

import manifold3d
import pytest
import trimesh
from conftest import (
    BARE,
    FIXED,
    around,
    box,
    cuboid,
    figure_of,
    fit_in_marble,
    middle_of,
    rod,
    slow_after,
    union,
    united,
)

import blockfit as bf
from blockfit.waste.strength.bearing import GRAVITY


def test_a_cantilever_by_formula():
    """A prism of b x h sticking out by L: M = ρ g b h L²/2, σ = 6 M / (b h²) (any book on strength of materials)."""
    width, high, long = 60.0, 80.0, 500.0
    figure = united(cuboid(300, 300, 800), cuboid(width, long + 100, high, at=(120, 200, 600)))
    thin = bf.thin_stone(around(figure))
    neck = thin.necks[0]
    density = 2860.0  # the upper end of the range, in kg/m3
    mass = density * width * high * long * 1e-9
    stress = 6 * mass * GRAVITY * (long / 2) / (width * high**2)
    assert neck.area_mm2 == pytest.approx(width * high, rel=0.01)
    assert neck.part_m3 * density == pytest.approx(mass, rel=0.05)  # the section may lie a little off the post
    assert neck.stress_mpa == pytest.approx(stress, rel=0.1)
    assert neck.towards == "back"
    assert thin.rupture_mpa == (6.89, 6.89)  # ASTM C503 (secondary copy): least modulus of rupture of marble
    # A strut under the far end: half the bending is gone when it carries the moment's half, W L/4 at L: a quarter.
    assert neck.prop_share == pytest.approx(0.25, abs=0.03)


@pytest.mark.slow
def test_a_dumb_bell_hangs_on_its_neck():
    """Two balls and a rod: the least section is the rod's, the part one ball, the lever the way to its middle."""
    rod = trimesh.creation.cylinder(radius=20, height=400, sections=64)
    rod.apply_transform(trimesh.transformations.rotation_matrix(math.pi / 2, [0, 1, 0]))
    near, far = trimesh.creation.icosphere(4, 120), trimesh.creation.icosphere(4, 100)
    near.apply_translation([-220, 0, 0])
    far.apply_translation([220, 0, 0])
    stand = trimesh.creation.cylinder(radius=60, height=300, sections=64)
    stand.apply_translation([-220, 0, -150])
    figure = united(*[bf.Figure(m.vertices, m.faces) for m in (rod, near, far, stand)])
    neck = bf.thin_stone(around(figure)).necks[0]
    assert neck.area_mm2 == pytest.approx(math.pi * 20**2, rel=0.02)
    assert neck.towards == "right"
    ball_m3 = 4 / 3 * math.pi * 100**3 * 1e-9
    assert ball_m3 * 0.98 < neck.part_m3 < ball_m3 + math.pi * 20**2 * 260e-9
    at = neck.part_centre_mm[0] - neck.centre_mm[0]
    moment = neck.part_m3 * 2860 * GRAVITY * at
    assert neck.stress_mpa == pytest.approx(moment * 20 / (math.pi / 4 * 20**4), rel=0.03)


@pytest.mark.thorough
def test_strength_is_the_users_or_the_standards_never_invented():
    figure = united(cuboid(300, 300, 800), cuboid(60, 600, 80, at=(120, 200, 600)))
    bare = around(figure, 50, stone="soapstone")
    thin = bf.thin_stone(bare)
    assert thin.rupture_mpa is None
    assert thin.share_of_rupture(thin.necks[0]) is None
    given = bf.thin_stone(bare, rupture=(8, 12), wet=0.5, along_bed=0.8)
    assert given.rupture_mpa == pytest.approx((3.2, 12))
    low, high = given.share_of_rupture(given.necks[0])
    assert low < high
    for wrong in ({"rupture": (5, 2)}, {"wet": 2}, {"spacing": 0}):
        with pytest.raises(bf.BadValueError):
            bf.thin_stone(bare, **wrong)


@pytest.mark.slow
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


def test_a_stump_beside_the_stem_carries_nothing():
    """The stump stands on the same plinth and never touches the body: the stem alone bears it, by hand."""
    stem = union(rod(25, 30, 440, (100, 0)), box((0, -200, 430), (350, 200, 800)))
    body = union(box((-300, -200, 0), (300, 200, 40)), stem, box((-290, -150, 30), (-60, 150, 600)))
    neck = bf.thin_stone(fit_in_marble(body)).necks[0]
    weight = 0.35 * 0.4 * 0.37 * 2860 * GRAVITY
    assert neck.area_mm2 == pytest.approx(math.pi * 25**2, rel=1e-2)
    assert neck.stress_mpa == pytest.approx(weight * 75 / (math.pi * 25**3 / 4) - weight / (math.pi * 25**2), rel=0.01)


def test_an_arm_that_carries_most_of_the_figure_is_a_neck():
    """A level arm of 40 x 40 with 0.072 m³ at its end: at its root 2,019 N x 380 mm / (40³/6) = 72 MPa, by hand."""
    body = union(
        box((-300, -200, 0), (700, 200, 20)), box((-60, -60, 10), (60, 60, 500)),
        box((50, -20, 400), (250, 20, 440)), box((240, -150, 200), (640, 150, 800)),
    )  # fmt: skip
    neck = bf.thin_stone(fit_in_marble(body)).necks[0]
    assert neck.area_mm2 == pytest.approx(1600, rel=1e-3)
    assert neck.stress_mpa == pytest.approx(0.4 * 0.3 * 0.6 * 2860 * GRAVITY * 380 / (40**3 / 6), rel=0.03)


@pytest.mark.parametrize("thin", slow_after(1, [2.0, 4.0, 20.0]))
def test_a_groove_however_low_is_found(thin):
    """A neck of 30 mm between two bodies: the lever's law on a round section, by hand."""
    body = union(rod(100, 0, 1000), rod(15, 990, 1001 + thin), box((-100, -150, 1000 + thin), (250, 150, 2000)))
    weight = 0.35 * 0.3 * (1.0 - thin / 1e3) * 2860 * GRAVITY
    worst = bf.thin_stone(fit_in_marble(body)).necks[0]
    exact = weight * 75 / (math.pi * 15**3 / 4) - weight / (math.pi * 15**2)
    assert worst.stress_mpa == pytest.approx(exact, rel=0.01)


def test_a_taper_is_asked_where_it_carries_most():
    """A cone of an arm, 30 to 15 mm over 620: at its root the weight of all of it, W e / (π r³/4), by hand."""
    first, last, long = 30.0, 15.0, 620.0
    taper = manifold3d.Manifold.cylinder(long + 10, first * (1 + 10 / long * 0.5), last, 128).rotate([0, 90, 0])
    body = union(box((-200, -200, 0), (200, 200, 1800)), taper.translate([190, 0, 1200]))
    neck = bf.thin_stone(fit_in_marble(body)).necks[0]
    volume = math.pi * long / 3 * (first**2 + first * last + last**2)
    middle = long / 4 * (first**2 + 2 * first * last + 3 * last**2) / (first**2 + first * last + last**2)
    exact = volume * 2860e-9 * GRAVITY * middle / (math.pi * first**3 / 4)
    assert neck.stress_mpa == pytest.approx(exact, rel=0.05)


@pytest.mark.slow
def test_a_rough_block_says_what_hurts_first():
    """A scooped block and a stem that breaks: limits, standing and breaking are answered there too."""
    stone = box((0, 0, 0), (900, 800, 900)) - manifold3d.Manifold.sphere(120, 24).translate([300, 0, 300])
    stem = union(rod(25, 30, 440, (100, 0)), box((0, -200, 430), (350, 200, 800)))
    body = union(box((-300, -200, 0), (300, 200, 40)), stem)
    fit = bf.safest(figure_of(body), bf.Block.scanned(figure_of(stone), stone="marble"), stance=FIXED, cover=0)
    told = str(bf.survey(fit, limits={"hoist_kg": 10}, alternatives=False))
    first = "\n".join(told.splitlines()[:10])
    assert "WOULD BREAK" in first
    assert "TOO MUCH" in first
    assert bf.handling(fit).loads[0].volume_m3 == pytest.approx(middle_of(stone)[0] * 1e-9, rel=1e-6)


@pytest.mark.parametrize("bore_and_lid", slow_after(2, [(30, 0), (30, 4), (10, 0), (20, 0), (34, 0), (20, 6)]))
def test_a_hollow_arm_by_formula(bore_and_lid):
    """A tube that sticks out of a post: σ = M R / I with I = π (R⁴ - r⁴) / 4 (any book), of 64 sides here.

    With a lid its hollow has a shell of its own.
    """
    (bore, lid), radius, sides = bore_and_lid, 40.0, 64
    tube = manifold3d.Manifold.cylinder(600, radius, radius, sides)
    tube -= manifold3d.Manifold.cylinder(640 if lid == 0 else 580 - lid, bore, bore, sides).translate([0, 0, 20])
    post = manifold3d.Manifold.cube([300, 300, 1000])
    figure = figure_of(post + tube.rotate([0, 90, 0]).translate([280, 150, 800]))
    arms = [neck for neck in bf.thin_stone(around(figure)).necks if neck.normal[0] > 0.9 and neck.area_mm2 < 20_000]
    assert len(arms) == 1  # the limb's root alone, not every place along it
    one, two = 2 * math.pi / sides, sides / 2
    area = two * math.sin(one) * (radius**2 - bore**2)
    inertia = sides / 24 * math.sin(one) * (2 + math.cos(one)) * (radius**4 - bore**4)
    volume = area * 580 + lid * sides / 2 * math.sin(2 * math.pi / sides) * bore**2
    density = 2860.0  # the upper end of the range, in kg/m3
    assert arms[0].area_mm2 == pytest.approx(area, rel=0.01)
    middle = 290 + (volume - area * 580) / volume * 290  # a lid lies at the end
    assert arms[0].part_m3 == pytest.approx(volume * 1e-9, rel=0.01)
    assert arms[0].stress_mpa == pytest.approx(volume * 1e-9 * density * GRAVITY * middle * radius / inertia, rel=0.02)


def test_long_faces_that_only_pass_by_belong_to_a_limb():
    """A prism's faces have no corner near its middle; the section there is its own all the same."""
    rod = manifold3d.Manifold.cylinder(900, 15, 15, 12).rotate([0, 90, 0]).translate([190, 100, 700])
    figure = figure_of(manifold3d.Manifold.cube([200, 200, 900]) + rod)
    neck = next(neck for neck in bf.thin_stone(around(figure)).necks if neck.normal[0] > 0.9)
    assert neck.area_mm2 == pytest.approx(6 * 15**2 * math.sin(math.pi / 6), rel=0.01)

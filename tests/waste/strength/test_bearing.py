"""Sections that carry: closed forms by hand, and a second implementation straight from manifold3d."""

import math

import manifold3d
import numpy as np
import pytest
from conftest import arrays, box, fit_in_marble, middle_of, rod, slow_after, union

import blockfit as bf
from blockfit.waste.strength.bearing import GRAVITY, bearings, lying

DENSITY = 2700.0


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
    parts = []
    for part in grounded:
        vertices = arrays(part)[0]
        low, high = vertices[:, :2].min(axis=0), vertices[:, :2].max(axis=0)
        grid = np.stack(
            np.meshgrid(np.arange(low[0], high[0], 0.5) + 0.25, np.arange(low[1], high[1], 0.5) + 0.25), -1
        ).reshape(-1, 2)
        import shapely

        rings = [shapely.Polygon(r) for r in part.slice(height - 1e-4).to_polygons()]
        area = rings[0] if len(rings) == 1 else rings[0].symmetric_difference(shapely.union_all(rings[1:]))
        parts.append(grid[shapely.contains_xy(area, *grid.T)])
    spots = np.concatenate(parts)
    middle = spots.mean(axis=0)
    r = spots - middle
    weight = load * DENSITY * 1e-9 * GRAVITY
    inertia = r.T @ r * 0.25
    slope = np.linalg.solve(inertia, weight * (centre[:2] - middle))
    stress = -(weight / (len(spots) * 0.25) + r @ slope)
    return max(0.0, stress.max()), max(0.0, -stress.min())


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


@pytest.mark.parametrize("seed", slow_after(3, range(10)))
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


def test_a_figure_on_a_low_point_and_a_closed_hollow():
    point = union(rod(10, 0, 6), box((-100, -150, 5), (100, 150, 2000)))
    pressed = max(bf.thin_stone(fit_in_marble(point)).bearings, key=lambda b: b.compression_mpa)
    assert pressed.compression_mpa == pytest.approx(0.2 * 0.3 * 1.995 * 2860 * GRAVITY / (math.pi * 100), rel=0.01)
    hollow = union(rod(100, 0, 1000) - rod(95, 200, 800), box((0, -100, 950), (400, 100, 1200)))
    for bearing in bearings(hollow, DENSITY):
        above = middle_of(hollow.trim_by_plane([0, 0, 1], bearing.height_mm))
        assert bearing.above_m3 == pytest.approx(above[0] * 1e-9, rel=1e-6)
        assert bearing.lever_mm < 250


def test_lying_pulls_the_side_it_lies_on():
    """A triangular prism, apex behind: on its back the apex is pulled, M c / I with I = b h³/36 (any table)."""
    section = manifold3d.CrossSection([[(-50, 0), (50, 0), (0, 120)]])
    told = bf.thin_stone(fit_in_marble(section.extrude(2000)), battens=(50, 1950)).lying
    load = 100 * 120 / 2 * 2860e-9 * GRAVITY
    moment = load * (1900**2 / 8 - 50**2 / 2)
    inertia = 100 * 120**3 / 36
    stress = {side: tension for side, _, tension, _ in told}
    assert stress["its back"] == pytest.approx(moment * 80 / inertia, rel=0.01)
    assert stress["its front"] == pytest.approx(moment * 40 / inertia, rel=0.01)


def test_what_tips_off_its_battens_is_refused():
    body = box((0, 0, 0), (80, 60, 1000))
    for battens in ((600, 900), (0, 400)):
        with pytest.raises(bf.BadValueError, match="tip off these battens"):
            lying(body, DENSITY, battens)
    assert lying(body, DENSITY, (400, 900))

"""Limits that are given and supports: each is checked, and the answer says by how much."""

import math

import pytest
from conftest import FIXED, around, box, cuboid, figure_of, fit_in_marble, union

import blockfit as bf


@pytest.mark.thorough
def test_supports_instead_of_the_base():
    fit = around(cuboid(400, 400, 600))
    narrow = bf.handling(fit, supports=[(200, 0), (200, 500), (300, 0), (300, 500)]).loads[0]
    assert narrow.on_supports.margin_mm == pytest.approx(50)
    assert narrow.on_supports.weakest_deg == pytest.approx(math.degrees(math.atan2(50, 350)))
    aside = bf.handling(fit, supports=[(0, 0), (0, 500), (100, 0)]).loads[0]
    assert not aside.on_supports.stands
    with pytest.raises(bf.BadValueError):
        bf.handling(fit, supports=[(0, 0, 0)])


def test_a_tall_block_tips_before_it_slides():
    """Wolfson, ch. 12 no. 48: half as wide as high it tips at 26.56°; at a friction of 0.63 it would slide at 32.2°."""
    fit = bf.safest(cuboid(100, 100, 200), bf.Block.box(500, 500, 1000), stance=FIXED)
    (tall,) = bf.handling(fit, friction=0.63).checks
    assert not tall.kept
    assert "tips over the" in tall.text
    assert "27°" in tall.text
    assert "32°" in tall.text
    (low,) = bf.handling(fit, friction=0.3).checks
    assert low.kept
    with pytest.raises(bf.BadValueError):
        bf.handling(fit, friction=0)


@pytest.mark.thorough
def test_limits_are_checked_and_said():
    # A block of 500 x 500 x 700, up to 0.175 m3 x 2860 kg/m3 = 500.5 kg.
    fit = around(cuboid(400, 400, 600))
    told = bf.handling(
        fit,
        openings=[(600, 800), (550, 600), (400, 2000)],
        hook_height=900,
        floor_kg_m2=2100,
        table_kg=500,
        hoist_kg=520,
        rigging_kg=30,
    )
    by_about: dict[str, list] = {}
    for check in told.checks:
        by_about.setdefault(check.about.split()[0], []).append(check)
    assert [check.kept for check in by_about["opening"]] == [True, True, False]
    # Block of 700 under legs at 60° over 500: 700 + 433 > 900; the figure of 600 over 400: 600 + 346 > 900.
    assert [round(check.over) for check in by_about["hook"]] == [233, 46]
    # The figure, 0.096 m3 x 2860 = 275 kg; the hoist carries 490 besides the rigging, the block is 10.5 kg too much.
    assert [(check.kept, round(check.over, 1)) for check in by_about["lifting"]] == [(False, 10.5), (True, 0)]
    assert "TOO MUCH by 11 kg" in by_about["lifting"][0].text
    # On 0.25 m2 the block presses 2,002.0 kg/m2, rounded up,; on its own 0.16 m2 the figure presses 1,716.
    assert all(check.kept for check in by_about["floor"])
    assert "2,002" in by_about["floor"][0].text
    assert "1,716" in by_about["floor"][-1].text
    assert [check.kept for check in by_about["table"]] == [False, *[True] * (len(by_about["table"]) - 1)]
    assert len(by_about["table"]) == len(told.loads)
    assert "laid on another side" in told.checks[1].text
    assert told.lifts[0][1].tension_kg is None  # 520 less the rigging's 30 is under 500.5
    assert told.lifts[1][1].tension_kg is not None
    for wrong in ({"hoist_kg": -1}, {"floor_kg_m2": float("inf")}, {"table_kg": "much"}):
        with pytest.raises(bf.BadValueError):
            bf.handling(fit, **wrong)


@pytest.mark.thorough
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


@pytest.mark.thorough
def test_legs_to_the_corners_and_what_the_feet_press():
    """Four legs at 60° rise by half the diagonal's tangent; three feet of 20 x 20 press on 0.0012 m², by hand."""
    fit = bf.safest(cuboid(300, 300, 290), bf.Block.box(1000, 1000, 300, stone="marble"), stance=FIXED)
    check = bf.handling(fit, legs=4, sling_angle=60, hook_height=1300).checks[0]
    assert check.over == pytest.approx(300 + math.hypot(1000, 1000) / 2 * math.tan(math.radians(60)) - 1300)
    feet = [box((x, y, 0), (x + 20, y + 20, 30)) for x, y in ((0, 0), (380, 0), (190, 380))]
    body = union(*feet, box((0, 0, 29), (400, 400, 200)))
    told = bf.handling(fit_in_marble(body), floor_kg_m2=600)
    last = told.checks[-1]
    kilograms = told.loads[-1].weight_range_kg[1]
    assert last.over == pytest.approx(kilograms / 1.2e-3 - 600, rel=1e-3)


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


@pytest.mark.thorough
def test_supports_under_an_arch_bear_nothing():
    """Two feet with a gap between them: what lies under the gap is under the hull of the feet, and under no stone."""
    arch = union(box((0, 0, 0), (100, 200, 400)), box((500, 0, 0), (600, 200, 400)), box((0, 0, 390), (600, 200, 500)))
    fit = bf.safest(figure_of(arch), bf.Block.box(600, 200, 500, stone="marble"), stance=FIXED)
    under_the_gap = bf.handling(fit, supports=[(250, 20), (350, 20), (300, 180)]).loads
    assert under_the_gap[0].on_supports.stands
    assert not under_the_gap[-1].on_supports.stands
    under_the_feet = bf.handling(fit, supports=[(50, 20), (550, 20), (50, 180), (550, 180)]).loads[-1]
    assert under_the_feet.on_supports.margin_mm == pytest.approx(80)

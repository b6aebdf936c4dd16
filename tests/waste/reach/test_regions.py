"""Undercut regions: where they lie, what reaches them, and which front leaves the fewest."""

import numpy as np
import pytest
from conftest import SLOPING, around, ball, cuboid, joined, mushroom, torus, united

import blockfit as bf
from blockfit.measure.booleans import arrays_of, solid_from


def drilled(body, *holes):
    """A body with holes cut out, exactly."""
    solid = solid_from(body.vertices, body.faces)
    for hole in holes:
        solid = solid - solid_from(hole.vertices, hole.faces)
    return bf.Figure(*arrays_of(solid))


def tube(length=400.0, outer=200.0, inner=100.0):
    """A square tube open at both ends, along y."""
    return drilled(
        cuboid(outer, length, outer),
        cuboid(inner, length + 20, inner, at=((outer - inner) / 2, -10, (outer - inner) / 2)),
    )


def bracket():
    """A post and a foot joined by a top: a slot open to the left, and behind the front post."""
    return united(cuboid(100, 100, 500), cuboid(100, 100, 500, at=(300, 0, 0)), cuboid(400, 100, 100, at=(0, 0, 400)))


@pytest.mark.thorough
def test_a_tube_along_and_across_the_view():
    along = bf.undercuts(around(tube()), pitch=3)
    assert along.trapped_m3 == pytest.approx(0, abs=1e-9)  # the bore is open to the front
    across = bf.undercuts(around(tube()), pitch=3, front="left")
    bore = 0.100 * 0.100 * 0.400
    assert across.trapped_m3 == pytest.approx(bore, rel=0.02)
    # The bore's far wall is not seen from the left; it is open to the front and the back.
    inside = [r for r in across.regions if np.abs(r.centre_mm - np.array([150, 250, 150])).max() < 60]
    assert inside
    assert all(region.reach != "closed" for region in inside)


def test_a_closed_hollow_is_closed():
    inner = ball(80)
    hollow = joined(ball(200), bf.Figure(inner.vertices, inner.faces[:, ::-1]))
    cut = bf.undercuts(around(hollow), pitch=4)
    closed = [region for region in cut.regions if region.reach == "closed"]
    assert sum(region.area_mm2 for region in closed) == pytest.approx(4 * np.pi * 80**2, rel=0.05)
    assert closed[0].into is None
    assert "closed to straight tools" in closed[0].approach
    assert cut.trapped_m3 == pytest.approx(4 / 3 * np.pi * 80**3 * 1e-9, rel=0.02)


def test_a_mushroom_from_above_is_opened_from_the_sides():
    fit = around(mushroom())
    cut = bf.undercuts(fit, pitch=4, front="top", tool=bf.Tool(10, 400, hand=60))
    assert {region.reach for region in cut.regions} <= {"side", "oblique", "closed"}
    under = 300 * 300 - 100 * 100
    low = [r for r in cut.regions if abs(r.centre_mm[2] - 350) < 20]
    assert sum(r.area_mm2 for r in low) == pytest.approx(under, rel=0.1)


def test_what_must_be_opened_before_what():
    """A pit in the back of a block, whose side has a recess: the recess is reached only once the pit is open."""
    body = cuboid(400, 300, 400)
    figure = drilled(body, cuboid(150, 160, 150, at=(125, 150, 125)), cuboid(60, 40, 60, at=(80, 240, 170)))
    cut = bf.undercuts(around(figure), pitch=3, least_region=2e-4)
    back = next(r for r in cut.regions if r.number == 1)
    assert back.reach == "back"
    later = [r for r in cut.regions if 1 in r.after]
    assert later
    assert all(r.reach in ("oblique", "side", "back") for r in later)


@pytest.mark.thorough
def test_two_linked_rings():
    one = torus(200, 50)
    other = torus(200, 50)
    linked = united(
        bf.Figure(one.vertices, one.faces),
        bf.Figure(other.vertices[:, [0, 2, 1]] * [1, -1, 1] + [200, 0, 0], other.faces),
    )
    cut = bf.undercuts(around(linked), pitch=4)
    numbers = {region.number for region in cut.regions}
    assert all(set(region.after) <= numbers for region in cut.regions)
    # Nothing waits for itself, and no two wait for each other.
    before = {region.number: set(region.after) for region in cut.regions}
    assert all(k not in after for k, after in before.items())
    assert all(not (a in before[b] and b in before[a]) for a in before for b in before)
    parts = cut.front_m3 + cut.beside_m3 + cut.trapped_m3 + cut.rear_m3 + cut.residual_m3
    assert parts == pytest.approx(around(linked).block.volume_m3 - linked.volume_m3, rel=1e-9)


def test_the_best_front_of_a_bracket():
    fit = around(bracket())
    ranked = bf.best_front(fit, pitch=4)
    # Seen from front or back the slot is open; from left or right it lies between the posts.
    assert {ranked[0].name, ranked[1].name} == {"front", "back"}
    assert ranked[0].trapped_m3 == pytest.approx(0, abs=1e-9)
    sides = [front for front in ranked if front.name in ("left", "right")]
    assert sides[0].trapped_m3 == pytest.approx(0.2 * 0.1 * 0.4, rel=0.02)
    around_it = bf.best_front(fit, fronts=(), turns=8, pitch=6)
    assert len(around_it) == 8
    with pytest.raises(bf.BadValueError):
        bf.best_front(fit, fronts=(), turns=0)


def test_regions_tell_all_that_a_carver_asks():
    fit = around(bracket())
    cut = bf.undercuts(fit, pitch=3, front="left")
    slot = max((r for r in cut.regions if r.reach != "back"), key=lambda r: r.stone_m3)
    assert slot.stone_kg == pytest.approx(slot.stone_m3 * 2700)
    assert 0 < slot.opening_mm <= 200  # the slot is 200 wide
    assert slot.depth_mm > 0
    assert all(ring.shape[1] == 2 for part in slot.outline for ring in part)
    wide = cut.view.seen(fit.solid().vertices)[0]
    low, high = wide.min(axis=0) - 20, wide.max(axis=0) + 20
    assert all((ring >= low).all() and (ring <= high).all() for part in slot.outline for ring in part)


def test_landmarks_name_regions():
    figure = bf.Figure(
        *arrays_of(solid_from(mushroom().vertices, mushroom().faces)), landmarks={"cap": (150, 300, 350)}
    )
    cut = bf.undercuts(around(figure), pitch=4)
    assert any(str(region.place).startswith("near cap, ") for region in cut.regions)


@pytest.mark.parametrize(
    "wrong",
    [{"front": "lid"}, {"front": (0, 0, 0)}, {"pitch": 0}, {"pitch": "9 m"}, {"least_angle": 90}, {"least_region": 2}],
)
def test_bad_questions_raise(wrong):
    with pytest.raises(bf.BadValueError):
        bf.undercuts(around(cuboid(100, 100, 100)), **wrong)
    with pytest.raises(bf.BadValueError):
        bf.Tool(10, 20, tip=30)
    with pytest.raises(bf.BadValueError):
        bf.directions(around(cuboid(100, 100, 100)), count=3)


def test_a_face_of_a_wedge_as_the_front():
    fit = bf.largest(ball(50, 2), SLOPING, stance=bf.Stance.fixed())
    assert bf.undercuts(fit, front="face 1").front == "face 1"
    with pytest.raises(bf.BlockfitError, match="front='under'"):
        bf.undercuts(fit, front="under")

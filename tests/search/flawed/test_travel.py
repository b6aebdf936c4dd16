"""How far a figure must or can move: closed forms, and manifold3d's booleans at both sides of every answer."""

import manifold3d
import numpy as np
import pytest
from conftest import cuboid, figure_of, slow_after, united

import blockfit as bf
from blockfit.search.flawed.obstacles import obstacles_of, stone_obstacle
from blockfit.search.flawed.travel import first_blocked, first_free

BACK = (0.0, 1.0, 0.0)


def random_figure(seed):
    """Boxes, balls, needles and cones overlapping, with a flat cut at the back now and then."""
    random = np.random.default_rng(seed)
    parts = [manifold3d.Manifold.cube([200, 120, 60]).translate([0, 0, 0])]
    for _ in range(int(random.integers(2, 6))):
        kind, at = random.integers(4), random.uniform([20, 10, 20], [180, 110, 240])
        if kind == 0:
            part = manifold3d.Manifold.cube(random.uniform(15, 90, 3).tolist(), True).rotate(
                random.uniform(0, 90, 3).tolist()
            )
        elif kind == 1:
            part = manifold3d.Manifold.sphere(float(random.uniform(10, 60)), 32)
        elif kind == 2:
            part = manifold3d.Manifold.cylinder(float(random.uniform(60, 200)), 1.2, 1.2, 8).rotate(
                random.uniform(0, 180, 3).tolist()
            )
        else:
            part = manifold3d.Manifold.cylinder(float(random.uniform(60, 160)), 30, 0.0, 24).rotate(
                random.uniform(0, 180, 3).tolist()
            )
        parts.append(part.translate(at.tolist()))
    whole = manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add)
    return whole.trim_by_plane([0, -1, 0], -float(random.uniform(90, 150))) if seed % 3 == 0 else whole


def test_a_stepped_figure_before_a_stepped_back():
    """By hand: the upper step is blocked where the stone behind it ends, 160 - 90 further back."""
    figure = united(cuboid(100, 60, 100), cuboid(40, 60, 180, at=(30, 30, 0)))
    stone = united(cuboid(200, 300, 120, at=(-50, -20, -1)), cuboid(200, 180, 300, at=(-50, -20, -1)))
    found = first_blocked(figure, [stone_obstacle("stone", stone, 0)], BACK, 400)
    assert found.by_mm == pytest.approx(70, abs=1e-3)


@pytest.mark.parametrize("seed", slow_after(8, range(30)))
def test_setback_in_stone_stops_at_the_first_contact_and_never_beyond(seed):
    """The stone is the figure's own cavity drawn out behind it, roughened by cuts: what ends the way is anything."""
    random = np.random.default_rng(seed)
    figure = random_figure(seed)
    stone = manifold3d.Manifold.cube([400, 700, 400]).translate([-100, -40, -50])
    for _ in range(3):
        at = random.uniform([-50, 250, 0], [250, 600, 300])
        stone = stone - manifold3d.Manifold.cube(random.uniform(20, 120, 3).tolist(), True).rotate(
            random.uniform(0, 90, 3).tolist()
        ).translate(at.tolist())
    stone = stone - (manifold3d.Manifold.sphere(40, 48).translate([100, 480, 120]) - figure)
    figure = figure ^ manifold3d.Manifold.cube([390, 240, 390]).translate([-95, -35, -45])  # it lies in the stone
    figure = max((part for part in (figure ^ stone).decompose()), key=lambda part: part.volume())
    by = first_blocked(figure_of(figure), [stone_obstacle("stone", figure_of(stone), 0)], BACK, 500).by_mm
    assert by is not None
    assert (figure.translate([0, by, 0]) - stone).volume() < 0.02  # a thousandth of a mm aside is a touch
    for share in (0.1, 0.3, 0.6, 0.9):
        assert (figure.translate([0, share * by, 0]) - stone).volume() < 0.02
    if by < 500 - 1e-6:
        assert not (figure.translate([0, by + 0.05, 0]) - stone).is_empty()


@pytest.mark.parametrize("seed", slow_after(8, range(30)))
def test_straight_back_is_the_least_that_does(seed):
    """Clear of what was lost at the answer; a twentieth of a mm before it something meets, by manifold3d."""
    random = np.random.default_rng(100 + seed)
    figure = random_figure(seed)
    lost = manifold3d.Manifold.batch_boolean(
        [
            manifold3d.Manifold.cube(random.uniform(5, 90, 3).tolist(), True)
            .rotate(random.uniform(0, 90, 3).tolist())
            .translate(random.uniform([0, -40, 0], [200, 160, 240]).tolist())
            for _ in range(int(random.integers(1, 4)))
        ],
        manifold3d.OpType.Add,
    )
    block = bf.Block.box(900, 900, 900).with_flaws(bf.Flaw.solid(figure_of(lost)))
    by = first_free(figure_of(figure), obstacles_of(block, 0.0), BACK, 0.0, 600.0).by_mm
    assert by is not None  # far enough back it is always clear
    assert (figure.translate([0, by + 1e-4, 0]) ^ lost).volume() < 0.02
    if by > 0.06:
        assert not (figure.translate([0, by - 0.05, 0]) ^ lost).is_empty()
    for earlier in np.arange(0, by - 0.05, max(1.0, by / 60)):
        assert not (figure.translate([0, float(earlier), 0]) ^ lost).is_empty()


def test_a_sliver_at_the_side_is_not_stepped_over():
    """A loss that overlaps the side by 0.3 mm over 150 mm of depth, by hand: 150 mm back; down to 0.003."""
    for overlap in (0.3, 0.02, 0.003):
        lost = cuboid(50, 170, 400, at=(200 - overlap, -20, 100))
        block = bf.Block.box(900, 900, 900).with_flaws(bf.Flaw.solid(lost))
        found = first_free(cuboid(200, 200, 600), obstacles_of(block, 0.0), BACK, 0.0, 600.0)
        assert found.by_mm == pytest.approx(150, abs=1e-3)
    touching = bf.Block.box(900, 900, 900).with_flaws(bf.Flaw.solid(cuboid(50, 170, 400, at=(200, -20, 100))))
    assert first_free(cuboid(200, 200, 600), obstacles_of(touching, 0.0), BACK, 0.0, 600.0).by_mm == 0


def test_a_ball_by_formula_and_past_a_window():
    """A box of depth 200 past a ball of 40 at its middle height: 40 + 170 back; a window between two counts."""
    first = bf.Flaw.ball((100, 170, 300), 40)
    second = bf.Flaw.ball((100, 460, 300), 40)
    one = obstacles_of(bf.Block.box(900, 2000, 900).with_flaws(first), 0.0)
    two = obstacles_of(bf.Block.box(900, 2000, 900).with_flaws(first, second), 0.0)
    box = cuboid(200, 200, 600)
    assert first_free(box, one, BACK, 0.0, 900.0).by_mm == pytest.approx(210, abs=1e-3)
    # Between them 210 + 200 = 410 < 420: there it fits, without touching the second.
    assert first_free(box, two, BACK, 0.0, 900.0).by_mm == pytest.approx(210, abs=1e-3)
    near = obstacles_of(bf.Block.box(900, 2000, 900).with_flaws(first, bf.Flaw.ball((100, 440, 300), 40)), 0.0)
    assert first_free(box, near, BACK, 0.0, 900.0).by_mm == pytest.approx(480, abs=1e-3)
    assert first_free(box, near, BACK, 0.0, 300.0).by_mm is None


def test_a_thin_tip_counts_like_the_rest():
    """A cone whose tip is thinner than any share of the volume shows: it stops where the tip does, by hand."""
    tip = manifold3d.Manifold.cylinder(300, 6, 0.0, 32).rotate([-90, 0, 0]).translate([100, 100, 100])
    figure = manifold3d.Manifold.cube([200, 120, 200]) + tip
    reach = float(np.array(figure.to_mesh64().vert_properties)[:, 1].max())
    stone = manifold3d.Manifold.cube([400, 600, 400]).translate([-100, -10, -100])
    found = first_blocked(figure_of(figure), [stone_obstacle("stone", figure_of(stone), 0)], BACK, 500)
    assert found.by_mm == pytest.approx(590 - reach, abs=1e-3)

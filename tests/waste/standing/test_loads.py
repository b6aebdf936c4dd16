"""What stands at every stage: centres, bases and margins, against trimesh and solids cut by manifold3d."""

import math
from itertools import pairwise

import manifold3d
import numpy as np
import pytest
import trimesh
from conftest import (
    BARE,
    FIXED,
    around,
    arrays,
    ball,
    box,
    cuboid,
    figure_of,
    fit_in_marble,
    margin_of,
    middle_of,
    slow_after,
    union,
    united,
)

import blockfit as bf


@pytest.fixture(scope="module")
def told(usual_fit, usual_plan):
    return bf.handling(usual_fit, usual_plan)


def test_centres_of_gravity_against_trimesh(usual_fit, usual_plan, told):
    fit, plan = usual_fit, usual_plan
    figure = fit.solid()
    mesh = trimesh.Trimesh(figure.vertices, figure.faces, process=False)
    assert told.loads[-1].centre_mm == pytest.approx(mesh.center_mass, abs=1e-6)
    left = trimesh.Trimesh(plan.left.vertices, plan.left.faces, process=False)
    after = next(load for load in told.loads if load.name == f"after offcut {len(plan.pieces)}")
    assert after.centre_mm == pytest.approx(left.center_mass, abs=0.01)
    assert after.volume_m3 == pytest.approx(left.volume * 1e-9, rel=1e-9)


def test_loads_only_grow_lighter(told):
    weights = [load.weight_kg for load in told.loads]
    assert weights == sorted(weights, reverse=True)
    assert told.loads[0].name == "as delivered"
    assert told.loads[-1].name == "the finished figure"
    assert told.loads[0].weight_range_kg == pytest.approx((1.008 * 2600, 1.008 * 2860))


@pytest.mark.thorough
def test_stages_by_columns_against_a_ball():
    """A ball in a cube: half the cylinder of its shadow, less half the ball, lies behind it."""
    fit = around(ball(200, 4))
    told = {load.name: load for load in bf.handling(fit).loads}
    radius, half = 200.0, 250.0
    behind = math.pi * radius**2 * half - 2 / 3 * math.pi * radius**3
    figure = fit.solid().volume_m3
    beside_gone = told["once the stone beside it is gone"]
    assert beside_gone.volume_m3 - figure == pytest.approx(behind * 1e-9, rel=0.01)
    # Its centre from the middle plane: first moments of cylinder and half ball.
    moment = math.pi * radius**2 * half**2 / 2 - math.pi * radius**4 / 4
    assert beside_gone.centre_mm[1] - 250 == pytest.approx(moment * 1e-9 / beside_gone.volume_m3, rel=0.02)


@pytest.mark.thorough
def test_an_l_that_tips_and_one_that_just_stands():
    """A foot of 100 x 100 under an arm: by hand, the plumb line passes the foot's edge at an arm of 300."""

    def standing(arm):
        figure = united(cuboid(100, 100, 300), cuboid(arm, 100, 100, at=(0, 0, 300)))
        return bf.handling(around(figure)).loads[-1].stands

    # (100·300·50 + 100·arm·arm/2) / (100·300 + 100·arm) = 100 where arm² - 200 arm - 30 000 = 0: arm = 300.
    short = standing(295)
    assert short.stands
    assert short.weakest == "right"
    assert not standing(305).stands
    assert standing(300).margin_mm == pytest.approx(0, abs=1e-6)


@pytest.mark.thorough
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
    told = str(bf.survey(fit, alternatives=False))
    assert any("DOES NOT STAND BY ITSELF" in line for line in told.splitlines()[:10])
    assert "DOES NOT STAND BY ITSELF" in told.split("CAUTIONS")[1]


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


@pytest.mark.parametrize("seed", slow_after(4, range(12)))
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


def test_a_line_of_contact_is_measured_to_the_line():
    """A block whose bottom rises by a fifth rests on one edge: the plumb line falls 200 mm beside it."""
    ends = [[x, y, z + x * 0.2] for x in (0, 400) for y in (0, 300) for z in (0, 500)]
    fit = bf.safest(cuboid(50, 50, 50), bf.Block.convex(ends, stone="marble"), stance=FIXED)
    stands = bf.handling(fit).loads[0].stands
    assert not stands.stands
    assert stands.margin_mm == pytest.approx(-200, abs=1e-6)


@pytest.mark.thorough
def test_a_tiny_figure_is_answered():
    body = union(box((0, 0, 0), (0.3, 0.3, 1.0)), box((0, 0, 0.9), (1.0, 0.3, 1.2)))
    fit = fit_in_marble(body, 0.1)
    assert not bf.handling(fit).loads[-1].stands.stands


@pytest.mark.slow
def test_slings_too_flat_are_answered_first():
    body = union(box((0, 0, 0), (0.3, 0.3, 1.0)), box((0, 0, 0.9), (1.0, 0.3, 1.2)))
    told = str(bf.survey(fit_in_marble(body.scale([300] * 3)), alternatives=False, limits={"sling_angle": 20}))
    assert "DO NOT LIFT at 20°" in "\n".join(told.splitlines()[:12])


def test_no_stage_weighs_more_than_the_stone_it_is_of():
    """A needle that all but fills its stone, seen in columns from above: they sum up to more than there is."""
    fit = bf.safest(cuboid(8.3, 8.3, 2000), bf.Block.box(8.6, 40, 2001, stone="marble"), stance=FIXED)
    loads = bf.handling(fit, undercut=bf.undercuts(fit, pitch=0.7, front="top")).loads
    assert len(loads) > 2, "nothing to see here"
    assert max(load.volume_m3 for load in loads) <= loads[0].volume_m3 * (1 + 1e-12)

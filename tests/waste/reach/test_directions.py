"""From where a surface is reached, against rays cast by a general library."""

import numpy as np
import pytest
import trimesh
from conftest import around, assert_refused, ball, brick_fit, cuboid

import blockfit as bf
from blockfit.geometry.turns import spread_directions
from blockfit.measure.views import view_along
from blockfit.waste.reach.sight import elements_of, reached


def test_reach_agrees_with_rays(kneeling):
    """20,000 surface points, seen or not along random directions, against embree's rays (trimesh's interface)."""
    figure = bf.Figure(kneeling.vertices, kneeling.faces)
    elements = elements_of(figure.vertices, figure.faces, 2.5)
    mesh = trimesh.Trimesh(elements.vertices, elements.faces, process=False)
    random = np.random.default_rng(0)
    wrong = asked = 0
    for into in spread_directions(60)[random.choice(60, 8, replace=False)]:
        hit = reached(elements, view_along(into), 2.5)
        some = random.choice(len(elements.faces), 2500, replace=False)
        facing = -(elements.normals[some] @ into) > 1e-3
        start = elements.points[some] + 1e-3 * elements.normals[some]
        free = ~mesh.ray.intersects_any(start, np.repeat(-into[None], len(some), axis=0))
        wrong += int((hit[some] != (free & facing)).sum())
        asked += len(some)
    assert asked == 20_000
    assert wrong / asked <= 0.005


@pytest.mark.thorough
def test_a_convex_body_is_reached_wherever_it_faces():
    fit = around(ball(200))
    found = bf.directions(fit, count=100, pitch=4)
    assert len(found.into) == len(found.shares) > 100
    facing = -(found.elements.normals @ found.into.T) > 1e-3
    by_normals = (facing * found.elements.areas[:, None]).sum(axis=0) / found.elements.areas.sum()
    level_or_down = found.into[:, 2] < 0
    assert found.shares[level_or_down] == pytest.approx(by_normals[level_or_down], abs=0.01)
    # Tools meet it squarely almost everywhere, and a quarter turn about the normal less 15° is open to them: half a
    # cone of 75° would be 75; what comes up through the floor is not.
    above = found.elements.normals[:, 2] > 0.5
    assert np.median(found.cone_deg[above]) == pytest.approx(75, abs=12)
    assert np.median(found.meets_deg[above]) > 70


def test_nothing_comes_up_through_the_floor():
    fit = bf.safest(
        cuboid(100, 100, 100), bf.Block.box(400, 400, 300), cover={"bottom": 0, "other": 10}, stance=bf.Stance.fixed()
    )
    found = bf.directions(fit, count=60, pitch=4)
    straight_up = found.into[:, 2] > 0.95
    assert found.shares[straight_up].max() == 0
    assert (found.best[found.elements.normals[:, 2] < -0.9] == -1).all()


REFUSED = {
    "an angle past the level": (lambda: bf.directions(brick_fit(), least_angle=95), "least_angle=95"),
    "a pitch too fine to count": (lambda: bf.undercuts(brick_fit(), pitch=1e-3), "take a coarser one"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])

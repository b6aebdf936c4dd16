"""The least block: never above general libraries, in steps, within limits, by cost and by weight."""

import numpy as np
import pytest
import trimesh
from conftest import BRICK, cuboid
from scipy.optimize import minimize

import blockfit as bf
from blockfit.geometry.turns import from_quaternions
from blockfit.search.proof.support import hull_of


def test_a_least_box_is_never_above_trimeshs_nor_random_starts(kneeling):
    points = hull_of(kneeling).points
    size = bf.smallest_block(bf.Figure.from_points(points), cover=0)
    _, sides = trimesh.bounds.oriented_bounds(points)
    assert size.volume_m3 <= np.prod(sides) * 1e-9 * (1 + 1e-9)
    random = np.random.default_rng(8)
    starts = from_quaternions(random.normal(size=(1000, 4)))
    volumes = np.ptp(starts @ points.T, axis=2).prod(axis=1)
    for start in starts[np.argsort(volumes)[:5]]:  # the most promising, polished by scipy
        found = minimize(
            lambda v, start=start: np.ptp(from_quaternions(np.array([1, *v])) @ start @ points.T, axis=1).prod() * 1e-9,
            np.zeros(3),
            method="Nelder-Mead",
        )
        assert size.volume_m3 <= found.fun * (1 + 1e-9)
    # O'Rourke 1985: a least box has two adjacent faces that each hold an edge of the hull: two points or more.
    touching = [
        (np.abs(size.fit.placement.apply(points) @ n - b) < 1e-3).sum() for n, b in zip(*_faces(size), strict=True)
    ]
    assert sum(count >= 2 for count in touching) >= 2


def _faces(size):
    return size.fit.block.normals, size.fit.block.offsets_mm


def test_smallest_block_in_steps_within_limits_and_by_cost():
    figure = cuboid(310, 205, 700)
    size = bf.smallest_block(figure, cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(), step="2 in")
    assert (size.width_mm, size.depth_mm, size.height_mm) == pytest.approx((355.6, 254, 762))
    turned = bf.smallest_block(figure, cover=20, stance=bf.Stance.upright(), most=(260, 400, 800), stone="granite")
    assert abs(turned.fit.placement.turn_deg) == pytest.approx(90)
    assert turned.mass_kg == pytest.approx(turned.volume_m3 * 2700)
    none = bf.smallest_block(figure, cover=20, stance=bf.Stance.upright(), most=(200, 400, 800))
    assert none.verdict is bf.Verdict.CANNOT_FIT
    assert none.fit is None
    # Width is dear: the figure turns its narrow side to it, though any turn costs the same volume.
    dear = bf.smallest_block(figure, cover=0, stance=bf.Stance.upright(), by=lambda w, d, h: 10 * w + d + h)
    assert dear.width_mm == pytest.approx(205)
    priced = bf.smallest_block(figure, cover=0, by="price", price_per_m3=2000)
    assert priced.cost == pytest.approx(priced.volume_m3 * 2000)
    for wrong in ({"by": "colour"}, {"by": "weight"}, {"by": "price"}, {"scale": 0}, {"gap": -1}, {"step": -1}):
        with pytest.raises(bf.BadValueError):
            bf.smallest_block(figure, **wrong)


def test_a_users_cost_is_never_asked_of_nothing():
    cloud = np.random.default_rng(0).normal(size=(40, 3)) * [100, 150, 400]
    cost = np.vectorize(lambda width, depth, height: width * depth * height * (1 if height < 2000 else 2))
    size = bf.smallest_block(bf.Figure.from_points(cloud), by=cost, stance=bf.Stance.upright(30))
    assert size.cost == pytest.approx(
        size.width_mm * size.depth_mm * size.height_mm * (1 if size.height_mm < 2000 else 2)
    )


def test_a_leaning_least_block_is_climbed_along_its_limits():
    random = np.random.default_rng(4)
    cloud = random.normal(size=(30, 3)) * random.uniform(50, 400, 3)
    close, far = (
        bf.smallest_block(bf.Figure.from_points(cloud), stance=bf.Stance.leaning(20, 40), gap=gap)
        for gap in (1e-5, 1e-3)
    )
    assert far.volume_m3 == pytest.approx(close.volume_m3, rel=1e-9)


def test_the_least_block_by_weight_is_the_least_by_volume():
    light = bf.smallest_block(BRICK, by="weight", stone="marble", cover=10, stance=bf.Stance.fixed())
    assert (light.width_mm, light.depth_mm, light.height_mm) == pytest.approx((220, 120, 70))
    assert light.mass_kg == pytest.approx(0.22 * 0.12 * 0.07 * bf.STONES["marble"].density_kg_m3)

"""No general optimiser finds more than the answer."""

import numpy as np
import pytest
from conftest import BOX, SHARED, needs_meshes
from scipy.optimize import differential_evolution

import blockfit as bf
from blockfit.geometry.turns import from_quaternions
from blockfit.search.proof.support import hull_of


def test_never_below_a_general_optimiser(kneeling):
    points, dims = hull_of(kneeling).points, np.array(BOX.size_mm)

    def shortfall(v):
        return -(dims / np.ptp(points @ from_quaternions(np.array([1, *v])).T, axis=0)).min()

    rival = differential_evolution(shortfall, [(-1, 1)] * 3, seed=3)
    fit = bf.largest(kneeling, BOX)
    assert fit.scale >= -rival.fun * (1 - 1e-9)
    assert fit.scale_bound >= -rival.fun


@needs_meshes
@pytest.mark.parametrize(
    ("name", "unit", "ratio"),
    [("kneeling_arm_raised.stl", "m", 1), ("striding.stl", "m", 1), ("putto_scan.ply", "mm", 5), ("cat.obj", "m", 0.3)],
)
def test_real_figures_never_fall_below_a_general_optimiser(name, unit, ratio):
    points = hull_of(bf.read_figure(SHARED / name, unit=unit, ratio=ratio)).points
    figure = bf.Figure.from_points(points)
    for dims in ((900, 700, 1600), (600, 600, 1200), (1500, 500, 900), (1000, 1000, 1000), (700, 1400, 800)):
        fit = bf.largest(figure, bf.Block.box(*dims))
        rival = differential_evolution(
            lambda v, dims=dims: (
                -(np.array(dims) / np.ptp(points @ from_quaternions(np.array([1, *v])).T, axis=0)).min()
            ),
            [(-1, 1)] * 3,
            seed=2,
        )
        assert fit.scale >= -rival.fun * (1 - 1e-9)

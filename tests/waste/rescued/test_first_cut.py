"""The single cut that frees most stone: by hand, by 20,000 planes, and by manifold3d's own volumes."""

import numpy as np
import pytest
from conftest import FIXED, cuboid
from scipy.spatial import ConvexHull

import blockfit as bf
from blockfit.measure.booleans import hull_solid, solid_from


def test_beside_a_column_by_hand():
    """A column at one end of a long box: the square cut frees 500 − 100 − 30 of it, and no slanting one more."""
    fit = bf.safest(cuboid(100, 100, 100), bf.Block.box(600, 100, 100), scale=1, stance=FIXED)
    first = bf.best_first_cut(fit, clearance=20, kerf=10)
    assert first.volume_m3 == pytest.approx((250 - 30) * 1e-5, rel=1e-4)
    assert first.volume_m3 <= first.volume_bound_m3 <= first.volume_m3 * 1.01
    assert np.abs(first.cut.normal).max() == pytest.approx(1)


@pytest.mark.thorough
def test_no_plane_of_twenty_thousand_frees_more(kneeling):
    block = bf.Block.box(*[side + 200 for side in kneeling.size_mm], stone="marble")
    fit = bf.safest(kneeling, block, stance=FIXED)
    first = bf.best_first_cut(fit, clearance=20, kerf=10)
    assert first.volume_bound_m3 <= first.volume_m3 * 1.01
    planes = np.random.default_rng(0).normal(size=(20_000, 3))
    planes /= np.linalg.norm(planes, axis=1, keepdims=True)
    vertices = fit.solid().vertices
    outermost = vertices[ConvexHull(vertices).vertices]  # no other reaches furthest
    at = np.concatenate([(outermost @ some.T).max(axis=0) for some in np.array_split(planes, 40)]) + 30
    # Volumes of the leading planes by manifold3d; the rest by points of a grid, well below them.
    axes = [np.linspace(0, side, 24)[:-1] + side / 46 for side in block.size_mm]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    share = np.concatenate([(grid @ some.T > off).mean(axis=0) for some, off in
                            zip(np.array_split(planes, 200), np.array_split(at, 200), strict=True)])  # fmt: skip
    whole = hull_solid(block.corners_mm)
    freed = [whole.trim_by_plane(planes[k].tolist(), float(at[k])).volume() * 1e-9 for k in np.argsort(-share)[:60]]
    assert 0.9 * first.volume_m3 <= max(freed) <= first.volume_bound_m3
    figure = fit.solid()
    solid = solid_from(figure.vertices, figure.faces)
    assert solid.min_gap(solid_from(first.piece.vertices, first.piece.faces), 500) >= 30 - 1e-6
    assert first.piece.volume_m3 == pytest.approx(first.volume_m3, rel=1e-9)


def test_nothing_free_and_bad_values():
    fit = bf.safest(cuboid(298, 298, 298), bf.Block.box(300, 300, 300), scale=1, stance=FIXED)
    none = bf.best_first_cut(fit)
    assert (none.cut, none.volume_m3, none.volume_bound_m3) == (None, 0.0, 0.0)
    with pytest.raises(bf.BadValueError, match="gap"):
        bf.best_first_cut(fit, gap=0)

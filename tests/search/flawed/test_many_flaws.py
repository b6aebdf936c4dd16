"""Fifty flaws of all kinds: a second look by manifold3d alone, at the answer and at everything close around it."""

import functools

import manifold3d
import numpy as np
import pytest
from conftest import box, cuboid, figure_of, solid_of
from scipy.spatial.transform import Rotation

import blockfit as bf

SIZE = np.array([900.0, 700.0, 1600.0])
ROUNDS = 128


def some_flaws(count: int, seed: int) -> tuple[list[bf.Flaw], list[tuple[manifold3d.Manifold, float]]]:
    """Balls, cracks and boxes with three margins, and the same as solids of our own with their margins."""
    random = np.random.default_rng(seed)
    flaws, solids = [], []
    for k in range(count):
        at, size, margin = (
            random.uniform(0, 1, 3) * SIZE,
            float(random.uniform(10, 45)),
            float(random.choice([0, 5, 12])),
        )
        if k % 3 == 0:
            flaws.append(bf.Flaw.ball(at, size, margin=margin, name=f"cavity {k}"))
            solids.append((manifold3d.Manifold.sphere(size, ROUNDS).translate(at.tolist()), margin))
        elif k % 3 == 1:
            flaw = bf.Flaw.disc(at, random.normal(size=3), size, margin=margin, name=f"crack {k}")
            flaws.append(flaw)
            solids.append((manifold3d.Manifold.hull_points(flaw.surface.vertices), margin))
        else:
            flaws.append(bf.Flaw.box(at, at + size, margin=margin, name=f"soft place {k}"))
            solids.append((box(at, at + size), margin))
    return flaws, solids


@functools.cache
def answered() -> tuple[bf.Fit, list[tuple[manifold3d.Manifold, float]]]:
    figure = figure_of(
        solid_of(cuboid(200, 150, 900))
        + solid_of(cuboid(620, 80, 90)).translate([-210, 30, 640])
        + manifold3d.Manifold.sphere(130, 48).translate([100, 70, 980])
    )
    flaws, solids = some_flaws(50, 3)
    block = bf.Block.box(*SIZE).with_flaws(*flaws)
    return bf.largest(figure, block, stance=bf.Stance.upright(30)), solids


@pytest.mark.slow
def test_what_is_kept_from_each_of_fifty_flaws_is_its_exact_distance():
    fit, solids = answered()
    placed = solid_of(fit.solid())
    for (name, kept), (solid, margin) in zip(fit.kept_mm, solids, strict=True):
        # Our ball has flat faces, within a two-thousandth of its radius.
        rough = 0.03 if name.startswith("cavity") else 1e-6
        assert kept == pytest.approx(placed.min_gap(solid, kept + 1), abs=rough)
        assert kept >= margin - 1e-3
    assert fit.solid().vertices.min() >= -1e-6
    assert (fit.solid().vertices.max(axis=0) <= SIZE + 1e-6).all()
    assert fit.scale <= fit.scale_bound


@pytest.mark.slow
def test_no_small_movement_lets_it_be_larger():
    """Grown by 0.3 % and moved or turned a little in any of 150 ways, it meets a flaw's margin or leaves the block."""
    fit, solids = answered()
    vertices = fit.solid().vertices
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    random, looked = np.random.default_rng(0), 0
    for _ in range(150):
        by = random.normal(size=3) * 10 ** random.uniform(-1, 0.7)
        turn = Rotation.from_rotvec([0, 0, random.normal() * 10 ** random.uniform(-4, -2)]).as_matrix()
        moved = 1.003 * (vertices - middle) @ turn.T + middle + by
        if moved.min() < 0 or (moved > SIZE).any():
            continue
        solid = solid_of(bf.Figure(moved, fit.solid().faces))
        missing = max(margin - solid.min_gap(flaw, margin + 1) for flaw, margin in solids)
        met = any(not (solid ^ flaw).is_empty() for flaw, _ in solids)
        assert met or missing > 0, (by, turn)
        looked += 1
    assert looked > 20


@pytest.mark.slow
def test_in_a_crowd_of_flaws_there_is_still_a_place():
    """300 flaws of 60 mm in the block: small as it is there, the figure keeps clear of every one."""
    random = np.random.default_rng(1)
    block = bf.Block.box(*SIZE).with_flaws(
        *[bf.Flaw.ball(random.uniform(0, 1, 3) * SIZE, 60, margin=5) for _ in range(300)]
    )
    fit = bf.largest(cuboid(300, 200, 700), block, stance=bf.Stance.upright(30))
    assert fit.verdict is bf.Verdict.FITS
    centres = np.array([flaw.centre for flaw in block.flaws])
    placed = solid_of(fit.solid())
    for centre in centres:
        ball = manifold3d.Manifold.sphere(60, ROUNDS).translate(centre.tolist())
        assert (placed ^ ball).is_empty()
        assert placed.min_gap(ball, 6) >= 5 - 1e-3

"""A figure's margin is kept everywhere: by planes, among flaws, in rough stone, by saws and by points."""

import manifold3d
import numpy as np
import pytest
import trimesh
from conftest import cuboid

import blockfit as bf

MARGIN = 12.0


def wide():
    plain = cuboid(120, 100, 300)
    return bf.Figure(plain.vertices, plain.faces, margin_mm=MARGIN)


def test_among_flaws_and_when_stone_is_lost():
    flaw = bf.Flaw.ball((200, 150, 300), 40, margin=5)
    block = bf.Block.box(400, 300, 420).with_flaws(flaw)
    fit = bf.safest(wide(), block, scale=1.0, cover={"bottom": 0, "other": 5}, stance=bf.Stance.upright(30))
    assert fit.verdict.name == "FITS"
    placed = trimesh.Trimesh(fit.solid().vertices, fit.solid().faces)
    away = -float(trimesh.proximity.signed_distance(placed, [[200, 150, 300]])[0]) - 40  # by trimesh
    assert away >= MARGIN + 5 - 1e-6
    assert dict(fit.kept_mm)[flaw.name] == pytest.approx(away - MARGIN, abs=1e-6)
    inside = (block.sound_mm - fit.solid().vertices @ block.normals.T).min(axis=0)
    assert inside.min() >= MARGIN - 1e-6
    largest = bf.largest(wide(), block, cover={"bottom": 0, "other": 5}, stance=bf.Stance.upright(0))
    shape = trimesh.Trimesh(largest.solid().vertices, largest.solid().faces)
    gap = -float(trimesh.proximity.signed_distance(shape, [[200, 150, 300]])[0]) - 40
    assert gap >= largest.scale * MARGIN + 5 - 1e-6


def test_offcuts_stay_clear_of_the_figure_and_its_margin():
    fit = bf.safest(wide(), bf.Block.box(500, 400, 420, stone="marble"), scale=1.0, stance=bf.Stance.fixed())
    plan = bf.offcuts(fit, clearance=20, reserve=0)
    assert plan.pieces
    for piece in plan.pieces:
        solids = [
            manifold3d.Manifold(manifold3d.Mesh64(np.array(one.vertices), np.array(one.faces, np.uint64)))
            for one in (fit.solid(), piece.solid)
        ]
        assert solids[0].min_gap(solids[1], 1000) >= 20 + MARGIN - 1e-6


@pytest.mark.thorough
def test_points_and_planes_leave_the_margin_too():
    fit = bf.safest(wide(), bf.Block.box(500, 400, 420), scale=1.0, stance=bf.Stance.fixed())
    points = bf.pointing(fit, count=12, allowance=5)
    stops = [p.depth_mm - p.stop_mm for p in points.points if p.stop_mm is not None]
    assert stops
    assert min(stops) >= 5 + MARGIN - 1e-6
    planes = bf.roughing(fit, step=40, allowance=5)
    assert planes.allowance_mm == 5 + MARGIN

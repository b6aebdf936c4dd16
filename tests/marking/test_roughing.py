"""Roughing out in planes: what stays holds the figure, by manifold3d's projections and by formula."""

import math

import numpy as np
import pytest
import shapely
from conftest import ball, cuboid, united
from regular import SOLIDS

import blockfit as bf
from blockfit.marking.roughing import AXES, _room_behind
from blockfit.measure.booleans import solid_from
from blockfit.measure.views import face_view

FACES = ("front", "left", "right", "back", "top")


@pytest.mark.parametrize("face", FACES)
def test_what_stays_holds_the_figure_before_every_plane(leaned_fit, face):
    """The exact shadow of the figure before the plane, from manifold3d's own projection, lies inside what stays."""
    told = bf.roughing(leaned_fit, face=face, step=150, allowance=10)
    into = face_view(face).into
    figure = leaned_fit.solid()
    axes = list(AXES[face])
    start = float((leaned_fit.block.corners_mm @ into).min())
    third = 3 - sum(axes)
    order = [*axes, third]
    turned = figure.faces[:, ::-1] if face in ("front", "back") else figure.faces
    solid = solid_from(figure.vertices[:, order], turned)
    last = None
    for plane in told.planes:
        part = solid.trim_by_plane([0, 0, -float(np.sign(into[third]))], -(start + plane.depth_mm))
        rings = [np.vstack([ring, ring[:1]]) for ring in part.project().to_polygons()]
        if rings:
            assert plane.keep.buffer(1e-6).covers(shapely.build_area(shapely.MultiLineString(rings)))
        assert plane.go.intersection(plane.keep).area < 1e-6
        if last is not None:
            assert last.keep.difference(plane.keep).area < 1e-3
            assert plane.setback_mm <= last.setback_mm + 1e-9
        last = plane


def test_more_allowance_keeps_more(leaned_fit):
    thin, thick = (bf.roughing(leaned_fit, step=200, allowance=by) for by in (5, 40))
    for one, two in zip(thin.planes, thick.planes, strict=True):
        assert one.keep.difference(two.keep).area < 1e-3
        assert two.total_m3 < one.total_m3


@pytest.mark.thorough
def test_volumes_sum_to_the_stone_before_the_end_plane():
    """A ball of radius r behind the front: stone outside its shadow and before its front half, by formula."""
    radius, margin = 200.0, 30.0
    sphere = ball(radius, 5)
    side = 2 * (radius + margin)
    fit = bf.safest(sphere, bf.Block.box(side, side, side, stone="marble"), stance=bf.Stance.fixed())
    told = bf.roughing(fit, step=4, allowance=0)
    # The shadow is whole, to a thousandth of its area, where r² - (r - y)² is: y = r - r sqrt(0.001).
    assert told.end_mm == pytest.approx(margin + radius * (1 - math.sqrt(0.001)), abs=2.5)
    end = told.end_mm - margin
    cap = math.pi * (radius * end**2 - end**3 / 3)
    before = side * side * told.end_mm - cap
    # What comes into view within a step stays until the next plane: a step times the shadow at most.
    assert 0 <= before * 1e-9 - told.planes[-1].total_m3 <= 4 * math.pi * radius**2 * 1e-9
    assert told.planes[-1].total_kg == pytest.approx(told.planes[-1].total_m3 * 2700)


def test_where_it_ends_can_be_named(leaned_fit):
    named = bf.roughing(leaned_fit, until="left hand")
    assert "left hand" in named.planes[-1].name
    assert named.end_mm == pytest.approx(leaned_fit.solid().landmarks["left hand"][1])
    assert bf.roughing(leaned_fit, until="20 cm", step=80).planes[-1].depth_mm == 200
    for wrong in ({"step": 0}, {"face": "inside"}, {"until": 5000}, {"step": 0.1}):
        with pytest.raises(bf.BadValueError):
            bf.roughing(leaned_fit, **wrong)


def test_setback_from_a_side_by_hand():
    """A post of 100 x 100 in the middle: roughed from the left past it, it can go back by what was left behind it."""
    post = cuboid(100, 100, 500)
    block = bf.Block.box(300, 400, 500, stone="marble")
    fit = bf.safest(post, block, stance=bf.Stance.fixed(), cover={"front": 100, "other": 0})
    told = bf.roughing(fit, face="left", step=50, allowance=15)
    behind = bf.setback(fit).back_mm
    assert told.planes[0].setback_mm == pytest.approx(behind)
    assert told.planes[-1].setback_mm == pytest.approx(min(15, behind), abs=0.2)


def test_sloping_keep_of_two_parts_keeps_its_hole():
    """A ring standing towards the front: what stays has a hole, and stone may go out of it."""
    level = [cuboid(600, 100, 100, at=(0, 0, z)) for z in (0, 500)]
    upright = [cuboid(100, 100, 600, at=(x, 0, 0)) for x in (0, 500)]
    frame = united(*level, *upright)
    fit = bf.safest(frame, bf.Block.box(660, 160, 660), stance=bf.Stance.fixed())
    last = bf.roughing(fit, step=40, allowance=20).planes[-1]
    assert sum(len(part.interiors) for part in getattr(last.keep, "geoms", [last.keep])) == 1
    hole = 400.0 - 2 * 20
    assert last.go.area == pytest.approx(660**2 - last.keep.area)
    assert last.go.area > hole**2 * 0.98


def test_roughing_a_block_that_is_no_box():
    fit = bf.largest(ball(100, 2), bf.Block.convex(SOLIDS["dodecahedron"] * 400), stance=bf.Stance.fixed())
    planes = bf.roughing(fit, step=60)
    assert len(planes.planes) > 1
    assert all(plane.removed_m3 >= 0 for plane in planes.planes)


def test_a_narrow_gap_on_the_way_back_is_seen():
    """The figure slides back over a slot of 4 mm in 900: its room ends there, however seldom one looks."""
    bare = shapely.box(0, 0, 50, 100)
    keep = shapely.difference(shapely.box(0, 0, 1000, 100), shapely.box(333, 0, 337, 100))
    assert _room_behind(bare, keep, "left", (1, 2), 900.0, 5.0) == pytest.approx(283, abs=0.11)
    assert _room_behind(bare, shapely.box(0, 0, 1000, 100), "left", (1, 2), 900.0, 5.0) == 900

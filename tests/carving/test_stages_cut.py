"""The stone as it stands, rebuilt with manifold3d from what the sheets say."""

import manifold3d as m3
import numpy as np
import pytest
from carving.scans import BLOCK, FIT, manifold_of, statue, surface_of
from conftest import cuboid

import blockfit as bf

WHOLE = m3.Manifold.cube((640, 520, 1080))


def same_solid(stage, solid, within=1e-6):
    """Two solids differ by no more than a share of the block."""
    ours = manifold_of(stage.stone)
    apart = (ours - solid).volume() + (solid - ours).volume()
    assert apart <= within * WHOLE.volume(), apart


def polygons(area):
    parts = getattr(area, "geoms", [area])
    return [np.array(ring.coords)[:-1] for part in parts for ring in (part.exterior, *part.interiors)]


@pytest.mark.parametrize(("face", "depth", "up"), [("front", 1, 1), ("back", 1, -1), ("right", 0, -1)])
def test_planes_leave_what_lies_within_their_outlines(face, depth, up):
    """Slab by slab: at each plane only the outline stays. The outlines are the sheets'; the solid is manifold3d's."""
    table = bf.roughing(FIT, step=70, allowance=10, face=face)
    done = 3
    stage = bf.stage_of(FIT, planes=table, to=done)
    size = BLOCK.size_mm[depth]
    gone = []
    before = 0.0
    for plane in table.planes[:done]:
        near, far = (before, plane.depth_mm) if up > 0 else (size - plane.depth_mm, size - before)
        keep = m3.CrossSection([ring.tolist() for ring in polygons(plane.keep)] if plane.keep.area else [],
                               m3.FillRule.EvenOdd)  # fmt: skip
        away = m3.CrossSection.square((3000, 3000)).translate((-900, -900)) - keep
        body = away.extrude(far - near)
        # Extruded along z: turned so that the section's axes are the outline's and the third the depth.
        turn = {1: np.array([[1, 0, 0, 0], [0, 0, 1, near], [0, 1, 0, 0.0]]),
                0: np.array([[0, 0, 1, near], [1, 0, 0, 0], [0, 1, 0, 0.0]])}[depth]  # fmt: skip
        gone.append(body.transform(turn))
        before = plane.depth_mm
    expected = WHOLE - m3.Manifold.batch_boolean(gone, m3.OpType.Add)
    assert 0.05 < expected.volume() / WHOLE.volume() < 0.97
    same_solid(stage, expected)
    assert stage.gone == (f"planes 1 to {done} from the {face}",)
    # What the table of planes says has gone, has.
    assert BLOCK.volume_m3 - stage.volume_m3 == pytest.approx(table.planes[done - 1].total_m3, rel=1e-6)
    # Nothing of the figure is ever taken.
    assert (manifold_of(FIT.solid()) - manifold_of(stage.stone)).volume() <= 1e-3


@pytest.mark.thorough
def test_points_are_pricked_and_cut_to_their_stops():
    """From the rows alone: at each point a hole down to the stop, between points what the table allows; in a box."""
    points = bf.pointing(FIT, count=24, faces=("front",), allowance=8, width=6, landmarks=False)
    stage = bf.stage_of(FIT, points=points)
    figure = manifold_of(FIT.solid())
    assert (figure - manifold_of(stage.stone)).volume() <= 1e-3  # no stop goes into the figure
    stone = manifold_of(stage.stone)
    rows = {p.number: p for p in points.points}
    joined = {number for b in points.between for number in b.points}
    cut = [p for p in points.points if p.stop_mm]
    assert len(cut) > 12

    def stone_at(x, depth, z):
        spot = m3.Manifold.sphere(0.2, 8).translate((x, depth, z))
        return (spot ^ stone).volume() / spot.volume()

    for p in cut:
        x, _, z = p.at_mm
        assert stone_at(x, p.stop_mm - 0.5, z) == pytest.approx(0, abs=1e-6)
        if p.number not in joined:  # else what lies between may be cut deeper beside it
            assert stone_at(x, p.stop_mm + 0.5, z) == pytest.approx(1, abs=1e-6)
    straight = [b for b in points.between if b.no_deeper_mm is None]
    assert straight
    for b in straight:
        x, _, z = np.mean([rows[k].at_mm for k in b.points], axis=0)
        depth = np.mean([rows[k].stop_mm for k in b.points])
        assert depth < 1 or stone_at(x, depth - 0.5, z) == pytest.approx(0, abs=1e-6)
        assert stone_at(x, depth + 0.5, z) == pytest.approx(1, abs=1e-6)


@pytest.mark.thorough
def test_everything_together_and_in_words():
    plan = bf.offcuts(FIT, clearance=10, kerf=8, least_weight_kg=5, reserve=0)
    table = bf.roughing(FIT, step=90, allowance=12)
    hole = cuboid(60, 2000, 60, at=(10, -10, 900))
    flaw = bf.Flaw.ball((600, 60, 1000), 50, name="a corner")
    stage = bf.stage_of(FIT, planes=table, to=2, offcuts=plan, pieces=1, gone=[("a hole", hole)], lost=flaw)
    apart = [bf.stage_of(FIT, planes=table, to=2), bf.stage_of(FIT, offcuts=plan, pieces=1),
             bf.stage_of(FIT, gone=[("a hole", hole)]), bf.stage_of(FIT, lost=[flaw])]  # fmt: skip
    expected = WHOLE
    for one in apart:
        expected = expected ^ manifold_of(one.stone)
    same_solid(stage, expected)
    assert stage.gone == ("offcut 1", "planes 1 to 2 from the front", "a hole", "a corner, lost")
    assert apart[0].volume_m3 < BLOCK.volume_m3
    ball = 4 / 3 * np.pi * 0.05**3  # the corner's ball lies wholly inside but for what the block's faces cut off
    assert BLOCK.volume_m3 - apart[3].volume_m3 <= ball * 1.005
    assert stage.mass_kg == pytest.approx(stage.volume_m3 * 2700)
    assert stage.mass_range_kg[0] < stage.mass_kg < stage.mass_range_kg[1]
    assert stage.stands.stands
    assert stage.setback.back_mm == bf.setback(FIT, stage).back_mm
    told = str(stage)
    assert "a corner, lost" in told
    assert "Stands" in told


def test_a_lost_ball_by_formula():
    stage = bf.stage_of(FIT, lost=bf.Flaw.ball((80, 80, 80), 60))
    assert BLOCK.volume_m3 - stage.volume_m3 == pytest.approx(4 / 3 * np.pi * 0.06**3, rel=5e-3)


def test_what_is_cut_free_is_told():
    through = cuboid(2000, 2000, 10, at=(-100, -100, 1000))
    stage = bf.stage_of(FIT, gone=[("a saw cut", through)])
    assert stage.bodies == 2
    assert "2 SEPARATE PIECES" in str(stage)


def test_stages_that_are_none():
    table = bf.roughing(FIT, step=200)
    for given, words in (
        ({"planes": table, "to": 99}, "0 to"),
        ({"planes": [table, table], "to": [1]}, "one count"),
        ({"lost": "all"}, "must be a Flaw or a Figure"),
        ({"gone": [("all", cuboid(5000, 5000, 5000, at=(-100, -100, -100)))]}, "nothing is left"),
        ({"scan": bf.Figure.from_points(statue().vertices)}, "closed solid"),
    ):
        with pytest.raises(bf.BlockfitError, match=words):
            bf.stage_of(FIT, **given)


@pytest.mark.slow
def test_planes_from_several_faces_and_of_a_rough_block():
    tables = [bf.roughing(FIT, step=120, face=face) for face in ("front", "left")]
    both = bf.stage_of(FIT, planes=tables, to=[2, 1])
    expected = WHOLE
    for table, to in zip(tables, (2, 1), strict=True):
        expected = expected ^ manifold_of(bf.stage_of(FIT, planes=table, to=to).stone)
    same_solid(both, expected)
    lump = bf.Figure(*surface_of(m3.Manifold.sphere(700, 32)), name="boulder")
    fit = bf.largest(statue(), bf.Block.scanned(lump), stance=bf.Stance.fixed(), scales=(0, 0.8))
    table = bf.roughing(fit, step=150, allowance=10)
    stage = bf.stage_of(fit, planes=table, to=2)
    assert stage.volume_m3 < lump.volume_m3
    assert (manifold_of(fit.solid()) - manifold_of(stage.stone)).volume() <= 1e-3

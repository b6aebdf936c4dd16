"""Cuts set out: by hand on plain blocks, and by a second pair of hands that rebuilds them from what is printed."""

import json
from xml.etree import ElementTree

import bench_hands as hands
import numpy as np
import pytest
from conftest import cuboid, slow_after
from hands_cuts import drawn_cuts, drawn_from_record, into, off_plane, outline_gap
from hands_figures import manifold_of

import blockfit as bf
from blockfit.sheets.setting_out import cut_words, piece_words
from blockfit.sheets.survey.cutting import offcuts_section
from blockfit.sheets.words import Layout
from blockfit.waste.cuts.marks import marks_of

FIXED = bf.Stance.fixed()


def lines_of(block, planes, k=0, kerf=12.0, gone=()):
    normals = np.array([normal for normal, _ in planes], float)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return marks_of(block, gone, normals, np.array([at for _, at in planes], float), np.full(len(planes), kerf), k)


def test_a_slanted_cut_by_trigonometry():
    """A cut at 30° off level through a box: where it meets the upright edges follows from the tangent."""
    block = bf.Block.box(600, 400, 1000)
    sine, cos = np.sin(np.radians(30)), np.cos(np.radians(30))
    marks = lines_of(block, [((sine, 0, cos), 800 * cos)])  # 800 high at the left, less by tan 30° to the right
    assert [mark.face for mark in marks] == ["front", "right", "back", "left"]
    low = 800 - 600 * np.tan(np.radians(30))
    assert marks[0].start_mm == pytest.approx([0, 0, 800])
    assert marks[0].end_mm == pytest.approx([600, 0, low])
    assert marks[0].start_edge == bf.Edge(("front", "left"), "top", pytest.approx(200))
    assert marks[0].end_edge == bf.Edge(("front", "right"), "bottom", pytest.approx(low))
    assert [mark.angle_deg for mark in marks] == pytest.approx([90, 60, 90, 120])
    # Through 12 mm of saw, the second line on the sides is 12 / sin 60° lower.
    assert [mark.apart_mm for mark in marks] == pytest.approx([12, 12 / cos, 12, 12 / cos])
    assert marks[1].kept_mm[0] == pytest.approx([600, 0, low - 12 / cos])


def test_a_rebate_stops_where_its_cuts_meet():
    """By hand: a step 200 wide and 300 high off the right top edge; the kerfs may reach into each other."""
    block = bf.Block.box(600, 400, 1000)
    planes = [((1, 0, 0), 400.0), ((0, 0, 1), 700.0)]
    down = lines_of(block, planes, 0)
    assert [mark.face for mark in down] == ["back", "top", "front"]
    assert down[1].depth_mm == pytest.approx((312, 312))
    assert down[0].start_edge is None
    assert down[0].start_mm == pytest.approx([400, 400, 700])
    across = lines_of(block, planes, 1)
    assert [mark.face for mark in across] == ["front", "right", "back"]
    assert across[1].depth_mm == pytest.approx((212, 212))


def test_lines_run_over_what_earlier_pieces_left():
    """By hand: the right top edge is gone in a step; a level cut at 800 then stops short of the right face."""
    block = bf.Block.box(600, 400, 1000)
    gone = (
        bf.Hollow(np.array([[1.0, 0, 0], [0, 0, 1]]), np.array([400.0, 700]), ("cut 1 of piece 1", "cut 2 of piece 1")),
    )
    marks = lines_of(block, [((0, 0, 1), 800.0)], gone=gone)
    assert {mark.face: sorted([mark.start_mm[0], mark.end_mm[0]]) for mark in marks} == {
        "front": [0, 400], "back": [0, 400], "left": [0, 0], "cut 1 of piece 1": [400, 400],
    }  # fmt: skip
    front = next(mark for mark in marks if mark.face == "front")
    assert front.end_edge is None
    lower = lines_of(block, [((1, 0, 0), 500.0)], gone=gone)
    assert {mark.face for mark in lower} == {"front", "back", "bottom", "cut 2 of piece 1"}
    # The right top corners are gone: what lies on the top edges is measured from the left.
    across = lines_of(block, [((1, 0, 0), 390.0)], gone=gone)
    assert {mark.start_edge.corner for mark in across if mark.face == "top"} == {"left"}


def test_a_wedge_names_its_own_faces():
    block = bf.Block.convex([[0, 0, 0], [600, 0, 0], [0, 400, 0], [600, 400, 0], [0, 0, 500], [600, 0, 500]])
    marks = lines_of(block, [((1, 0, 0), 450.0)])
    assert {mark.face for mark in marks} == {"front", "bottom", "face 1"}
    (slope,) = (mark for mark in marks if mark.face == "face 1")
    assert slope.start_edge.mm == pytest.approx(150)
    assert slope.start_edge.corner == "right"


def test_the_words_of_a_level_cut():
    fit = bf.safest(cuboid(300, 300, 600), bf.Block.box(300, 300, 1000, stone="marble"), stance=FIXED, cover=0)
    (piece,) = bf.offcuts(fit, clearance=20, kerf=10, most_pieces=1, reserve=0).pieces
    (words,) = piece_words(piece, fit.block)
    assert words == (
        "line: from left front edge 370 mm below the top, across the front to right front edge 370 mm below the top, "
        "across the right to right back edge 370 mm below the top, across the back to left back edge 370 mm below the "
        "top, across the left to the first place; waste above; kerf 10 mm on its other side; guide square"
    )
    assert "1 ft 2 9/16 in below the top" in piece_words(piece, fit.block, units="us")[0]
    with pytest.raises(bf.BadValueError, match="metric"):
        cut_words(piece.cuts[0], fit.block, units="inch")


def asked_plan(case):
    rng = case.rng
    more = {"kerf": float(rng.choice([0, 3, 12]))} if rng.random() < 0.5 else {}
    return bf.offcuts(
        case.fit, clearance=float(rng.choice([2, 10])), most_cuts=int(rng.choice([1, 2, 3])), most_pieces=4, reserve=0,
        least_thickness=15, least_weight_kg=0.2, lift_limit_kg=float(rng.choice([6, 1000])), **more,
    )  # fmt: skip


def is_set_out(cut, before):
    """Whether lines alone set a cut out: one that only goes on from an earlier cut's face has that to go by."""
    return not any(abs(cut.normal @ other.normal) > 1 - 1e-9 for other in before)


@pytest.mark.parametrize("seed", slow_after(3, [0, 1, 5, 8, 11, *range(20, 60)]))
def test_cuts_rebuilt_from_their_lines_alone(seed):
    """As printed and as saved; and the lines lie where manifold3d's own sections of the stone before have theirs."""
    case = hands.case(seed, "offcuts")
    plan = asked_plan(case)
    record = json.loads(json.dumps(plan.record()))
    ways = [(drawn_from_record(record), 1e-6)]
    if case.is_box:
        text = "\n".join(offcuts_section(plan, bf.weights(case.fit, plan), Layout()))
        ways.append((drawn_cuts(text, case.corners), 0.5))
    cuts = [(number, cut) for number, piece in enumerate(plan.pieces, 1) for cut in piece.cuts]
    known = [cut for k, (_, cut) in enumerate(cuts) if is_set_out(cut, [c for _, c in cuts[:k]])]
    for drawn, most in ways:
        assert [one.piece for one in drawn] == [number for number, _ in cuts]
        for one, (_, cut) in zip(drawn, cuts, strict=True):
            if cut in known:
                off = one.places @ cut.normal - cut.offset_mm
                assert (off >= -1e-6).all()  # no nearer to the figure
                assert (off <= most).all()
                # Where a cut runs on far below short lines, half a millimetre grows with the depth.
                assert off_plane(one, cut.outline) <= 2 * most
        for number in range(1, len(plan.pieces) + 1):
            mine = [one for one, (_, cut) in zip(drawn, cuts, strict=True) if one.piece == number]
            if all(cut in known for k, cut in cuts if k == number):
                assert into(case.solid, mine) < 1e-3
    stone = case.block
    for piece in plan.pieces:
        for cut in piece.cuts:
            others = [(other.normal, other.offset_mm) for other in piece.cuts if other is not cut]
            assert outline_gap(stone, cut.normal, cut.offset_mm, others, cut.marks) < 0.05
        stone = manifold_of(piece.left.vertices, piece.left.faces)


def test_sheets_draw_the_lines_at_full_size(tmp_path):
    """Read back from SVG: the line's ends lie as far from the block's drawn corner as the marks lie in the block."""
    fit = bf.safest(cuboid(300, 300, 600), bf.Block.box(720, 380, 1000, stone="marble"), stance=FIXED, cover=0)
    plan = bf.offcuts(fit, clearance=20, kerf=10, reserve=0)
    drawn = dict(bf.cut_sheets(plan))
    faces = {"front": ((1, 0, 0), (0, 0, 1)), "left": ((0, -1, 0), (0, 0, 1)), "top": ((1, 0, 0), (0, 1, 0))}
    seen = 0
    for number, piece in enumerate(plan.pieces, 1):
        for face, frame in faces.items():
            marks = [mark for cut in piece.cuts for mark in cut.marks if mark.face == face]
            if not marks:
                continue
            bf.save_template(drawn[f"piece-{number:02d}-{face}"], tmp_path / "sheet.svg")
            root = ElementTree.parse(tmp_path / "sheet.svg").getroot()
            shapes = [(s.get("class"), np.array([p.split(",") for p in s.get("points").split()], float) * [1, -1])
                      for s in root.iter() if s.get("points")]  # fmt: skip
            corner = min((ring.min(axis=0).tolist() for kind, ring in shapes if kind == "block"))
            lines = [ring - corner for kind, ring in shapes if kind == "outline"]
            across = np.array(frame) @ fit.block.corners_mm.T
            for mark, line in zip(marks, lines, strict=True):
                ends = np.array(frame) @ np.stack([mark.start_mm, mark.end_mm]).T - across.min(axis=1)[:, None]
                assert line == pytest.approx(ends.T, abs=0.01)
                seen += 1
    assert seen >= 3
    for units, width in (("metric", 210.0), ("us", 215.9)):
        page = bf.piece_sheets(plan, units=units)[0]
        assert page.width == width
        words = " ".join(label.text for label in page.labels)
        assert all(part in words for part in ("Line: from", "Drawn out", "qualified person", "Weight"))


@pytest.mark.slow
def test_a_figure_that_reaches_through_two_faces(kneeling):
    """The survey's own text, with its default tools: within 0.5 mm, the figure whole."""
    block = bf.Block.box(*[side + 90 for side in kneeling.size_mm], stone="marble")
    fit = bf.safest(kneeling, block, stance=bf.Stance.upright(0), cover=1)
    plan = bf.offcuts(fit, most_pieces=5, reserve=0)
    drawn = drawn_cuts("\n".join(offcuts_section(plan, bf.weights(fit, plan), Layout())), block.corners_mm)
    cuts = [cut for piece in plan.pieces for cut in piece.cuts if cut.marks]
    assert max(off_plane(one, cut.outline) for one, cut in zip(drawn, cuts, strict=True)) <= 0.5
    figure = fit.solid()
    solid = manifold_of(figure.vertices, figure.faces)
    for number in range(1, len(plan.pieces) + 1):
        assert into(solid, [one for one in drawn if one.piece == number]) == 0

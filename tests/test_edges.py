"""What can be asked wrongly, and answers at the edge of what there is: each one clear sentence, or one clear value."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from conftest import ball, cuboid, joined, run
from regular import SOLIDS

import blockfit as bf
from blockfit.commands.terms import check_output
from blockfit.geometry.turns import about, turn_deg
from blockfit.intake.yard_file import read_blocks
from blockfit.measure.booleans import prism
from blockfit.search.proof.widths import least_and_longest
from blockfit.search.result import Verdict
from blockfit.sheets.pictures.drawings import bounds_picture, yard_picture
from blockfit.sheets.survey.doubts import doubts_of
from blockfit.sheets.survey.record import plain
from blockfit.sheets.words import length, standing_words
from blockfit.waste.reach.places import approach_words

BRICK = cuboid(200, 100, 50)
BLOCK = bf.Block.box(300, 200, 250, stone="marble")
FIT = bf.largest(BRICK, BLOCK, stance=bf.Stance.fixed())
NO_ROOM = bf.largest(BRICK, BLOCK, cover=400, stance=bf.Stance.fixed())  # the cover alone is more than the block holds
PLANES = np.vstack([np.eye(3), -np.eye(3)])
WEDGE = bf.Block.convex([[0, 0, 0], [600, 0, 0], [0, 400, 0], [600, 400, 0], [0, 0, 500], [600, 0, 500]])
CRACK = bf.Flaw.ball((150, 100, 125), 10)

WRONG = {
    "a price below 0": (lambda: bf.Block.box(1, 1, 1, price=-1), "price=-1"),
    "a bed that is no axis": (lambda: bf.Block.box(1, 1, 1, bed="w"), "bed='w'"),
    "a plane without direction": (lambda: bf.Block.from_planes([[0, 0, 0], *PLANES], [1] * 7), "row of length 0"),
    "too few names": (lambda: bf.Block.from_planes(PLANES, [1] * 6, ["a"]), "1 entries for 6"),
    "the same name twice": (lambda: bf.Block.from_planes(PLANES, [1] * 6, ["a"] * 6), "differ from each other"),
    "planes that leave a side open": (lambda: bf.Block.from_planes(PLANES[:5], [1] * 5), "left open"),
    "a figure of nothing": (lambda: bf.Figure(np.zeros((0, 3)), np.zeros((0, 3), int)), "vertices is empty"),
    "a stone lighter than its lightest": (lambda: bf.Stone("chalk", 3000, 2000, 2500), "chalk"),
    "layers of no kind": (lambda: bf.largest(BRICK, BLOCK, layers="slanted"), "layers='slanted'"),
    "a lift limit below 0": (lambda: bf.offcuts(FIT, lift_limit_kg=-5), "lift_limit"),
    "an angle past the level": (lambda: bf.directions(FIT, least_angle=95), "least_angle=95"),
    "a pitch too fine to count": (lambda: bf.undercuts(FIT, pitch=1e-3), "take a coarser one"),
    "hours without a stone": (
        lambda: bf.hours(
            bf.weights(bf.largest(BRICK, bf.Block.box(300, 200, 250), stance=bf.Stance.fixed())), {"other": 2}
        ),
        "need a stone",
    ),
    "a block too wide of square": (lambda: bf.Datum.out_of_square(WEDGE, {}), "only a sawn block"),
    "recovering nothing": (lambda: bf.recover(NO_ROOM, CRACK), "has no placement"),
    "recovering with no angle": (lambda: bf.recover(FIT, CRACK, turn=120), "turn=120"),
    "recovering with no share": (lambda: bf.recover(FIT, CRACK, least_scale=2), "least_scale=2"),
    "recovering from a word": (lambda: bf.recover(FIT, "corner"), "must be flaws"),
    "pointing nothing": (lambda: bf.pointing(NO_ROOM), "nothing to point"),
    "setting nothing": (lambda: bf.setting(NO_ROOM), "nothing to set"),
    "the solid of nothing": (lambda: NO_ROOM.solid(), "no placement"),
    "nothing left": (lambda: bf.stage_of(FIT, gone=[("all", cuboid(900, 900, 900, (-9, -9, -9)))]), "nothing is left"),
    "setback among flaws": (
        lambda: bf.safest(BRICK, BLOCK.with_flaws(CRACK), scale=0.2, seek="setback"),
        "take the deepest cover",
    ),
    "a flaw without room": (
        lambda: bf.largest(BRICK, BLOCK.with_flaws(bf.Flaw.solid(cuboid(10, 10, 0)))), "",
    ),
    "a search that kept no trace": (lambda: bounds_picture(replace(FIT, trace=None)), "no trace"),
    "a yard that holds nothing": (
        lambda: yard_picture(bf.compare(BRICK, [BLOCK], cover=400, jobs=1), BRICK), "nothing to draw",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", WRONG)
def test_what_is_asked_wrongly_is_said(what):
    ask, words = WRONG[what]
    with pytest.raises(bf.BlockfitError) as caught:
        ask()
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


# ---- answers at the edge ----


def test_words_at_the_edge():
    assert (length(math.inf), length(-math.inf)) == ("no limit", "none")
    assert approach_words(np.array([0, 0, 1.0])) == "from below"
    head_down = bf.Placement(1, about(0, 180), [0, 0, 0])
    assert "beyond the level" in standing_words(head_down)
    assert turn_deg(about(0, 180)) == 0  # upside down any turn describes it


def test_json_holds_no_numpy_and_no_infinity():
    told = plain(
        {"whole": np.int64(3), "true": np.bool_(True), "none": np.inf, "row": np.arange(2.0), "pair": (1, "a")}
    )
    assert json.dumps(told) == '{"whole": 3, "true": true, "none": null, "row": [0.0, 1.0], "pair": [1, "a"]}'


def test_a_face_stood_on_and_a_scale_out_of_reason_are_told():
    tall = bf.Block.box(200, 250, 1000, stone="marble", skin=1)
    fit = bf.largest(cuboid(900, 100, 100), tall, stands_on="any", stance=bf.Stance.fixed())
    assert fit.stands_on != "bottom"
    assert f"its {fit.stands_on}" in str(bf.survey(fit, alternatives=False))
    tiny = bf.largest(cuboid(1e5, 1e5, 1e5), BLOCK, stance=bf.Stance.fixed())
    assert any("far from full size" in told for told in doubts_of(tiny))
    leaned = bf.largest(cuboid(100, 100, 600), bf.Block.box(400, 150, 520), stance=bf.Stance.leaning(30, 10))
    assert leaned.placement.tilt_deg > 1
    assert any("base is not level" in told for told in doubts_of(leaned))


def test_a_survey_at_a_scale_asked_names_the_cover_and_one_that_fails_says_so():
    deep = bf.safest(BRICK, BLOCK, scale=1, stance=bf.Stance.fixed())
    assert "FITS" in str(bf.survey(deep))
    large = bf.safest(BRICK, BLOCK, scale=1.8, stance=bf.Stance.upright(10))
    assert large.verdict is Verdict.CANNOT_FIT
    told = str(bf.survey(large))
    assert "CANNOT FIT (proved): at best" in told
    undecided = bf.largest(cuboid(100, 40, 30), bf.Block.box(300, 110, 90), scales=(2.9, math.inf), max_cells=1)
    assert undecided.verdict is Verdict.UNDECIDED
    assert "UNDECIDED: the budget of cells is spent" in str(bf.survey(undecided, alternatives=False))


def test_flaws_that_leave_nothing_and_covers_that_leave_nothing():
    none = bf.largest(BRICK, BLOCK.with_flaws(CRACK), cover=400, stance=bf.Stance.fixed())
    assert (none.verdict, none.placement) == (Verdict.CANNOT_FIT, None)
    deep = bf.safest(BRICK, BLOCK.with_flaws(CRACK), scale=9, stance=bf.Stance.fixed())
    assert deep.verdict is Verdict.CANNOT_FIT
    assert deep.proof == "bound proved"
    everywhere = bf.Flaw.ball((150, 100, 125), 500)
    lost = bf.largest(BRICK, BLOCK.with_flaws(everywhere), stance=bf.Stance.fixed())
    assert (lost.verdict, lost.proof) == (Verdict.UNDECIDED, "nothing found")
    assert "no place was found for it" in str(bf.survey(lost, alternatives=False))


def test_a_rough_block_among_leaning_stances():
    rough = bf.Block.scanned(ball(200, 3))
    fit = bf.largest(cuboid(100, 100, 100), rough, stance=bf.Stance.leaning(20, 20))
    # A cube in a ball of radius 200: edge 400/√3, turned any way; the ball's facets take away a little.
    assert 0.93 * 4 / 3**0.5 < fit.scale <= 4 / 3**0.5
    assert np.linalg.norm(rough.centroid_mm) < 1e-6
    assert np.allclose(WEDGE.centroid_mm, [300, 400 / 3, 500 / 3])  # a third of the triangle's sides


def test_recovery_in_words_and_with_landmarks():
    figure = replace(cuboid(100, 100, 200), landmarks={"brow": (50.0, 0.0, 190.0)})
    fit = bf.safest(
        figure, bf.Block.box(200, 220, 260), scale=1, stance=bf.Stance.fixed(), cover={"bottom": 0, "other": 1}
    )
    lost = bf.Flaw.ball((100, fit.placement.apply(np.array([50.0, 0, 190]))[1] - 5, 190), 12)
    told = bf.recover(fit, lost, turn=10, lean=10)
    assert told.rungs[0].found
    assert told.rungs[0].landmarks_mm["brow"] == pytest.approx(told.rungs[0].back_mm, abs=1e-6)
    assert "landmarks move: brow" in str(told)
    nowhere = bf.recover(fit, bf.Flaw.ball((100, 110, 130), 250), effort=0.2)
    assert not any(rung.found for rung in nowhere.rungs)
    assert "nothing found" in str(nowhere)


def test_shares_and_sections_of_nothing():
    assert prism([], (0, 1), 0, 10).is_empty()
    flat = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    assert least_and_longest(flat * 100) == (0.0, pytest.approx(100 * 2**0.5, rel=1e-3))


def test_a_stage_of_the_first_pieces_and_of_a_scan():
    fit = bf.largest(ball(100, 2), bf.Block.box(400, 400, 400, stone="marble"), stance=bf.Stance.fixed(), scales=(0, 1))
    plan = bf.offcuts(fit, clearance=5, least_weight_kg=1)
    assert len(plan.pieces) > 1
    first = bf.stage_of(fit, offcuts=plan, pieces=1)
    assert fit.block.volume_m3 - first.stone.volume_m3 == pytest.approx(plan.pieces[0].solid.volume_m3, rel=1e-6)
    assert bf.stage_of(fit, offcuts=plan, pieces=0).stone.volume_m3 == pytest.approx(fit.block.volume_m3)
    scanned = bf.stage_of(fit, scan=fit.solid())
    assert scanned.gone == ("as scanned",)
    assert scanned.stone.volume_m3 == pytest.approx(fit.solid().volume_m3, rel=1e-6)


def test_roughing_a_block_that_is_no_box():
    fit = bf.largest(ball(100, 2), bf.Block.convex(SOLIDS["dodecahedron"] * 400), stance=bf.Stance.fixed())
    planes = bf.roughing(fit, step=60)
    assert len(planes.planes) > 1
    assert all(plane.removed_m3 >= 0 for plane in planes.planes)


def test_a_fit_in_a_flat_figure_and_a_rank_without_a_scale():
    flat = bf.Figure.from_points([[0, 0, 0], [100, 0, 0], [0, 100, 0], [100, 100, 0]])
    table = bf.compare(
        flat, [bf.Block.box(300, 400, 500, price=20), bf.Block.box(30, 30, 30, price=1)], rank="cheapest", jobs=1
    )
    assert [row.verdict for row in table.rows] == ["FITS", "CANNOT_FIT"]
    assert table.scale == 1.0
    few = bf.compare(flat, [BLOCK, BLOCK], best=5, jobs=1, progress=True)
    assert len(few.rows) == 2


# ---- the yard's list ----

LISTS = {
    "width,depth,height\n100,200,300,400\n": "1 more cells than headings",
    "width (mm),width_mm,depth (mm),height (mm)\n900,900,700,800\n": "says width again",
    "width (mm),depth (mm),height (mm),density\n900,700,800,99999\n": "should be a density",
    "width (mm),depth (mm),height (mm),bed\n900,700,800,w\n": "x, y or z",
    "width (mm),depth (mm),height (mm),price\n900,700,800,900 per tonne\n": "needs a stone or a density",
}


@pytest.mark.parametrize("text", LISTS)
def test_mistakes_in_a_list_name_what_was_expected(text, tmp_path):
    (tmp_path / "yard.csv").write_text(text, encoding="utf-8")
    with pytest.raises(bf.BlockfitError) as caught:
        read_blocks(tmp_path / "yard.csv")
    assert LISTS[text] in str(caught.value)
    assert "line 2" in str(caught.value)


def test_a_list_says_the_bed_and_prices_per_block_and_per_volume(tmp_path):
    lines = "width (mm),depth (mm),height (mm),bed,price\n1000,1000,1000,Z,2400\n1000,1000,500,y,900 per m3\n"
    (tmp_path / "yard.csv").write_text(lines, encoding="utf-8")
    first, second = read_blocks(tmp_path / "yard.csv")
    assert (first.bed, first.price, second.bed, second.price) == ("z", 2400, "y", pytest.approx(450))
    (tmp_path / "yard.json").write_text('[{"width": true, "depth": "1 m", "height": "1 m"}]', encoding="utf-8")
    with pytest.raises(bf.BlockfitError, match="no length"):
        read_blocks(tmp_path / "yard.json")


# ---- the command line ----


def test_options_that_exclude_each_other_and_targets_that_cannot_be(capsys, tmp_path):
    figure = tmp_path / "figure.stl"
    import trimesh

    trimesh.Trimesh(BRICK.vertices, BRICK.faces).export(figure)
    common = (str(figure), "--unit", "mm", "--block", "300x200x250")
    code, out, err = run(capsys, "survey", *common, "--any-rotation", "--lean", "5")
    assert code == 2
    assert "give the one or the others" in err
    code, out, err = run(capsys, "mark", *common, "-o", str(tmp_path / "no" / "where"))
    assert code == 2
    assert "in one that exists" in err
    code, out, err = run(capsys, "mark", *common, "--cover", "100", "--scale", "1", "-o", str(tmp_path / "marks"))
    assert code == 0
    assert "does not fit" in out
    assert not (tmp_path / "marks").exists()
    (tmp_path / "a.html").mkdir()
    with pytest.raises(bf.BlockfitError, match="is a folder"):
        check_output(tmp_path / "a.html")


def test_marks_of_points_alone_leave_out_what_needs_a_solid(capsys, tmp_path):
    cloud = tmp_path / "open.stl"
    import trimesh

    across = np.linspace(-50, 50, 9)
    x, y = (grid.ravel() for grid in np.meshgrid(across, across))
    corner = np.arange(81).reshape(9, 9)[:-1, :-1].ravel()
    faces = np.stack([corner, corner + 1, corner + 10, corner, corner + 10, corner + 9], 1).reshape(-1, 3)
    trimesh.Trimesh(np.stack([x, y, x * y / 50], axis=1), faces).export(cloud)  # a saddle: nothing is inside it
    code, out, _ = run(
        capsys,
        "mark",
        str(cloud),
        "--unit",
        "mm",
        "--block",
        "300x200x250",
        "--max-hole",
        "0",
        "-o",
        str(tmp_path / "m"),
    )
    assert code == 0
    assert sorted(path.name for path in (tmp_path / "m").iterdir()) == ["points.csv", "points.txt", "setting.txt"]
    assert "setting.txt" in out


def test_two_parts_side_by_side_are_one_figure():
    fit = bf.largest(joined(BRICK, cuboid(50, 50, 50, (300, 0, 0))), BLOCK, stance=bf.Stance.fixed())
    assert fit.scale == pytest.approx(300 / 350)

"""Odd files, and answers that leave something out: no placement, no stone, no offcut, no thickness, no layers."""

import json
import math

import numpy as np
import pytest
from conftest import ball, cuboid
from test_edges import BLOCK, BRICK, NO_ROOM, WEDGE

import blockfit as bf
from blockfit.geometry.arrays import all_differ, distinct_rows
from blockfit.sheets.page.scene import scene_json
from blockfit.sheets.pictures.drawings import measured_drawing, save_picture, weight_picture
from blockfit.sheets.survey.moving import handling_section
from blockfit.waste.placed import light_solid

# ---- reading ----


def test_axes_landmarks_and_points_alone(tmp_path):
    import trimesh

    trimesh.Trimesh(BRICK.vertices, BRICK.faces).export(tmp_path / "brick.stl")
    with pytest.raises(bf.BlockfitError, match="must be one of"):
        bf.read_figure(tmp_path / "brick.stl", unit="mm", up="north", front="-y")
    with pytest.raises(bf.BlockfitError, match="not finite"):
        bf.read_figure(tmp_path / "brick.stl", unit="mm", landmarks={"brow": (math.nan, 0, 0)})
    (tmp_path / "points.ply").write_text(
        "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nend_header\n"
        "0 0 0\n1 0 0\n0 1 0\n"
    )
    with pytest.raises(bf.BlockfitError, match="3 points but no triangles"):
        bf.read_figure(tmp_path / "points.ply", unit="mm")
    (tmp_path / "line.off").write_text("OFF\n3 1 0\n0 0 0\n1 0 0\n2 0 0\n3 0 0 1\n")
    with pytest.raises(bf.BlockfitError, match="nothing is left"):
        bf.read_figure(tmp_path / "line.off", unit="mm")


def test_rows_told_apart_by_one_number():
    rows = np.random.default_rng(3).integers(-3, 3, (5000, 3))
    for kind in (np.int64, np.float64):
        found, which = distinct_rows(rows.astype(kind))
        known, places = np.unique(rows.astype(kind), axis=0, return_inverse=True)
        assert np.array_equal(found, known)
        assert np.array_equal(which, places.ravel())
    zeros = np.array([[0.0, 1.0], [-0.0, 1.0]])
    assert len(distinct_rows(zeros)[0]) == 1
    assert not all_differ(rows)
    assert all_differ(np.arange(30).reshape(-1, 3))


def test_rows_that_mix_alike_are_compared_in_full(monkeypatch):
    monkeypatch.setattr("blockfit.geometry.arrays._mixed", lambda rows: np.zeros(len(rows), np.uint64))
    found, which = distinct_rows(np.array([[1.0, 2.0], [0.0, 5.0], [1.0, 2.0]]))
    assert (found.tolist(), which.tolist()) == ([[0.0, 5.0], [1.0, 2.0]], [1, 0, 1])


# ---- answers that leave something out ----


def test_pages_and_pictures_without_a_placement_an_offcut_or_a_stone(tmp_path):
    bf.survey(NO_ROOM, alternatives=False).save(tmp_path / "none.html")
    assert "There is no placement to draw" in (tmp_path / "none.html").read_text(encoding="utf-8")
    bare = bf.largest(BRICK, bf.Block.box(300, 200, 250), stance=bf.Stance.fixed())
    save_picture(measured_drawing(bare), tmp_path / "bare.png")
    save_picture(weight_picture(bf.weights(bare)), tmp_path / "weight.png")
    assert all((tmp_path / name).stat().st_size > 5000 for name in ("bare.png", "weight.png"))
    told = json.loads(scene_json(bare, None, None))
    assert [trace["name"] for trace in told["data"]] == ["block", "figure"]


def test_the_surface_of_millions_is_taken_lighter_and_the_volumes_hold():
    fine = ball(100, 6)
    assert len(fine.faces) > 60_000
    assert len(light_solid(fine, 4.0)[0].faces) < len(fine.faces)
    assert light_solid(fine, 0.5) == (fine, 0.0)  # resolved so finely, the difference could show
    fit = bf.largest(fine, BLOCK, stance=bf.Stance.fixed())
    cut = bf.undercuts(fit)
    assert cut.front_m3 + cut.beside_m3 + cut.trapped_m3 + cut.rear_m3 + fit.solid().volume_m3 == pytest.approx(
        BLOCK.volume_m3, rel=2e-3
    )
    deep = bf.largest(fine, bf.Block.box(220, 500, 220, stone="marble"), stance=bf.Stance.fixed(), scales=(0, 1))
    (piece,) = bf.offcuts(deep, clearance=5, kerf=0, most_pieces=1).pieces
    (cut,) = piece.cuts
    behind = (cut.offset_mm - 5 - (deep.solid().vertices @ cut.normal).max()) / cut.normal[1]
    assert behind - 0.5 <= piece.setback_mm <= behind + 1e-6


def test_the_least_block_by_weight_is_the_least_by_volume():
    light = bf.smallest_block(BRICK, by="weight", stone="marble", cover=10, stance=bf.Stance.fixed())
    assert (light.width_mm, light.depth_mm, light.height_mm) == pytest.approx((220, 120, 70))
    assert light.mass_kg == pytest.approx(0.22 * 0.12 * 0.07 * bf.STONES["marble"].density_kg_m3)


def test_layers_asked_of_a_block_that_has_none():
    with pytest.raises(bf.BlockfitError, match="bed"):
        bf.largest(BRICK, BLOCK, layers="level")


def test_a_face_of_a_wedge_as_the_front():
    fit = bf.largest(ball(50, 2), WEDGE, stance=bf.Stance.fixed())
    assert bf.undercuts(fit, front="face 1").front == "face 1"
    with pytest.raises(bf.BlockfitError, match="front='under'"):
        bf.undercuts(fit, front="under")


def test_what_a_leaning_and_a_free_fit_could_still_gain():
    leaned = bf.survey(bf.largest(BRICK, BLOCK, stance=bf.Stance.leaning(20, 180)))
    assert [name for name, _ in leaned.gains] == ["any rotation at all"]
    assert bf.survey(bf.largest(BRICK, BLOCK)).gains == ()


def test_the_sheet_before_the_back_says_what_it_was_not_given():
    fit = bf.largest(ball(80, 2), BLOCK, stance=bf.Stance.fixed(), scales=(0, 1))
    bare = bf.before_the_back(fit)
    assert "none is named" in bare
    assert "no table of points was given" in bare
    table = bf.pointing(fit, count=20)
    assert "none read back" in bf.before_the_back(fit, points=table)


def test_supports_are_told_in_words():
    fit = bf.largest(cuboid(400, 400, 600), bf.Block.box(400, 500, 700, stone="marble"), stance=bf.Stance.fixed())
    held = bf.handling(fit, supports=[(150, 0), (150, 500), (250, 0), (250, 500)])
    lost = bf.handling(fit, supports=[(0, 0), (0, 500), (100, 0)])
    told = [" ".join(" ".join(handling_section(given)).split()) for given in (held, lost)]
    assert "on the supports given it tips" in told[0]
    assert "ON THE SUPPORTS GIVEN IT DOES NOT STAND" in told[1]


def test_cracks_without_thickness_and_flaws_without_shape():
    with pytest.raises(bf.BlockfitError, match="has no shape"):
        bf.largest(BRICK, BLOCK.with_flaws(bf.Flaw("void", "solid", 0.0)), stance=bf.Stance.fixed())
    flat = bf.Flaw(
        "sheet", "solid", 0.0, surface=bf.Figure.from_points([[9, 9, 9], [90, 9, 9], [9, 90, 9], [90, 90, 9]])
    )
    with pytest.raises(bf.BlockfitError, match="holds no space"):
        bf.largest(BRICK, BLOCK.with_flaws(flat), stance=bf.Stance.fixed())


def test_a_datum_out_of_square_changes_by_no_one_sum():
    square = bf.Datum.edges(BLOCK)
    crooked = bf.Datum.out_of_square(BLOCK, {("front left bottom", "front right bottom"): 301})
    with pytest.raises(bf.BlockfitError, match="no one sum"):
        square.to(crooked)

"""Readings taken back from the stone."""

import numpy as np
import pytest

import blockfit as bf


def test_readings_taken_from_the_true_surface_and_off_it(leaned_fit):
    figure = leaned_fit.solid()
    datum = bf.Datum.lines(centre=450, base=30)
    middles = figure.vertices[figure.faces].mean(axis=1)[::500]
    corner = figure.vertices[figure.faces[::500]]
    normals = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    on = bf.check(leaned_fit, datum.readings(middles), datum=datum)
    assert {reading.verdict for reading in on.readings} == {"within the error"}
    deep = bf.check(leaned_fit, datum.readings(middles - 6 * normals), datum=datum, error=1)
    assert max(reading.left_mm for reading in deep.readings) < 0
    assert deep.too_deep
    named = bf.check(leaned_fit, {"over the head": [450, 400, 1599]})
    assert named.readings[0].verdict == "stone on it"
    assert "over the head" in str(named)
    for wrong in ({}, [[1, 2]], [["a", "b", "c"]]):
        with pytest.raises(bf.BadValueError):
            bf.check(leaned_fit, wrong)


def test_readings_where_there_never_was_stone(leaned_fit):
    """1500 for 150, or another edge taken for the datum: said, and never counted as stone."""
    depth = leaned_fit.block.size_mm[1]
    places = {"typed wrong": (450, depth + 900, 300), "beside": (-50, 300, 300), "on the face": (450, -1, 300)}
    checked = bf.check(leaned_fit, places, error=2)
    verdicts = {reading.name: reading.verdict for reading in checked.readings}
    assert verdicts == {"typed wrong": "outside the block", "beside": "outside the block", "on the face": "stone on it"}
    assert {reading.name for reading in checked.outside} == {"typed wrong", "beside"}
    sheet = bf.before_the_back(leaned_fit, undercut=bf.undercuts(leaned_fit, pitch=20), points=None, readings=checked)
    assert "Outside block" in sheet

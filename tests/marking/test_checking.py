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

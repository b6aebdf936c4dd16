"""Setting the model in its frame, against similarity by hand."""

import numpy as np
import pytest
from conftest import assert_refused, no_room

import blockfit as bf


def test_the_frame_about_a_level_model_is_the_block_by_similarity(leaned_fit):
    told = bf.setting(leaned_fit)
    assert told.factor == pytest.approx(4 * leaned_fit.scale, rel=1e-12)
    assert told.inside_mm == pytest.approx(np.array(leaned_fit.block.size_mm) / told.factor)
    model = leaned_fit.figure.vertices / 4
    zero = model.min(axis=0)
    for corner in told.corners:
        place = np.array([corner.right_mm, corner.behind_mm, corner.above_mm]) + zero
        on_block = leaned_fit.placement.apply(place[None] * 4)[0]
        assert np.abs(on_block - leaned_fit.block.corners_mm).sum(axis=1).min() < 1e-5
    by_name = {corner.name: corner for corner in told.corners}
    assert by_name["front left bottom"].right_mm < by_name["front right bottom"].right_mm


def test_wedges_and_far_distances(leaned_fit):
    told = bf.setting(leaned_fit)
    assert len(told.wedges) == 3
    model = leaned_fit.figure.vertices / 4
    zero = model.min(axis=0)
    for wedge in told.wedges:
        point = np.array([wedge.right_mm, wedge.behind_mm, wedge.above_mm]) + zero
        assert leaned_fit.placement.apply(point[None] * 4)[0, 2] / told.factor == pytest.approx(
            wedge.height_mm, abs=1e-6
        )
    assert len(told.checks) == 3
    assert all(check.distance_mm > 0.5 * max(told.inside_mm) for check in told.checks)
    assert "far distances" in str(told)


REFUSED = {
    "setting nothing": (lambda: bf.setting(no_room()), "nothing to set"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_asked_wrongly_is_said(what):
    assert_refused(*REFUSED[what])

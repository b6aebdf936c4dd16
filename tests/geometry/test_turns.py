"""Rotations: agreement with scipy, and what is read back from them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from blockfit.geometry.turns import about, from_quaternions, quaternion, tilt_deg, turn_deg

quaternions = st.lists(st.floats(-1, 1), min_size=4, max_size=4).filter(lambda q: np.linalg.norm(q) > 1e-3)


@given(quaternions)
def test_rotations_agree_with_scipy(q):
    ours = from_quaternions(np.array(q))
    assert ours == pytest.approx(Rotation.from_quat([*q[1:], q[0]]).as_matrix(), abs=1e-12)
    assert from_quaternions(quaternion(ours)) == pytest.approx(ours, abs=1e-12)


@given(st.floats(-179, 179), st.floats(0, 170), st.floats(0, 360))
def test_turn_and_tilt_are_read_back(turn, tilt, towards):
    # A swing by the tilt about a level axis, after a turn: scipy composes them.
    level = np.array([np.cos(np.radians(towards)), np.sin(np.radians(towards)), 0])
    swing = Rotation.from_rotvec(np.radians(tilt) * level)
    rotation = (swing * Rotation.from_euler("z", turn, degrees=True)).as_matrix()
    assert tilt_deg(rotation) == pytest.approx(tilt, abs=1e-6)
    assert turn_deg(rotation) == pytest.approx(turn, abs=1e-6)


def test_quarter_turns_are_exact():
    assert about(2, 90).tolist() == [[0, -1, 0], [1, 0, 0], [0, 0, 1]]
    assert about(0, -180).tolist() == [[1, 0, 0], [0, -1, 0], [0, 0, -1]]

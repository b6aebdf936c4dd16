"""Placements and stances are checked when they are made."""

import numpy as np
import pytest

from blockfit import BadValueError, Placement, Stance
from blockfit.geometry.turns import about


def test_placements_and_stances_are_checked():
    with pytest.raises(BadValueError, match="right-handed"):
        Placement(1, np.diag([1, 1, -1]), [0, 0, 0])
    with pytest.raises(BadValueError, match="scale"):
        Placement(0, np.eye(3), [0, 0, 0])
    with pytest.raises(BadValueError, match="0 to 180"):
        Stance.leaning(200)
    assert Stance.upright(30).allows(about(2, 30))
    assert not Stance.upright(30).allows(about(2, 31))
    assert not Stance.upright().allows(about(0, 1))

"""Does it stand? By the textbook."""

import numpy as np
import pytest

from blockfit.waste.statics import balance


def test_tipping_by_the_textbook():
    """Wolfson, Essential University Physics, ch. 12 no. 48: a base half as wide as the height tips at 26.56°."""
    corners = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], float)
    stands = balance(np.array([0.5, 0.5, 1.0]), corners)
    assert stands.weakest_deg == pytest.approx(26.565, abs=1e-3)
    assert stands.margin_mm == 0.5
    assert not balance(np.array([1.1, 0.5, 1.0]), corners).stands
    assert not balance(np.array([0.5, 0.0, 1.0]), corners[:2]).stands  # on an edge nothing stands


def test_a_line_of_contact_holds_nothing():
    assert not balance(np.array([0, 0, 50.0]), np.array([[0, 0, 0], [0, 100, 0.0]])).stands

"""Sections of solids, with the moments of the textbooks."""

import numpy as np
import pytest
from conftest import cuboid

from blockfit.measure.booleans import prism
from blockfit.measure.cross_sections import section_near
from blockfit.search.proof.widths import least_and_longest


def test_a_section_has_its_textbook_moments():
    bar = cuboid(60, 300, 80)
    section = section_near(bar.vertices, bar.faces, np.array([0, 1.0, 0]), np.array([30, 100, 40.0]))
    assert section.area_mm2 == pytest.approx(4800)
    assert sorted(np.linalg.eigvalsh(section.moments)) == pytest.approx([80 * 60**3 / 12, 60 * 80**3 / 12])
    assert section_near(bar.vertices, bar.faces, np.array([0, 1.0, 0]), np.array([0, 900.0, 0])) is None


def test_shares_and_sections_of_nothing():
    assert prism([], (0, 1), 0, 10).is_empty()
    flat = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    assert least_and_longest(flat * 100) == (0.0, pytest.approx(100 * 2**0.5, rel=1e-3))

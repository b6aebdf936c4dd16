"""What is looked at closer where a figure comes too near: found by trees, compared with every pair."""

import numpy as np
import pytest

from blockfit.search.flawed.kept import _close_pairs, _Faces


@pytest.mark.parametrize(("seed", "margin"), [(0, 0.0), (1, 3.0), (2, -1.0)])
def test_close_pairs_are_those_of_every_pair(seed, margin):
    random = np.random.default_rng(seed)
    middles = random.uniform(0, 40, size=(400, 1, 3))
    sizes = np.where(np.arange(400) % 50 == 0, 25.0, 2.0)[:, None, None]  # a few faces are very large
    theirs = _Faces.of(middles + sizes * random.normal(size=(400, 3, 3)))
    ours = _Faces.of(random.uniform(0, 40, size=(30, 1, 3)) + random.normal(size=(30, 3, 3)))
    apart = np.linalg.norm(ours.middles[:, None] - theirs.middles, axis=2) - ours.radii[:, None] - theirs.radii
    first, second = np.nonzero(apart <= margin)
    assert len(first) > 30
    found = _close_pairs(ours, theirs, margin)
    assert np.array_equal(found[0], first)
    assert np.array_equal(found[1], second)
    assert found[2] == pytest.approx(apart[first, second], abs=1e-9)

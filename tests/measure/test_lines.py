"""Where lines enter and leave a solid, against cast rays."""

import numpy as np
import pytest
import trimesh

from blockfit.measure.lines import nudged, stretches
from blockfit.measure.views import face_view


def test_lines_agree_with_cast_rays():
    """Against trimesh's rays (embree): where 400 lines enter and leave a torus."""
    mesh = trimesh.creation.torus(100, 30, major_sections=48, minor_sections=24)
    view = face_view("left")
    seen, _ = view.seen(np.array(mesh.vertices))
    places = nudged(np.random.default_rng(0).uniform(seen.min(axis=0), seen.max(axis=0), (400, 2)), 100)
    found = stretches(np.array(mesh.vertices), np.array(mesh.faces), view, places)
    assert len(found.broken) == 0
    starts = places @ np.stack([view.right, view.up]) - 500 * view.into
    hits, rays, _ = mesh.ray.intersects_location(starts, np.tile(view.into, (400, 1)))
    theirs = sorted(zip(rays.tolist(), np.round(hits @ view.into, 3).tolist(), strict=True))
    ours = sorted(
        (int(line), round(float(at), 3))
        for line, ends in zip(found.line, np.stack([found.enter, found.leave], 1), strict=True)
        for at in ends
    )
    assert [line for line, _ in ours] == [line for line, _ in theirs]
    assert np.array([at for _, at in ours]) == pytest.approx(np.array([at for _, at in theirs]), abs=0.02)

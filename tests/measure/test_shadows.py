"""Shadows, against shapely's unions."""

import manifold3d
import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from blockfit.measure.shadows import Shadow


@given(
    st.lists(
        st.tuples(st.integers(0, 6), st.integers(0, 6), st.integers(1, 4), st.integers(1, 4)), min_size=1, max_size=7
    )
)
def test_shadows_of_touching_boxes_lose_nothing(boxes):
    """Boxes on a grid touch along sides, edges and corners: their shadow by shapely's union of rectangles."""
    parts = [manifold3d.Manifold.cube([w, 5 + k, h]).translate([x, 10 * k, z]) for k, (x, z, w, h) in enumerate(boxes)]
    whole = manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add).to_mesh64()
    vertices = np.array(whole.vert_properties, float)[:, :3]
    shadow = Shadow(vertices, np.array(whole.tri_verts, np.int64), (0, 2), np.array([0.0, 1, 0]))
    for count in range(1, len(boxes) + 1):
        exact = shapely.union_all([shapely.box(x, z, x + w, z + h) for x, z, w, h in boxes[:count]])
        got = shadow.up_to(10 * (count - 1) + 1)
        assert got.symmetric_difference(exact).area < 1e-6

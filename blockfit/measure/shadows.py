"""A solid's shadow on a face, up to any depth: exact, and no part of it lost.

mm. manifold3d projects the solid; its rings may touch themselves and each other, so the area inside is built by
even-odd of every ring, compared with the projection's own area and with every vertex of the solid. Where they differ,
the shadows of all faces are united as well and the larger is taken: a shadow is never too small."""

from typing import Any

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.measure.booleans import Solid, arrays_of, projected_rings, solid_from
from blockfit.measure.sections import area_of, lacks, united_triangles

__all__ = ["Shadow"]

_SPARE_MM = 1e-3  # a vertex this far outside its solid's shadow is rounding
_SPARE_SHARE = 1e-9  # of an area: what rounding makes of it


class Shadow:
    """The shadow of a closed surface on two of the axes (0, 1 or 2), looking along ``into`` (3,), the third axis.

    >>> import numpy as np
    >>> from blockfit.measure.shadows import Shadow
    >>> corners = np.array([[0.0, 9, 0], [4, 9, 0], [0, 9, 4], [0, 1, 0]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> shadow = Shadow(corners, faces, (0, 2), np.array([0.0, 1, 0]))
    >>> round(shadow.up_to(9).area, 9), round(shadow.up_to(5).area, 9)  # half way its sides are half as long
    (8.0, 2.0)
    """

    def __init__(self, vertices: Array, faces: Ints, axes: tuple[int, int], into: Array) -> None:
        """Prepare the solid, turned so that its shadow falls along the third axis."""
        third = 3 - sum(axes)
        flip = axes == (0, 2)  # x, z, y is left-handed: the surface must be turned inside out to stay closed outward
        self._solid: Solid = solid_from(vertices[:, [*axes, third]], faces[:, ::-1] if flip else faces)
        self._sign = float(np.sign(into[third]))

    def up_to(self, depth_mm: float) -> Any:
        """Return the shapely area of the shadow of all that lies up to a depth along ``into``."""
        part = self._solid.trim_by_plane([0.0, 0.0, -self._sign], -float(depth_mm))
        rings, own = projected_rings(part)
        area = area_of(rings)
        vertices, faces = arrays_of(part)
        short = abs(float(area.area) - own) > _SPARE_SHARE * own + _SPARE_MM
        if short or lacks(area, vertices[:, :2], _SPARE_MM):
            area = area.union(united_triangles(vertices[:, :2][faces]))
        return area

"""Plane outlines; shapely's one home."""

import numpy as np

from blockfit.solids.arrays import Array

__all__ = ["Outline", "band", "footprint", "outline_of_spots", "polygon_area"]

Outline = tuple[tuple[Array, ...], ...]
"""Polygons, each a tuple of closed rings (n, 2): the outside first, then its holes."""


def outline_of_spots(spots: Array, size: float) -> Outline:
    """Return the outline of squares of ``size`` around (n, 2) points: what they cover, resolved to ``size``.

    >>> import numpy as np
    >>> from blockfit.measure.sections import outline_of_spots
    >>> len(outline_of_spots(np.array([[0.0, 0.0], [1.0, 0.0], [9.0, 9.0]]), 1.0))
    2
    """
    import shapely

    cells = np.unique(np.floor(spots / size).astype(np.int64), axis=0) * size
    merged = shapely.union_all(shapely.box(cells[:, 0], cells[:, 1], cells[:, 0] + size, cells[:, 1] + size))
    # Closing by a cell joins what only sampling left apart.
    merged = merged.buffer(size, join_style="mitre").buffer(-size, join_style="mitre").simplify(size / 2)
    parts = [merged] if merged.geom_type == "Polygon" else list(merged.geoms)
    return tuple(
        (np.array(part.exterior.coords), *(np.array(hole.coords) for hole in part.interiors))
        for part in parts
        if not part.is_empty
    )


def footprint(points: Array) -> Array:
    """Return the (k, 2) corners of the convex hull of (n, 2) points, counter-clockwise; fewer than three if flat.

    >>> import numpy as np
    >>> from blockfit.measure.sections import footprint
    >>> len(footprint(np.array([[0.0, 0], [1, 0], [1, 1], [0, 1], [0.5, 0.5]]))), len(footprint(np.zeros((4, 2))))
    (4, 1)
    """
    import shapely

    hull = shapely.MultiPoint(points).convex_hull
    if hull.geom_type != "Polygon":
        return np.array(hull.coords).reshape(-1, 2) if not hull.is_empty else np.zeros((0, 2))
    return np.array(shapely.geometry.polygon.orient(hull).exterior.coords)[:-1]


def polygon_area(ring: Array) -> float:
    """Return the area inside a ring of (n, 2) corners."""
    x, y = ring.T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def band(ring: Array, middle: Array, along: Array, across: Array, width: float) -> Array:
    """Return the (k, 3) corners of the strip of a plane convex ring (n, 3) within half a width of a line.

    The line runs through ``middle`` along a unit vector; ``across`` is square to it in the ring's plane.
    """
    import shapely

    local = (ring - middle) @ np.stack([along, across]).T
    far = float(np.abs(local).max()) + width
    strip = shapely.Polygon(local).convex_hull.intersection(shapely.box(-far, -width / 2, far, width / 2))
    corners = np.array(strip.exterior.coords)[:-1]
    return np.asarray(middle + corners @ np.stack([along, across]))

"""Plane outlines; shapely's one home."""

import numpy as np

from blockfit.solids.arrays import Array

__all__ = ["Outline", "outline_of_spots"]

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

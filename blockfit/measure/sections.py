"""Plane sections and areas: outlines, measures, what moves and what is swept. Shapely areas in mm."""

from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Flags
from blockfit.geometry.tolerances import CLOSE

__all__ = [
    "Outline",
    "SectionPlane",
    "area_from_parts",
    "area_of",
    "band",
    "convex_area",
    "distance_from",
    "distance_to",
    "footprint",
    "grown",
    "lacks",
    "moved",
    "only_areas",
    "outline_of_spots",
    "overlap",
    "parts_of",
    "parts_of_area",
    "plane_of",
    "polygon_area",
    "rings_of",
    "swept_area",
    "united",
    "united_triangles",
    "within",
]

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
    return np.asarray(middle + corners @ np.stack([along, across]), np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class SectionPlane:
    """A level area of any number of loops: mm², middle (2,), second moments about it (2, 2), and its corners (n, 2)."""

    area: float
    middle: Array
    moments: Array
    corners: Array

    def slope(self, couple: Array) -> Array:
        """Return (2,) how a linear stress rises across the area so that ∫ (r − middle) σ dA is a ``couple`` (2,)."""
        return np.asarray(np.linalg.lstsq(self.moments, couple, rcond=None)[0])

    def extremes(self, force: float, couple: Array) -> tuple[float, float]:
        """Return the greatest tension and compression in MPa, 0 or more, under a force (N, pull positive) and a couple.

        Plain beam: σ = N/A + slope · (r − middle).
        """
        if self.area <= 0:
            return 0.0, 0.0
        stress = force / self.area + (self.corners - self.middle) @ self.slope(couple)
        return max(0.0, float(stress.max())), max(0.0, -float(stress.min()))

    def share(self, force: float, couple: Array, part: "SectionPlane") -> float:
        """Return the share of a force that a part of the area carries under it and a couple."""
        own = force / self.area * part.area + part.area * float((part.middle - self.middle) @ self.slope(couple))
        return own / force if force else 0.0


def plane_of(area: Any) -> SectionPlane:
    """Return the measures of a shapely area."""
    if area.is_empty or not area.area > 0:
        return SectionPlane(0.0, np.zeros(2), np.zeros((2, 2)), np.zeros((0, 2)))
    middle = np.array([area.centroid.x, area.centroid.y])
    parts = [area] if area.geom_type == "Polygon" else list(area.geoms)
    rings = [ring for part in parts for ring in _oriented_rings(part)]
    moments = sum((_second_moments(ring - middle) for ring in rings), np.zeros((2, 2)))
    return SectionPlane(float(area.area), middle, moments, np.concatenate(rings))


def parts_of(area: Any) -> list[tuple[Any, SectionPlane]]:
    """Return the separate parts of a shapely area, each with its measures."""
    parts = [area] if area.geom_type == "Polygon" else list(area.geoms)
    return [(part, plane_of(part)) for part in parts if not part.is_empty and part.area > 0]


def united(areas: list[Any]) -> Any:
    """Return all that lies in any of some shapely areas."""
    import shapely

    return areas[0] if len(areas) == 1 else only_areas(shapely.union_all(areas))


def overlap(area: Any, ground: Any) -> Any:
    """Return the parts of a shapely area that lie over any of another."""
    import shapely

    if area.is_empty or ground.is_empty:
        return shapely.Polygon()
    parts = [area] if area.geom_type == "Polygon" else list(area.geoms)
    standing = [part for part in parts if part.intersects(ground)]
    if len(standing) == len(parts):
        return area
    return shapely.union_all(standing) if standing else shapely.Polygon()


def _oriented_rings(polygon: Any) -> list[Array]:
    """Return the rings (n, 2) of a shapely polygon, the outside first and counter-clockwise, the holes clockwise.

    Signed sums over them then come out right.
    """
    import shapely

    right = shapely.geometry.polygon.orient(polygon)
    return [np.array(ring.coords)[:-1] for ring in (right.exterior, *right.interiors)]


def _second_moments(ring: Array) -> Array:
    """Return (2, 2) ∫uu, ∫uv; ∫uv, ∫vv over a ring (n, 2), counter-clockwise positive (Green)."""
    u, v = ring.T
    p, q = np.roll(u, -1), np.roll(v, -1)
    twice = u * q - p * v
    uu = float((twice * (u * u + u * p + p * p)).sum()) / 12
    vv = float((twice * (v * v + v * q + q * q)).sum()) / 12
    uv = float((twice * (u * q + 2 * u * v + 2 * p * q + p * v)).sum()) / 24
    return np.array([[uu, uv], [uv, vv]])


def area_of(rings: list[Array]) -> Any:
    """Return the shapely area inside rings (n, 2) by even-odd: holes are kept, and nothing is lost where rings touch
    themselves, each other or along a side; empty if there are none.

    >>> import numpy as np
    >>> from blockfit.measure.sections import area_of
    >>> bow = np.array([[0.0, 0], [2, 2], [4, 0], [4, 4], [2, 2], [0, 4]])  # touches itself in the middle
    >>> area_of([bow]).area
    8.0
    """
    import shapely

    parts = [shapely.make_valid(shapely.Polygon(ring)) for ring in rings if len(ring) >= 3]
    if not parts:
        return shapely.Polygon()
    return only_areas(reduce(shapely.symmetric_difference, parts))


def only_areas(shape: Any) -> Any:
    """Return a shapely shape without the lines and points in it."""
    import shapely

    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    areas = [part for part in getattr(shape, "geoms", []) if part.geom_type in ("Polygon", "MultiPolygon")]
    return shapely.union_all(areas) if areas else shapely.Polygon()


def lacks(area: Any, points: Array, spare: float) -> bool:
    """Tell whether any of (n, 2) points lies outside a shapely area by more than ``spare``."""
    import shapely

    if len(points) == 0:
        return False
    outside = points[~shapely.contains_xy(area, *points.T)]
    if len(outside) == 0:
        return False
    shapely.prepare(area)
    return bool((shapely.distance(area, shapely.points(outside)) > spare).any()) if not area.is_empty else True


def distance_to(points: Array, place: Array) -> float:
    """Return how far a place (2,) lies from the hull of (n, 2) points, a line or a point too; inf if there are none."""
    import shapely

    if len(points) == 0:
        return np.inf
    return float(shapely.distance(shapely.MultiPoint(points).convex_hull, shapely.Point(place)))


def distance_from(area: Any, points: Array) -> Array:
    """Return how far (n, 2) points lie from a shapely area, 0 in it; nan where it is empty."""
    import shapely

    return np.asarray(shapely.distance(area, shapely.points(points)), np.float64)


def within(area: Any, points: Array, near: float) -> Flags:
    """Return which of (n, 2) points lie in a shapely area, or within ``near`` of it; none where it is empty."""
    return np.asarray(distance_from(area, points) <= near)


def swept_area(area: Any, by: Array) -> Any:
    """Return all that a shapely area passes over when it moves straight by ``by`` (2,).

    >>> import numpy as np
    >>> import shapely
    >>> from blockfit.measure.sections import swept_area
    >>> swept_area(shapely.box(0, 0, 2, 1), np.array([0.0, 3])).area
    8.0
    """
    import shapely

    sides = []
    for ring in rings_of(area):
        after = np.roll(ring, -1, axis=0)
        sides.append(np.stack([ring, after, after + by, ring + by], axis=1))
    if not sides:
        return shapely.Polygon()
    quads = np.concatenate(sides)
    return only_areas(shapely.union_all([area, moved(area, *by.tolist()), *_quads(quads)]))


def _quads(corners: Array) -> list[Any]:
    """Return (m, 4, 2) parallelograms as shapely areas, without those that are lines."""
    import shapely

    u, v = corners[:, 1] - corners[:, 0], corners[:, 3] - corners[:, 0]
    wide = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) > CLOSE
    return list(shapely.polygons(corners[wide])) if wide.any() else []


def united_triangles(corners: Array) -> Any:
    """Return the shapely area that (m, 3, 2) triangles cover together, however they overlap."""
    import shapely

    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    some = corners[np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) > 0]
    return only_areas(shapely.union_all(shapely.polygons(some))) if len(some) else shapely.Polygon()


def grown(area: Any, by: float) -> Any:
    """Return all within ``by`` of a shapely area, and a little more: its round corners are drawn outside the circle."""
    return area.buffer(by / np.cos(np.pi / 64), quad_segs=16) if by > 0 else area


def rings_of(area: Any) -> list[Array]:
    """Return the rings (n, 2) of a shapely area, outside first, the last point of each left out."""
    parts = (
        [area] if area.geom_type == "Polygon" else [p for p in getattr(area, "geoms", []) if p.geom_type == "Polygon"]
    )
    rings = []
    for part in parts:
        if not part.is_empty:
            rings += [np.array(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
    return rings


def convex_area(points: Array) -> Any:
    """Return the shapely area of the convex hull of (n, 2) points."""
    import shapely

    return shapely.MultiPoint(points).convex_hull


def moved(area: Any, right: float, up: float) -> Any:
    """Return a shapely area moved in its plane."""
    import shapely

    return shapely.affinity.translate(area, right, up)


def parts_of_area(area: Any) -> tuple[str, list[list[Array]]]:
    """Return what kind of shapely area it is, and of each part the rings (n, 2) as they are, closed, outside first."""
    if area.geom_type not in ("Polygon", "MultiPolygon"):
        raise BadValueError(f"a {area.geom_type} is no area")
    parts = getattr(area, "geoms", [area])
    rings = [[part.exterior, *part.interiors] for part in parts if not part.is_empty]
    return area.geom_type, [[np.array(ring.coords) for ring in part] for part in rings]


def area_from_parts(kind: str, parts: list[list[Array]]) -> Any:
    """Return the shapely area of these rings, to the last bit what `parts_of_area` took apart."""
    import shapely

    polygons = [shapely.Polygon(rings[0], rings[1:]) for rings in parts if rings]
    if kind == "Polygon" and len(polygons) <= 1:
        return (polygons or [shapely.Polygon()])[0]
    if kind != "MultiPolygon":
        raise BadValueError(f"{kind!r} of {len(polygons)} parts is no area")
    return shapely.MultiPolygon(polygons)

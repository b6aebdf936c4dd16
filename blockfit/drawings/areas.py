"""Areas of outlines in their own plane; shapely's home in this room. Roundings make an area larger, never smaller.

A shapely area has u to the viewer's right and v up, in mm or in the drawing's own units."""

from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Flags
from blockfit.geometry.tolerances import CLOSE, NOT_ZERO, ROUNDING
from blockfit.measure.sections import area_of, moved, only_areas, rings_of, swept_area

__all__ = [
    "area_from_rings",
    "area_of_cells",
    "beyond",
    "checked_area",
    "combined",
    "corners_of_area",
    "enclosed_area",
    "filled_lines",
    "grown_outward",
    "intervals",
    "is_area",
    "kept_parts",
    "linear",
    "ranges",
    "rounded_outward",
    "simplified_outward",
    "spread_sideways",
    "straightened",
    "unpinched",
    "with_box",
]

_CUT = 0.5  # of a cell: how far from each corner a stair is cut off before it is simplified
_CORNER = _CUT / np.sqrt(2.0)  # of a cell: how far the corner then lies outside
_PINCH = 2e-8  # of an outline's size
_MOST_PARTS = 4  # that no solid can have: the largest are reported
_STRAIGHT = 0.3  # of a cell: what straightening may move


def is_area(value: Any) -> bool:
    """Tell whether a value is a shapely shape."""
    return hasattr(value, "geom_type") and hasattr(value, "bounds")


def checked_area(shape: Any, name: str) -> Any:
    """Return a shapely (multi)polygon, made valid. Raises `BadValueError` for what is none, or holds no area."""
    import shapely

    if shape.geom_type not in ("Polygon", "MultiPolygon", "GeometryCollection"):
        raise BadValueError(f"{name} is a shapely {shape.geom_type}; a Polygon or MultiPolygon in mm is needed")
    corners = shapely.get_coordinates(shape)
    if not np.isfinite(corners).all():
        raise BadValueError(f"{name} has corners that are infinite or not a number")
    area = only_areas(shape if shape.is_valid else shapely.make_valid(shape))
    if area.is_empty or not area.area > 0:
        raise BadValueError(f"{name} holds no area: there is no outline in it")
    return shapely.force_2d(area)


def with_box(area: Any, spans: Array) -> Any:
    """Return an area and the box from ``spans[0]`` across and ``spans[1]`` up, as one."""
    import shapely

    (left, right), (low, high) = spans.tolist()
    return only_areas(shapely.union_all([area, shapely.box(left, low, right, high)]))


def area_of_cells(cells: Flags) -> Any:
    """Return the exact area of the cells (h, w) that are true: unit squares, the first row at the top.

    >>> import numpy as np
    >>> from blockfit.drawings.areas import area_of_cells
    >>> ring = np.ones((5, 4), bool); ring[2, 1] = False
    >>> area_of_cells(ring).area, area_of_cells(ring).bounds
    (19.0, (0.0, 0.0, 4.0, 5.0))
    """
    import shapely

    edges = np.diff(np.pad(cells, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    rows, starts = np.nonzero(edges == 1)
    ends = np.nonzero(edges == -1)[1]
    top = float(len(cells)) - rows
    runs = shapely.box(starts, top - 1, ends, top)
    return only_areas(shapely.union_all(runs).simplify(0)) if len(runs) else shapely.Polygon()


def area_from_rings(rings: list[Array], *, even_odd: bool = True) -> Any:
    """Return the area inside rings (n, 2): by even-odd, or by winding number (which is not 0)."""
    import shapely

    good = [ring for ring in rings if len(ring) >= 3]
    if not good:
        return shapely.Polygon()
    if len(good) == 1 and (alone := shapely.Polygon(good[0])).is_valid:
        return alone
    if even_odd:
        return area_of(good)
    lines = shapely.union_all([shapely.LinearRing(ring) for ring in good])
    cells = list(shapely.polygonize([lines]).geoms)
    inside = [cell for cell in cells if _winding(good, np.array(cell.representative_point().coords)[0]) != 0]
    return only_areas(shapely.union_all(inside)) if inside else shapely.Polygon()


def _winding(rings: list[Array], at: Array) -> int:
    """Return how often rings go round a place, counter-clockwise."""
    turns = 0
    for ring in rings:
        here, there = ring - at, np.roll(ring, -1, axis=0) - at
        left = here[:, 0] * there[:, 1] - here[:, 1] * there[:, 0]
        up = (here[:, 1] <= 0) & (there[:, 1] > 0) & (left > 0)
        down = (here[:, 1] > 0) & (there[:, 1] <= 0) & (left < 0)
        turns += int(up.sum()) - int(down.sum())
    return turns


def combined(first: Any, second: Any, how: str) -> Any:
    """Return two areas united (``add``), or the first without the second (``take``)."""
    import shapely

    return only_areas(shapely.union(first, second) if how == "add" else shapely.difference(first, second))


def filled_lines(area: Any) -> Any:
    """Return what the lines of a drawing enclose, given the lines as an area; enclosed again, it is an opening.

    The lines themselves count as stone: outsides are taken outside the line, openings inside it.
    """
    import shapely

    parts = sorted(_parts(area), key=lambda part: -shapely.Polygon(part.exterior).area)
    filled: Any = shapely.Polygon()
    for part in parts:
        outside = shapely.Polygon(part.exterior)
        if filled.is_empty or not shapely.contains(filled, part.representative_point()):
            filled = shapely.union(filled, outside)  # outside all so far: stone
        else:
            holes = [shapely.Polygon(ring) for ring in part.interiors]
            filled = shapely.difference(filled, shapely.union_all(holes)) if holes else filled
    return only_areas(filled)


def _parts(area: Any) -> list[Any]:
    return [part for part in (getattr(area, "geoms", None) or [area]) if not part.is_empty]


def enclosed_area(area: Any) -> float:
    """Return how much the outsides of an area's parts enclose."""
    import shapely

    return float(sum(shapely.Polygon(part.exterior).area for part in _parts(area)))


def kept_parts(area: Any, least_share: float, least_hole: float) -> tuple[Any, int]:
    """Return an area without specks below a share of its largest part and with holes below ``least_hole`` filled.

    Also returns how many specks went.
    """
    import shapely

    parts = _parts(area)
    most = max(part.area for part in parts)
    kept = [part for part in parts if part.area >= least_share * most]
    whole = [
        shapely.Polygon(part.exterior, [ring for ring in part.interiors if shapely.Polygon(ring).area >= least_hole])
        for part in kept
    ]
    return (whole[0] if len(whole) == 1 else shapely.MultiPolygon(whole)), len(parts) - len(kept)


def ranges(area: Any) -> Array:
    """Return (2, 2) the least and greatest u, and v."""
    low_u, low_v, high_u, high_v = area.bounds
    return np.array([[low_u, high_u], [low_v, high_v]])


def linear(area: Any, matrix: Array, shift: Array) -> Any:
    """Return an area with every corner c moved to ``matrix @ c + shift``."""
    import shapely

    def move(corners: Array) -> Array:
        return np.asarray(corners @ matrix.T + shift)

    return shapely.transform(area, move)


def corners_of_area(area: Any) -> int:
    """Return how many corners an area has."""
    import shapely

    return int(shapely.get_num_coordinates(area))


def grown_outward(area: Any, by: float) -> Any:
    """Return an area that holds all within ``by`` of it; corners stay sharp up to twice that."""
    return area if by <= 0 else only_areas(area.buffer(by, join_style="mitre", mitre_limit=2.0))


def unpinched(area: Any) -> Any:
    """Return an area in which no two corners touch: where some do, all of it grown by far less than can be cut.

    Solids over corners that touch lose stone when they are cut: edges of four faces are no surface. manifold3d lost
    some in 2 of 100 random pictures with such corners, in none of 4,000 without, and in none that were grown so.
    """
    corners = np.concatenate(rings_of(area))
    if len(np.unique(corners, axis=0)) == len(corners):
        return area
    return grown_outward(area, _PINCH * float(np.ptp(corners, axis=0).max()))


def rounded_outward(area: Any, by: float) -> Any:
    """Return all within ``by`` of an area, and a little more: its round corners are drawn outside the circle."""
    return area if by <= 0 else only_areas(area.buffer(by / np.cos(np.pi / 32), quad_segs=8))


def intervals(area: Any, along: int) -> Array:
    """Return (k, 2) the intervals of u (0) or v (1) in which an area has any points, in order."""
    spans = np.array([ranges(part)[along] for part in _parts(area)])
    spans = spans[np.argsort(spans[:, 0], kind="stable")]
    merged: list[list[float]] = []
    for low, high in spans.tolist():
        if merged and low <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], high)
        else:
            merged.append([low, high])
    return np.array(merged)


def simplified_outward(area: Any, cell: float) -> tuple[Any, float]:
    """Return an area of fewer corners that holds it, and by how much at most it reaches further."""
    import shapely

    straight, by = straightened(area, cell)
    held = grown_outward(straight, by)
    lost = shapely.difference(area, held)
    if not lost.is_empty:  # parts joined at a corner only can be cut apart there
        held = shapely.union(held, lost)
    corners = shapely.points(shapely.get_coordinates(held))
    shapely.prepare(area)
    return only_areas(held), float(shapely.distance(area, corners).max())


def straightened(area: Any, cell: float) -> tuple[Any, float]:
    """Return an area of fewer corners, and by how much it must grow to hold the one given.

    Stairs of ``cell`` are cut to slopes and straightened within a part of a cell. A straight line that replaces a piece
    of outline lies within that distance of all of it, so what lies between the two does too.
    """
    import shapely

    def slopes(ring: Any) -> Array:
        corners = np.array(ring.coords)[:-1]
        after = np.roll(corners, -1, axis=0) - corners
        length = np.linalg.norm(after, axis=1)[:, None]
        share = np.minimum(_CUT * cell / length, 0.5)
        cut = np.stack([corners + share * after, corners + (1 - share) * after], axis=1)
        return np.asarray(cut.reshape(-1, 2))

    parts = [shapely.Polygon(slopes(p.exterior), [slopes(ring) for ring in p.interiors]) for p in _parts(area)]
    sloped = shapely.union_all(shapely.make_valid(parts))
    straight = sloped.simplify(_STRAIGHT * cell, preserve_topology=True)
    return only_areas(straight), (_CORNER + _STRAIGHT) * cell


def spread_sideways(area: Any, low: float, high: float) -> Any:
    """Return all that an area passes over when it moves sideways by any amount from ``low`` to ``high``."""
    spread = area if high <= low else swept_area(area, np.array([high - low, 0.0]))
    return moved(spread, low, 0.0)


def beyond(area: Any, shadow: Any, spare: float, nothing: float) -> tuple[list[tuple[Array, float, float]], float]:
    """Return the parts of an area that reach beyond ``spare`` of a shadow, and how far at most all others do.

    Each part comes with its ranges (2, 2), its area, and how far it reaches. ``nothing`` is what rounding makes.
    """
    import shapely

    rest = np.array(_parts(only_areas(shapely.difference(area, shadow))))
    reaches = _at_most(rest, shadow)
    rest, reaches = rest[reaches > nothing], reaches[reaches > nothing]
    if (reaches <= spare).all() and _is_within(rest, shadow, float(reaches.max(initial=0.0))):
        return [], float(reaches.max(initial=0.0))
    far = only_areas(shapely.difference(shapely.union_all(rest), rounded_outward(shadow, spare)))
    shapely.prepare(far)
    wrong = shapely.intersects(rest, far) if not far.is_empty else np.zeros(len(rest), bool)
    found = sorted(((ranges(p), float(p.area), p) for p in rest[wrong]), key=lambda one: -one[1])
    told = [(place, size, _reach(p, shadow)) for place, size, p in found[:_MOST_PARTS]]
    others = float(reaches[~wrong].max(initial=0.0))
    return told, others if others < spare and _is_within(rest[~wrong], shadow, others) else spare


def _is_within(parts: Any, shadow: Any, by: float) -> bool:
    """Tell whether all of some parts lies within so much of a shadow: a side between two near corners may not."""
    import shapely

    if len(parts) == 0:
        return True
    rest = shapely.difference(shapely.union_all(parts), rounded_outward(shadow, by * (1 + CLOSE)))
    return bool(only_areas(rest).area <= CLOSE * max(shadow.area, NOT_ZERO))


def _at_most(parts: Any, shadow: Any) -> Array:
    """Return (n,) about how far each part reaches from a shadow: its corners' distance and half its width."""
    import shapely

    if len(parts) == 0 or shadow.is_empty:
        return np.full(len(parts), np.inf)
    corners, which = shapely.get_coordinates(parts, return_index=True)
    shapely.prepare(shadow)
    rims = np.zeros(len(parts))
    np.maximum.at(rims, which, shapely.distance(shadow, shapely.points(corners)))
    bounds = shapely.bounds(parts)
    sides = np.minimum(bounds[:, 2] - bounds[:, 0], bounds[:, 3] - bounds[:, 1]) / 2
    return np.asarray(rims + np.minimum(sides, np.sqrt(shapely.area(parts) / np.pi)))


def _reach(part: Any, shadow: Any) -> float:
    """Return how far a part reaches beyond a shadow: no less, and a 64th more at most; infinite without a shadow.

    Distances from the shadow are greatest anywhere in a part, not only at its corners, so its growth is tried.
    """
    import shapely

    if shadow.is_empty:
        return float("inf")
    low, high = 0.0, float(shapely.hausdorff_distance(part, shadow)) + ROUNDING
    while high - low > high / 64:
        middle = (low + high) / 2
        inside = shapely.difference(part, shadow.buffer(middle, quad_segs=32)).is_empty
        low, high = (low, middle) if inside else (middle, high)
    return high

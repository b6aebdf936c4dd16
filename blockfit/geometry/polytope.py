"""Convex solids between corners and planes; qhull's one home.

Planes: ``normals @ x <= offsets``. Lengths in any unit. Flat point sets, which qhull refuses, are handled."""

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.programs import largest_box, least
from blockfit.geometry.tolerances import CLOSE, NOT_ZERO, ROUNDING

__all__ = [
    "box_corners",
    "corners_of",
    "corners_or_none",
    "hull_corners",
    "hull_planes",
    "inner_ball",
    "inner_box",
    "inner_reach",
    "least_width",
    "polytope_volume",
]

_SAME_PLANE = 1e-8  # of the points' size: planes, or a corner and a plane, so near are one
_SECOND, _THIRD = 1e-3, 1e-6  # of an edge's direction, the sign of x decides, then of y, then of z
_CROSS = 1e-6  # the sine of edges that are parallel: they ask no direction of their own


def hull_corners(points: Array) -> Ints:
    """Return which of (n, 3) points are corners of their convex hull, also if they lie in a plane or a line."""
    from scipy.spatial import ConvexHull, QhullError

    middle = points.mean(axis=0)
    size = float(np.abs(points - middle).max())
    if size == 0:
        return np.zeros(1, np.int64)
    _, spread, axes = np.linalg.svd(points - middle, full_matrices=False)
    flat = int(np.count_nonzero(spread > CLOSE * spread[0]))
    local = (points - middle) @ axes[:flat].T
    if flat == 1:
        return np.array([int(local.argmin()), int(local.argmax())])
    try:
        return np.sort(ConvexHull(local).vertices).astype(np.int64)
    except QhullError:  # nearly flat: every point stays, which is never wrong
        return np.arange(len(points))


def hull_planes(points: Array) -> tuple[Array, Array]:
    """Return the outward normals (f, 3) and offsets (f,) of the hull of (n, 3) points, coplanar ones once."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        equations = ConvexHull(points).equations
    except (QhullError, ValueError) as error:
        raise BadValueError("points span no volume: a block needs four corners that do not lie in a plane") from error
    size = float(np.ptp(points, axis=0).max())
    _, first = np.unique(np.round(equations / [1, 1, 1, size], 9), axis=0, return_index=True)
    kept: list[int] = []
    for k in first:  # rounding may split one plane into two neighbours
        if not any(np.abs((equations[k] - equations[j]) / [1, 1, 1, size]).max() < _SAME_PLANE for j in kept):
            kept.append(int(k))
    return np.asarray(equations[kept, :3]), np.asarray(-equations[kept, 3])


def inner_ball(normals: Array, offsets: Array) -> tuple[Array, float]:
    """Return centre (3,) and radius of the largest ball inside the planes; a radius below 0 if there is none.

    Raises `BadValueError` if the planes do not close.
    """
    rows = np.column_stack([normals, np.linalg.norm(normals, axis=1)])
    found = least(np.array([0.0, 0, 0, -1]), rows, offsets)
    if found is None:
        raise BadValueError("the planes do not close a block: some direction is left open")
    return found.point[:3], float(found.point[3])


def inner_reach(points: Array) -> float:
    """Return the radius of the largest ball around the origin inside the hull of (n, 3) points; 0 if there is none."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        return max(0.0, -float(ConvexHull(points).equations[:, 3].max()))
    except (QhullError, ValueError):  # flat, or fewer than four points
        return 0.0


def corners_of(normals: Array, offsets: Array) -> tuple[Array, Ints]:
    """Return the corners (n, 3) of the solid between planes, and which planes touch it.

    Raises `BadValueError` if the planes leave nothing or do not close.

    >>> import numpy as np
    >>> from blockfit.geometry.polytope import corners_of
    >>> corners, touching = corners_of(np.vstack([np.eye(3), -np.eye(3), np.ones((1, 3))]), np.r_[[1] * 3, [0] * 3, 9])
    >>> len(corners), touching.tolist()
    (8, [0, 1, 2, 3, 4, 5])
    """
    from scipy.spatial import HalfspaceIntersection, QhullError

    centre, radius = inner_ball(normals, offsets)
    scale = max(float(np.abs(offsets).max()), NOT_ZERO)
    if radius <= ROUNDING * scale:
        raise BadValueError("the planes leave no stone between them")
    try:
        with np.errstate(divide="ignore", invalid="ignore"):  # planes that never meet are reported below
            meeting = HalfspaceIntersection(np.column_stack([normals, -offsets]), centre).intersections
    except QhullError as error:
        raise BadValueError("the planes do not close a block") from error
    if not np.isfinite(meeting).all() or np.abs(meeting - centre).max() > 1e9 * radius:
        raise BadValueError("the planes do not close a block: some direction is left open")
    size = float(np.ptp(meeting, axis=0).max())
    corners = meeting[_distinct(meeting, CLOSE * size)]
    corners = np.where(np.abs(corners) < ROUNDING * size, 0.0, corners)
    on_plane = np.abs(corners @ normals.T - offsets) < _SAME_PLANE * size  # (n, f)
    touching = np.flatnonzero(on_plane.sum(axis=0) >= 3)
    # Of planes that coincide, one is enough.
    rows = np.round(np.column_stack([normals, offsets / size]), 9)[touching]
    _, first = np.unique(rows, axis=0, return_index=True)
    return corners, touching[np.sort(first)]


def corners_or_none(normals: Array, offsets: Array) -> Array | None:
    """Return the corners (n, 3) of the solid between planes; ``None`` where they leave nothing or do not close."""
    try:
        return corners_of(normals, offsets)[0]
    except BadValueError:
        return None


def box_corners(low: Array, high: Array) -> Array:
    """Return the corners (8, 3) of the box between two corners (3,).

    >>> import numpy as np
    >>> from blockfit.geometry.polytope import box_corners
    >>> box_corners(np.zeros(3), np.array([1.0, 2, 3])).tolist()[-1]
    [1.0, 2.0, 3.0]
    """
    ends = np.stack([low, high])
    return np.array([[ends[i, 0], ends[j, 1], ends[k, 2]] for k in (0, 1) for j in (0, 1) for i in (0, 1)])


def inner_box(corners: Array, frames: list[Array]) -> Array:
    """Return the sizes (3,) of the largest box inside the hull of (n, 3) corners, along the rows of any of ``frames``.

    >>> import numpy as np
    >>> from blockfit.geometry.polytope import inner_box
    >>> wedge = np.array([[0, 0, 0], [6, 0, 0], [0, 4, 0], [6, 4, 0], [0, 0, 5], [6, 0, 5]], float)
    >>> inner_box(wedge, [np.eye(3)]).round(2).tolist()
    [6.0, 2.0, 2.5]
    """
    normals, offsets = hull_planes(corners)
    centre, radius = inner_ball(normals, offsets)
    boxes = [largest_box(normals @ frame.T, offsets, frame @ centre, radius) for frame in frames]
    return max(boxes, key=lambda box: float(box.prod()))


def polytope_centre(corners: Array) -> Array:
    """Return the centre of gravity (3,) of the convex hull of (n, 3) corners."""
    from scipy.spatial import ConvexHull

    middle = corners.mean(axis=0)
    a, b, c = (corners[ConvexHull(corners).simplices[:, k]] - middle for k in range(3))
    sixth = np.abs(np.einsum("ij,ij->i", a, np.cross(b, c)))  # every tetrahedron from the middle lies inside
    return np.asarray(middle + (sixth[:, None] * (a + b + c)).sum(axis=0) / (4 * sixth.sum()))


def polytope_volume(corners: Array) -> float:
    """Return the volume of the convex hull of (n, 3) corners; 0 if it is flat."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        return float(ConvexHull(corners).volume)
    except (QhullError, ValueError):
        return 0.0


def least_width(corners: Array) -> float:
    """Return the least distance between two parallel planes that hold (n, 3) corners between them.

    It is met by a face and a corner, or by two edges: all are tried, so few corners are meant.
    """
    from scipy.spatial import ConvexHull

    normals = hull_planes(corners)[0]
    simplices = ConvexHull(corners).simplices
    edges = corners[simplices] - corners[np.roll(simplices, 1, axis=1)]
    edges = edges.reshape(-1, 3)
    edges = edges / np.linalg.norm(edges, axis=1, keepdims=True)
    edges = np.unique(np.round(edges * np.sign(edges @ [1, _SECOND, _THIRD])[:, None], 9), axis=0)
    first, second = np.triu_indices(len(edges), 1)
    across = np.cross(edges[first], edges[second])
    length = np.linalg.norm(across, axis=1)
    across = across[length > _CROSS] / length[length > _CROSS, None]
    heights = corners @ np.concatenate([normals, across]).T
    return float(np.ptp(heights, axis=0).min())


def _distinct(points: Array, tolerance: float) -> Ints:
    """Return indices of points further apart than ``tolerance``; few points, so all pairs are compared."""
    order = np.lexsort(points.T[::-1])
    kept: list[int] = []
    for k in order:
        if not kept or np.abs(points[kept] - points[k]).max(axis=1).min() > tolerance:
            kept.append(int(k))
    return np.array(kept, np.int64)


def linear_over(points: Array, places: Array) -> tuple[Ints, Array, Ints]:
    """Return which triangle of the Delaunay triangulation of (n, 2) points holds each of (q, 2) places (−1: none),
    the places' shares (q, 3) of its corners, and the triangles (t, 3).

    Points that lie in a line have no triangles.
    """
    from scipy.spatial import Delaunay, QhullError

    try:
        mesh = Delaunay(points)
    except (QhullError, ValueError):
        return np.full(len(places), -1), np.zeros((len(places), 3)), np.zeros((0, 3), np.int64)
    which = np.asarray(mesh.find_simplex(places), np.int64)
    to = mesh.transform[which]
    two = np.einsum("qij,qj->qi", to[:, :2], places - to[:, 2])
    return which, np.column_stack([two, 1 - two.sum(axis=1)]), np.asarray(mesh.simplices, np.int64)

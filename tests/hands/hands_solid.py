"""What the second pair of hands needs of solids: where a tool first touches, how far solids are apart, what is left.

Everything is measured twice, by manifold3d's booleans and by cutting triangles or by distances from points, so that a
fault is put to the sheets and not to these hands. mm, block frame."""

import manifold3d as m3
import numpy as np
from hands_figures import surface_of
from hands_read import inward
from scipy.spatial import ConvexHull

__all__ = [
    "Convex", "Skewed", "apart_by_points", "clipped", "column", "cut_to", "inside_of", "point_gap", "shadow",
    "thickness", "touch",
]  # fmt: skip


def clipped(vertices, faces, walls) -> np.ndarray:
    """Corners (n, 3) of what is left of triangles within walls (k, 4), normal · x <= offset, by cutting each."""
    corners = vertices[faces]
    over = np.einsum("tij,kj->tki", corners, walls[:, :3]) - walls[:, 3][None, :, None]
    near = ~(over > 0).all(axis=2).any(axis=1)
    whole = near & (over <= 0).all(axis=(1, 2))
    pieces = [corners[whole].reshape(-1, 3)]
    for polygon in corners[near & ~whole]:
        for wall in walls:
            side = polygon @ wall[:3] - wall[3]
            cut = []
            for k, now in enumerate(side):
                before = side[k - 1]
                if (now > 0) != (before > 0):
                    cut.append(polygon[k - 1] + (polygon[k] - polygon[k - 1]) * (before / (before - now)))
                if now <= 0:
                    cut.append(polygon[k])
            polygon = np.array(cut).reshape(-1, 3)
            if not len(polygon):
                break
        pieces.append(polygon)
    return np.concatenate(pieces)


def inside_of(walls, low: float, high: float, axis: int) -> m3.Manifold:
    """The solid within walls (k, 4) that run along an axis, from ``low`` to ``high`` along it."""
    hull = m3.Manifold.cube((8e3, 8e3, 8e3), True)
    for wall in walls:
        hull = hull.trim_by_plane(tuple(-wall[:3]), -wall[3])
    ends = np.eye(3)[axis]
    return hull.trim_by_plane(tuple(ends), low).trim_by_plane(tuple(-ends), -high)


def column(axis: int, place, half: float) -> np.ndarray:
    """The walls of a square column along an axis about a place."""
    others = [k for k in range(3) if k != axis]
    return np.array([[*(sign * np.eye(3)[k]), sign * place[k] + half] for k in others for sign in (1, -1)])


def cut_to(solid: m3.Manifold, walls, axis: int, fine: float = 0) -> np.ndarray:
    """Corners (n, 3) of the part of a solid within walls along an axis, by a boolean; ``fine`` divides its edges."""
    box = np.array(solid.bounding_box())
    part = solid ^ inside_of(walls, box[axis] - 1, box[3 + axis] + 1, axis)
    if part.is_empty():
        return np.zeros((0, 3))
    return surface_of(part.refine_to_length(fine) if fine else part)[0]


def touch(solid: m3.Manifold, face: str, place, half: float) -> float:
    """Where a square tool coming straight in from a face first touches, along the way in; inf where it never does."""
    axis, sign = inward(face)
    met = cut_to(solid, column(axis, place, half), axis)
    return float((sign * met[:, axis]).min()) if len(met) else np.inf


class Convex:
    """The faces of a convex block: where a straight line enters it."""

    def __init__(self, corners):
        hull = ConvexHull(corners).equations
        self.planes = np.unique(np.round(hull * [1, 1, 1, -1], 9), axis=0)
        self.fine = 0.0

    def entry(self, face: str, places) -> np.ndarray:
        """Where lines along a face's way in enter (n,), along the way in, at places (n, 3)."""
        axis, sign = inward(face)
        facing = self.planes[self.planes[:, axis] * sign < -1e-9]
        flat = np.array(places, float)
        flat[:, axis] = 0
        return ((facing[:, 3] - flat @ facing[:, :3].T) / (facing[:, axis] * sign)).max(axis=1)


class Skewed:
    """A block out of square: faces that run straight, bilinearly, between eight corners (2, 2, 2, 3) by x, y, z."""

    def __init__(self, corners):
        self.corners = np.asarray(corners, float)
        self.fine = 8.0

    def entry(self, face: str, places) -> np.ndarray:
        axis, sign = inward(face)
        patch = np.take(self.corners, 0 if sign > 0 else 1, axis=axis)  # (2, 2, 3)
        others = [k for k in range(3) if k != axis]
        wanted = np.asarray(places, float)[:, others]
        low, high = patch[0, 0, others], patch[1, 1, others]
        at = (wanted - low) / (high - low)
        for _ in range(9):  # Newton's steps: the map is nearly a stretch
            u, v = at[:, :1], at[:, 1:]
            here = (1 - u) * ((1 - v) * patch[0, 0] + v * patch[0, 1]) + u * ((1 - v) * patch[1, 0] + v * patch[1, 1])
            at = at + (wanted - here[:, others]) / (high - low)
        return sign * here[:, axis]


def _nearest_on_triangles(point, corners) -> float:
    """Distance from a point to the nearest of triangles (n, 3, 3): to planes where it falls inside, else to edges."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    best = np.inf
    for start, end in ((a, b), (b, c), (c, a)):
        along = end - start
        length = np.maximum((along**2).sum(1), 1e-300)
        share = np.clip(((point - start) * along).sum(1) / length, 0, 1)
        best = min(best, float((((start + share[:, None] * along) - point) ** 2).sum(1).min()) ** 0.5)
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1)
    good = area > 1e-12
    normal = normal[good] / area[good, None]
    inside = np.ones(len(normal), bool)
    for start, end in ((a, b), (b, c), (c, a)):
        inside &= (np.cross((end - start)[good], point - start[good]) * normal).sum(1) >= 0
    off = np.abs(((point - a[good]) * normal).sum(1))[inside]
    return min(best, float(off.min())) if len(off) else best


def point_gap(solid: m3.Manifold, point) -> float:
    """Distance from a point to a solid's surface."""
    vertices, faces = surface_of(solid)
    return _nearest_on_triangles(np.asarray(point, float), vertices[faces])


def apart_by_points(one: m3.Manifold, other: m3.Manifold, fine: float = 8.0) -> float:
    """How far two solids are apart, or a little more: from points of each to the triangles of the other."""
    best = np.inf
    for first, second in ((one, other), (other, one)):
        vertices, faces = surface_of(second)
        corners = vertices[faces]
        middles = corners.mean(axis=1)
        reach = np.linalg.norm(corners - middles[:, None], axis=2).max(axis=1)
        for point in surface_of(first.refine_to_length(fine))[0]:
            # No triangle is nearer than its middle less its reach; the slack covers rounding.
            near = np.linalg.norm(middles - point, axis=1) - reach < best + 1e-6
            if near.any():
                best = min(best, _nearest_on_triangles(point, corners[near]))
    return best


def thickness(solid: m3.Manifold) -> float:
    """How thick the thickest part of what a boolean left is: twice its volume by its surface; a sheet is 0."""
    parts = [part for part in solid.decompose() if part.volume() > 0]
    return max((2 * part.volume() / part.surface_area() for part in parts), default=0.0)


def shadow(solid: m3.Manifold) -> m3.CrossSection:
    """The outline of a solid along its third axis: its triangles, laid over each other."""
    vertices, faces = surface_of(solid)
    flat = vertices[faces][:, :, :2]
    first, second = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    rings = [ring if turn > 0 else ring[::-1] for ring, turn in zip(flat, area, strict=True) if abs(turn) > 1e-9]
    return m3.CrossSection([np.ascontiguousarray(ring) for ring in rings], m3.FillRule.NonZero)

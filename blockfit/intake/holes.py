"""Holes in a scan: found as loops of open sides, capped flat where they are flat or small."""

import math

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.surface import open_edges
from blockfit.measure.booleans import triangulated
from blockfit.solids.figure import Repair

__all__ = ["fill_holes", "hole_loops"]

_SMALL = 0.12  # of the figure's size: holes up to this width are capped without being asked
_FLAT = 0.03  # of the loop's width: how far a loop may stray from its plane and still be a sawn-off base
_RAGGED = 0.12  # and a loop that has the whole figure on one side of it, as under a scan that ends at the floor


def fill_holes(vertices: Array, faces: Ints, max_hole_mm: float | None) -> tuple[Array, Ints, list[Repair]]:
    """Cap flat loops of any size and others up to ``max_hole_mm`` wide (an eighth of the figure if not given)."""
    loops = hole_loops(faces)
    if not loops:
        return vertices, faces, []
    size = float(np.ptp(vertices, axis=0).max())
    most = _SMALL * size if max_hole_mm is None else max_hole_mm
    added: list[Ints] = []
    bases: list[float] = []
    small: list[float] = []
    left: list[float] = []
    for loop in loops:
        points = vertices[loop]
        width = float(np.linalg.norm(np.ptp(points, axis=0)))
        if width > most and not _is_base(points, vertices, width):
            left.append(width)
            continue
        (bases if width > most else small).append(width)
        added.append(_cap(points, loop))
    news = []
    if bases:
        text = f"closed {len(bases)} flat opening{'s' * (len(bases) > 1)}, the widest {max(bases):.0f} mm across"
        news.append(Repair("open base", text, (("bases", len(bases)), ("widest_mm", max(bases)))))
    if small:
        text = f"closed {len(small)} hole{'s' * (len(small) > 1)}, the widest {max(small):.3g} mm"
        news.append(Repair("holes", text, (("holes", len(small)), ("widest_mm", max(small)))))
    if left:
        text = f"left {len(left)} large holes open, the widest {max(left):.3g} mm; "
        text += f"max_hole={math.ceil(max(left))} (mm) would cap them"
        news.append(Repair("large holes", text, (("holes", len(left)), ("widest_mm", max(left)))))
    return vertices, np.concatenate([faces, *added]) if added else faces, news


def hole_loops(faces: Ints) -> list[Ints]:
    """Return the loops of vertices around holes, in the direction in which their caps must run.

    Where several holes meet in one vertex, the walk closes the shortest loop first.
    """
    edges = open_edges(faces)
    following: dict[int, list[int]] = {}
    for start, end in edges.tolist():
        following.setdefault(end, []).append(start)  # a cap runs against the faces around it
    loops = []
    for first in list(following):
        while following.get(first):
            path, seen = [first], {first: 0}
            while following.get(path[-1]):
                step = following[path[-1]].pop()
                if step in seen:
                    cut = seen[step]
                    loop = path[cut:]
                    if len(loop) >= 3:
                        loops.append(np.array(loop, np.int64))
                    for vertex in loop[1:]:
                        del seen[vertex]
                    path = path[: cut + 1]
                else:
                    seen[step] = len(path)
                    path.append(step)
            if len(path) == 1:
                continue
            break  # a chain that does not close: the surface has one-sided sides here
    return loops


def _is_base(points: Array, vertices: Array, width: float) -> bool:
    """Tell whether a loop is flat, or ragged at one end of the figure: then its cap can only be a base."""
    middle = points.mean(axis=0)
    normal = np.linalg.svd(points - middle, full_matrices=False)[2][-1]
    stray = float(np.ptp(points @ normal))
    beyond = (vertices - middle) @ normal
    one_sided = min(float(beyond.max()), -float(beyond.min())) <= stray
    return stray <= _FLAT * width or (stray <= _RAGGED * width and one_sided)


def _cap(points: Array, loop: Ints) -> Ints:
    """Return faces that fill a loop: flat triangulation seen along the loop's own area vector."""
    following = np.roll(points, -1, axis=0)
    area = np.cross(points - points[0], following - points[0]).sum(axis=0)
    length = float(np.linalg.norm(area))
    if len(loop) == 3 or length == 0:
        return np.stack([np.full(len(loop) - 2, loop[0]), loop[1:-1], loop[2:]], axis=1)
    right = np.cross(area / length, np.eye(3)[int(np.abs(area).argmin())])
    right /= np.linalg.norm(right)
    flat = points @ np.stack([right, np.cross(area / length, right)], axis=1)
    return loop[triangulated([flat])]

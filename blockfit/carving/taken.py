"""What has been done to the stone, as solids: planes of roughing out, points cut to their stops, what was lost.

mm, block frame. Each is what the sheet allows and no more: planes take what lies outside their outlines, points the
hole of the stated tool down to the stop as printed, and what the table allows between three points."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.marking.pointing import Pointing
from blockfit.marking.roughing import Plane, Roughing
from blockfit.marking.ways_in import way_in
from blockfit.measure.booleans import Solid, ball_solid, hull_solid, prism, solid_from, unite
from blockfit.measure.sections import rings_of
from blockfit.measure.views import View, face_view
from blockfit.search.flawed.obstacles import obstacles_of
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure, require_solid
from blockfit.solids.flaw import Flaw

__all__ = ["by_planes", "by_points", "lost_solids", "planes_done"]

_ROUND = 24  # corners of a pricked hole
_LEAST_RADIUS_MM = 1e-3  # a loss said to be a point is a thousandth of a millimetre across


def planes_done(
    planes: Roughing | Sequence[Roughing], to: int | Sequence[int] | None
) -> list[tuple[Roughing, tuple[Plane, ...]]]:
    """Return each table of planes with those that are done: the first ``to`` of it (default: all)."""
    tables = [planes] if isinstance(planes, Roughing) else list(planes)
    counts = [to] * len(tables) if to is None or isinstance(to, int) else list(to)
    if len(counts) != len(tables):
        raise BadValueError(f"to={to!r} must name one count of planes for each of the {len(tables)} tables")
    done = []
    for table, count in zip(tables, counts, strict=True):
        most = len(table.planes)
        number = most if count is None else count
        if isinstance(number, bool) or not 0 <= number <= most:
            raise BadValueError(
                f"to={count!r} must be 0 to {most}: so many planes are in the table of the {table.face}"
            )
        done.append((table, table.planes[:number]))
    return done


def by_planes(block: Block, table: Roughing, done: Sequence[Plane]) -> Solid | None:
    """Return what planes that are done have taken out, as one solid; ``None`` for none.

    Down to each plane all that lies outside its outline is gone.
    """
    if not done:
        return None
    view = face_view(table.face)
    third = 3 - sum(table.axes)
    sign = float(view.into[third])
    corners = block.corners_mm
    spare = 1.0 + 0.01 * max(block.size_mm)
    start = float((corners @ view.into).min())
    low, high = corners.min(axis=0) - spare, corners.max(axis=0) + spare
    a, b = table.axes
    around = np.array([[low[a], low[b]], [high[a], low[b]], [high[a], high[b]], [low[a], high[b]]])
    bodies = []
    for plane in done:
        near, far = sorted(((start - spare) * sign, (start + plane.depth_mm) * sign))
        bodies.append(prism([around, *rings_of(plane.keep)], table.axes, near, far))
    return unite(bodies)


def by_points(fit: Fit, points: Pointing) -> Solid | None:
    """Return what is gone once every point is pricked and the stone between points is cut as the table says.

    ``None`` where nothing is to be cut.
    """
    block = fit.block
    bodies: list[Solid] = []
    for face in points.from_words:
        view, way = face_view(face), way_in(block, points.datum, face)
        ours = {p.number: p for p in points.points if p.face == face and p.stop_mm is not None}
        if not ours:
            continue
        numbers = {number: k for k, number in enumerate(ours)}
        at = np.array([p.at_mm for p in ours.values()])
        places, _ = view.seen(at)
        entry = way.entry_mm(at)
        stops = np.array([p.stop_mm for p in ours.values()], np.float64)
        outside = float((block.corners_mm @ view.into).min()) - 1.0
        for place, start, stop in zip(places, entry, stops, strict=True):
            if stop > 0:
                bodies.append(_hole(view, place, points.width_mm / 2, outside, float(start + stop)))
        for between in points.between:
            if between.face != face or any(number not in numbers for number in between.points):
                continue
            three = [numbers[number] for number in between.points]
            deep = entry[three] + (stops[three] if between.no_deeper_mm is None else between.no_deeper_mm)
            bodies.append(_under(view, places[three], outside, deep))
    bodies = [body for body in bodies if not body.is_empty()]
    return unite(bodies) if bodies else None


def lost_solids(lost: Flaw | Figure | Iterable[Flaw | Figure], block: Block) -> list[tuple[str, Solid]]:
    """Return what was lost as named solids: flaws without their margin, and closed surfaces."""
    if isinstance(lost, Flaw):
        shapes = [shape.body for shape in obstacles_of(replace(block, flaws=(lost,), surface=None), 0.0)]
        ball = None if any(shapes) else ball_solid(lost.centre, max(lost.radius_mm, _LEAST_RADIUS_MM))
        return [(lost.name, ball if body is None else body) for body in shapes]
    if isinstance(lost, Figure):
        surface = require_solid(lost, "what was lost")
        return [(surface.name, solid_from(surface.vertices, surface.faces))]
    if isinstance(lost, Iterable) and not isinstance(lost, str):
        return [found for item in lost for found in lost_solids(item, block)]
    raise BadValueError(f"lost={lost!r} must be flaws or closed surfaces")


def _hole(view: View, place: Array, radius: float, outside: float, end: float) -> Solid:
    """Return a round hole from outside the stone to a depth along the view."""
    angles = 2 * np.pi * np.arange(_ROUND) / _ROUND
    rim = place + max(radius, _LEAST_RADIUS_MM) * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return _under(view, rim, outside, np.full(_ROUND, end))


def _under(view: View, places: Array, outside: float, deep: Array) -> Solid:
    """Return the convex solid over (k, 2) places, from outside the stone down to their depths (k,)."""
    level = places @ np.stack([view.right, view.up])
    top, bottom = level + outside * view.into, level + deep[:, None] * view.into
    return hull_solid(np.concatenate([top, bottom]))

"""From which directions each part of the surface is reached: shares, best approach, width of its cone, angle met.

Resolved to the columns' pitch. A direction is the way the tool moves, into the stone."""

import math
from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.tolerances import CLOSE
from blockfit.geometry.turns import spread_directions
from blockfit.kinds import kinds_checked
from blockfit.measure.views import View, view_along
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.units import LEAST_MM, Length, length_mm
from blockfit.waste.placed import default_pitch_mm, placed_solid
from blockfit.waste.reach.sight import Elements, elements_of, reached
from blockfit.waste.reach.tools import Tool, tool_reached

__all__ = ["Directions", "above_floor", "around", "directions", "seen_along"]


_REFINED = 10  # directions that serve most of the surface, around which four more are tried


@dataclass(frozen=True, slots=True, eq=False)
class Directions:
    """``into`` (k, 3) unit vectors and the ``shares`` (k,) of the surface that each reaches.

    The first are spread evenly; the last were tried around those that serve best.

    For every element of the surface: ``best`` (m,) the direction that meets it most squarely of those that reach
    it (−1: none does), ``meets_deg`` (m,) the angle between tool and surface there, ``cone_deg`` (m,) half the
    opening of a cone as wide as all its approaches that meet it at ``least_angle`` or more, and ``skids`` (m,)
    whether it is reached, but by none at that angle.

    Each of ``elements`` is a small triangle of the surface, about as fine as ``pitch_mm``; angles are degrees. All is
    resolved to that pitch, and to the directions tried.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> found = bf.directions(fit, count=20, pitch=20)
    >>> len(found.into) >= 20, found.shares.shape == (len(found.into),), bool((found.shares <= 1).all())
    (True, True, True)
    >>> bool((found.best >= -1).all()), found.best.shape == found.cone_deg.shape, found.pitch_mm
    (True, True, 20.0)
    """

    into: Array
    shares: Array
    best: Ints
    meets_deg: Array
    cone_deg: Array
    skids: Flags
    elements: Elements
    pitch_mm: float


@kinds_checked
def directions(
    fit: Fit, *, count: int = 400, tool: Tool | None = None, least_angle: float = 15, pitch: Length | None = None
) -> Directions:
    """Return what a straight tool (infinitely thin, or ``tool``) reaches from ``count`` directions over the sphere.

    The block stands: a tool cannot come up through the floor under it. The waste before the figure is gone.

    ``count`` is of the directions spread evenly, 12 or more; ``least_angle`` is in degrees and ``pitch`` in mm or text
    (default: a 400th of the block's longest side). The least angle is a starting value, without a source. Resolved to
    the pitch. Raises `OpenSurfaceError` for a figure that is no solid, and `BadValueError` for one that does not fit or
    options out of range.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> found = bf.directions(fit, count=20, pitch=20)
    >>> into = found.into[found.shares.argmax()]  # the way in that reaches most of the surface: from the right
    >>> bool(into[0] < 0), 0.5 < float(found.shares.max()) < 1
    (True, True)
    """
    solid = placed_solid(fit, "directions of reach")
    if count < 12:
        raise BadValueError(f"count={count!r} directions are too few to mean anything; take 400")
    if not 0 <= least_angle < 90:
        raise BadValueError(f"least_angle={least_angle!r} must be 0 to 90 degrees")
    step = default_pitch_mm(fit) if pitch is None else length_mm(pitch, "pitch", least=LEAST_MM)
    elements = elements_of(solid.vertices, solid.faces, step)
    into = spread_directions(count)
    faces = len(elements.faces)
    squarest, best, steady = np.zeros(faces), np.full(faces, -1, np.int64), np.zeros(faces)
    shares = np.zeros(count)
    total = float(elements.areas.sum())
    least_sine = math.sin(math.radians(least_angle))
    for k, direction in enumerate(into):
        hit = np.flatnonzero(seen_along(elements, direction, fit.block, step, tool))
        square = -(elements.normals[hit] @ direction)
        shares[k] = float(elements.areas[hit].sum()) / total
        better = square > squarest[hit]
        squarest[hit[better]], best[hit[better]] = square[better], k
        steady[hit] += square >= least_sine
    for direction in _between_best(into, best, elements.areas):
        hit = np.flatnonzero(seen_along(elements, direction, fit.block, step, tool))
        square = -(elements.normals[hit] @ direction)
        better = square > squarest[hit]
        squarest[hit[better]], best[hit[better]] = square[better], len(into)
        into = np.vstack([into, direction])
        shares = np.append(shares, float(elements.areas[hit].sum()) / total)
    # A share of the sphere as a cone: solid angle 2π(1 − cos).
    cone = np.degrees(np.arccos(np.clip(1 - 2 * steady / count, -1, 1)))
    meets = np.degrees(np.arcsin(np.clip(squarest, 0, 1)))
    return Directions(into, shares, best, meets, cone, (best >= 0) & (steady == 0), elements, step)


def _between_best(into: Array, best: Ints, areas: Array) -> Array:
    """Return (k, 3) directions halfway around those that are the best for most of the surface: to refine them."""
    used = np.bincount(best[best >= 0], areas[best >= 0], minlength=len(into))
    leaders = into[np.argsort(-used, kind="stable")[:_REFINED]]
    away = math.sqrt(math.pi / len(into))  # half the spacing of directions spread over the sphere
    return np.concatenate([around(leader, away) for leader in leaders])


def around(direction: Array, angle: float) -> Array:
    """Return (4, 3) unit vectors at ``angle`` radians from a direction (3,), a quarter turn apart."""
    across = np.cross(direction, np.eye(3)[int(np.abs(direction).argmin())])
    across /= np.linalg.norm(across)
    other = np.cross(direction, across)
    near = [math.cos(angle) * direction + math.sin(angle) * way for way in (across, other, -across, -other)]
    return np.array(near)


def seen_along(
    elements: Elements, into: Array, block: Block, pitch_mm: float, tool: Tool | None, among: Flags | None = None
) -> Flags:
    """Return (m,) which elements (of ``among``) a tool reaches along ``into``, from above the floor."""
    view: View = view_along(into)
    hit = reached(elements, view, pitch_mm, among)
    if into[2] > CLOSE:
        hit &= above_floor(elements.points, into, block)
    return hit if tool is None else tool_reached(elements, view, pitch_mm, tool, hit)


def above_floor(points: Array, into: Array, block: Block) -> Flags:
    """Return (n,) whether a tool that rises along ``into`` to each point comes from beside the block, not below it."""
    floor = float(block.corners_mm[:, 2].min())
    low, high = block.corners_mm[:, :2].min(axis=0), block.corners_mm[:, :2].max(axis=0)
    start = points[:, :2] - into[:2] * ((points[:, 2:] - floor) / into[2])
    outside = (start < low) | (start > high)
    return np.asarray(outside[:, 0] | outside[:, 1])

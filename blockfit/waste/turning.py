"""Turning a body over an edge of what it rests on: the pull, the balance, the sweep, and whether it rests afterwards.

kg, mm, degrees, block frame. Statics of a rigid body, for planning only: forces are kg of pull (1 kg is 9.81 N).
Nothing here permits it: have gear and method checked by a qualified person and follow local codes."""

import math
from dataclasses import dataclass

import numpy as np

from blockfit.solids.arrays import Array
from blockfit.waste.statics import FLAT_MM, balance, side_words

__all__ = ["Turning", "turning", "turnings"]

_LEAST_EDGE = 0.02  # of the base's circumference: shorter edges of a round base are not turned over one by one
_MOST_EDGES = 8


@dataclass(frozen=True, slots=True, eq=False)
class Turning:
    """A body turned up over one edge of its base.

    ``pull_kg`` (angle in degrees, kg of pull) is what must be pulled at ``pull_at_mm`` (3,), the highest and farthest
    place where a sling can hold, square to the line from the edge, through the turn; below 0 the body must be held
    back. ``balance_deg`` is where it stands on the edge: 0 where it ``goes_by_itself``. ``diagonal_mm`` is the height
    that it sweeps. After ``rests_deg`` it lies on its next side, ``lands_on`` (the way that side looked before), and
    ``rests`` there or not.
    """

    edge: str
    pull_kg: tuple[tuple[float, float], ...]
    balance_deg: float
    diagonal_mm: float
    goes_by_itself: bool = False
    rests_deg: float | None = None
    rests: bool | None = None
    lands_on: Array | None = None
    pull_at_mm: Array | None = None


def turning(edge: str, load_kg: float, across: float, high: float, centre_across: float, centre_high: float) -> Turning:
    """Return what turning a body up over an edge takes.

    Lengths in mm from the edge: where it is pulled, ``across`` and ``high``, its centre of gravity likewise; ``across``
    is positive on the body's side of the edge.

    >>> from blockfit.waste.turning import turning
    >>> turn = turning("front", 1000, 1000, 500, 500, 250)
    >>> round(turn.pull_kg[0][1]), round(turn.balance_deg)
    (447, 63)
    """
    lever = math.hypot(across, high)
    arm = math.hypot(centre_across, centre_high)
    start = math.degrees(math.atan2(centre_high, centre_across))
    pulls = tuple((float(a), load_kg * arm * math.cos(math.radians(start + a)) / lever) for a in range(0, 91, 15))
    return Turning(edge, pulls, max(0.0, 90 - start), lever, goes_by_itself=start >= 90)


def turnings(
    vertices: Array, centre: Array, load_kg: float, base: Array, flat_mm: float = FLAT_MM
) -> tuple[Turning, ...]:
    """Return the turns over the edges of a body's base (k, 2), counter-clockwise; of a round base over its longest.

    ``vertices`` (n, 3) are the body's, ``centre`` (3,) its centre of gravity. A body that rests on a line or a point
    has no edge to turn over.
    """
    if len(base) < 3:
        return ()
    floor = float(vertices[:, 2].min())
    along = np.roll(base, -1, axis=0) - base
    length = np.linalg.norm(along, axis=1)
    some = np.argsort(-length, kind="stable")[:_MOST_EDGES]
    some = np.sort(some[length[some] >= _LEAST_EDGE * length.sum()])
    return tuple(_over(vertices, centre, load_kg, base[k], along[k] / length[k], floor, flat_mm) for k in some)


def _over(
    vertices: Array, centre: Array, load_kg: float, start: Array, along: Array, floor: float, flat_mm: float
) -> Turning:
    """Return the turn over the edge that runs ``along`` (2,) from ``start`` (2,) at the floor."""
    outward = np.array([along[1], -along[0]])
    out, high = (vertices[:, :2] - start) @ outward, vertices[:, 2] - floor
    centre_out, centre_high = float((centre[:2] - start) @ outward), float(centre[2]) - floor
    holds = np.flatnonzero(high >= 0.5 * high.max())
    at = holds[int(np.hypot(out[holds], high[holds]).argmax())]
    turn = turning(side_words(outward), load_kg, -float(out[at]), float(high[at]), -centre_out, centre_high)
    # It turns until the next of it, seen from the edge, comes down to the floor.
    away = np.hypot(out, high) > 2 * flat_mm
    angles = np.arctan2(high[away], out[away])
    rests = float(angles.min())
    cos, sin = math.cos(rests), math.sin(rests)
    edge_way = np.array([along[0], along[1]])
    lain = np.column_stack([out * cos + high * sin, vertices[:, :2] @ edge_way, high * cos - out * sin])
    middle = np.array(
        [centre_out * cos + centre_high * sin, float(centre[:2] @ edge_way), centre_high * cos - centre_out * sin]
    )
    touching = lain[lain[:, 2] <= float(lain[:, 2].min()) + flat_mm]
    return Turning(
        edge=turn.edge,
        pull_kg=turn.pull_kg,
        balance_deg=turn.balance_deg,
        diagonal_mm=float(np.hypot(out, high).max()),
        goes_by_itself=turn.goes_by_itself,
        rests_deg=math.degrees(rests),
        rests=balance(middle, touching).stands,
        lands_on=np.array([outward[0] * sin, outward[1] * sin, -cos]),
        pull_at_mm=vertices[at].copy(),
    )

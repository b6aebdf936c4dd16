"""Turning a body over an edge of what it rests on: the pull, the balance, the sweep, and whether it rests afterwards.

kg, mm, degrees, block frame. Statics of a rigid body, for planning only: forces are kg of pull (1 kg is 9.81 N).
Nothing here permits it: have gear and method checked by a qualified person and follow local codes."""

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result, record_of
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import CLOSE, ROUNDING
from blockfit.waste.statics import FLAT_MM, balance, side_words

__all__ = ["Turning", "turning", "turnings"]

_LEAST_EDGE = 0.02  # of the base's circumference: shorter edges of a round base are not turned over one by one
_MOST_EDGES = 8
_MOST_SIDES = 64  # that a round body rolls over
_FLAT = 1e-2  # of its height and depth: no more of a load is taken for flat, however rough its ground
_TOGETHER = 1e-6  # radians: sides that come down within it come down at once


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Turning(Result):
    """A body turned up over one edge of its base.

    ``pull_kg`` (angle in degrees, kg of pull) is what must be pulled at ``pull_at_mm`` (3,), the highest and farthest
    place where a sling can hold, square to the line from the edge, through the turn; below 0 the body must be held
    back. ``balance_deg`` is where it stands on the edge: 0 where it ``goes_by_itself``. ``diagonal_mm`` is the height
    that it sweeps. After ``rests_deg`` it lies on its next side, ``lands_on`` (the way that side looked before), and
    ``rests`` there or not.
    """

    edge: str = field(metadata=fact("over the", Sure.EXACT))
    pull_kg: tuple[tuple[float, float], ...]
    balance_deg: float = field(metadata=fact("balanced at", Sure.ESTIMATE, Rounding.DOWN))
    diagonal_mm: float = field(metadata=fact("sweeps", Sure.EXACT, Rounding.UP))
    goes_by_itself: bool = field(
        default=False, metadata=fact("goes over by itself", Sure.ESTIMATE, key="goes_over_by_itself")
    )
    rests_deg: float | None = field(default=None, metadata=fact("next side at", Sure.ESTIMATE, key="next_side_at_deg"))
    rests: bool | None = field(default=None, metadata=fact("rests there", Sure.ESTIMATE, key="rests_there"))
    lands_on: Array | None = None
    pull_at_mm: Array | None = field(default=None, metadata=fact("pulled at", Sure.ESTIMATE, shown=False))

    def record(self) -> dict[str, Any]:
        """Return the turn as plain data, the pull by angle beside it."""
        return {**record_of(self), "pull_kg": [{"at_deg": angle, "pull_kg": pull} for angle, pull in self.pull_kg]}


def turning(edge: str, load_kg: float, across: float, high: float, centre_across: float, centre_high: float) -> Turning:
    """Return what turning a body up over an edge takes.

    Lengths in mm from the edge: where it is pulled, ``across`` and ``high``, its centre of gravity likewise; ``across``
    is positive on the body's side of the edge.

    >>> from blockfit.waste.standing.turning import turning
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
    """Return the turn over the edge that runs ``along`` (2,) from ``start`` (2,) at the floor.

    Seen along the edge the body rolls: where its next side comes down before it balances, it goes on over that side's
    far corner.
    """
    outward = np.array([along[1], -along[0]])
    seen = np.column_stack([(vertices[:, :2] - start) @ outward, vertices[:, 2] - floor])
    middle = np.array([float((centre[:2] - start) @ outward), float(centre[2]) - floor])
    flat = min(flat_mm, _FLAT * float(np.ptp(seen, axis=0).max()))
    phases, balanced, rests = _rolled(seen, middle, flat)
    holds = np.flatnonzero(seen[:, 1] >= 0.5 * seen[:, 1].max())
    at = holds[int(np.linalg.norm(seen[holds], axis=1).argmax())]
    angles = [math.radians(angle) for angle in range(15, 91, 15)]
    # What starts it is the hardest of what each corner asks as the body comes to stand on it.
    first = max(_pull(phases, seen, middle, seen[at], angle) for angle, _ in phases)
    pulls = [(0.0, first * load_kg)]
    pulls += [(math.degrees(angle), _pull(phases, seen, middle, seen[at], angle) * load_kg) for angle in angles]
    cos, sin = math.cos(rests), math.sin(rests)
    turned = np.array([[cos, -sin], [sin, cos]])
    lain, place, across = seen @ turned, middle @ turned, vertices[:, :2] @ along
    lowest = float(lain[:, 1].min())
    touching = np.flatnonzero(lain[:, 1] <= lowest + flat)
    contacts = np.column_stack([lain[touching, 0], across[touching], np.zeros(len(touching))])
    stands = balance(np.array([place[0], float(centre[:2] @ along), place[1] - lowest]), contacts)
    return Turning(
        edge=side_words(outward),
        pull_kg=tuple(pulls),
        balance_deg=math.degrees(balanced),
        diagonal_mm=float(max(np.linalg.norm(seen - seen[pivot], axis=1).max() for _, pivot in phases)),
        goes_by_itself=balanced <= 0,
        rests_deg=math.degrees(rests),
        rests=stands.stands,
        lands_on=np.array([outward[0] * sin, outward[1] * sin, -cos]),
        pull_at_mm=vertices[at].copy(),
    )


def _rolled(seen: Array, middle: Array, flat_mm: float) -> tuple[list[tuple[float, int]], float, float]:
    """Return the corners that a body rolls over until it balances, each with the angle from which it bears.

    And the angle at which it balances, and that at which its next side then comes down. ``seen`` (n, 2), radians.
    """
    pivot, angle = int(np.linalg.norm(seen, axis=1).argmin()), 0.0
    phases: list[tuple[float, int]] = []
    for _ in range(_MOST_SIDES):
        phases.append((angle, pivot))
        to = seen - seen[pivot]
        ahead = np.arctan2(to[:, 1], to[:, 0]) % (2 * math.pi)
        ahead[(np.linalg.norm(to, axis=1) <= 2 * flat_mm) | (ahead < angle - CLOSE)] = np.inf
        comes_down = float(ahead.min())
        out, high = (middle - seen[pivot]).tolist()
        over = math.atan2(high, out) - math.pi / 2
        if over <= comes_down or not math.isfinite(comes_down):
            return phases, max(angle, over) if phases[1:] else max(0.0, over), min(comes_down, math.pi)
        level = np.flatnonzero(ahead <= comes_down + _TOGETHER)
        pivot, angle = int(level[np.linalg.norm(to[level], axis=1).argmax()]), comes_down
    return phases, angle, angle


def _pull(phases: list[tuple[float, int]], seen: Array, middle: Array, at: Array, angle: float) -> float:
    """Return the pull at a place (2,) that holds a body of 1 kg at an angle, over the corner that then bears."""
    pivot = seen[[k for begins, k in phases if begins <= angle + ROUNDING][-1]]
    out, high = (middle - pivot).tolist()
    lever = float(np.linalg.norm(at - pivot))
    return -(out * math.cos(angle) + high * math.sin(angle)) / lever if lever > 0 else 0.0

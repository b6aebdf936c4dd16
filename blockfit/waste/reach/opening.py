"""What must be opened before what: whose stone lies in the way of a tool that comes along its approach."""

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.measure.columns import Columns
from blockfit.waste.reach.sight import Elements

__all__ = ["opened_before", "without_cycles"]

_SAMPLES, _STEPS = 160, 64
_SHARE = 0.25  # of a region's samples: less than that can be reached around


def opened_before(
    regions: list[tuple[int, Ints, Array | None]], elements: Elements, columns: Columns, region_of: Ints
) -> dict[int, tuple[int, ...]]:
    """Return for each region (number, elements, approach) the regions whose stone its tool must pass through."""
    share = {number: _in_the_way(number, mine, into, elements, columns, region_of) for number, mine, into in regions}
    return without_cycles(share)


def without_cycles(share: dict[int, dict[int, float]]) -> dict[int, tuple[int, ...]]:
    """Return for each region the regions to be opened before it, given what share of it lies behind each other one.

    Regions can lie in each other's way, two or more in a ring: what is most in the way is opened first, and what would
    close a ring is left out, so that there is always an order in which all can be opened.

    >>> from blockfit.waste.reach.opening import without_cycles
    >>> without_cycles({1: {2: 0.9}, 2: {3: 0.5}, 3: {1: 0.4}})
    {1: (2,), 2: (3,), 3: ()}
    """
    asked = [(-part, other, number) for number, others in share.items() for other, part in others.items()]
    before: dict[int, list[int]] = {number: [] for number in share}
    for part, other, number in sorted(asked):
        if -part >= _SHARE and other in before and not _waits_for(before, other, number):
            before[number].append(other)
    return {number: tuple(sorted(others)) for number, others in before.items()}


def _waits_for(before: dict[int, list[int]], number: int, other: int) -> bool:
    """Tell whether a region must wait for another, itself or by way of others."""
    seen, left = set(), [number]
    while left:
        one = left.pop()
        if one == other:
            return True
        if one not in seen:
            seen.add(one)
            left += before[one]
    return False


def _in_the_way(
    number: int, mine: Ints, into: Array | None, elements: Elements, columns: Columns, region_of: Ints
) -> dict[int, float]:
    """Return the share of a region's samples whose straight way out passes through each other region's stone."""
    if into is None:
        return {}
    chosen = mine[:: max(1, len(mine) // _SAMPLES)]
    low, high = elements.vertices.min(axis=0), elements.vertices.max(axis=0)
    length = float(np.linalg.norm(high - low))
    away = (np.arange(_STEPS) + 1) * (length / _STEPS)
    points = elements.points[chosen][:, None, :] - into * away[:, None]  # (s, steps, 3)
    owner = _stone_owner(points.reshape(-1, 3), columns, region_of).reshape(len(chosen), -1)
    counts: dict[int, float] = {}
    for other in np.unique(owner[owner > 0]).tolist():
        if other != number:
            counts[other] = float((owner == other).any(axis=1).mean())
    return counts


def _stone_owner(points: Array, columns: Columns, region_of: Ints) -> Ints:
    """Return the region that owns the stone at each point (n, 3): 0 before, beside, inside or far from the figure."""
    lattice = columns.lattice
    seen, depth = columns.view.seen(points)
    flat = lattice.flatten(seen)
    inside = ((flat >= 0) & (flat < [lattice.columns, lattice.rows])).all(axis=1)
    row, column = lattice.cells(seen)
    cell = row * lattice.columns + column
    span = float(max(columns.leave.max(), depth.max()) - min(columns.enter.min(), depth.min())) + 1.0
    low = float(min(columns.enter.min(), depth.min()))
    key = columns.cell + (columns.leave - low) / span
    at = np.searchsorted(key, cell + (depth - low) / span, side="right") - 1  # the last stretch left before the point
    at = np.maximum(at, 0)
    behind = inside & (columns.cell[at] == cell) & (columns.leave[at] < depth)
    following = np.minimum(at + 1, len(columns.cell) - 1)
    in_figure = (following > at) & (columns.cell[following] == cell) & (columns.enter[following] <= depth)
    return np.where(behind & ~in_figure, region_of[columns.leave_face[at]], 0)

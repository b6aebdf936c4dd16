"""Does it stand? The plumb line from the centre of gravity against the edge of what it rests on.

mm and degrees, block frame. Statics of a rigid body: it tips over an edge once the plumb line passes it, at
tan(angle) = distance from the plumb line to the edge / height of the centre of gravity."""

import math
from dataclasses import dataclass

import numpy as np

from blockfit.measure.sections import footprint
from blockfit.solids.arrays import Array

__all__ = ["Balance", "balance", "base_of", "side_words", "slides_at_deg"]

_LEVEL_MM = 0.5  # points of a base within this of its lowest rest on the ground


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """Whether a body stands on ``base`` (k, 2), counter-clockwise, and how far it is from tipping.

    ``margin_mm`` is the least distance from the plumb line to an edge, negative where it lies outside;
    ``angles_deg`` is how far it must lean to tip over each edge, by the edge's side.
    """

    stands: bool
    margin_mm: float
    weakest: str
    weakest_deg: float
    angles_deg: tuple[tuple[str, float], ...]
    base: Array
    centre_mm: Array


def base_of(vertices: Array, share: float = 0.0) -> Array:
    """Return the (n, 3) vertices on which a body rests: those level with its lowest.

    ``share`` of its height counts as level too: the base of a scan is uneven, and will be cut level in the stone.
    """
    low, high = float(vertices[:, 2].min()), float(vertices[:, 2].max())
    return np.asarray(vertices[vertices[:, 2] <= low + max(_LEVEL_MM, share * (high - low))])


def balance(centre: Array, contacts: Array) -> Balance:
    """Return how a body with its centre of gravity at ``centre`` (3,) stands on ``contacts`` (n, 3).

    >>> import numpy as np
    >>> from blockfit.waste.statics import balance
    >>> corners = np.array([[0, 0, 0], [100, 0, 0], [100, 100, 0], [0, 100, 0]], float)
    >>> round(balance(np.array([50, 50, 100.0]), corners).weakest_deg, 2)
    26.57
    """
    ring = footprint(contacts[:, :2])
    height = float(centre[2] - contacts[:, 2].max())
    if len(ring) < 3:  # a point or a line: nothing can stand on it
        off = float(np.linalg.norm(ring - centre[:2], axis=1).min()) if len(ring) else math.inf
        return Balance(False, -off, "every side", 0.0, (), ring, centre)
    along = np.roll(ring, -1, axis=0) - ring
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    room = np.einsum("ij,ij->i", outward, ring - centre[:2])
    angles = np.degrees(np.arctan2(room, max(height, 1e-9)))
    worst = int(angles.argmin())
    named = tuple((side_words(n), float(a)) for n, a in zip(outward, angles, strict=True))
    return Balance(bool(room.min() > 0), float(room.min()), named[worst][0], float(angles[worst]), named, ring, centre)


def slides_at_deg(friction: float) -> float:
    """Return the slope at which a body slides on its base: tan(slope) = the coefficient of friction.

    >>> from blockfit.waste.statics import slides_at_deg
    >>> round(slides_at_deg(0.63), 1)
    32.2
    """
    return math.degrees(math.atan(friction))


def side_words(direction: Array) -> str:
    """Return the side of the block that a level direction points to."""
    x, y = float(direction[0]), float(direction[1])
    sides = ("right", "back right", "back", "back left", "left", "front left", "front", "front right")
    return sides[int(((math.degrees(math.atan2(y, x)) % 360) + 22.5) // 45) % 8]

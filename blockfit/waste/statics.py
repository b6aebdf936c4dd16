"""Does it stand? The plumb line from the centre of gravity against the edge of what it rests on.

mm and degrees, block frame. Statics of a rigid body: it tips over an edge once the plumb line passes it, at
tan(angle) = distance from the plumb line to the edge / height of the centre of gravity. What it rests on is what really
touches a level floor, within a small tolerance, of the solid that stands there."""

import math
from dataclasses import dataclass, field, replace

import numpy as np

from blockfit.errors import OpenSurfaceError
from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.surface import centroid, compacted, signed_volume
from blockfit.geometry.tolerances import LEAST_SIZE
from blockfit.measure.booleans import arrays_of, solid_from
from blockfit.measure.distance import winding_numbers
from blockfit.measure.patches import members, pieces
from blockfit.measure.sections import distance_to, footprint
from blockfit.units import M3_PER_MM3

__all__ = [
    "FLAT_MM",
    "Balance",
    "LooseBody",
    "balance",
    "base_of",
    "flat_within",
    "side_words",
    "slides_at_deg",
    "standing",
]

FLAT_MM = 1.0
"""How far above the lowest point surface still counts as touching the floor, at full size; or give ``flat=``."""

_FEW_SHELLS = 200
_CRUMB = 1e-4  # of a solid's volume: a smaller body of its own is a scan's crumb, not a part of the figure


@dataclass(frozen=True, slots=True, eq=False)
class LooseBody:
    """A body of stone that is joined to nothing and does not stand by itself: where its centre of gravity is (3,)."""

    centre_mm: Array = field(metadata=fact("centre of gravity", Sure.EXACT))
    volume_m3: float = field(metadata=fact("volume", Sure.EXACT, Rounding.UP))


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """Whether a body stands on ``base`` (k, 2), counter-clockwise, and how far it is from tipping.

    ``margin_mm`` is the least distance from the plumb line to an edge, negative where it lies outside;
    ``angles_deg`` is how far it must lean to tip over each edge, by the edge's side: below 0 it goes over by itself.
    ``within_mm`` is how well the centre of gravity is known; it has been taken off every margin. With ``loose`` bodies,
    that nothing joins to what stands, it does not stand as a whole, wherever its plumb line lies.
    """

    stands: bool
    margin_mm: float
    weakest: str
    weakest_deg: float
    angles_deg: tuple[tuple[str, float], ...]
    base: Array
    centre_mm: Array
    within_mm: float = 0.0
    loose: tuple[LooseBody, ...] = ()

    @property
    def falls(self) -> str:
        """Why it does not stand, in words; empty where it does."""
        if self.stands:
            return ""
        return "parts of it are joined to nothing" if self.loose else f"it tips over the {self.weakest}"


def flat_within(flat_mm: float, height_mm: float) -> float:
    """Return how near the floor counts as touching it: as given, but of a small body no more than a twentieth of it."""
    return min(flat_mm, 0.05 * height_mm)


def base_of(vertices: Array, flat_mm: float = FLAT_MM) -> Array:
    """Return the (n, 3) vertices on which a body rests: those within ``flat_mm`` of its lowest.

    >>> import numpy as np
    >>> from blockfit.waste.statics import base_of
    >>> len(base_of(np.array([[0.0, 0, 0], [90, 0, 0.4], [0, 90, 18]])))
    2
    """
    return np.asarray(vertices[vertices[:, 2] <= float(vertices[:, 2].min()) + flat_mm])


def balance(centre: Array, contacts: Array, within_mm: float = 0.0) -> Balance:
    """Return how a body with its centre of gravity at ``centre`` (3,) stands on ``contacts`` (n, 3).

    The centre is known ``within_mm``: the worse end is answered.

    >>> import numpy as np
    >>> from blockfit.waste.statics import balance
    >>> corners = np.array([[0, 0, 0], [100, 0, 0], [100, 100, 0], [0, 100, 0]], float)
    >>> round(balance(np.array([50, 50, 100.0]), corners).weakest_deg, 2)
    26.57
    """
    ring = footprint(contacts[:, :2]) if len(contacts) else np.zeros((0, 2))
    if len(ring) < 3:  # a point, a line or nothing: nothing can stand on it
        off = distance_to(ring, centre[:2])
        return Balance(False, -off, "nearest side", 0.0, (), ring, centre, within_mm)
    height = float(centre[2] - contacts[:, 2].max()) + within_mm
    along = np.roll(ring, -1, axis=0) - ring
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    room = np.einsum("ij,ij->i", outward, ring - centre[:2]) - within_mm
    angles = np.degrees(np.arctan2(room, max(height, LEAST_SIZE)))
    worst = int(angles.argmin())
    named = tuple((side_words(n), float(a)) for n, a in zip(outward, angles, strict=True))
    least = float(room.min())
    return Balance(least > 0, least, named[worst][0], float(angles[worst]), named, ring, centre, within_mm)


def standing(vertices: Array, faces: Ints, flat_mm: float = FLAT_MM, centre: Array | None = None) -> Balance:
    """Return how the solid inside a closed surface stands on what lies within ``flat_mm`` of its lowest point.

    Bodies that nothing joins must each stand by themselves: the one that tips first is answered, and what cannot stand
    is ``loose``. A body within another's hollow is one of its own. Crumbs, of less than a ten-thousandth of the whole,
    do not count. ``centre`` (3,) is the centre of gravity of all together, where it is known.

    >>> import numpy as np
    >>> from blockfit.measure.booleans import arrays_of, hull_solid
    >>> from blockfit.waste.statics import standing
    >>> cube = np.array([[x, y, z] for x in (0, 9) for y in (0, 9) for z in (0, 9)], float)
    >>> low, high = (arrays_of(hull_solid(cube + [0, 0, z])) for z in (0, 10))
    >>> both = np.concatenate([low[0], high[0]]), np.concatenate([low[1], high[1] + len(low[0])])
    >>> standing(*low).stands, standing(*both).stands, [float(body.centre_mm[2]) for body in standing(*both).loose]
    (True, False, [14.5])
    """
    whole = balance(centroid(vertices, faces) if centre is None else centre, base_of(vertices, flat_mm))
    shells = _shells(vertices, faces)
    if len(shells) < 2:
        return whole
    if len(shells) <= _FEW_SHELLS:  # shells that touch, or cross, are joined after all
        vertices, faces = _united(vertices, faces, shells)
        shells = _shells(vertices, faces)
    floor = float(vertices[:, 2].min()) + flat_mm
    weakest, loose = whole, []
    for volume, mine in _bodies(vertices, shells):
        own = vertices[np.unique(mine)]
        stands = balance(centroid(vertices, mine), own[own[:, 2] <= floor])
        if not stands.stands:
            loose.append(LooseBody(stands.centre_mm, volume * M3_PER_MM3))
        elif stands.weakest_deg < weakest.weakest_deg:
            weakest = stands
    loose.sort(key=lambda body: -body.volume_m3)
    return replace(
        whole,
        stands=whole.stands and not loose,
        margin_mm=min(whole.margin_mm, weakest.margin_mm),
        weakest=weakest.weakest,
        weakest_deg=weakest.weakest_deg,
        loose=tuple(loose),
    )


def _shells(vertices: Array, faces: Ints) -> list[tuple[float, Ints]]:
    """Return the volume and the faces of each shell that shares no corner with another, the largest first."""
    each = [faces[mine] for mine in members(pieces(faces, len(vertices)))]
    return sorted(((signed_volume(vertices, mine), mine) for mine in each), key=lambda shell: -abs(shell[0]))


def _united(vertices: Array, faces: Ints, shells: list[tuple[float, Ints]]) -> tuple[Array, Ints]:
    """Return the surface of all stone in shells, the largest first: hollows taken out, what lies in them put back."""
    try:
        solid = solid_from(*compacted(vertices, shells[0][1]))
        for volume, mine in shells[1:]:
            other = solid_from(*compacted(vertices, mine if volume > 0 else mine[:, ::-1]))
            solid = solid + other if volume > 0 else solid - other
        return arrays_of(solid)
    except OpenSurfaceError:
        return vertices, faces


def _bodies(vertices: Array, shells: list[tuple[float, Ints]]) -> list[tuple[float, Ints]]:
    """Return the volume and the faces of each body of stone, without crumbs.

    A shell that encloses less than nothing is a hollow: it belongs to the smallest body that it lies in.
    """
    total = sum(volume for volume, _ in shells)
    solid = sorted((shell for shell in shells if shell[0] > _CRUMB * total), key=lambda shell: shell[0])
    boxes = [_box(vertices, mine) for _, mine in solid]
    hollows: list[list[tuple[float, Ints]]] = [[] for _ in solid]
    for volume, mine in shells:
        if volume < 0:
            low, high = _box(vertices, mine)
            corner = vertices[mine[:1, 0]]
            around = (
                k
                for k, (near, far) in enumerate(boxes)
                if (low >= near).all() and (high <= far).all() and winding_numbers(vertices, solid[k][1], corner) > 0.5
            )
            if (k := next(around, None)) is not None:
                hollows[k].append((volume, mine))
    return [
        (sum(v for v, _ in (own, *inner)), np.concatenate([mine for _, mine in (own, *inner)]))
        for own, inner in zip(solid, hollows, strict=True)
    ]


def _box(vertices: Array, faces: Ints) -> tuple[Array, Array]:
    corners = vertices[faces.ravel()]
    return corners.min(axis=0), corners.max(axis=0)


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

"""Sections that carry: at every height, all that bears what lies above, and the stress its weight makes there.

mm, MPa, kg, block frame. Plain beam theory on the horizontal section of everything that stands on the ground at that
height, all its loops together: σ = N/A with bending about the section's own axes. Shear, stress raisers and whatever
tools and transport add are left out. What hangs from above without reaching the ground carries nothing: it weighs."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array
from blockfit.geometry.surface import centroid
from blockfit.geometry.tolerances import CLOSE
from blockfit.measure.booleans import Solid, arrays_of, level_rings
from blockfit.measure.sections import SectionPlane, area_of, overlap, parts_of, plane_of, united
from blockfit.units import M3_PER_MM3
from blockfit.waste.strength.slices import Carrier, carriers_of, heights_of

__all__ = ["GRAVITY", "Bearing", "bearings", "lying"]

GRAVITY = 9.80665  # m/s², standard gravity (ISO 80000-3)
_FINER = 6  # further heights around each of the worst
_MOST = 3  # worst heights that are reported
_APART = 0.04  # of the height: nearer ones are one
_LEAST = 2e-4  # of the volume: where less lies above, nothing is asked
_FLAT_MM, _EDGE = 1.0, 1e-3  # of the height: what lies lower touches the floor, and is no section
_BESIDE = 1e-7  # of the height: so near above and below a section the figure is the same


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Bearing(Result):
    """One height and what its section carries.

    ``area_mm2`` and ``centre_mm`` (3,) are of all loops together, ``outlines`` theirs (n, 3) each, ``shares`` how the
    weight divides between them (below 0: it is pulled up). ``above_m3`` and ``above_centre_mm`` (3,) are of all that is
    carried, ``lever_mm`` how far its weight acts beside the section's middle. ``tension_mpa`` and ``compression_mpa``
    are the greatest in the section, 0 or more; the weight counts ``jerk`` times.
    """

    height_mm: float = field(metadata=fact("height", Sure.EXACT))
    area_mm2: float = field(metadata=fact("area", Sure.EXACT))
    centre_mm: Array
    outlines: tuple[Array, ...]
    shares: tuple[float, ...] = field(
        metadata=fact("shares carried", Sure.ESTIMATE, key="carried_shares", measure=Measure.SHARE)
    )
    above_m3: float
    above_centre_mm: Array
    lever_mm: float = field(metadata=fact("lever", Sure.EXACT, Rounding.UP))
    tension_mpa: float = field(metadata=fact("tension", Sure.ESTIMATE, Rounding.UP))
    compression_mpa: float = field(metadata=fact("pressure", Sure.ESTIMATE, Rounding.UP))


def bearings(solid: Solid, density_kg_m3: float, *, jerk: float = 1.0, count: int = 200) -> tuple[Bearing, ...]:
    """Return the heights at which a standing solid's own weight asks most of what carries it, the worst first.

    Most is the greatest tension, and the greatest compression. Sections are looked at ``count`` heights and finer
    around the worst; what is returned is of the exact solid above each.

    >>> import manifold3d
    >>> from blockfit.waste.strength.bearing import GRAVITY, bearings
    >>> table = manifold3d.Manifold.cube([400, 400, 100]).translate([-50, -150, 300])
    >>> worst = bearings(table + manifold3d.Manifold.cube([100, 100, 301]), 2700)[0]
    >>> lever, load = 100.0, 0.016 * 2700 * GRAVITY  # by hand, without the post's own weight
    >>> abs(worst.tension_mpa - (6 * load * lever / 100**3 - load / 100**2)) < 0.001
    True
    """
    vertices, _ = arrays_of(solid)
    low, high = float(vertices[:, 2].min()), float(vertices[:, 2].max())
    edge = max(_FLAT_MM, _EDGE * (high - low))
    if high - low <= 3 * edge:
        return ()
    heights = heights_of(solid, low + edge, high - edge, count)
    carriers = carriers_of(solid, heights)
    whole = float(solid.volume())
    worst = [_worst_of(level, density_kg_m3 * jerk, _LEAST * whole) for level in carriers]
    found: list[Bearing] = []
    for kind in (0, 1):
        for k in _peaks(np.array([pair[kind] for pair in worst]), heights, _APART * (high - low)):
            height = _finer(solid, heights, carriers, k, kind, density_kg_m3 * jerk)
            found += _bearings_at(solid, height, low + edge, density_kg_m3 * jerk, kind)
    found.sort(key=lambda b: (-b.tension_mpa, -b.compression_mpa))
    kept: list[Bearing] = []
    for bearing in found:  # along an even stem every section is as bad: the worst is enough
        if not any(_alike(bearing, other) for other in kept):
            kept.append(bearing)
    return tuple(kept)


def _alike(one: Bearing, other: Bearing) -> bool:
    same = abs(one.area_mm2 - other.area_mm2) < 0.03 * other.area_mm2
    return same and abs(one.above_m3 - other.above_m3) < 0.05 * other.above_m3


def lying(
    solid: Solid, density_kg_m3: float, supports_mm: tuple[float, float], *, jerk: float = 1.0, count: int = 120
) -> tuple[tuple[str, float, float, float], ...]:
    """Return for each side that a solid may be laid on: its name, and the height (mm), tension and compression (MPa)
    where its weight, lying across two battens or slings at two heights, asks most.

    A straight beam on two supports; its sections are those across its height. Raises `BadValueError` where its centre
    of gravity does not lie between them: it would tip off.
    """
    vertices, _ = arrays_of(solid)
    low, high = float(vertices[:, 2].min()), float(vertices[:, 2].max())
    step = (high - low) / count
    heights = low + step * (np.arange(count) + 0.5)
    planes = [plane_of(area_of(level_rings(solid, z))) for z in heights.tolist()]
    weight = np.array([plane.area for plane in planes]) * step * density_kg_m3 * jerk * M3_PER_MM3 * GRAVITY  # N each
    total, middle = float(weight.sum()), float(weight @ heights) / float(weight.sum())
    near, far = sorted(supports_mm)
    if not near <= middle <= far:
        raise BadValueError(
            f"it would tip off these battens: its centre of gravity, {middle - low:.0f} mm over the base, does not lie "
            "between them"
        )
    at_far = total * (middle - near) / (far - near)
    reactions = ((near, total - at_far), (far, at_far))
    told = []
    for side, way in (("its back", (0, 1)), ("its front", (0, -1)), ("its left", (-1, 0)), ("its right", (1, 0))):
        worst = (low, 0.0, 0.0)
        for k, z in enumerate(heights.tolist()):
            # Above 0 where it sags: the side that it lies on is then pulled.
            sags = sum(force * (z - at) for at, force in reactions if at < z)
            sags -= float((weight[:k] * (z - heights[:k])).sum()) + float(weight[k]) * step / 8
            tension, compression = planes[k].extremes(0.0, sags * np.array(way, np.float64))
            if tension > worst[1]:
                worst = (z, tension, compression)
        told.append((side, *worst))
    return tuple(told)


def _pair(plane: SectionPlane, volume: float, centre: Array, density: float) -> tuple[float, float]:
    """Return the greatest tension and compression where a section carries a volume with its centre over (2,)."""
    if plane.area <= 0 or volume <= 0:
        return 0.0, 0.0
    weight = volume * density * M3_PER_MM3 * GRAVITY
    return plane.extremes(-weight, -weight * (centre - plane.middle))


def _worst_of(level: list[Carrier], density: float, least_mm3: float) -> tuple[float, float]:
    """Return the greatest tension and the greatest compression among the carriers at a height."""
    pairs = [_pair(c.plane, c.volume, c.centre, density) for c in level if c.volume > least_mm3]
    return max((t for t, _ in pairs), default=0.0), max((c for _, c in pairs), default=0.0)


def _peaks(stress: Array, heights: Array, apart: float) -> list[int]:
    """Return where a stress is greatest, at most `_MOST` places, apart from each other; none without stress."""
    taken: list[int] = []
    for k in np.argsort(-stress, kind="stable").tolist():
        if stress[k] <= 0 or len(taken) == _MOST:
            break
        local = (k == 0 or stress[k] >= stress[k - 1]) and (k == len(stress) - 1 or stress[k] >= stress[k + 1])
        if local and all(abs(heights[k] - heights[j]) > apart for j in taken):
            taken.append(k)
    return taken


def _finer(solid: Solid, heights: Array, carriers: list[list[Carrier]], k: int, kind: int, density: float) -> float:
    """Return the height near the k-th at which the tension (``kind`` 0) or compression (1) is greatest."""
    carrier = max(carriers[k], key=lambda c: _pair(c.plane, c.volume, c.centre, density)[kind])
    best, most = float(heights[k]), _pair(carrier.plane, carrier.volume, carrier.centre, density)[kind]
    low, high = float(heights[max(k - 1, 0)]), float(heights[min(k + 1, len(heights) - 1)])
    for height in np.linspace(low, high, 2 * _FINER + 1)[1:-1].tolist():
        plane = plane_of(overlap(area_of(level_rings(solid, height)), carrier.area))
        volume = carrier.volume + (carrier.height - height) * (plane.area + carrier.plane.area) / 2
        value = _pair(plane, volume, carrier.centre, density)[kind]
        if value > most * (1 + CLOSE):
            best, most = height, value
    return best


def _bearings_at(solid: Solid, height: float, floor: float, density: float, kind: int) -> list[Bearing]:
    """Return what asks most of the exact sections at a height: each piece above by what it alone stands on."""
    near = _BESIDE * max(1.0, abs(height))
    below = solid.trim_by_plane([0.0, 0.0, -1.0], -height).decompose()
    standing = [part for part in below if float(part.bounding_box()[2]) <= floor]
    # A closed hollow comes apart as a part of its own, of negative volume: it hangs nowhere.
    hanging = [part for part in below if float(part.bounding_box()[2]) > floor and part.volume() > 0]
    ground = [area_of(level_rings(part, height - near)) for part in standing]
    told = []
    above = solid.trim_by_plane([0.0, 0.0, 1.0], height).decompose()
    hollow = [part for part in above if part.volume() < 0]
    for piece in above:
        if piece.volume() <= 0:
            continue
        foot = area_of(level_rings(piece, height + near))
        touching = [overlap(area, foot) for area in ground]
        touching = [area for area in touching if not area.is_empty]
        if not touching:
            continue
        carried = [
            piece,
            *[part for part in hollow if _lies_in(part, piece)],
            *[part for part in hanging if area_of(level_rings(part, height - near)).intersects(foot)],
        ]
        told.append(_bearing(united(touching), height, carried, density))
    told = [b for b in told if b.above_m3 * 1e9 > _LEAST * float(solid.volume())]
    return sorted(told, key=lambda b: -(b.compression_mpa if kind else b.tension_mpa))[:1]


def _lies_in(part: Solid, other: Solid) -> bool:
    """Tell whether a part's box lies within another's."""
    inner, outer = part.bounding_box(), other.bounding_box()
    return all(inner[k] >= outer[k] and inner[k + 3] <= outer[k + 3] for k in range(3))


def _bearing(area: Any, height: float, carried: list[Solid], density: float) -> Bearing:
    """Return what an area at a height bears under the exact solids that it carries."""
    plane = plane_of(area)
    masses = [_mass(part) for part in carried]
    volume, moment = sum(own for own, _ in masses), sum((m for _, m in masses), np.zeros(3))
    centre = moment / volume
    weight = volume * density * M3_PER_MM3 * GRAVITY
    couple = -weight * (centre[:2] - plane.middle)
    tension, compression = plane.extremes(-weight, couple)
    loops = parts_of(area)
    rings = [np.array(part.exterior.coords)[:-1] for part, _ in loops]
    return Bearing(
        height_mm=height,
        area_mm2=plane.area,
        centre_mm=np.array([*plane.middle, height]),
        outlines=tuple(np.column_stack([ring, np.full(len(ring), height)]) for ring in rings),
        shares=tuple(plane.share(-weight, couple, loop) for _, loop in loops),
        above_m3=volume * M3_PER_MM3,
        above_centre_mm=np.asarray(centre),
        lever_mm=float(np.linalg.norm(centre[:2] - plane.middle)),
        tension_mpa=tension,
        compression_mpa=compression,
    )


def _mass(solid: Solid) -> tuple[float, Array]:
    """Return the volume in mm³ and its first moment (3,)."""
    volume = float(solid.volume())
    vertices, faces = arrays_of(solid)
    return volume, volume * centroid(vertices, faces) if volume else np.zeros(3)

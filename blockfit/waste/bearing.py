"""Sections that carry: at every height, all that bears what lies above, and the stress its weight makes there.

mm, MPa, kg, block frame. Plain beam theory on the horizontal section of everything that stands on the ground at that
height, all its loops together: σ = N/A with bending about the section's own axes. Shear, stress raisers and whatever
tools and transport add are left out. What hangs from above without reaching the ground carries nothing: it weighs."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from blockfit.measure.booleans import Solid, arrays_of, level_rings
from blockfit.measure.sections import Plane, area_of, overlap, parts_of, plane_of
from blockfit.solids.arrays import Array
from blockfit.solids.surface import centroid

__all__ = ["GRAVITY", "Bearing", "Slices", "bearings", "lying", "slices_of"]

GRAVITY = 9.80665  # m/s², standard gravity (ISO 80000-3)
_FINER = 6  # further heights around each of the worst
_MOST = 3  # worst heights that are reported
_APART = 0.04  # of the height: nearer ones are one
_LEAST = 2e-4  # of the volume: where less lies above, nothing is asked
_EDGE = 5e-3  # of the height: how far from top and bottom sections are taken; contact with the floor is no section


@dataclass(frozen=True, slots=True, eq=False)
class Bearing:
    """One height and what its section carries.

    ``area_mm2`` and ``centre_mm`` (3,) are of all loops together, ``outlines`` theirs (n, 3) each, ``shares`` how the
    weight divides between them (below 0: it is pulled up). ``above_m3`` and ``above_centre_mm`` (3,) are of all that is
    carried, ``lever_mm`` how far its weight acts beside the section's middle. ``tension_mpa`` and ``compression_mpa``
    are the greatest in the section, 0 or more; the weight counts ``jerk`` times.
    """

    height_mm: float
    area_mm2: float
    centre_mm: Array
    outlines: tuple[Array, ...]
    shares: tuple[float, ...]
    above_m3: float
    above_centre_mm: Array
    lever_mm: float
    tension_mpa: float
    compression_mpa: float


@dataclass(frozen=True, slots=True, eq=False)
class Slices:
    """Horizontal sections of a solid, from below: ``heights`` (n,), and for each the part that stands on the ground,
    as a shapely area with its ``planes`` (area, middle, moments), and the areas and first moments of all of it."""

    heights: Array
    grounded: tuple[Any, ...]
    planes: tuple[Plane, ...]
    all_area: Array
    all_first: Array


def slices_of(solid: Solid, low: float, high: float, count: int) -> Slices:
    """Return the sections of a solid at ``count`` heights, evenly spread."""
    edge = _EDGE * (high - low)
    heights = np.linspace(low + edge, high - edge, count)
    areas = [area_of(level_rings(solid, z)) for z in heights.tolist()]
    grounded = [areas[0]]
    for area in areas[1:]:
        grounded.append(overlap(area, grounded[-1]))
    wholes = [plane_of(area) for area in areas]
    return Slices(
        heights,
        tuple(grounded),
        tuple(plane_of(area) for area in grounded),
        np.array([whole.area for whole in wholes]),
        np.array([whole.area * whole.middle for whole in wholes]),
    )


def bearings(solid: Solid, density_kg_m3: float, *, jerk: float = 1.0, count: int = 160) -> tuple[Bearing, ...]:
    """Return the heights at which a standing solid's own weight asks most of what carries it, the worst first.

    Most is the greatest tension, and the greatest compression. Sections are looked at ``count`` heights and finer
    around the worst; what is returned is of the exact solid above each.

    >>> import manifold3d
    >>> from blockfit.waste.bearing import GRAVITY, bearings
    >>> table = manifold3d.Manifold.cube([400, 400, 100]).translate([-50, -150, 300])
    >>> worst = bearings(table + manifold3d.Manifold.cube([100, 100, 301]), 2700)[0]
    >>> lever, load = 100.0, 0.016 * 2700 * GRAVITY  # by hand, without the post's own weight
    >>> abs(worst.tension_mpa - (6 * load * lever / 100**3 - load / 100**2)) < 0.001
    True
    """
    vertices, faces = arrays_of(solid)
    low, high = float(vertices[:, 2].min()), float(vertices[:, 2].max())
    slices = slices_of(solid, low, high, count)
    carried = _carried(slices)
    stress = np.array([_pair(slices.planes[k], carried[k], density_kg_m3 * jerk) for k in range(count)])  # (n, 2)
    picked = [
        _finer(solid, slices, carried, k, kind, density_kg_m3 * jerk)
        for kind in (0, 1)
        for k in _peaks(stress[:, kind], slices.heights, _APART * (high - low))
    ]
    found: list[Bearing] = []
    for height in picked:
        if all(abs(height - other.height_mm) > 1e-9 for other in found):
            told = _bearing(solid, height, low, density_kg_m3 * jerk)
            if told is not None:
                found.append(told)
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

    A straight beam on two supports; its sections are those across its height.
    """
    vertices, _ = arrays_of(solid)
    low, high = float(vertices[:, 2].min()), float(vertices[:, 2].max())
    slices = slices_of(solid, low, high, count)
    step = float(slices.heights[1] - slices.heights[0])
    weight = slices.all_area * step * density_kg_m3 * jerk * 1e-9 * GRAVITY  # N each
    total, middle = float(weight.sum()), float(weight @ slices.heights) / float(weight.sum())
    near, far = sorted(supports_mm)
    at_far = total * (middle - near) / (far - near)
    reactions = ((near, total - at_far), (far, at_far))
    told = []
    for side, way in (("its back", (0, 1)), ("its front", (0, -1)), ("its left", (-1, 0)), ("its right", (1, 0))):
        worst = (float(low), 0.0, 0.0)
        for k, z in enumerate(slices.heights.tolist()):
            moment = float((weight[: k + 1] * (z - slices.heights[: k + 1])).sum())
            moment -= sum(force * (z - at) for at, force in reactions if at < z)
            plane = plane_of(area_of(level_rings(solid, z)))
            tension, compression = plane.extremes(0.0, moment * np.array(way, np.float64))
            if tension > worst[1]:
                worst = (z, tension, compression)
        told.append((side, *worst))
    return tuple(told)


def _carried(slices: Slices) -> Array:
    """Return (n, 3) the volume (mm³) that each section carries, and where its centre lies, by sections alone."""
    step = float(slices.heights[1] - slices.heights[0])
    area = np.array([plane.area for plane in slices.planes])
    first = np.array([plane.area * plane.middle for plane in slices.planes])
    below = np.cumsum(area) * step - area * step / 2
    below_first = np.cumsum(first, axis=0) * step - first * step / 2
    total = float(slices.all_area.sum()) * step
    load = total - below
    centre = (slices.all_first.sum(axis=0) * step - below_first) / np.where(load > 0, load, 1.0)[:, None]
    return np.column_stack([np.where(load > _LEAST * total, load, 0.0), centre])


def _pair(plane: Plane, carried: Array, density: float) -> tuple[float, float]:
    """Return the greatest tension and compression under what a section carries (volume, centre)."""
    if plane.area <= 0 or carried[0] <= 0:
        return 0.0, 0.0
    weight = float(carried[0]) * density * 1e-9 * GRAVITY
    return plane.extremes(-weight, -weight * (carried[1:] - plane.middle))


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


def _finer(solid: Solid, slices: Slices, carried: Array, k: int, kind: int, density: float) -> float:
    """Return the height near the k-th at which the tension (``kind`` 0) or compression (1) is greatest."""
    step = float(slices.heights[1] - slices.heights[0])
    best, most = float(slices.heights[k]), _pair(slices.planes[k], carried[k], density)[kind]
    for share in np.linspace(-1, 1, 2 * _FINER + 1)[1:-1].tolist():
        height = float(np.clip(slices.heights[k] + share * step, slices.heights[0], slices.heights[-1]))
        plane = plane_of(overlap(area_of(level_rings(solid, height)), slices.grounded[k]))
        load = np.array([np.interp(height, slices.heights, carried[:, j]) for j in range(3)])
        value = _pair(plane, load, density)[kind]
        if value > most * (1 + 1e-9):
            best, most = height, value
    return best


def _bearing(solid: Solid, height: float, low: float, density: float) -> Bearing | None:
    """Return what the exact section at a height carries."""
    below = solid.trim_by_plane([0.0, 0.0, -1.0], -height).decompose()
    standing = [part for part in below if float(part.bounding_box()[2]) <= low + 1.0]
    if not standing:
        return None
    area = area_of(
        [ring for part in standing for ring in level_rings(part, height - 1e-7 * max(1.0, abs(height - low)))]
    )
    plane = plane_of(area)
    hanging = [part for part in below if float(part.bounding_box()[2]) > low + 1.0]
    carried = [_mass(part) for part in (solid.trim_by_plane([0.0, 0.0, 1.0], height), *hanging)]
    volume, moment = sum(own for own, _ in carried), sum((m for _, m in carried), np.zeros(3))
    if plane.area <= 0 or volume <= _LEAST * float(solid.volume()):
        return None
    centre = moment / volume
    weight = volume * density * 1e-9 * GRAVITY
    couple = -weight * (centre[:2] - plane.middle)
    tension, compression = plane.extremes(-weight, couple)
    loops = parts_of(area)
    return Bearing(
        height_mm=height,
        area_mm2=plane.area,
        centre_mm=np.array([*plane.middle, height]),
        outlines=tuple(np.column_stack([ring, np.full(len(ring), height)]) for ring, _ in loops),
        shares=tuple(plane.share(-weight, couple, loop) for _, loop in loops),
        above_m3=volume * 1e-9,
        above_centre_mm=np.asarray(centre),
        lever_mm=float(np.linalg.norm(centre[:2] - plane.middle)),
        tension_mpa=tension,
        compression_mpa=compression,
    )


def _mass(solid: Solid) -> tuple[float, Array]:
    """Return the volume in mm³ and its first moment (3,)."""
    volume = float(solid.volume())
    vertices, faces = arrays_of(solid)
    return volume, volume * centroid(vertices, faces) if volume > 0 else np.zeros(3)

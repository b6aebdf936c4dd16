"""Necks: the least sections that part an overhanging piece of the figure from the rest, and their stress.

mm, block frame, the figure standing upright on its base. Beam formulas on exact sections and exact parts; the
stress is an estimate: stone has flaws, tools jar, and corners gather stress."""

from dataclasses import dataclass, field

import numpy as np

from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.surface import PartBeyond
from blockfit.measure.cross_sections import Section
from blockfit.measure.sections import polygon_area
from blockfit.units import M3_PER_MM3
from blockfit.waste.statics import side_words
from blockfit.waste.strength.bearing import Bearing
from blockfit.waste.strength.limbs import Body, bending_mpa, limbs_of, parted_limbs, roots_of
from blockfit.waste.strength.thickness import Thickness

__all__ = ["Neck", "neck_of_bearing", "necks_of"]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Neck(Result):
    """A section that carries a part: where it is, its area, the part's stone and lever, and the stress it makes.

    ``lever_mm`` is the level distance from the section's middle to the plumb line through the part's centre of
    gravity, towards ``towards``; ``stress_mpa`` the greatest tension from the part's own weight at the density given.
    ``prop_mm`` (3,) is where a prop carrying ``prop_share`` of the part's weight would halve the bending. ``early``:
    working from the front, the part is free before the stone behind it is. ``stands``: it is a level section that
    carries all that is above it, of all its loops together; ``outline`` is then that of the largest.
    """

    centre_mm: Array = field(metadata=fact("at", Sure.EXACT))
    normal: Array = field(metadata=fact("normal", Sure.EXACT, shown=False))
    area_mm2: float = field(metadata=fact("area", Sure.EXACT))
    width_mm: float
    outline: Array
    part_m3: float = field(metadata=fact("carries", Sure.EXACT))
    part_centre_mm: Array
    lever_mm: float = field(metadata=fact("lever", Sure.EXACT, Rounding.UP))
    towards: str = field(metadata=fact("towards", Sure.EXACT))
    stress_mpa: float = field(metadata=fact("stress", Sure.ESTIMATE, Rounding.UP))
    prop_mm: Array | None = field(metadata=fact("prop at", Sure.ESTIMATE, shown=False))
    prop_share: float | None = field(metadata=fact("prop carries", Sure.ESTIMATE, measure=Measure.SHARE, shown=False))
    early: bool = field(metadata=fact("free early", Sure.RESOLVED))
    stands: bool = field(default=False, metadata=fact("carries all above", Sure.EXACT, key="carries_all_above"))


def neck_of_bearing(bearing: Bearing) -> Neck:
    """Return a section that the whole stands on, as a neck."""
    lever = bearing.above_centre_mm - bearing.centre_mm
    level = np.array([lever[0], lever[1], 0.0])
    largest = max(bearing.outlines, key=lambda ring: polygon_area(ring[:, :2]))
    return Neck(
        centre_mm=bearing.centre_mm,
        normal=np.array([0.0, 0.0, 1.0]),
        area_mm2=bearing.area_mm2,
        width_mm=2 * float(np.sqrt(bearing.area_mm2 / np.pi)),
        outline=largest,
        part_m3=bearing.above_m3,
        part_centre_mm=bearing.above_centre_mm,
        lever_mm=bearing.lever_mm,
        towards=side_words(level) if bearing.lever_mm > 1 else "straight above it",
        stress_mpa=bearing.tension_mpa,
        prop_mm=None,
        prop_share=None,
        early=False,
        stands=True,
    )


def necks_of(
    whole_mm3: float, vertices: Array, faces: Ints, thick: Thickness, density_kg_m3: float, most: int
) -> tuple[Neck, ...]:
    """Return the necks of overhanging parts found, the most stressed first, one for each part."""
    body = Body.of(vertices, faces, whole_mm3)
    found = parted_limbs(body, limbs_of(thick, float(np.ptp(vertices[:, 2]))))
    # Towards its root a limb carries more, and over a longer lever: the section that this asks most of counts.
    roots = roots_of(body, found)
    necks = []
    for limb, root in zip(found, roots, strict=True):
        further = None if root is limb.section else body.part(root, limb.way)
        section, (part, way) = (limb.section, (limb.part, limb.way)) if further is None else (root, further)
        necks.append(_neck(section, way, part, density_kg_m3, limb.width_mm, vertices))
    return _distinct(necks)[:most]


def _neck(section: Section, way: Array, body: PartBeyond, density: float, width: float, vertices: Array) -> Neck:
    corners, centre = body.corners, body.centre
    volume = body.volume_mm3 * M3_PER_MM3
    lever = centre - section.centre
    level = np.array([lever[0], lever[1], 0.0])
    length = float(np.linalg.norm(level))
    prop, share = None, None
    if length > 1:
        outward = corners @ (level / length)
        far = corners[outward >= outward.max() - 0.15 * float(np.ptp(outward))]
        prop = far[int(far[:, 2].argmin())]
        reach = float((prop - section.centre) @ (level / length))
        share = float(length / (2 * reach)) if reach > length / 2 else None
        prop = prop if share is not None else None
    middle = float(vertices[:, 1].min() + vertices[:, 1].max()) / 2
    return Neck(
        centre_mm=section.centre,
        normal=way,
        area_mm2=section.area_mm2,
        width_mm=width,
        outline=section.outline,
        part_m3=volume,
        part_centre_mm=centre,
        lever_mm=length,
        towards=side_words(level) if length > 1 else "straight above it" if lever[2] > 0 else "straight below it",
        stress_mpa=bending_mpa(section, way, lever, volume * density),
        prop_mm=prop,
        prop_share=share,
        early=bool(corners[:, 1].max() < middle),
    )


def _distinct(found: list[Neck]) -> tuple[Neck, ...]:
    """Return the most stressed first; of necks that carry nearly the same part only one."""
    kept: list[Neck] = []
    for neck in sorted(found, key=lambda n: (-n.stress_mpa, n.area_mm2)):
        if not any(_carries_the_same(other, neck) or _is_further_along(other, neck) for other in kept):
            kept.append(neck)
    return tuple(kept)


def _carries_the_same(one: Neck, other: Neck) -> bool:
    """Tell whether two necks carry nearly the same part."""
    alike = abs(one.part_m3 - other.part_m3) < 0.4 * max(one.part_m3, other.part_m3)
    near = np.linalg.norm(one.part_centre_mm - other.part_centre_mm) < 2 * max(one.width_mm, other.width_mm)
    return bool(alike and near)


def _is_further_along(root: Neck, neck: Neck) -> bool:
    """Tell whether a neck is but a place further out on the same even limb: straight on, and of the same section."""
    to = neck.centre_mm - root.centre_mm
    on = float(to @ root.normal)
    aside = float(np.linalg.norm(to - on * root.normal))
    alike = abs(neck.area_mm2 - root.area_mm2) < 0.05 * root.area_mm2 and neck.part_m3 < root.part_m3
    return bool(alike and on > 0 and float(neck.normal @ root.normal) > 0.98 and aside < np.sqrt(root.area_mm2) / 2)

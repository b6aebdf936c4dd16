"""Necks: the least sections that part an overhanging piece of the figure from the rest, and their stress.

mm, block frame, the figure standing upright on its base. Beam formulas on exact sections and exact parts; the
stress is an estimate: stone has flaws, tools jar, and corners gather stress."""

from dataclasses import dataclass, field

import numpy as np

from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.surface import PartBeyond, any_corner, compacted, part_beyond
from blockfit.geometry.tolerances import CLOSE
from blockfit.measure.cross_sections import Section, least_section, section_near, sections_across
from blockfit.measure.patches import Links
from blockfit.measure.sections import polygon_area
from blockfit.units import M3_PER_MM3
from blockfit.waste.statics import side_words
from blockfit.waste.strength.bearing import GRAVITY, Bearing
from blockfit.waste.strength.thickness import Thickness

__all__ = ["Neck", "bending_mpa", "neck_of_bearing", "necks_of"]

_MOST_PLACES, _MOST_WALLS = 48, 24
_JUMP = 1.4  # of a section to the next: where a limb ends in the rest
_MOST_STEPS = 80
_AT_ONCE = 8  # sections looked at together on the way to a limb's root
_FINER = 4  # sizes of step in the search for the least section, each half of the one before
_ROD = 0.1  # normals across a limb spread so much the other way, of what they do one way
_LEAST_PART = 2e-4  # of the figure's volume: smaller tips are left out
_LESS = 1 - 1e-6  # of an area: a section is less only below this


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


def bending_mpa(section: Section, normal: Array, lever: Array, mass_kg: float) -> float:
    """Return the greatest tension in MPa where a mass hangs off a section by ``lever`` (3,) mm.

    ``normal`` points from the section to the mass. The plain beam: σ = N/A + bending about both axes of the section.

    >>> import numpy as np
    >>> from blockfit.measure.cross_sections import Section
    >>> from blockfit.waste.strength.bearing import GRAVITY
    >>> from blockfit.waste.strength.necks import bending_mpa
    >>> rim = np.array([[-10, -20], [10, -20], [10, 20], [-10, 20]], float)  # 20 wide, 40 high, along y and z
    >>> square = Section(800, np.zeros(3), np.diag([20**3 * 40, 20 * 40**3]) / 12, np.eye(3)[1:], rim)
    >>> stress = bending_mpa(square, np.eye(3)[0], np.array([300.0, 0, 0]), 10)
    >>> bool(abs(stress - 6 * 10 * GRAVITY * 300 / (20 * 40**2)) < 1e-9)
    True
    """
    pull = -GRAVITY * mass_kg  # newtons, along z; with mm² gives MPa
    moment = pull * np.array([lever[1], -lever[0], 0.0])  # about the section's middle, of what hangs on it
    # Fibres pull back: σ = N/A + a·r with ∫ r × (σ n) dA = moment, for r in the plane.
    lean = np.cross(section.axes, normal)
    slope = np.linalg.solve(section.axes @ lean.T @ section.moments, section.axes @ moment)
    stress = pull * float(normal[2]) / section.area_mm2 + section.rim @ slope
    return float(stress.max())


def necks_of(
    whole_mm3: float, vertices: Array, faces: Ints, thick: Thickness, density_kg_m3: float, most: int
) -> tuple[Neck, ...]:
    """Return the necks of overhanging parts found, the most stressed first, one for each part."""
    body = _Body.of(vertices, faces, whole_mm3)
    tall = float(np.ptp(vertices[:, 2]))
    found: list[Neck] = []
    looked = [0, 0]  # at limbs of solid stone, and at what may be the wall of a hollow one
    for at, thin in _places(thick, tall):
        limb = _limb(thick, at, thin, 0.3 * tall)
        if limb is None:
            continue
        normal, width = limb
        hollow = int(width > thin)
        looked[hollow] += 1
        if looked[0] > _MOST_PLACES:
            break
        if hollow and looked[1] > _MOST_WALLS:
            continue
        section, normal = _least_section(body, normal, at, width)
        if section is None or section.area_mm2 > 40 * width**2:
            continue
        part = _part(body, section, normal)
        if part is None:
            continue
        carried, towards = part
        # Towards its root a limb carries more, and over a longer lever: the section that this asks most of counts.
        root = _root(body, section, towards, carried, width)
        if root is not section:
            further = _part(body, root, towards)
            if further is not None:
                (carried, towards), section = further, root
        found.append(_neck(section, towards, carried, density_kg_m3, width, vertices))
    return _distinct(found)[:most]


@dataclass(frozen=True, slots=True, eq=False)
class _Body:
    """The figure's surface, its volume, where it stands, what hangs together along the sides of its faces, and the
    corners of the boxes around those (m, 3)."""

    vertices: Array
    faces: Ints
    whole_mm3: float
    floor: float
    sides: Links
    low: Array
    high: Array

    @classmethod
    def of(cls, vertices: Array, faces: Ints, whole_mm3: float) -> "_Body":
        start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
        corners = vertices[faces]
        links = Links.of(len(vertices), start, end)
        floor = float(vertices[:, 2].min())
        return cls(vertices, faces, whole_mm3, floor, links, corners.min(axis=1), corners.max(axis=1))

    def near(self, at: Array, reach: float) -> tuple[Array, Ints]:
        """Return the faces that reach into a box around a place, as a surface of their own."""
        beside = (self.low - at >= reach) | (at - self.high >= reach)
        return compacted(self.vertices, self.faces[~(beside[:, 0] | beside[:, 1] | beside[:, 2])])


def _places(thick: Thickness, tall: float) -> list[tuple[Array, float]]:
    """Return middles of balls in thin limbs, thinnest first, none near one already taken."""
    middles, diameter = thick.middles, thick.diameter_mm
    order = np.argsort(diameter, kind="stable")
    floor = float(thick.points[:, 2].min())
    # What lies on the floor hangs on nothing.
    order = order[(diameter[order] <= 0.3 * tall) & (middles[order, 2] - 0.6 * diameter[order] > floor)]
    taken: list[tuple[Array, float]] = []
    while len(order) and len(taken) < 8 * _MOST_PLACES:
        at, width = middles[order[0]], float(diameter[order[0]])
        taken.append((at, width))
        apart = np.maximum(np.maximum(1.2 * diameter[order], 0.03 * tall), 1.2 * width)
        order = order[np.linalg.norm(middles[order] - at, axis=1) > apart]
    return taken


def _limb(thick: Thickness, at: Array, width: float, most: float) -> tuple[Array, float] | None:
    """Return the direction along a limb, the one to which the normals around it are squarest, and how wide it is.

    Where they are all but parallel it is a plate there, or the wall of a hollow limb: then more is looked at, as far as
    ``most``. ``None`` for a plate, which no one section parts.
    """
    away = np.linalg.norm(thick.points - at, axis=1)
    while True:
        near = away < 1.2 * width
        spread = (thick.inward[near] * thick.areas_mm2[near, None]).T @ thick.inward[near]
        sizes, ways = np.linalg.eigh(spread)
        if sizes[1] > _ROD * sizes[2]:
            return np.asarray(ways[:, 0]), width
        if 2 * width > most:
            return None
        width *= 2


def _least_section(body: _Body, normal: Array, at: Array, width: float) -> tuple[Section | None, Array]:
    """Return the least section near a place, by turning and shifting the plane in ever smaller steps."""
    near = body.near(at, 4 * width)
    best = section_near(*near, normal, at)
    for share in 0.5 ** np.arange(_FINER):
        for turn in (0.35 * share, 0.0):  # tilted first, then moved both ways along
            normals = _tilted(normal, turn) if turn else np.stack([normal, normal])
            shifts = np.zeros(4) if turn else 0.5 * share * width * np.array([1.0, -1.0])
            places = (at if best is None else best.centre) + shifts[:, None] * normal
            trial = least_section(*near, normals, places)
            if trial is not None and (best is None or trial[1].area_mm2 < best.area_mm2 * _LESS):
                best, normal, at = trial[1], normals[trial[0]], places[trial[0]]
    if best is None:
        return None, normal
    # Once more with the whole surface: what was left out may have closed an outline that is none.
    whole = section_near(body.vertices, body.faces, normal, best.centre)
    return (whole if whole is not None and whole.area_mm2 < 1.2 * best.area_mm2 else None), normal


def _root(body: _Body, section: Section, towards: Array, carried: PartBeyond, width: float) -> Section:
    """Return the section on the way back along a limb, to where it ends in the rest, that its part asks most of.

    The part grows by the slices passed; the limb ends where a section is much larger than the one before.
    """
    best, here = section, section
    step = 0.1 * width
    near = body.near(section.centre, 10 * width)
    volume, moment = carried.volume_mm3, carried.volume_mm3 * carried.centre
    most = bending_mpa(section, towards, carried.centre - section.centre, volume)
    for _ in range(_MOST_STEPS // _AT_ONCE):
        # Square to the limb all together; each is the outline that holds the middle of the one before them all.
        back = step * np.arange(1, _AT_ONCE + 1)
        places = here.centre - back[:, None] * towards
        for trial in sections_across(*near, np.tile(towards, (_AT_ONCE, 1)), places):
            if trial is None or _is_past(trial, here, section):
                return best
            volume, moment = volume + step * trial.area_mm2, moment + step * trial.area_mm2 * trial.centre
            stress = bending_mpa(trial, towards, moment / volume - trial.centre, volume)
            if stress > most * (1 + CLOSE):
                best, most = trial, stress
            here = trial
    return best


def _is_past(trial: Section, here: Section, first: Section) -> bool:
    """Tell whether a limb has ended: a section is no longer much like the one before, or many times the first."""
    return not 0.6 < trial.area_mm2 / here.area_mm2 < _JUMP or trial.area_mm2 > 16 * first.area_mm2


def _tilted(normal: Array, turn: float) -> Array:
    """Return (4, 3) normals tilted four ways."""
    level = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    u = level / np.linalg.norm(level)
    v = np.cross(normal, u)
    return np.asarray(np.stack([normal + turn * side for side in (u, -u, v, -v)]) / np.hypot(1, turn))


def _part(body: _Body, section: Section, normal: Array) -> tuple[PartBeyond, Array] | None:
    """Return the piece that the section alone joins to the rest, and the way from the section to it.

    It is a piece of one side that does not stand on the base and is cut by the plane in this section only.
    """
    vertices, faces = body.vertices, body.faces
    above = vertices @ normal > float(section.centre @ normal)
    group = body.sides.groups(above)
    crossing = faces[any_corner(above, faces) & any_corner(~above, faces)]
    reach = 2 * np.sqrt(section.area_mm2)
    middles = vertices[crossing].mean(axis=1)
    close = np.linalg.norm(middles - section.centre, axis=1) < reach + np.ptp(vertices[crossing], axis=1).max(axis=1)
    for side, way in ((True, normal), (False, -normal)):
        rim = np.unique(crossing[close])
        for label in np.unique(group[rim[above[rim] == side]]).tolist():
            inside = group == label
            if float(vertices[inside, 2].min()) <= body.floor + 1:
                continue
            part = part_beyond(vertices, faces[any_corner(inside, faces)], inside, section.centre, way)
            if part.volume_mm3 <= _LEAST_PART * body.whole_mm3:
                continue
            if abs(part.cut_mm2 - section.area_mm2) < 0.02 * section.area_mm2:
                return part, way
    return None


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

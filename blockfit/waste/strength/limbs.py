"""Limbs: thin places of a figure, the least section of each, the part that it carries, and where the limb begins.

mm, the figure standing upright on its base. All limbs are worked on side by side, their planes cut together. Sections
and parts are exact for the surface given; that a section is the least is what small steps found."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.surface import PartBeyond, SummedSurface, compacted, crossed
from blockfit.geometry.tolerances import CLOSE, LESS
from blockfit.measure.cross_sections import Section, Surfaces, least_of_each, section_near, sections_of_each
from blockfit.measure.patches import Links
from blockfit.waste.strength.bearing import GRAVITY
from blockfit.waste.strength.thickness import Thickness

__all__ = ["Body", "Limb", "PartedLimb", "bending_mpa", "limbs_of", "parted_limbs", "roots_of"]

One = TypeVar("One")

_MOST_PLACES, _MOST_WALLS = 48, 24
_JUMP = 1.4  # of a section to the next: where a limb ends in the rest
_MOST_STEPS = 80
_AT_ONCE = 8  # sections looked at together on the way to a limb's root
_BATCH = 12  # limbs cut side by side
_FINER = 4  # sizes of step in the search for the least section, each half of the one before
_ROD = 0.1  # normals across a limb spread so much the other way, of what they do one way
_LEAST_PART = 2e-4  # of the figure's volume: smaller tips are left out


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """The figure's surface, its volume, where it stands, which corners hang together along the sides of its faces, on
    which shell each lies, and the corners (m, 3) of the box around each face."""

    surface: SummedSurface
    whole_mm3: float
    floor: float
    sides: Links
    shell: Ints
    low: Array
    high: Array

    @classmethod
    def of(cls, vertices: Array, faces: Ints, whole_mm3: float) -> "Body":
        """Make a surface ready for what is asked of it again and again."""
        corners = vertices[faces]
        links = Links.of(len(vertices), faces.ravel(), faces[:, [1, 2, 0]].ravel())
        low, high = corners.min(axis=1), corners.max(axis=1)
        floor, shell = float(vertices[:, 2].min()), links.groups(np.zeros(len(vertices)))
        return cls(SummedSurface.of(vertices, faces), whole_mm3, floor, links, shell, low, high)

    def near(self, at: Array, reach: float) -> tuple[Array, Ints]:
        """Return the faces that reach into a box around a place, as a surface of their own."""
        beside = (self.low - at >= reach) | (at - self.high >= reach)
        return compacted(self.surface.vertices, self.surface.faces[~(beside[:, 0] | beside[:, 1] | beside[:, 2])])

    def section(self, normal: Array, at: Array) -> Section | None:
        """Return the whole surface's section through a place."""
        return section_near(self.surface.vertices, self.surface.faces, normal, at)

    def part(self, section: Section, normal: Array) -> tuple[PartBeyond, Array] | None:
        """Return the piece that the section alone joins to the rest, and the way from the section to it.

        It is a piece of one side that does not stand on the base and is cut by the plane in this section only.
        """
        vertices, faces = self.surface.vertices, self.surface.faces
        above = vertices @ normal > float(section.centre @ normal)
        group = self.sides.groups(above)
        crossing = faces[crossed(above, faces)]
        corners = vertices[crossing]
        reach = 2 * np.sqrt(section.area_mm2) + np.ptp(corners, axis=1).max(axis=1)
        close = np.linalg.norm(corners.mean(axis=1) - section.centre, axis=1) < reach
        rim = np.unique(crossing[close])
        for side, way in ((True, normal), (False, -normal)):
            for inside in self._pieces(group, rim[above[rim] == side]):
                if float(vertices[inside, 2].min()) <= self.floor + 1:
                    continue
                part = self.surface.beyond(inside, section.centre, way)
                if part.volume_mm3 <= _LEAST_PART * self.whole_mm3:
                    continue
                if abs(part.cut_mm2 - section.area_mm2) < 0.02 * section.area_mm2:
                    return part, way
        return None

    def _pieces(self, group: Ints, rim: Ints) -> Iterator[Flags]:
        """Yield the corners of each piece on a rim; then, as hollows have shells of their own, with what lies there of
        others."""
        shell, labels = self.shell, np.unique(group[rim])
        yield from (group == label for label in labels.tolist())
        for one in np.unique(shell[rim]).tolist() if len(labels) > 1 else []:
            others = np.unique(group[rim[shell[rim] != one]])
            if len(others):
                hollow = np.isin(group, others)
                yield from ((group == label) | hollow for label in np.unique(group[rim[shell[rim] == one]]).tolist())


@dataclass(frozen=True, slots=True, eq=False)
class Limb:
    """A thin place (3,), the direction along it (3,), and how wide the limb is there."""

    at: Array
    along: Array
    width_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class PartedLimb:
    """A section of a limb and the part that it joins to the rest, which lies the way ``way`` (3,) from it."""

    section: Section
    part: PartBeyond
    way: Array
    width_mm: float


def bending_mpa(section: Section, normal: Array, lever: Array, mass_kg: float) -> float:
    """Return the greatest tension in MPa where a mass hangs off a section by ``lever`` (3,) mm.

    ``normal`` points from the section to the mass. The plain beam: σ = N/A + bending about both axes of the section.

    >>> import numpy as np
    >>> from blockfit.measure.cross_sections import Section
    >>> from blockfit.waste.strength.bearing import GRAVITY
    >>> from blockfit.waste.strength.limbs import bending_mpa
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


def limbs_of(thick: Thickness, tall: float) -> list[Limb]:
    """Return the limbs to be looked at, thinnest first."""
    found: list[Limb] = []
    looked = [0, 0]  # at limbs of solid stone, and at what may be the wall of a hollow one
    for at, thin in _places(thick, tall):
        limb = _limb(thick, at, thin, 0.3 * tall)
        if limb is None:
            continue
        hollow = int(limb.width_mm > thin)
        looked[hollow] += 1
        if looked[0] > _MOST_PLACES:
            break
        if not hollow or looked[1] <= _MOST_WALLS:
            found.append(limb)
    return found


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


def _limb(thick: Thickness, at: Array, width: float, most: float) -> Limb | None:
    """Return the limb at a place; along it is the direction to which the normals around it are squarest.

    Where they are all but parallel it is a plate there, or the wall of a hollow limb: then more is looked at, as far as
    ``most``. ``None`` for a plate, which no one section parts.
    """
    away = np.linalg.norm(thick.points - at, axis=1)
    while True:
        near = away < 1.2 * width
        spread = (thick.inward[near] * thick.areas_mm2[near, None]).T @ thick.inward[near]
        sizes, ways = np.linalg.eigh(spread)
        if sizes[1] > _ROD * sizes[2]:
            return Limb(at, np.asarray(ways[:, 0]), width)
        if 2 * width > most:
            return None
        width *= 2


def parted_limbs(body: Body, limbs: Sequence[Limb]) -> list[PartedLimb]:
    """Return the limbs whose least section parts something from the rest, with it."""
    found = []
    least = [one for some in _batches(limbs) for one in _least_sections(body, some)]
    for (section, normal), limb in zip(least, limbs, strict=True):
        if section is None or section.area_mm2 > 40 * limb.width_mm**2:
            continue
        carried = body.part(section, normal)
        if carried is not None:
            found.append(PartedLimb(section, *carried, limb.width_mm))
    return found


def _batches(limbs: Sequence[One]) -> Iterator[Sequence[One]]:
    """Yield limbs a few at a time: more side by side would be no quicker, and take memory for the faces around each."""
    for start in range(0, len(limbs), _BATCH):
        yield limbs[start : start + _BATCH]


def _least_sections(body: Body, limbs: Sequence[Limb]) -> list[tuple[Section | None, Array]]:
    """Return each limb's least section near its place and its normal, by turning and shifting in ever smaller steps."""
    surfaces = Surfaces.of([body.near(limb.at, 4 * limb.width_mm) for limb in limbs])
    now, width = list(limbs), np.array([limb.width_mm for limb in limbs])
    along, middle = np.stack([limb.along for limb in limbs]), np.stack([limb.at for limb in limbs])
    best = [sections[0] for sections in sections_of_each(surfaces, along[:, None], middle[:, None])]
    for share in 0.5 ** np.arange(_FINER):
        for turn in (0.35 * share, 0.0):  # tilted first, then moved both ways along
            along = np.stack([limb.along for limb in now])
            middle = np.stack([one.at if least is None else least.centre for one, least in zip(now, best, strict=True)])
            if turn:
                normals = np.stack([_tilted(normal, turn) for normal in along])
                places = np.repeat(middle[:, None], 4, axis=1)
            else:
                normals = np.repeat(along[:, None], 2, axis=1)
                places = middle[:, None] + (0.5 * share * width[:, None] * np.array([1.0, -1.0]))[:, :, None] * normals
            for k, trial in enumerate(least_of_each(surfaces, normals, places)):
                if trial is not None and ((before := best[k]) is None or trial[1].area_mm2 < before.area_mm2 * LESS):
                    best[k], now[k] = trial[1], replace(now[k], along=normals[k, trial[0]], at=places[k, trial[0]])
    return [(_whole(body, least, limb.along), limb.along) for limb, least in zip(now, best, strict=True)]


def _whole(body: Body, least: Section | None, normal: Array) -> Section | None:
    """Return a section once more with the whole surface: what was left out may have closed an outline that is none."""
    whole = None if least is None else body.section(normal, least.centre)
    return whole if least is not None and whole is not None and whole.area_mm2 < 1.2 * least.area_mm2 else None


def _tilted(normal: Array, turn: float) -> Array:
    """Return (4, 3) normals tilted four ways."""
    level = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    u = level / np.linalg.norm(level)
    v = np.cross(normal, u)
    return np.asarray(np.stack([normal + turn * side for side in (u, -u, v, -v)]) / np.hypot(1, turn))


@dataclass(slots=True, eq=False)
class _Walk:
    """How far one has come back along a limb: the part grows by the slices passed."""

    limb: PartedLimb
    best: Section
    here: Section
    volume: float
    moment: Array
    most: float

    @classmethod
    def of(cls, limb: PartedLimb) -> "_Walk":
        part, section = limb.part, limb.section
        most = bending_mpa(section, limb.way, part.centre - section.centre, part.volume_mm3)
        return cls(limb, section, section, part.volume_mm3, part.volume_mm3 * part.centre, most)

    @property
    def step(self) -> float:
        return 0.1 * self.limb.width_mm

    def go(self, trials: Sequence[Section | None]) -> bool:
        """Pass sections one after the other; ``False`` where the limb has ended."""
        way, first = self.limb.way, self.limb.section
        for trial in trials:
            if trial is None or _is_past(trial, self.here, first):
                return False
            self.volume += self.step * trial.area_mm2
            self.moment = self.moment + self.step * trial.area_mm2 * trial.centre
            stress = bending_mpa(trial, way, self.moment / self.volume - trial.centre, self.volume)
            if stress > self.most * (1 + CLOSE):
                self.best, self.most = trial, stress
            self.here = trial
        return True


def roots_of(body: Body, limbs: Sequence[PartedLimb]) -> list[Section]:
    """Return of each limb the section, on the way back to where it ends in the rest, that its part asks most of.

    The limb ends where a section is much larger than the one before.
    """
    return [walk.best for some in _batches(limbs) for walk in _walked(body, some)]


def _walked(body: Body, limbs: Sequence[PartedLimb]) -> list["_Walk"]:
    """Return how far each of a few limbs goes back."""
    walks = [_Walk.of(limb) for limb in limbs]
    near = [body.near(limb.section.centre, 10 * limb.width_mm) for limb in limbs]
    going, surfaces = list(range(len(limbs))), Surfaces.of(near)
    for _ in range(_MOST_STEPS // _AT_ONCE):
        # Square to the limb all together; each is the outline that holds the middle of the one before them all.
        towards = np.stack([limbs[k].way for k in going])
        back = np.array([walks[k].step for k in going])[:, None] * np.arange(1, _AT_ONCE + 1)
        places = np.stack([walks[k].here.centre for k in going])[:, None] - back[:, :, None] * towards[:, None]
        found = sections_of_each(surfaces, np.repeat(towards[:, None], _AT_ONCE, axis=1), places)
        still = [k for k, trials in zip(going, found, strict=True) if walks[k].go(trials)]
        if not still:
            break
        if len(still) < len(going):
            surfaces = Surfaces.of([near[k] for k in still])
        going = still
    return walks


def _is_past(trial: Section, here: Section, first: Section) -> bool:
    """Tell whether a limb has ended: a section is no longer much like the one before, or many times the first."""
    return not 0.6 < trial.area_mm2 / here.area_mm2 < _JUMP or trial.area_mm2 > 16 * first.area_mm2

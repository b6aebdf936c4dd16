"""The stone at every moment of the work, each a solid: its weight, its centre of gravity, and what it stands on.

mm, kg, block frame. As delivered, after every offcut, and finished, the stone is an exact solid. Between those, as the
waste before, beside, between and behind the figure goes, volume and centre come from columns and are known to a part of
their pitch; the worse end is answered. What it then rests on is exact: the floor of the stone that is left."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blockfit.measure.booleans import Solid, arrays_of, hull_solid, level_rings, solid_from
from blockfit.measure.sections import area_of, footprint, only_areas, rings_of, swept_area
from blockfit.search.result import Fit
from blockfit.solids.arrays import Array
from blockfit.solids.figure import Figure
from blockfit.solids.surface import centroid
from blockfit.waste.offcut import OffcutPlan
from blockfit.waste.shares import stage_bodies
from blockfit.waste.statics import Balance, balance, base_of
from blockfit.waste.turning import Turning, turnings
from blockfit.waste.undercut import Undercuts

__all__ = ["LevelCut", "Load", "Stuff", "loads_of"]

_KNOWN = 0.25  # of a column's pitch: how well a centre of gravity by columns is known
_LEVELS = (
    1.0,
    2.0,
    3.0,
    5.0,
    8.0,
    12.0,
    20.0,
    30.0,
    45.0,
    65.0,
)  # mm: where a base that does not stand may be cut level


@dataclass(frozen=True, slots=True, eq=False)
class Stuff:
    """What weights count: kg per m³, typical and at the ends of its range."""

    typical: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False)
class LevelCut:
    """The least height at which cutting the base level lets a body stand, and how it then stands."""

    height_mm: float
    stands: Balance


@dataclass(frozen=True, slots=True, eq=False)
class Load:
    """The stone at one moment: weight with its range, centre of gravity (3,), and how it stands.

    ``on_supports`` is how it stands on the rollers, wedges or battens given instead of its base. ``size_mm`` is its own
    at that moment. ``turns`` are over the edges of its base, where it is an exact solid; ``level`` is what cutting the
    finished figure's base level would do, where it does not stand.
    """

    name: str
    volume_m3: float
    weight_kg: float
    weight_range_kg: tuple[float, float]
    centre_mm: Array
    stands: Balance
    on_supports: Balance | None
    size_mm: tuple[float, float, float]
    turns: tuple[Turning, ...] = ()
    level: LevelCut | None = None


def loads_of(
    fit: Fit,
    figure: Figure,
    offcuts: OffcutPlan | None,
    cut: Undercuts,
    stuff: Stuff,
    supports: Array | None,
    flat_mm: float,
) -> tuple[Load, ...]:
    """Return the stone as delivered, after each offcut and each part of the waste, and the finished figure."""
    block = fit.block

    def exact(name: str, vertices: Array, centre: Array, volume: float, level: LevelCut | None = None) -> Load:
        stands = balance(centre, base_of(vertices, flat_mm))
        heavy = volume * stuff.high
        turns = turnings(vertices, centre, heavy, stands.base, flat_mm)
        return _load(name, volume, centre, stands, _size(vertices), stuff, supports, turns, level)

    corners = block.corners_mm
    loads = [exact("as delivered", corners, block.centroid_mm, block.volume_m3)]
    for number, piece in enumerate(() if offcuts is None else offcuts.pieces, 1):
        left = piece.left
        loads.append(exact(f"after offcut {number}", left.vertices, centroid(left.vertices, left.faces), piece.left_m3))
    start = arrays_of(hull_solid(corners)) if offcuts is None else (offcuts.left.vertices, offcuts.left.faces)
    bases = _stage_bases(figure, solid_from(*start), cut.view.into, flat_mm)
    within = _KNOWN * cut.pitch_mm
    for (name, volume, centre), base in zip(stage_bodies(fit, cut, *start)[:-1], bases, strict=True):
        whole = start[0] if name == "before the figure" else np.concatenate([figure.vertices, base])
        loads.append(
            _load(
                f"once the stone {name} is gone",
                volume,
                centre,
                balance(centre, base, within),
                _size(whole),
                stuff,
                supports,
            )
        )
    middle = centroid(figure.vertices, figure.faces)
    feet = balance(middle, base_of(figure.vertices, flat_mm))
    level = None if feet.stands else _level_cut(figure)
    loads.append(exact("the finished figure", figure.vertices, middle, figure.volume_m3 or 0.0, level))
    return tuple(loads)


def _load(
    name: str,
    volume: float,
    centre: Array,
    stands: Balance,
    size: tuple[float, float, float],
    stuff: Stuff,
    supports: Array | None,
    turns: Sequence[Turning] = (),
    level: LevelCut | None = None,
) -> Load:
    floor = 0.0 if supports is None else float(supports[:, 2].max())
    held = (
        None if supports is None else balance(centre, np.column_stack([supports[:, :2], np.full(len(supports), floor)]))
    )
    return Load(
        name=name,
        volume_m3=volume,
        weight_kg=volume * stuff.typical,
        weight_range_kg=(volume * stuff.low, volume * stuff.high),
        centre_mm=centre,
        stands=stands,
        on_supports=held,
        size_mm=size,
        turns=tuple(turns),
        level=level,
    )


def _size(vertices: Array) -> tuple[float, float, float]:
    width, depth, height = np.ptp(vertices, axis=0).tolist()
    return width, depth, height


def _stage_bases(figure: Figure, stone: Solid, into: Array, flat_mm: float) -> list[Array]:
    """Return what is stood on (n, 3) once the stone before the figure, beside it, and between its surfaces is gone.

    Working along ``into``. Before the figure: the stone's floor less all that lies before the figure's own section
    there. After that, the figure's feet and the stone behind them.
    """
    vertices, _ = arrays_of(stone)
    floor, low = float(vertices[:, 2].min()), float(figure.vertices[:, 2].min())
    level = into - into[2] * np.array([0.0, 0.0, 1.0])
    feet = base_of(figure.vertices, flat_mm)
    if np.linalg.norm(level) < 1e-6:  # worked from above: what is before the figure lies over it, not under it
        return [base_of(vertices, flat_mm), feet, feet]
    way = level[:2] / np.linalg.norm(level) * 2 * float(np.ptp(vertices, axis=0).max())
    ground = area_of(level_rings(stone, floor + flat_mm / 2))
    own = solid_from(figure.vertices, figure.faces)
    here = area_of(level_rings(own, floor + flat_mm / 2))
    before = only_areas(swept_area(here, -way).difference(swept_area(here, way)))
    first = _corners(only_areas(ground.difference(before)), floor)
    stood = area_of(level_rings(own, low + flat_mm / 2))
    under = only_areas(swept_area(stood, way).intersection(area_of(level_rings(stone, low + flat_mm / 2))))
    later = np.concatenate([feet, _corners(under, low)])
    return [first if len(first) >= 3 else feet, later, later]


def _corners(area: object, height: float) -> Array:
    """Return the corners (n, 3) of the hull of a level area."""
    rings = rings_of(area)
    if not rings:
        return np.zeros((0, 3))
    ring = footprint(np.concatenate(rings))
    return np.column_stack([ring, np.full(len(ring), height)])


def _level_cut(figure: Figure) -> LevelCut | None:
    """Return the least height at which the figure, its base cut level there, would stand; ``None`` if at none."""
    solid = solid_from(figure.vertices, figure.faces)
    low = float(figure.vertices[:, 2].min())
    for height in _LEVELS:
        if height > 0.1 * figure.size_mm[2]:
            return None
        vertices, faces = arrays_of(solid.trim_by_plane([0.0, 0.0, 1.0], low + height))
        if len(faces) == 0:
            return None
        stands = balance(centroid(vertices, faces), base_of(vertices, 1e-3))
        if stands.stands:
            return LevelCut(height, stands)
    return None

"""How much stone is still over the figure: everywhere on its surface, in litres and kg, and where it was cut too deep.

mm, kg, block frame. Distances are exact for the two surfaces, at places spread evenly over the figure; areas are
resolved to those places, parts of the waste to the columns' pitch. Of a scan, what its registration and noise leave
open is kept apart: "surely too deep" lies beyond both."""

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from blockfit.carving.left_regions import LeftRegion, regions_left, weighted_median
from blockfit.carving.motion import NOISE
from blockfit.carving.scan_stone import TOLD, is_rebuilt
from blockfit.carving.shown import Shown
from blockfit.carving.stages import Stage, stage_from
from blockfit.facts.measures import Rounding
from blockfit.facts.systems import UnitSystem, units_of
from blockfit.geometry.arrays import Array, Flags
from blockfit.geometry.tolerances import NOT_ZERO
from blockfit.kinds import kinds_checked, number_in
from blockfit.measure.booleans import solid_from
from blockfit.measure.distance import SurfaceDistance
from blockfit.search.result import Fit
from blockfit.solids.figure import Figure
from blockfit.solids.stage import StageStone
from blockfit.units import M2_PER_MM2, M3_PER_MM3, Length, length_mm
from blockfit.waste.placed import default_pitch_mm, placed_solid
from blockfit.waste.reach.shares import PARTS, shares_between
from blockfit.waste.reach.sight import EDGE_ON, Elements, elements_of
from blockfit.waste.reach.undercut import Front, standing_base, view_of

__all__ = ["CLASSES_MM", "StoneLeft", "stone_left"]

CLASSES_MM = (2.0, 5.0, 15.0)
"""Stone left up to which the surface is told: about a flat's, a claw's and a point's; common practice, no source."""
_SAME_MM = 1e-7  # what rounding makes of a surface that is where it should be
_TOUCH_MM = 0.05  # stone missing by less is a touch
_SHOWN = 6  # places listed of each kind


@dataclass(frozen=True, eq=False, repr=False)
class StoneLeft:
    """Stone over the figure at ``points_mm`` (n, 3), each standing for ``areas_mm2`` (n,) of its surface.

    ``left_mm`` (n,) is the exact distance from the figure's surface out to the stone's, below 0 where the stone lies
    inside the figure: too deep. ``along_normal_mm`` is the same along the surface's normal, ``straight_mm`` along the
    way in from ``front`` (nan where the surface does not face it). ``error_mm`` (n,) is what a scan's registration
    and noise may change, 0 for stages that are exact; ``seen`` (n,) is where the scan shows the stone. ``volume_m3``
    is the stone still to go, ``parts_m3`` by where it lies, ``start_m3`` what had to go at first, ``too_deep_m3``
    what is missing from the figure. ``regions`` are the places cut too deep, the worst first, then those with most
    stone on them; ``on_base`` (n,) is what the figure stands on.

    Lengths are mm, volumes m³, ``areas_mm2`` mm². Distances are exact for the two surfaces; areas are resolved to the
    places, the parts to the columns' pitch. ``print`` it for a page.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> left = bf.stone_left(fit, bf.stage_of(fit))
    >>> round(left.volume_m3, 3), left.share_done < 0.001, left.too_deep, round(left.spread_mm()[0], 3)
    (0.198, True, (), 50.0)
    """

    fit: Fit
    figure: Figure
    stage: Stage
    front: str
    elements: Elements
    left_mm: Array
    along_normal_mm: Array
    straight_mm: Array
    error_mm: Array
    seen: Flags
    on_base: Flags
    volume_m3: float
    too_deep_m3: float
    start_m3: float
    parts_m3: tuple[tuple[str, float], ...]
    regions: tuple[LeftRegion, ...]

    @property
    def points_mm(self) -> Array:
        """Places (n, 3) on the figure's surface."""
        return self.elements.points

    @property
    def areas_mm2(self) -> Array:
        """How much surface (n,) each place stands for."""
        return self.elements.areas

    @property
    def normals(self) -> Array:
        """Unit vectors (n, 3) out of the figure."""
        return self.elements.normals

    @kinds_checked
    def share_within(self, mm: float) -> float:
        """Return the share of the surface whose stone lies within so many mm of it, on either side."""
        return self._share(np.abs(self.left_mm) <= number_in(mm, "mm", 0))

    @cached_property
    def is_too_deep(self) -> Flags:
        """Which places (n,) are surely too deep: seen, and by more than registration and noise explain."""
        return np.asarray(self.seen & (self.left_mm < -np.maximum(self.error_mm, _TOUCH_MM)))

    @cached_property
    def is_perhaps_too_deep(self) -> Flags:
        """Which places (n,) read too deep by more than a third of what those explain, or are not seen."""
        return np.asarray((self.left_mm < -_perhaps(self.error_mm)) & ~self.is_too_deep)

    @property
    def too_deep(self) -> tuple[LeftRegion, ...]:
        """Places surely cut too deep, the worst first: `recover` takes them as lost stone."""
        return tuple(region for region in self.regions if region.kind == "too deep")

    @property
    def too_deep_share(self) -> float:
        """Share of the surface that is surely too deep."""
        return self._share(self.is_too_deep)

    @property
    def perhaps_share(self) -> float:
        """Share of the surface that is perhaps too deep."""
        return self._share(self.is_perhaps_too_deep)

    @property
    def share_done(self) -> float:
        """Share of the stone that had to go which is gone."""
        return 1 - self.volume_m3 / self.start_m3 if self.start_m3 > 0 else 1.0

    @property
    def mass_kg(self) -> float | None:
        """Weight of the stone still to go, at its typical density; ``None`` without a stone."""
        kind = self.stage.kind
        return None if kind is None else self.volume_m3 * kind.density_kg_m3

    @property
    def parts_kg(self) -> tuple[tuple[str, float | None], ...]:
        """The same by where it lies."""
        kind = self.stage.kind
        return tuple((name, None if kind is None else by * kind.density_kg_m3) for name, by in self.parts_m3)

    def spread_mm(self, values: Array | None = None) -> tuple[float, float, float]:
        """Return the least, the typical (half of the surface has less) and the most stone over the surface."""
        told = self.left_mm if values is None else values
        known = np.isfinite(told)
        if not known.any():
            return math.nan, math.nan, math.nan
        return float(told[known].min()), weighted_median(told[known], self.areas_mm2[known]), float(told[known].max())

    def record(self) -> dict[str, Any]:
        """Return the summary as plain data; keys say their units."""
        least, typical, most = self.spread_mm()
        return {
            "figure": self.figure.name,
            "block": self.fit.block.name,
            "gone": list(self.stage.gone),
            "volume_m3": self.volume_m3,
            "mass_kg": self.mass_kg,
            "too_deep_m3": self.too_deep_m3,
            "share_done": self.share_done,
            "parts_m3": dict(self.parts_m3),
            "left_mm": {"least": least, "typical": typical, "most": most},
            "share_within": {f"{mm:g}_mm": self.share_within(mm) for mm in CLASSES_MM},
            "surface_m2": float(self.areas_mm2.sum()) * M2_PER_MM2,
            "too_deep_share": self.too_deep_share,
            "perhaps_too_deep_share": self.perhaps_share,
            "regions": [
                {
                    "kind": region.kind,
                    "place": str(region.place),
                    "area_mm2": region.area_mm2,
                    "least_mm": region.least_mm,
                    "typical_mm": region.typical_mm,
                    "most_mm": region.most_mm,
                    "worst_mm": region.worst_mm.tolist(),
                }
                for region in self.regions
            ],
        }

    @kinds_checked
    def text(self, units: str = "metric") -> str:
        """Return the summary: about thirty lines."""
        return "\n".join(_lines(self, units_of(units))) + "\n"

    def __str__(self) -> str:
        """Return the summary."""
        return self.text()

    def __repr__(self) -> str:
        """Return the sum of it."""
        return f"StoneLeft({self.figure.name!r}: {self.volume_m3 * 1000:.1f} l, {100 * self.share_done:.0f} % done)"

    def _share(self, where: Flags) -> float:
        return float(self.areas_mm2[where].sum() / self.areas_mm2.sum())


@kinds_checked
def stone_left(fit: Fit, stage: StageStone | Figure, *, front: Front = "front", error: Length = 0) -> StoneLeft:
    """Return how much stone is left over the figure in a stage, or in a closed surface in the block's frame.

    ``error`` is what the surface may be wrong by, besides what a registration knows of itself. ``front`` is the side
    worked from: straight in is along its way in, and the stone's parts are told as seen from it.
    Raises `OpenSurfaceError` for a figure or a stone that is no solid.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> faces = [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6],
    ...     [0, 6, 4], [1, 5, 7], [1, 7, 3]]
    >>> block = bf.Block.box(140, 140, 140)
    >>> fit = bf.safest(bf.Figure(corners, faces), block, cover=20, stance=bf.Stance.fixed())
    >>> left = bf.stone_left(fit, bf.stage_of(fit))
    >>> round(left.share_within(20.001), 6), round(left.volume_m3, 6)
    (1.0, 0.001744)
    """
    figure = placed_solid(fit, "how much stone is left")
    now = _as_stage(fit, stage)
    view, name = view_of(fit.block, front)
    elements = elements_of(figure.vertices, figure.faces, 0.0)
    field = SurfaceDistance(now.stone.vertices, now.stone.faces)
    signed, nearest, met = field.seen_from(elements.points, elements.normals, crosses=now.seen is not None)
    left = np.where(np.abs(signed) < _SAME_MM, 0.0, -signed)
    along = np.where(left > 0, met, 0.0)
    along[left < 0] = -_met(field, elements.points[left < 0], -elements.normals[left < 0])
    facing = elements.normals @ view.into < -EDGE_ON
    straight = np.full(len(left), np.nan)
    ahead = np.where(left >= 0, -1.0, 1.0)[:, None] * view.into
    straight[facing] = _met(field, elements.points[facing], ahead[facing]) * np.where(left < 0, -1, 1)[facing]
    straight[facing & (left == 0)] = 0.0
    doubt = np.full(len(left), length_mm(error, "error", least=0))
    if now.known is not None:
        doubt += now.known.along_mm(elements.points, elements.normals) + NOISE * now.known.noise_mm
    volume, deep = _volumes(figure, now.stone)
    shares = shares_between(view, default_pitch_mm(fit), elements, now.stone.vertices, now.stone.faces)
    shown = None if now.seen is None else Shown.of(now.seen)
    seen = np.ones(len(left), bool) if shown is None else shown.holds(nearest)
    if shown is not None and is_rebuilt(now.stone):
        # No more is known than the scan shows on the way out, and no better than it lies beside the stone made of it.
        doubt += shown.off_mm(field, nearest)
        seen &= shown.holds(elements.points + along[:, None] * elements.normals)
        # Cut too deep is only where the scan itself lies within the figure.
        inside = np.flatnonzero(left < 0)
        seen[inside] &= shown.within_mm(figure, nearest[inside]) < left[inside] / 2
    sure = np.where(seen, np.maximum(doubt, _TOUCH_MM), np.inf)
    return StoneLeft(
        fit=fit,
        figure=figure,
        stage=now,
        front=name,
        elements=elements,
        left_mm=left,
        along_normal_mm=along,
        straight_mm=straight,
        error_mm=doubt,
        seen=seen,
        on_base=standing_base(elements, fit.block),
        volume_m3=volume,
        too_deep_m3=deep,
        start_m3=fit.block.volume_m3 - (figure.volume_m3 or 0.0),
        parts_m3=tuple(zip(PARTS, (shares * volume / max(float(shares.sum()), NOT_ZERO)).tolist(), strict=True)),
        regions=regions_left(elements, left, (sure, _perhaps(doubt)), figure.landmarks),
    )


def _perhaps(error: Array) -> Array:
    """Return (n,) by how much a place must read below 0 to count as perhaps too deep."""
    return np.maximum(error / 3, _TOUCH_MM)


def _as_stage(fit: Fit, stage: StageStone | Figure) -> Stage:
    if isinstance(stage, Stage):
        return stage if stage.fit is not None else replace(stage, fit=fit)
    if isinstance(stage, StageStone):
        return Stage(stage.stone, stage.gone, stage.flaws, fit=fit)
    return stage_from(fit, solid_from(stage.vertices, stage.faces), ("as scanned",))


def _met(field: SurfaceDistance, points: Array, ways: Array) -> Array:
    """Return (n,) how far on rays from (n, 3) points along (n, 3) unit vectors meet the surface; nan where they do
    not."""
    if len(points) == 0:
        return np.zeros(0)
    face, far = field.first_met(points, ways)
    return np.asarray(np.where(face >= 0, far, np.nan))


def _volumes(figure: Figure, stone: Figure) -> tuple[float, float]:
    """Return the stone outside the figure, and the figure outside the stone, in m³."""
    own = solid_from(figure.vertices, figure.faces)
    both = own ^ solid_from(stone.vertices, stone.faces)
    common = float(both.volume()) * M3_PER_MM3
    return max(0.0, (stone.volume_m3 or 0.0) - common), max(0.0, (figure.volume_m3 or 0.0) - common)


def _lines(left: StoneLeft, units: UnitSystem) -> list[str]:
    stage, area = left.stage, float(left.areas_mm2.sum())
    lines = [f"HOW MUCH STONE IS LEFT: {left.fit.figure.name} in {left.fit.block.name}"]
    lines.append(f"  Gone            {'; '.join(stage.gone) or 'nothing yet'}")
    done = math.floor(1000 * left.share_done) / 10
    to_go = _amount(left, left.volume_m3, units)
    lines.append(f"  Still to go     {to_go}; {done:.1f} % of all that has to go is gone")
    for name, volume in left.parts_m3:
        lines.append(f"    {name:<22}{_amount(left, volume, units)}")
    ways = (
        ("Nearest way out", left.left_mm),
        ("Along its normal", left.along_normal_mm),
        (f"In from {left.front}", left.straight_mm),
    )
    for name, values in ways:
        spread = left.spread_mm(values)
        if math.isfinite(spread[0]):
            least, typical, most = (_stone(by, units) for by in spread)
            lines.append(f"  {name:<17}least {least}, half of it less than {typical}, most {most}")
    shares = ", ".join(f"{100 * left.share_within(mm):.1f} % within {units.given(mm)}" for mm in CLASSES_MM)
    base = float(left.areas_mm2[left.on_base].sum())
    lines.append(
        f"  The surface     {units.floor_area(area * M2_PER_MM2)}: {shares}; "
        f"{units.floor_area(base * M2_PER_MM2)} of it is the base it stands on{_unseen_words(left, units)}"
    )
    lines += _deep_lines(left, area, units)
    lines += [f"  Closed          {repair.text}" for repair in stage.stone.repairs if repair.step in TOLD]
    if stage.known is not None:
        most_mm, noise_mm = float(stage.known.error_mm(left.points_mm).max()), stage.known.noise_mm
        lines.append(
            f"  Known to        {units.close(most_mm, Rounding.UP)} through the registration; places scatter by "
            f"{units.close(noise_mm, Rounding.UP)}"
        )
    return lines + _most_lines(left, units)


def _unseen_words(left: StoneLeft, units: UnitSystem) -> str:
    hidden = float(left.areas_mm2[~left.seen & ~left.on_base].sum())
    if hidden == 0:
        return ""
    return f"; over {units.floor_area(hidden * M2_PER_MM2)} the scan shows nothing: how it was closed there is reported"


def _deep_lines(left: StoneLeft, area: float, units: UnitSystem) -> list[str]:
    deep = [region for region in left.regions if region.kind == "too deep"]
    maybe = [region for region in left.regions if region.kind == "perhaps too deep"]
    if not deep and not maybe:
        return ["  Too deep        nowhere"]
    sure = float(left.areas_mm2[left.is_too_deep].sum())
    perhaps = float(left.areas_mm2[left.is_perhaps_too_deep].sum())
    head = f"  {'TOO DEEP' if deep else 'Too deep':<16}surely {units.area(sure)} ({100 * sure / area:.2f} %)"
    lines = [f"{head}, perhaps {units.area(perhaps)} ({100 * perhaps / area:.2f} %), worst first:"]
    for region in (*deep, *maybe)[:_SHOWN]:
        by = units.close(-region.least_mm, Rounding.UP)
        word = "" if region.kind == "too deep" else "perhaps "
        lines.append(f"    {word}{by} over {units.area(region.area_mm2)}: {region.place.text(units)}")
    more = len(deep) + len(maybe) - _SHOWN
    return [*lines, f"    and {more} more"] if more > 0 else lines


def _most_lines(left: StoneLeft, units: UnitSystem) -> list[str]:
    rest = [region for region in left.regions if region.kind == "stone left"]
    if not rest:
        return []
    lines = ["  Most stone on   (half of it has less; area)"]
    for region in rest[:_SHOWN]:
        over = units.area(region.area_mm2)
        lines.append(f"    {_stone(region.typical_mm, units)} over {over}: {region.place.text(units)}")
    return lines


def _amount(left: StoneLeft, volume_m3: float, units: UnitSystem) -> str:
    kind = left.stage.kind
    told = units.volume(volume_m3, Rounding.UP)
    if kind is None:
        return told
    usual = kind.density_kg_m3
    return f"{told}, {units.mass(volume_m3 * usual, kind.low_kg_m3 / usual, kind.high_kg_m3 / usual)}"


def _stone(millimetres: float, units: UnitSystem) -> str:
    """Return stone that is left, rounded down; what rounding makes of nothing is nothing."""
    return units.close(millimetres + _SAME_MM, Rounding.DOWN)

"""Where the finished figure is thin, and what its own weight asks of its necks. mm, block frame; estimates."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result, record_of
from blockfit.geometry.arrays import Array
from blockfit.kinds import counted, kinds_checked
from blockfit.measure.booleans import body_of
from blockfit.search.result import Fit
from blockfit.solids.figure import Figure
from blockfit.units import LEAST_MM, Length, length_mm
from blockfit.waste.placed import light_solid, placed_solid
from blockfit.waste.reach.sight import Elements, elements_of
from blockfit.waste.statics import FLAT_MM, flat_within, standing
from blockfit.waste.strength.bearing import Bearing, bearings, lying
from blockfit.waste.strength.necks import Neck, neck_of_bearing, necks_of
from blockfit.waste.strength.thickness import Thickness, thickness_of

__all__ = ["ThinStone", "thin_stone"]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class ThinStone(Result):
    """The figure's thickness and its necks.

    ``least_mm`` is the least thickness over more than a crease, at ``at_mm`` (3,); ``per_element_mm`` (m,) belongs
    to the faces of ``elements``; ``spacing_mm`` is how far apart samples are there. ``necks`` are the most stressed
    first: sections that overhanging parts hang on, and level sections that carry all above them. ``bearings`` are those
    level sections, also where they are only pressed; ``lying`` is, for each side that it may be laid on, the height,
    tension and compression where its weight asks most across the battens given. ``jerk`` is how many times the weight
    counts. ``stands``: the figure stands by itself; where it does not, its level sections hold only once it is wedged
    up or cut level. ``rupture_mpa`` is the range of the stone's modulus of rupture that they are compared with,
    ``None`` if unknown, with where it comes from. ``density_kg_m3`` is what the parts' weights count.

    Lengths are mm, in the block's frame, and stresses MPa. Thickness is resolved to the samples; stresses are
    estimates, by plain beams on exact sections.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> thin = bf.thin_stone(fit, spacing=10)
    >>> thin.stands, thin.rupture_mpa, thin.rupture_source, thin.jerk
    (True, (6.89, 6.89), 'ASTM C503 (least values for acceptance)', 1.0)
    >>> thin.least_mm > 0, all(neck.stress_mpa < thin.rupture_mpa[0] for neck in thin.necks)
    (True, True)
    """

    least_mm: float = field(metadata=fact("thinnest", Sure.RESOLVED, Rounding.DOWN))
    at_mm: Array = field(metadata=fact("at", Sure.RESOLVED))
    per_element_mm: Array
    elements: Elements
    spacing_mm: float = field(metadata=fact("samples apart", Sure.GIVEN))
    density_kg_m3: float
    necks: tuple[Neck, ...] = field(metadata=fact("necks", Sure.ESTIMATE))
    rupture_mpa: tuple[float, float] | None = field(
        metadata=fact("modulus of rupture", Sure.GIVEN, key="rupture_range_mpa")
    )
    rupture_source: str = field(metadata=fact("from", Sure.GIVEN))
    bearings: tuple[Bearing, ...] = ()
    lying: tuple[tuple[str, float, float, float], ...] = ()
    jerk: float = field(default=1.0, metadata=fact("weight counted", Sure.GIVEN, key="jerk_factor"))
    stands: bool = True

    def record(self) -> dict[str, Any]:
        """Return everything as plain data, weights at the density that counts."""
        density = self.density_kg_m3
        return {
            **record_of(self),
            "necks": [{**neck.record(), "part_kg": neck.part_m3 * density} for neck in self.necks],
            "stands_on": [{**b.record(), "above_kg": b.above_m3 * density} for b in self.bearings],
            "lying": [
                {"side": side, "height_mm": height, "tension_mpa": tension, "compression_mpa": pressed}
                for side, height, tension, pressed in self.lying
            ],
        }

    def share_of_rupture(self, neck: Neck) -> tuple[float, float] | None:
        """Return a neck's stress as a share of the rupture strength: at its upper and its lower end."""
        if self.rupture_mpa is None:
            return None
        low, high = self.rupture_mpa
        return neck.stress_mpa / high, neck.stress_mpa / low


@kinds_checked
def thin_stone(  # noqa: PLR0913
    fit: Fit,
    *,
    rupture: tuple[float, float] | None = None,
    wet: float | None = None,
    along_bed: float | None = None,
    spacing: Length | None = None,
    jerk: float = 1.0,
    battens: tuple[Length, Length] | None = None,
    most: int = 8,
) -> ThinStone:
    """Return where the placed figure is thin, and the necks that carry its overhanging parts.

    ``rupture`` is the range of the stone's modulus of rupture in MPa (default: the standards' least values for its
    kind); ``wet`` and ``along_bed`` are the shares of it that remain in wet stone and along the bed, if you know
    them. ``jerk`` is how many times its weight it is to bear, by your own judgement: lifts and transport ask more than
    standing. ``battens`` are two heights over its base on which it is laid, or in slings at which it hangs lying.
    ``spacing`` is that of the samples (default: a 400th of the figure's height). Weights count the upper
    end of the density. Nothing here says that stone is safe. Raises `OpenSurfaceError` for a figure that is no solid.

    ``most`` is how many necks are reported. Thickness is resolved to the spacing; stresses are estimates for planning.
    Without a stone the weights count 2700 kg/m³, and no strength is known. Raises `BadValueError` as well: for a figure
    that does not fit, or options out of range.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> thin = bf.thin_stone(fit, spacing=10, rupture=(7, 12), wet=0.7)
    >>> [round(end, 1) for end in thin.rupture_mpa], thin.rupture_source
    ([4.9, 12.0], 'given by the user, 70% of its lower end wet')
    """
    figure = placed_solid(fit, "thin stone")
    counted(most, "most")
    tall = figure.size_mm[2]
    spacing_mm = max(tall / 400, LEAST_MM) if spacing is None else length_mm(spacing, "spacing")
    if spacing_mm <= 0:
        raise BadValueError(f"spacing={spacing!r} must be more than 0")
    figure, _ = light_solid(figure, spacing_mm)
    elements = elements_of(figure.vertices, figure.faces, spacing_mm / 2)
    thick: Thickness = thickness_of(elements, spacing_mm)
    k = thick.least()
    stone = fit.block.stone
    density = 2700.0 if stone is None else stone.high_kg_m3
    if not (isinstance(jerk, int | float) and 1 <= jerk < 100):
        raise BadValueError(f"jerk={jerk!r} must be how many times the weight counts, 1 or more")
    solid = body_of(figure)
    levels = bearings(solid, density, jerk=jerk)
    hanging = necks_of(float(solid.volume()), figure.vertices, figure.faces, thick, density * jerk, most)
    bent = [neck_of_bearing(bearing) for bearing in levels if bearing.tension_mpa > 0]
    # Of a limb that is both, what is asked most stays.
    necks = [n for n in hanging if not any(_is_same(n, level) and level.stress_mpa >= n.stress_mpa for level in bent)]
    necks += [level for level in bent if not any(_is_same(neck, level) for neck in necks)]
    limits, source = _rupture(fit, rupture)
    for name, share in (("wet", wet), ("along_bed", along_bed)):
        if share is None:
            continue
        if not 0 < share <= 1:
            raise BadValueError(f"{name}={share!r} must be a share of the strength, such as 0.7")
        limits = None if limits is None else (limits[0] * share, limits[1])
        source += f", {share:.0%} of its lower end {'wet' if name == 'wet' else 'along the bed'}"
    return ThinStone(
        least_mm=float(thick.diameter_mm[k]),
        at_mm=thick.points[k].copy(),
        per_element_mm=np.asarray(thick.diameter_mm[thick.of_element]),
        elements=elements,
        spacing_mm=float(thick.spacing_mm[k]),
        density_kg_m3=density,
        necks=tuple(sorted(necks, key=lambda neck: -neck.stress_mpa)[:most]),
        rupture_mpa=limits,
        rupture_source=source,
        bearings=levels,
        lying=() if battens is None else lying(solid, density, _heights(battens, figure), jerk=jerk),
        jerk=float(jerk),
        stands=standing(figure.vertices, figure.faces, flat_within(FLAT_MM, tall)).stands,
    )


def _is_same(neck: Neck, level: Neck) -> bool:
    """Tell whether a neck is the same upright limb as a level section."""
    alike = abs(neck.area_mm2 - level.area_mm2) < 0.1 * level.area_mm2
    return alike and abs(float(neck.normal[2])) > 0.95 and abs(neck.part_m3 - level.part_m3) < 0.1 * level.part_m3


def _heights(battens: tuple[Length, Length], figure: Figure) -> tuple[float, float]:
    """Return the two heights in the block's frame."""
    near, far = (length_mm(height, "battens", least=0) for height in battens)
    if abs(far - near) < 1 or max(near, far) > figure.size_mm[2]:
        raise BadValueError(f"battens={battens!r} must be two different heights over the base, within the figure")
    low = float(figure.vertices[:, 2].min())
    return low + near, low + far


def _rupture(fit: Fit, given: tuple[float, float] | None) -> tuple[tuple[float, float] | None, str]:
    if given is not None:
        low, high = (float(value) for value in given)
        if not 0 < low <= high:
            raise BadValueError(f"rupture={given!r} must be a range in MPa, such as (7, 12)")
        return (low, high), "given by the user"
    stone = fit.block.stone
    if stone is None or stone.rupture_mpa is None:
        return None, "no strength is known for this stone: give rupture=(low, high) in MPa"
    return stone.rupture_mpa, stone.rupture_source

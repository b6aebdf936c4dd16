"""Where stone was cut too deep and where most is left, by place and height. mm, block frame."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from blockfit.facts.measures import Measure, Rounding
from blockfit.facts.phrases import Phrase, Quantity
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.tolerances import LEAST_SIZE, NOT_ZERO
from blockfit.measure.patches import members, patches
from blockfit.waste.reach.places import place_words
from blockfit.waste.reach.sight import Elements
from blockfit.waste.statics import side_words

__all__ = ["LeftRegion", "regions_left", "weighted_median"]

_BANDS = 6  # parts of the figure's height that stone left is reported by
_LEAST_MM2 = 25.0  # a place read too deep is reported from this size on
_LEAST_LEFT_MM = 1.0  # less is within finishing
_LEVEL_MM = 1.0  # heights that differ by less are one
_STEEP = 0.7  # upward part of a normal beyond which a surface looks up or down
_DEEP, _PERHAPS, _LEFT = "too deep", "perhaps too deep", "stone left"


@dataclass(frozen=True, slots=True, eq=False)
class LeftRegion:
    """A part of the surface: ``kind`` is ``too deep``, ``perhaps too deep`` or ``stone left``; ``place`` in words.

    ``least_mm``, ``typical_mm`` and ``most_mm`` are the stone over it, below 0 where it is too deep; ``worst_mm`` (3,)
    is the figure's point with the least, or of stone left with the most, and ``outward`` (3,) its normal.
    """

    kind: str
    place: Phrase
    area_mm2: float
    least_mm: float
    typical_mm: float
    most_mm: float
    worst_mm: Array
    outward: Array
    centre_mm: Array

    @property
    def name(self) -> str:
        """What kind of place it is, and where."""
        return f"{self.kind}: {self.place}"

    @property
    def at_mm(self) -> Array:
        """How deep the stone was cut (3,): below the figure's worst place, by the least."""
        return np.asarray(self.worst_mm + min(0.0, self.least_mm) * self.outward)


def regions_left(
    elements: Elements,
    left: Array,
    below: tuple[Array, Array],
    landmarks: Mapping[str, tuple[float, float, float]],
) -> tuple[LeftRegion, ...]:
    """Return connected places that are too deep, the worst first, then stone left by height and side, most first.

    ``left`` (n,) is the stone over each element, ``below`` by how much (n,) it must be under 0 to be surely, and to be
    perhaps too deep.
    """
    low, high = elements.vertices.min(axis=0), elements.vertices.max(axis=0)
    sure, maybe = below
    deep, perhaps = left < -sure, (left < -maybe) & (left >= -sure)
    label = np.where(deep, 1, np.where(perhaps, 2, 0)).astype(np.int64)
    patch = patches(elements.faces, label)
    found: list[LeftRegion] = []
    for kind, flag in ((_DEEP, deep), (_PERHAPS, perhaps)):
        told = [
            _region(kind, own, elements, left, low, high, landmarks)
            for own in members(np.where(flag, patch, -1))
            if float(elements.areas[own].sum()) >= _LEAST_MM2
        ]
        found += sorted(told, key=lambda region: region.least_mm)
    rest = [
        _region(_LEFT, own, elements, left, low, high, landmarks)
        for own in members(np.where(left > _LEAST_LEFT_MM, _bands(elements, low, high), -1))
    ]
    return (*found, *sorted(rest, key=lambda region: -region.typical_mm * region.area_mm2))


def _bands(elements: Elements, low: Array, high: Array) -> Ints:
    """Return (n,) a number for each element's part of the height and the side that it looks to."""
    height = (elements.points[:, 2] - low[2]) / max(float(high[2] - low[2]), LEAST_SIZE)
    band = np.clip((height * _BANDS).astype(np.int64), 0, _BANDS - 1)
    x, y, z = elements.normals.T
    side = np.where(np.abs(x) > np.abs(y), np.where(x < 0, 0, 1), np.where(y < 0, 2, 3))
    side = np.where(z > _STEEP, 4, np.where(z < -_STEEP, 5, side))
    return np.asarray(band * 6 + side, np.int64)


def _region(
    kind: str,
    members: Ints,
    elements: Elements,
    left: Array,
    low: Array,
    high: Array,
    landmarks: Mapping[str, tuple[float, float, float]],
) -> LeftRegion:
    areas, by = elements.areas[members], left[members]
    area = float(areas.sum())
    centre = (elements.points[members] * areas[:, None]).sum(axis=0) / max(area, NOT_ZERO)
    worst = members[int(by.argmax() if kind == _LEFT else by.argmin())]
    if kind == _LEFT:
        normal = (elements.normals[members] * areas[:, None]).sum(axis=0)
        place = _heights(elements.points[members], _side(normal))
    else:
        place = place_words(elements.points[worst], low, high, landmarks)
    return LeftRegion(
        kind=kind,
        place=place,
        area_mm2=area,
        least_mm=float(by.min()),
        typical_mm=weighted_median(by, areas),
        most_mm=float(by.max()),
        worst_mm=elements.points[worst].copy(),
        outward=elements.normals[worst].copy(),
        centre_mm=centre,
    )


def _heights(points: Array, side: str) -> Phrase:
    low, high = (Quantity(float(z), Measure.LENGTH, Rounding.NEAREST) for z in (points[:, 2].min(), points[:, 2].max()))
    if high.value - low.value < _LEVEL_MM:
        return Phrase.of("{low} up, {side}", low=low, side=side)
    return Phrase.of("{low} to {high} up, {side}", low=low, high=high, side=side)


def weighted_median(values: Array, weights: Array) -> float:
    """Return the value below which half of the weight lies.

    >>> import numpy as np
    >>> from blockfit.carving.left_regions import weighted_median
    >>> weighted_median(np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 5.0]))
    2.0
    """
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][min(int(np.searchsorted(total, total[-1] / 2)), len(values) - 1)])


def _side(normal: Array) -> str:
    unit = normal / max(float(np.linalg.norm(normal)), NOT_ZERO)
    if abs(float(unit[2])) > _STEEP:
        return "looking up" if unit[2] > 0 else "looking down"
    return f"the {side_words(unit[:2])}"

"""A solid in level slices: which parts of its sections stand on the ground, what each carries, and what only hangs.

mm and mm³. Sections are taken at even heights, and at every level of vertices if there are few, and joined where they
lie over each other. What hangs from above without reaching the ground weighs where it joins what stands; what stands
beside without being joined above carries nothing of it."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import LEAST_SIZE
from blockfit.measure.booleans import Solid, arrays_of, level_rings
from blockfit.measure.sections import SectionPlane, area_of, parts_of, plane_of, united

__all__ = ["Carrier", "carriers_of", "heights_of"]

_LEVELS = 400  # so few levels of vertices are all looked at, just above and below
_BESIDE = 1e-6  # of the height: how far above and below


@dataclass(frozen=True, slots=True, eq=False)
class Carrier:
    """The parts of one section that together carry one piece above: their measures, its volume and centre (2,)."""

    height: float
    area: Any
    plane: SectionPlane
    volume: float
    centre: Array


@dataclass(slots=True, eq=False)
class _Node:
    """One part of one section: where it stands, what it weighs (volume, first moments), whether it is grounded."""

    area: Any
    plane: SectionPlane
    mass: Array
    grounded: bool
    below: list[int]


def heights_of(solid: Solid, low: float, high: float, count: int) -> Array:
    """Return the heights to look at between two ends: even ones, and both sides of every level if there are few."""
    even = np.linspace(low, high, count)
    vertices, _ = arrays_of(solid)
    tall = max(high - low, LEAST_SIZE)
    levels = np.unique(np.round(vertices[:, 2] / (_BESIDE * tall)) * (_BESIDE * tall))
    if len(levels) > _LEVELS:
        return even
    beside = np.concatenate([levels - _BESIDE * tall, levels + _BESIDE * tall])
    return np.unique(np.concatenate([even, beside[(beside > low) & (beside < high)]]))


def carriers_of(solid: Solid, heights: Array) -> list[list[Carrier]]:
    """Return for every height, from below, the groups of grounded parts, each with the piece above that it carries."""
    nodes, levels = _nodes(solid, heights)
    _settle_hanging(nodes, levels)
    group = np.arange(len(nodes))

    def root(k: int) -> int:
        while group[k] != k:
            group[k] = group[group[k]]
            k = int(group[k])
        return k

    mass = np.array([node.mass if node.grounded else np.zeros(3) for node in nodes]).reshape(-1, 3)
    told: list[list[Carrier]] = [[] for _ in levels]
    for level in range(len(levels) - 1, -1, -1):
        here = [k for k in levels[level] if nodes[k].grounded]
        if level + 1 < len(levels):
            for above in levels[level + 1]:
                for k in nodes[above].below:
                    if nodes[above].grounded and nodes[k].grounded:
                        first, second = root(above), root(k)
                        if first != second:
                            group[first] = second
                            mass[second] += mass[first]
        for label in dict.fromkeys(root(k) for k in here):
            own = [k for k in here if root(k) == label]
            # Half of the slice itself lies below its middle.
            load = mass[label] - sum((nodes[k].mass for k in own), np.zeros(3)) / 2
            area = united([nodes[k].area for k in own])
            volume = float(load[0])
            centre = load[1:] / volume if volume > 0 else np.zeros(2)
            told[level].append(Carrier(float(heights[level]), area, plane_of(area), volume, centre))
    return told


def _nodes(solid: Solid, heights: Array) -> tuple[list[_Node], list[list[int]]]:
    """Return the parts of all sections, and which of them lie at each height."""
    gaps = np.diff(heights, prepend=heights[0], append=heights[-1])
    thick = (gaps[:-1] + gaps[1:]) / 2
    nodes: list[_Node] = []
    levels: list[list[int]] = []
    for height, width in zip(heights.tolist(), thick.tolist(), strict=True):
        area = area_of(level_rings(solid, height))
        found: list[int] = []
        for part, plane in parts_of(area):
            below = [k for k in levels[-1] if nodes[k].area.intersects(part)] if levels else []
            mass = plane.area * width * np.array([1.0, *plane.middle])
            grounded = not levels or any(nodes[k].grounded for k in below)
            nodes.append(_Node(part, plane, mass, grounded, below))
            found.append(len(nodes) - 1)
        levels.append(found)
    return nodes, levels


def _settle_hanging(nodes: list[_Node], levels: list[list[int]]) -> None:
    """Give the weight of what is not grounded to what it hangs from, from below upwards."""
    for upper in levels[1:]:
        for above in upper:
            for k in nodes[above].below:
                if not nodes[k].grounded and nodes[k].mass[0] > 0:
                    nodes[above].mass = nodes[above].mass + nodes[k].mass
                    nodes[k].mass = np.zeros(3)

"""How much of a body lies before, beside, between and behind the figure, and where its centre is.

Resolved to the columns' pitch. mm and m³, block frame."""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.measure.columns import columns_of
from blockfit.measure.views import View, lattice_over
from blockfit.search.result import Fit
from blockfit.units import M3_PER_MM3
from blockfit.waste.reach.chords import block_chords, divided
from blockfit.waste.reach.sight import Elements
from blockfit.waste.reach.undercut import Undercuts

__all__ = [
    "PARTS",
    "Planes",
    "shares_between",
    "shares_of",
    "shares_of_piece",
    "shares_of_solid",
    "stage_bodies",
]

PARTS = ("before the figure", "beside it", "between its surfaces", "behind it")

Planes: TypeAlias = tuple[Array, Array]
"""A convex body: where normals (f, 3) @ x <= offsets (f,)."""


def shares_of(cut: Undercuts, bodies: Sequence[Planes], total_m3: float) -> Array:
    """Return (4,) how much of convex bodies lies in each of `PARTS`, in m³.

    ``total_m3`` is their volume outside the figure; what no column of the figure meets lies beside it.
    """
    if not bodies:
        return np.zeros(4)
    view, elements = cut.view, cut.elements
    lattice = lattice_over(view, elements.vertices, cut.pitch_mm)
    columns = columns_of(elements.vertices, elements.faces, view, lattice)
    first, last = columns.is_first, columns.is_last
    enter, leave, places = columns.enter[first], columns.leave[last], columns.places()[first]
    starts = np.flatnonzero(first)
    solid = np.add.reduceat(columns.leave - columns.enter, starts) if len(enter) else np.zeros(0)
    before = between = behind = 0.0
    cell = cut.pitch_mm**2 * M3_PER_MM3
    for normals, offsets in bodies:
        start, end = block_chords(normals, offsets, view, places)
        end = np.maximum(start, end)
        before += float(np.maximum(np.minimum(end, enter) - start, 0).sum()) * cell
        behind += float(np.maximum(end - np.maximum(start, leave), 0).sum()) * cell
        within = np.maximum(np.minimum(end, leave) - np.maximum(start, enter), 0)
        # A body that holds the figure's whole chord holds the figure's own stone too.
        holds = (start <= enter) & (end >= leave)
        between += float(np.where(holds, within - solid, within).sum()) * cell
    return np.array([before, total_m3 - before - between - behind, between, behind])


def shares_of_solid(cut: Undercuts, vertices: Array, faces: Ints) -> tuple[Array, Array]:
    """Return how a solid that holds the figure divides: volumes (4,) in m³ by `PARTS`, and first moments (4, 3), m³ mm.

    The figure's own stone is left out.
    """
    return divided(cut.view, cut.pitch_mm, cut.elements, vertices, faces)


def shares_of_piece(cut: Undercuts, vertices: Array, faces: Ints) -> Array:
    """Return (4,) how much of a solid outside the figure lies in each of `PARTS`, in m³."""
    return divided(cut.view, cut.pitch_mm, cut.elements, vertices, faces, holds=False)[0]


def shares_between(view: View, pitch_mm: float, elements: Elements, vertices: Array, faces: Ints) -> Array:
    """Return how much of a solid outside the figure lies in each of `PARTS` (4,), in m³, looking along a view."""
    return np.maximum(divided(view, pitch_mm, elements, vertices, faces)[0], 0.0)


def stage_bodies(fit: Fit, cut: Undercuts, vertices: Array, faces: Ints) -> list[tuple[str, float, Array]]:
    """Return what is left of a solid after each part of the waste is gone: name, volume in m³, centre of gravity (3,).

    The last is the figure itself, exact.
    """
    figure = fit.solid()
    volume = figure.volume_m3 or 0.0
    parts, moments = shares_of_solid(cut, vertices, faces)
    told = []
    for part, name in enumerate(PARTS):
        left = volume + float(parts[part + 1 :].sum())
        moment = volume * figure.centroid_mm + moments[part + 1 :].sum(axis=0)
        told.append((name, left, np.asarray(moment / left)))
    return told

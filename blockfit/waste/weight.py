"""What the block, the figure and the waste weigh, and how the block grows lighter stage by stage.

kg at the stone's typical density; multiply by ``low`` or ``high`` for the ends of its range. Volumes of block,
figure and offcuts are exact; how the waste divides into stages is resolved to the columns' pitch."""

from dataclasses import dataclass

import numpy as np

from blockfit.measure.columns import columns_of
from blockfit.measure.views import lattice_over
from blockfit.search.result import Fit
from blockfit.solids.arrays import Array
from blockfit.solids.polytope import hull_planes
from blockfit.waste.chords import block_chords
from blockfit.waste.offcut import OffcutPlan
from blockfit.waste.placed import placed_solid
from blockfit.waste.undercut import Undercuts, undercuts

__all__ = ["Stage", "Weights", "weights"]


@dataclass(frozen=True, slots=True)
class Stage:
    """What one stage of the work takes out and leaves on the banker; kg are ``None`` without a stone."""

    name: str
    removed_m3: float
    left_m3: float
    removed_kg: float | None
    left_kg: float | None


@dataclass(frozen=True, slots=True)
class Weights:
    """Weights in kg (``None`` without a stone) and volumes in m³; ``low`` and ``high`` scale to the range's ends."""

    block_kg: float | None
    figure_kg: float | None
    removed_kg: float | None
    offcuts_kg: float | None
    chips_kg: float | None
    block_m3: float
    figure_m3: float
    removed_m3: float
    offcuts_m3: float
    chips_m3: float
    low: float
    high: float
    stages: tuple[Stage, ...]


def weights(fit: Fit, offcuts: OffcutPlan | None = None, undercut: Undercuts | None = None) -> Weights:
    """Return the weights of a fit, with the pieces of an offcut plan counted apart from the chips.

    Stages run in the order of work: offcuts, then the stone before the figure, beside it, between its surfaces
    and behind it. Raises `OpenSurfaceError` for a figure that is no solid.
    """
    solid = placed_solid(fit, "weights")
    cut = undercut or undercuts(fit)
    stone = fit.block.stone
    block, figure = fit.block.volume_m3, solid.volume_m3 or 0.0
    pieces = [] if offcuts is None else [piece.solid.vertices for piece in offcuts.pieces]
    taken = 0.0 if offcuts is None else offcuts.volume_m3
    in_pieces = _split(cut, pieces, taken)
    parts = np.array([cut.front_m3, cut.beside_m3, cut.trapped_m3, cut.rear_m3]) - in_pieces
    parts[3] += cut.residual_m3  # what the pitch misses leaves with the last stage
    names = ["offcuts taken off whole", "before the figure", "beside it", "between its surfaces", "behind it"]
    removed = [taken, *parts.tolist()]
    kg = None if stone is None else stone.density_kg_m3
    stages, left = [], block
    for name, volume in zip(names, removed, strict=True):
        left -= volume
        if volume or name != names[0]:
            stages.append(Stage(name, volume, left, _times(volume, kg), _times(left, kg)))
    waste = block - figure
    return Weights(
        block_kg=_times(block, kg),
        figure_kg=_times(figure, kg),
        removed_kg=_times(waste, kg),
        offcuts_kg=_times(taken, kg),
        chips_kg=_times(waste - taken, kg),
        block_m3=block,
        figure_m3=figure,
        removed_m3=waste,
        offcuts_m3=taken,
        chips_m3=waste - taken,
        low=1.0 if stone is None else stone.low_kg_m3 / stone.density_kg_m3,
        high=1.0 if stone is None else stone.high_kg_m3 / stone.density_kg_m3,
        stages=tuple(stages),
    )


def _times(volume: float, density: float | None) -> float | None:
    return None if density is None else volume * density


def _split(cut: Undercuts, pieces: list[Array], taken: float) -> Array:
    """Return (4,) how much of the pieces lies before, beside, between and behind the figure, in m³."""
    if not pieces:
        return np.zeros(4)
    view = cut.view
    elements = cut.elements
    lattice = lattice_over(view, elements.vertices, cut.pitch_mm)
    columns = columns_of(elements.vertices, elements.faces, view, lattice)
    first, last = columns.is_first, columns.is_last
    enter, leave, places = columns.enter[first], columns.leave[last], columns.places()[first]
    before = between = behind = 0.0
    cell = cut.pitch_mm**2 * 1e-9
    for corners in pieces:
        start, end = block_chords(*hull_planes(corners), view, places)
        end = np.maximum(start, end)
        before += float(np.maximum(np.minimum(end, enter) - start, 0).sum()) * cell
        behind += float(np.maximum(end - np.maximum(start, leave), 0).sum()) * cell
        between += float(np.maximum(np.minimum(end, leave) - np.maximum(start, enter), 0).sum()) * cell
    return np.array([before, taken - before - between - behind, between, behind])

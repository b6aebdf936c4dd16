"""Which side to work from: the choice to make before the first cut. Resolved to the columns' pitch; mm, m³."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array
from blockfit.measure.columns import columns_of
from blockfit.measure.views import lattice_over
from blockfit.search.result import Fit
from blockfit.units import Length, length_mm
from blockfit.waste.placed import default_pitch_mm, placed_solid
from blockfit.waste.reach.sight import elements_of, reached, skimmed
from blockfit.waste.reach.undercut import between_volume, standing_base, view_of

__all__ = ["Front", "best_front"]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Front(Result):
    """A side to work from: ``into`` (3,) is how the carver looks, ``later_mm2`` the surface that then must wait.

    ``trapped_m3`` is the stone between the figure's surfaces, seen from there.
    """

    name: str = field(metadata=fact("from the", Sure.EXACT))
    into: Array = field(metadata=fact("view, as a vector", Sure.EXACT, shown=False))
    later_mm2: float = field(metadata=fact("must wait", Sure.RESOLVED))
    trapped_m3: float = field(metadata=fact("between the surfaces", Sure.RESOLVED))


def best_front(
    fit: Fit,
    *,
    fronts: Sequence[str] = ("front", "back", "left", "right"),
    turns: int = 0,
    pitch: Length | None = None,
) -> list[Front]:
    """Return the sides to work from, that with the least undercut surface first; ties by the stone between.

    ``turns`` adds that many level directions, evenly spread, for a block that may be turned on the banker.
    """
    solid = placed_solid(fit, "the best front")
    if turns < 0 or (not fronts and not turns):
        raise BadValueError(f"turns={turns!r} and fronts={fronts!r} leave nothing to compare")
    step = default_pitch_mm(fit) if pitch is None else length_mm(pitch, "pitch", least=1e-3)
    elements = elements_of(solid.vertices, solid.faces, step)
    base = standing_base(elements, fit.block)
    views = [view_of(fit.block, front) for front in fronts]
    for angle in np.arange(turns) * (2 * np.pi / max(turns, 1)):
        view, _ = view_of(fit.block, [np.sin(angle), np.cos(angle), 0.0])
        views.append((view, f"turned {np.degrees(angle):.0f}° from the front"))
    found = []
    for view, name in views:
        later = ~reached(elements, view, step) & ~base
        later &= ~skimmed(elements, view, step)
        columns = columns_of(elements.vertices, elements.faces, view, lattice_over(view, elements.vertices, step))
        found.append(Front(name, view.into, float(elements.areas[later].sum()), between_volume(columns)))
    return sorted(found, key=lambda front: (round(front.later_mm2, 3), front.trapped_m3))

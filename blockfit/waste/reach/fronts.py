"""Which side to work from: the choice to make before the first cut. Resolved to the columns' pitch; mm, m³."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array
from blockfit.kinds import counted, kinds_checked
from blockfit.measure.columns import columns_of
from blockfit.measure.views import lattice_over
from blockfit.search.result import Fit
from blockfit.units import LEAST_MM, Length, length_mm
from blockfit.waste.placed import default_pitch_mm, placed_solid
from blockfit.waste.reach.sight import elements_of, reached, skimmed
from blockfit.waste.reach.undercut import between_volume, standing_base, view_of

__all__ = ["Front", "best_front"]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Front(Result):
    """A side to work from: ``into`` (3,) is how the carver looks, ``later_mm2`` the surface that then must wait.

    ``trapped_m3`` is the stone between the figure's surfaces, seen from there.

    ``into`` is a unit vector in the block's frame. Area and volume are resolved to the pitch that was asked.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> front = bf.best_front(fit, pitch=20)[0]
    >>> front.name, front.into.tolist(), round(front.later_mm2), front.trapped_m3 < 1e-6
    ('right', [-1.0, 0.0, 0.0], 90000, True)
    """

    name: str = field(metadata=fact("from the", Sure.EXACT))
    into: Array = field(metadata=fact("view, as a vector", Sure.EXACT, shown=False))
    later_mm2: float = field(metadata=fact("must wait", Sure.RESOLVED))
    trapped_m3: float = field(metadata=fact("between the surfaces", Sure.RESOLVED))


@kinds_checked
def best_front(
    fit: Fit,
    *,
    fronts: str | Sequence[str] = ("front", "back", "left", "right"),
    turns: int = 0,
    pitch: Length | None = None,
) -> list[Front]:
    """Return the sides to work from, that with the least undercut surface first; ties by the stone between.

    ``turns`` adds that many level directions, evenly spread, for a block that may be turned on the banker.

    ``fronts`` are names of faces, or one name, ``pitch`` is mm or text (default: a 400th of the block's longest side),
    to which the answer is resolved. The base that the figure stands on does not count. Raises `OpenSurfaceError` for a
    figure that is no solid, and `BadValueError` for one that does not fit, an unknown face, or nothing to compare.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> [(front.name, round(front.later_mm2)) for front in bf.best_front(fit, pitch=20)][:2]
    [('right', 90000), ('back', 120000)]
    """
    solid = placed_solid(fit, "the best front")
    counted(turns, "turns")
    fronts = (fronts,) if isinstance(fronts, str) else tuple(fronts)
    if not fronts and not turns:
        raise BadValueError(f"turns={turns!r} and fronts={fronts!r} leave nothing to compare")
    step = default_pitch_mm(fit) if pitch is None else length_mm(pitch, "pitch", least=LEAST_MM)
    elements = elements_of(solid.vertices, solid.faces, step)
    base = standing_base(elements, fit.block)
    views = [view_of(fit.block, front, "fronts") for front in fronts]
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

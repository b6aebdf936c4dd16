"""How far the whole figure can move and still keep its cover: the carver's reserve. mm, block frame.

In a convex block as bought only vertices count, and the answer is exact. Among flaws, in the stone as it stands or
in a rough block it is exact too, to `FINE_MM`, by lines and solids (`search/flawed/travel.py`), and never more than
there is; only the cover under a rough block's own surface may fall short between two looks, by a hundredth of
itself at most. Margins about flaws that are no balls are taken up to a twentieth too large, so the setback may be
that much too small. In the stone as a scan shows it, all is an estimate: what the scan may be off is taken off."""

from dataclasses import dataclass, field, replace
from weakref import WeakKeyDictionary

import numpy as np

from blockfit.facts.measures import Fact, Measure, Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import ROUNDING
from blockfit.kinds import kinds_checked
from blockfit.search.flawed.obstacles import Obstacle, obstacles_of, stone_obstacle
from blockfit.search.flawed.travel import first_blocked
from blockfit.search.result import Fit
from blockfit.solids.figure import require_solid
from blockfit.solids.stage import StageStone

__all__ = ["Setback", "setback"]

_WAYS = {
    "back": (0.0, 1.0, 0.0),
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
    "up": (0.0, 0.0, 1.0),
    "front": (0.0, -1.0, 0.0),
    "down": (0.0, 0.0, -1.0),
}


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Setback(Result):
    """``back_mm`` is the reserve; ``limit_face`` (a face, a flaw, the stone) and the figure's point ``at`` (3,) end it.

    ``left_mm``, ``right_mm``, ``up_mm``, ``front_mm`` and ``down_mm`` are how far it can move those ways instead.
    ``scan_error_mm`` has been taken off where the stone as it stands is known by a scan.

    All in mm, with the cover that was asked; ``at`` is in the block's frame. Exact in a sound sawn block; among flaws
    and in rough stone never more than there is; in the stone as a scan shows it an estimate.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.largest(cube, bf.Block.box(100, 260, 150), stance=bf.Stance.fixed())
    >>> reserve = bf.setback(fit)
    >>> reserve.back_mm, reserve.limit_face, reserve.up_mm, reserve.left_mm, reserve.scan_error_mm
    (160.0, 'back', 50.0, 0.0, 0.0)
    """

    back_mm: float = field(metadata=fact("back", Sure.EXACT, Rounding.DOWN))
    limit_face: str = field(metadata=fact("ended by", Sure.EXACT))
    at: Array = field(metadata=fact("at", Sure.EXACT, key="at_mm", measure=Measure.LENGTH, shown=False))
    left_mm: float = field(metadata=fact("left", Sure.EXACT, Rounding.DOWN))
    right_mm: float = field(metadata=fact("right", Sure.EXACT, Rounding.DOWN))
    up_mm: float = field(metadata=fact("up", Sure.EXACT, Rounding.DOWN))
    front_mm: float = field(metadata=fact("front", Sure.EXACT, Rounding.DOWN))
    down_mm: float = field(metadata=fact("down", Sure.EXACT, Rounding.DOWN))
    scan_error_mm: float = field(default=0.0, metadata=fact("off for the scan", Sure.ESTIMATE, Rounding.UP))

    def _sure(self, name: str, fact: Fact) -> Sure:
        return Sure.ESTIMATE if self.scan_error_mm else fact.sure


_known: "WeakKeyDictionary[Fit, Setback]" = WeakKeyDictionary()


@kinds_checked
def setback(fit: Fit, stage: StageStone | None = None) -> Setback:
    """Return how far the figure can go straight back with the cover that was asked, and the five other ways.

    It stops before the block's planes less the cover, a rough block's surface less the cover, every flaw's margin, and
    with a ``stage``, the stone as it stands, before it would leave that. Raises `OpenSurfaceError` where solids must be
    moved (flaws, a stage, a rough block) and the figure is none, and `BadValueError` for a fit without a placement. In
    mm; `Setback` says how sure it is.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(100, 260, 150), stance=bf.Stance.fixed())
    >>> bf.setback(fit).back_mm, bf.setback(fit).up_mm
    (160.0, 50.0)
    """
    if stage is None and fit in _known:
        return _known[fit]
    corners = fit.solid().vertices
    furthest = [int((corners @ normal).argmax()) for normal in fit.block.normals]  # towards each face
    held = {name: _to_the_planes(fit, corners[furthest], np.array(way)) for name, way in _WAYS.items()}
    in_the_way, off = _obstacles(fit, stage), 0.0
    if in_the_way:
        placed = fit.solid()
        require_solid(placed, "the setback in the stone as it stands, or among flaws,")
        off = 0.0 if stage is None else stage.doubt_mm(placed.vertices)
        for name, (most, face, at) in held.items():
            move = first_blocked(placed, in_the_way, _WAYS[name], most + off)
            by = max(0.0, (move.by_mm or 0.0) - off)
            held[name] = (by, move.stopped_by or face, move.at) if by < most else (most, face, at)
    back, face, at = held["back"]
    rest = {f"{name}_mm": held[name][0] for name in _WAYS if name != "back"}
    found = Setback(back, face, at, **rest, scan_error_mm=off)
    if stage is None:
        _known[fit] = found  # a survey and its page ask for it a dozen times
    return found


def _obstacles(fit: Fit, stage: StageStone | None) -> list[Obstacle]:
    """Return what may stop the figure besides the block's planes."""
    asked = float(fit.asked_cover_mm.max(initial=0.0))
    found = [] if fit.block.is_plain else obstacles_of(fit.block, asked)
    if stage is not None:
        found.append(stone_obstacle("the stone as it stands", stage.stone, 0.0))
    spare = fit.figure.margin_mm * fit.scale
    return [replace(obstacle, margin_mm=obstacle.margin_mm + spare) for obstacle in found] if spare else found


def _to_the_planes(fit: Fit, furthest: Array, way: Array) -> tuple[float, str, Array]:
    """Return how far the figure can go along a way within the block's planes, which face ends it and where.

    ``furthest`` (f, 3) are its corners furthest towards each face.
    """
    block = fit.block
    along = block.normals @ way
    heights = (furthest * block.normals).sum(axis=1)
    slack = block.sound_mm - fit.asked_cover_mm - heights - fit.figure.margin_mm * fit.scale
    room = np.where(along > ROUNDING, slack / np.where(along > ROUNDING, along, 1.0), np.inf)
    face = int(room.argmin())
    return max(0.0, float(room[face])), block.names[face], furthest[face].copy()

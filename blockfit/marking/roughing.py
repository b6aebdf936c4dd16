"""Roughing out: for each plane going in from a face, what must stay, what may go, and what that weighs.

mm, block frame. Outlines are shapely areas on the block's own axes: x and z from the front or back, y and z from a
side, x and y from above or below. They come from exact shadows of the figure, so that what stays holds the figure."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.facts.systems import US, units_of
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import CLOSE, NOTHING_MM
from blockfit.kinds import kinds_checked
from blockfit.marking.table import in_columns
from blockfit.measure.booleans import prism
from blockfit.measure.sections import area_of, convex_area, grown, only_areas, rings_of, swept_area
from blockfit.measure.shadows import Shadow
from blockfit.measure.views import face_view
from blockfit.search.flawed.obstacles import stone_of
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.units import KG_PER_LB, M3_PER_MM3, Length, inches_of, length_mm, rounded_down
from blockfit.waste.placed import placed_solid
from blockfit.waste.reserve.setback import setback

__all__ = ["AXES", "Plane", "Roughing", "roughing"]

AXES = {"front": (0, 2), "back": (0, 2), "left": (1, 2), "right": (1, 2), "bottom": (0, 1), "top": (0, 1)}
_MOST_PLANES = 400
_L_PER_CU_FT = 0.3048**3 * 1000
_DRAWN_MM = 0.02  # more is kept than the allowance: what drawing and cutting out an outline may lose
_LEAST_CUT_MM = 1e-3  # what is less deep is no cut
_ENOUGH = 1e-3  # of the whole shadow: what comes into view after the end


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Plane(Result):
    """One plane of the work: ``depth_mm`` from the face, what must stay there and what may go, as shapely areas.

    ``removed_m3`` is what this plane takes out since the one before, ``total_m3`` all so far; kg are ``None``
    without a stone. ``setback_mm`` is how far the figure can still go back.

    Lengths are mm, areas are drawn on the block's own axes. ``depth_mm``, outlines and volumes are exact, weights
    estimates at the typical density.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> planes = bf.roughing(fit, step=100, allowance=10, until=250)
    >>> plane = planes.planes[1]
    >>> plane.name, plane.depth_mm, plane.keep.area < 600 * 700, round(plane.keep.area + plane.go.area)
    ('plane 2', 200.0, True, 420000)
    >>> round(plane.setback_mm), plane.total_kg > plane.removed_kg
    (130, True)
    """

    name: str = field(metadata=fact("plane", Sure.EXACT))
    depth_mm: float = field(metadata=fact("depth", Sure.EXACT, Rounding.DOWN))
    keep: Any
    go: Any
    removed_m3: float = field(metadata=fact("out", Sure.EXACT))
    total_m3: float = field(metadata=fact("so far", Sure.EXACT))
    removed_kg: float | None = field(metadata=fact("out, weight", Sure.ESTIMATE, Rounding.UP))
    total_kg: float | None = field(metadata=fact("so far, weight", Sure.ESTIMATE, Rounding.UP))
    setback_mm: float = field(metadata=fact("setback left", Sure.EXACT, Rounding.DOWN))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Roughing(Result):
    """The planes from one face in order; ``axes`` are the block's axes of the outlines.

    ``end_mm`` is the plane where work from this face ends and ``end_words`` why; ``from_words`` say what depths are
    measured from. ``planes`` are no further apart than ``step_mm``; between two of them stone of up to that thickness
    stays over what comes into view.

    Lengths are mm. What stays holds the figure and its allowance exactly. ``print`` it, or ask for its `text` in
    ``"us"`` units.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> planes = bf.roughing(fit, step=100, allowance=10, until=250)
    >>> [plane.depth_mm for plane in planes.planes], planes.face, planes.axes
    ([100.0, 200.0, 250.0], 'front', (0, 2))
    >>> planes.step_mm, planes.allowance_mm, planes.end_mm
    (100.0, 10.0, 250.0)
    """

    face: str = field(metadata=fact("from the", Sure.GIVEN))
    axes: tuple[int, int]
    step_mm: float = field(metadata=fact("step", Sure.GIVEN))
    allowance_mm: float = field(metadata=fact("allowance", Sure.GIVEN))
    planes: tuple[Plane, ...] = field(metadata=fact("planes", Sure.EXACT))
    end_mm: float = field(metadata=fact("ends at", Sure.EXACT, Rounding.DOWN))
    end_words: str = field(metadata=fact("because", Sure.EXACT))
    from_words: str = field(metadata=fact("depths are measured", Sure.GIVEN))

    @kinds_checked
    def rows(self, units: str = "metric") -> list[tuple[str, ...]]:
        """Return the table as text, a heading first; depths rounded so that stone is left."""
        shown = units_of(units)
        us, stone = shown is US, all(p.removed_kg is not None for p in self.planes)
        length, amount = ("in", "lb" if stone else "cu ft") if us else ("mm", "kg" if stone else "l")
        table: list[tuple[str, ...]] = [
            ("plane", f"depth {length}", f"out {amount}", "so far", f"setback left {length}")
        ]
        for k, p in enumerate(self.planes, 1):
            out, total = (p.removed_kg, p.total_kg) if stone else (p.removed_m3 * 1e3, p.total_m3 * 1e3)
            per = (KG_PER_LB if stone else _L_PER_CU_FT) if us else 1.0
            depth = inches_of(p.depth_mm, "down") if us else f"{rounded_down(p.depth_mm):.1f}"
            back = inches_of(p.setback_mm, "down") if us else f"{rounded_down(p.setback_mm, 0):.0f}"
            table.append((str(k), depth, f"{(out or 0.0) / per:,.1f}", f"{(total or 0.0) / per:,.1f}", back))
        return table

    @kinds_checked
    def text(self, units: str = "metric") -> str:
        """Return the planes as a table."""
        shown = units_of(units)
        lines = [
            f"ROUGHING OUT from the {self.face}, planes {shown.given(self.step_mm)} apart, "
            f"{shown.given(self.allowance_mm)} left on it",
            f"Depths are measured {self.from_words}.",
            "At each plane all that lies outside its outline (the sheets) may go, down to the plane and no deeper.",
            f"It ends at {shown.fine(self.end_mm, Rounding.DOWN)}: {self.end_words}.",
            "",
            in_columns(self.rows(units)),
        ]
        if not self.planes:
            lines[2:] = ["The end lies on the face: nothing may go, and there is no plane to cut."]
        return "\n".join(lines) + "\n"


@kinds_checked
def roughing(
    fit: Fit,
    *,
    step: Length = 50,
    allowance: Length = 15,
    face: str = "front",
    until: Length | str | None = None,
) -> Roughing:
    """Return the planes for roughing out from a face.

    Nothing within ``allowance`` of the figure is ever cut: its exact shadow before each plane stays, grown by the
    allowance, and of what lies behind the plane as much as comes within it. ``until`` is the depth where work from
    this face ends, or the name of a landmark (the plane through it); by default it ends where less than a thousandth
    of the figure's outline has still to come into view. Raises `BadValueError` for a face that a block does not have,
    or more than 400 planes.

    Lengths are mm or text. The outlines are exact; step and allowance are starting values, without a source. Raises
    `OpenSurfaceError` for a figure that is no solid, `BadValueError` for one that does not fit as well.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [600, 0, 0], [0, 100, 0], [0, 0, 1000]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> block, cover = bf.Block.box(700, 300, 1000), {"front": 50, "other": 0}
    >>> fit = bf.largest(figure, block, cover=cover, stance=bf.Stance.fixed())
    >>> [plane.depth_mm for plane in bf.roughing(fit, step=40, allowance=0).planes]
    [40.0, 50.0]
    """
    figure = placed_solid(fit, "roughing out")
    step_mm = length_mm(step, "step")
    allow_mm = length_mm(allowance, "allowance", least=0) + fit.figure.margin_mm * fit.scale
    if step_mm <= 0:
        raise BadValueError(f"step={step!r} must be more than 0")
    view = face_view(face)
    axes = AXES[face]
    start = float((fit.block.corners_mm @ view.into).min())
    deep = float((fit.block.corners_mm @ view.into).max()) - start
    shadow = Shadow(figure.vertices, figure.faces, axes, view.into)
    end, words = _end(figure, shadow, view.into, start, until)
    if end > deep + NOTHING_MM:
        raise BadValueError(f"until={until!r} lies {end - deep:.0f} mm beyond the block")
    depths = [step_mm * k for k in range(1, int(np.ceil(end / step_mm - CLOSE)))] + [end]
    if end < _LEAST_CUT_MM:  # the figure touches the face: there is nothing to take off
        depths = []
    if len(depths) > _MOST_PLANES:
        raise BadValueError(f"a step of {step_mm:g} mm makes {len(depths)} planes; take a larger one")
    stone = fit.block.stone
    kg = None if stone is None else stone.density_kg_m3
    planes: list[Plane] = []
    keep, total, before, back = area_of([]), 0.0, 0.0, setback(fit).back_mm
    for number, depth in enumerate(depths, 1):
        bare, near = shadow.up_to(start + depth), shadow.up_to(start + depth + allow_mm + _DRAWN_MM)
        # Whatever had to stay before stays: a rounding of the shadow must not open it again.
        keep = only_areas(keep.union(grown(near, allow_mm + _DRAWN_MM)))
        # As wide as the stone is anywhere from the face to here: it may be wider nearer the face.
        outline = _stone_up_to(fit.block, view.into, start + depth, axes)
        go = only_areas(outline.difference(keep))
        removed = _removed_m3(fit.block, go, keep, view.into, (start + before, start + depth), axes)
        total += removed
        back = min(back, _room_behind(bare, keep, face, axes, back, allow_mm))
        last = depth == depths[-1]
        planes.append(
            Plane(
                name=f"plane {number}" + (f", the end: {words}" if last else ""),
                depth_mm=float(depth),
                keep=only_areas(keep.intersection(outline)),
                go=go,
                removed_m3=removed,
                total_m3=total,
                removed_kg=None if kg is None else removed * kg,
                total_kg=None if kg is None else total * kg,
                setback_mm=back,
            )
        )
        before = depth
    return Roughing(face, axes, step_mm, allow_mm, tuple(planes), end, words, _from_words(fit.block, face, axes))


def _from_words(block: Block, face: str, axes: tuple[int, int]) -> str:
    third = "xyz"[3 - sum(axes)]
    if block.kind == "box":
        return f"from the {face} face, along the {third} axis"
    return f"from the plane square to the {third} axis that touches the stone at its {face}most point"


def _end(figure: Figure, shadow: Shadow, into: Array, start: float, until: Length | str | None) -> tuple[float, str]:
    """Return how deep work from the face goes, and why it ends there."""
    if isinstance(until, str) and until in figure.landmarks:
        depth = float(np.array(figure.landmarks[until]) @ into) - start
        return max(depth, NOTHING_MM), f"the plane through {until}"
    if until is not None:
        return max(length_mm(until, "until", least=0), NOTHING_MM), "where you said"
    depths = figure.vertices @ into - start

    def seen(depth: float) -> float:
        return float(shadow.up_to(start + depth).area)

    enough = seen(float(depths.max()) + 1) * (1 - _ENOUGH)
    low, high = max(0.0, float(depths.min())), float(depths.max())
    for _ in range(16):  # the depth at which the whole shadow is there
        middle = (low + high) / 2
        low, high = (low, middle) if seen(middle) >= enough else (middle, high)
    if seen(round(high, 1) + NOTHING_MM) >= enough:
        high = round(high, 1)
    return max(high, NOTHING_MM), "past it less than a thousandth of the figure's outline comes into view"


def _stone_up_to(block: Block, into: Array, depth: float, axes: tuple[int, int]) -> Any:
    """Return the outline of all the block's stone from the face to a depth, on the outline's axes."""
    corners = block.corners_mm
    heights = corners @ into - depth
    a, b = np.triu_indices(len(corners), 1)
    across = (heights[a] < 0) != (heights[b] < 0)
    a, b = a[across], b[across]
    share = (heights[a] / (heights[a] - heights[b]))[:, None]
    met = np.concatenate([corners[heights <= CLOSE], corners[a] + share * (corners[b] - corners[a])])
    return convex_area(met[:, list(axes)])


def _removed_m3(
    block: Block, go: Any, keep: Any, into: Array, between: tuple[float, float], axes: tuple[int, int]
) -> float:
    """Return the stone between two depths that lies outside what stays."""
    near, far = between
    if block.kind == "box":
        return float(go.area) * (far - near) * M3_PER_MM3
    slab = stone_of(block).trim_by_plane(into.tolist(), near).trim_by_plane((-into).tolist(), -far)
    if keep.is_empty:
        return float(slab.volume()) * M3_PER_MM3
    third = 3 - sum(axes)
    low, high = sorted((near * into[third], far * into[third]))
    kept = prism(rings_of(keep), axes, low - 1.0, high + 1.0)
    return float((slab - kept).volume()) * M3_PER_MM3


def _room_behind(bare: Any, keep: Any, face: str, axes: tuple[int, int], most: float, allow: float) -> float:
    """Return how far the figure can go back in what this plane leaves, up to ``most``."""
    if face == "front" or bare.is_empty or most <= 0:
        return most
    if face == "back":  # what comes nearer than the allowance was never promised to stay
        return min(most, allow)
    low, high = 0.0, most
    back_first, around = axes[0] == 1, keep.buffer(NOTHING_MM)

    def holds(by: float) -> bool:
        way = np.array([by, 0.0] if back_first else [0.0, by])  # all of it must hold, not its end alone
        return bool(around.covers(swept_area(bare, way)))

    if holds(most):
        return most
    while high - low > 0.1:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low

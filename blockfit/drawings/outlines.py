"""A figure from its outlines: the largest solid that shows them. Whatever is carved to the outlines lies inside it."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from blockfit.drawings.agreement import Placed, agreed, sized
from blockfit.drawings.areas import ranges, spread_sideways
from blockfit.drawings.hull import Lack, hull_of_outlines, lacking, margin_of, with_stone_for
from blockfit.drawings.reading import Drawn, Reading, drawn
from blockfit.drawings.views import turned_view, view_of
from blockfit.errors import BadValueError, Contradiction, OutlinesDisagreeError, plain_text
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import NOTHING_MM
from blockfit.kinds import kinds_checked, number_in
from blockfit.measure.booleans import Solid, arrays_of
from blockfit.solids.figure import Figure, Repair
from blockfit.units import LEAST_MM, Length, Ratio, length_mm, ratio_value, rounded_up, unit_mm

__all__ = ["figure_from_outlines"]

_ROUNDS = 20  # of drawing stone where an outline asks for it
_FAR_AWAY_M = (3, 10)  # from where a photograph might have been taken that nothing is known of


@kinds_checked
def figure_from_outlines(  # noqa: PLR0913
    *,
    front: Any = None,
    side: Any = None,
    top: Any = None,
    back: Any = None,
    three_quarter: Any = None,
    height: Length | None = None,
    unit: str | None = None,
    tolerance: Length = 2,
    ratio: Ratio = 1,
    pixel: Length | None = None,
    threshold: float | None = None,
    lines: bool | None = None,
    reconcile: bool = False,
    name: str = "figure from outlines",
) -> Figure:
    """Return the largest solid with these outlines: whatever is carved to them lies inside it.

    So that it fits is sure, and that it does not fit is not: ``is_envelope`` is true, weights are upper ends and
    waste is a lower end. Openings in an outline are kept.

    Each outline is a path (SVG, DXF, PNG, JPEG), a shapely (multi)polygon in mm, an array (h, w) of booleans with its
    first row at the top, or a `Photo`; seen from that face from outside, up is up: ``front`` (x to the right, z up),
    ``side`` from the left with the front to the viewer's right (−y, z), ``top`` with the front downwards (x, y),
    ``back`` (−x, z). ``three_quarter`` is ``(angle, outline)``, or several: seen by one who has walked round by so many
    degrees, 90 to the right, -90 to the left.

    ``height`` is the figure's own (mm, or text with a unit): outlines are scaled to it. Without it, sizes are those of
    shapely areas (mm), of files (their ``unit``, if they do not say it) or of a ``pixel``, times ``ratio`` ("1:4").
    Outlines that share an axis must reach equally far along it: what differs by up to ``tolerance`` is stretched to
    the longer; more raises `OutlinesDisagreeError`, which says where, by how much and the least change that helps
    (``reconcile`` instead draws stone wherever any outline asks for it, all across the others that deny it, and lists
    it in ``repairs``). ``threshold`` is the
    brightness, 0 to 1, that parts figure and ground in a picture; ``lines`` takes what the lines of a picture enclose.

    ``margin_mm`` is how far a figure may still reach beyond this one's hull, for the pixels' size and what was
    stretched: every cover and scale is reported with it.

    Raises `BadValueError` for no outlines or options out of range, `UnitNeededError` where nothing says how long they
    are, `UnreadableFileError` for a file that is none, and `MissingExtraError` without the extra ``drawings`` for its
    files.

    >>> import blockfit as bf
    >>> import shapely
    >>> front, side = shapely.box(0, 0, 400, 1200), shapely.box(0, 0, 300, 1200)
    >>> figure = bf.figure_from_outlines(front=front, side=side)
    >>> round(figure.volume_m3, 9), figure.size_mm, figure.is_envelope
    (0.144, (400.0, 300.0, 1200.0), True)
    """
    if unit is not None:
        unit_mm(unit)
    if pixel is not None:
        length_mm(pixel, "pixel", least=NOTHING_MM)
    if threshold is not None:
        number_in(threshold, "threshold", 0, 1, "a brightness")
    how = Reading(unit, pixel, threshold, lines)
    views = [
        drawn(view_of(key), value, how)
        for key, value in (("front", front), ("side", side), ("top", top), ("back", back))
        if value is not None
    ]
    views += [drawn(turned_view(angle), outline, how) for angle, outline in _turned(three_quarter)]
    if not views:
        raise BadValueError("there are no outlines; give front= and side=, or front= and top=")
    tall = None if height is None else length_mm(height, "height", least=LEAST_MM)
    spare = length_mm(tolerance, "tolerance", least=0)
    placed = sized(views, tall, ratio_value(ratio))
    placed, wrong, notes = agreed(placed, spare)
    if wrong and not reconcile:
        raise OutlinesDisagreeError(wrong)
    solid, placed = _solid(placed)
    rest, short_mm = lacking(solid, placed, spare)
    if rest and not reconcile:
        raise OutlinesDisagreeError([lack.told for lack in rest])
    if rest:
        solid, placed, more, short_mm = _reconciled(placed, rest, spare)
        wrong = [*wrong, *more]
    vertices, faces = arrays_of(solid)
    margin = max(margin_of(solid, placed), short_mm)
    repairs = _repairs(views, placed, vertices, margin, wrong, notes)
    label = plain_text(name)
    return Figure(vertices, faces, repairs=repairs, name=label, margin_mm=margin, is_envelope=True)


def _turned(given: Any) -> list[tuple[Any, Any]]:
    if given is None:
        return []
    try:
        several = [given] if not isinstance(given[0], Sequence) or isinstance(given[0], str) else list(given)
        return [(angle, outline) for angle, outline in several]
    except (TypeError, ValueError, IndexError, KeyError) as error:
        raise BadValueError("three_quarter must be (angle, outline), such as (45, 'corner.svg'), or several") from error


def _solid(outlines: list[Placed]) -> tuple[Solid, list[Placed]]:
    """Return the hull, and the outlines with those between faces put as far sideways as they may lie."""
    loose = [one for one in outlines if one.view.axes[0] is None and not one.is_placed]
    fixed = [one for one in outlines if one not in loose]
    if not loose:
        return _checked(hull_of_outlines(fixed), fixed), fixed
    first = _checked(hull_of_outlines(fixed), fixed)
    corners, _ = arrays_of(first)
    spread = []
    for one in loose:
        seen = corners @ one.view.right
        low, high = ranges(one.area)[0].tolist()
        span = (float(seen.min()) - low, float(seen.max()) - high)
        if span[0] > span[1]:  # wider than the others allow: they meet in the middle, and the hull cuts the rest
            span = (sum(span) / 2, sum(span) / 2)
        spread.append(replace(one, area=spread_sideways(one.area, *span), notes=(*one.notes, "sideways")))
    both = [*fixed, *spread]
    return _checked(hull_of_outlines(both), both), both


def _reconciled(
    placed: list[Placed], rest: list[Lack], spare: float
) -> tuple[Solid, list[Placed], list[Contradiction], float]:
    """Return the hull with stone wherever any outline asks for it, its outlines, what was changed, and what is short.

    Each change may leave another outline short where it was not before. What is so even in the end is raised.
    """
    changed: list[Contradiction] = []
    for _ in range(_ROUNDS):
        changed += [lack.told for lack in rest]
        placed = with_stone_for(placed, rest)
        solid = _checked(hull_of_outlines(placed), placed)
        rest, short_mm = lacking(solid, placed, spare)
        if not rest:
            return solid, placed, changed, short_mm
    raise OutlinesDisagreeError([lack.told for lack in rest])


def _checked(solid: Solid, outlines: Sequence[Placed]) -> Solid:
    """Return a solid as it is; raise where the outlines have nothing in common."""
    if solid.is_empty() or not solid.volume() > 0:
        names = tuple(one.name for one in outlines)
        by = max(float(np.ptp(ranges(one.area), axis=1).max()) for one in outlines)
        change = "check that each is seen from its own face, with up upwards"
        text = f"{', '.join(names)} have no stone in common"
        raise OutlinesDisagreeError([Contradiction("everywhere", names, by, text, change)])
    return solid  # as it is: simplifying takes stone away or adds it where parts meet at a corner or an edge


def _repairs(
    views: Sequence[Drawn],
    placed: Sequence[Placed],
    vertices: Array,
    margin: float,
    wrong: Sequence[Contradiction],
    notes: Sequence[str],
) -> tuple[Repair, ...]:
    """Return what was done to the outlines, as the survey shows it."""
    names = ", ".join(one.name for one in placed)
    cell = max((one.cell_mm for one in placed), default=0.0)
    text = f"the largest solid with these outlines: {names}"
    text += f"; resolved to {rounded_up(cell, 2):g} mm" if cell else "; exact"
    text += f", any figure within them to a margin of {rounded_up(margin, 2):g} mm" if margin else ""
    found = [Repair("outlines", text, (("margin_mm", margin), ("resolution_mm", cell)))]
    for one, view in zip(placed, views, strict=True) if len(placed) == len(views) else ():
        said = [note for note in view.notes if note != "parallel"]
        found += [Repair("outline", f"{one.name}: {'; '.join(said)}")] if said else []
    found += [Repair("moved", note) for note in notes]
    found += [Repair("contradiction", f"{one.text}: stone was drawn there", (("by_mm", one.by_mm),)) for one in wrong]
    if any("parallel" in view.notes for view in views):
        found.append(Repair("perspective", _perspective(vertices)))
    if any("sideways" in one.notes for one in placed):
        found.append(Repair("sideways", "views between faces say nothing of their place sideways: any was allowed for"))
    return tuple(found)


def _perspective(vertices: Array) -> str:
    """Return what error to expect of a photograph that was taken as seen square on."""
    size = np.ptp(vertices, axis=0)
    reach, half = float(max(size[0], size[2])) / 2, float(size[1]) / 2
    errors = [f"{rounded_up(reach * half / (1000 * far), 0):,.0f} mm from {far} m" for far in _FAR_AWAY_M]
    return (
        "pictures were taken as seen square on, as drawings are; in a photograph what is nearer looks larger: its "
        f"edges could be wrong by {' or '.join(errors)} at this size; Photo(distance=…, bar=…, mark=…) corrects it"
    )

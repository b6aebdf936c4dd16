"""One sheet before turning to the back: what cannot be undone afterwards."""

from collections.abc import Sequence

from blockfit.carving.next import Next, what_next
from blockfit.facts.measures import Rounding
from blockfit.kinds import kinds_checked
from blockfit.marking.check import OUTSIDE, Check
from blockfit.marking.pointing import Pointing
from blockfit.marking.roughing import Roughing
from blockfit.search.result import Fit
from blockfit.sheets.words import Layout, layout_of
from blockfit.solids.stage import StageStone
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.undercut import Undercuts, undercuts
from blockfit.waste.reserve.setback import setback

__all__ = ["before_the_back"]

_MOST = 8  # of planes and undercuts named; what must wait is named in full


@kinds_checked
def before_the_back(  # noqa: PLR0913
    fit: Fit,
    stage: StageStone | None = None,
    *,
    planes: Roughing | Sequence[Roughing] = (),
    undercut: Undercuts | None = None,
    offcuts: OffcutPlan | None = None,
    points: Pointing | None = None,
    readings: Check | None = None,
    units: str = "metric",
) -> str:
    """Return the sheet: setback left, flaws still inside, undercuts and their order, readings, what has left.

    ``stage`` is the stone as it stands; with it the sheet says what of the tables given is still to be done in it, and
    what must not be begun yet. Leave out what you do not have, and the sheet says that it is not known.

    Lengths are shown in ``units``, ``"metric"`` or ``"us"``, rounded so that stone is left; how sure each line is, is
    what `setback`, `undercuts` and `check` say of it. Without ``undercut`` it is worked out here, which takes a while.
    Raises `OpenSurfaceError` for a figure that is no solid, where that is needed, and `BadValueError` for one that does
    not fit or for other units.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> sheet = bf.before_the_back(fit, undercut=bf.undercuts(fit, pitch=20))
    >>> print(sheet.splitlines()[0])
    BEFORE TURNING TO THE BACK: figure in 900 x 300 x 600 mm
    >>> "Setback left" in sheet, "From the back" in sheet, "no table of points was given" in sheet
    (True, True, True)
    """
    layout = layout_of(units)
    shown = layout.units
    reserve = setback(fit, stage)
    cut = undercut or undercuts(fit)
    lines = [f"BEFORE TURNING TO THE BACK: {fit.figure.name} in {fit.block.name}", ""]
    where = "in the stone as it stands" if stage is not None else "in the block as bought: no stage was given"
    if reserve.scan_error_mm:
        where += f", an estimate: {shown.length(reserve.scan_error_mm, Rounding.UP)} is taken off for the scan"
    lines += layout.item(
        "Setback left",
        f"{shown.length(reserve.back_mm)} ({where}; {reserve.limit_face} ends it); to the left "
        f"{shown.length(reserve.left_mm)}, right {shown.length(reserve.right_mm)}, up {shown.length(reserve.up_mm)}. "
        "Behind the figure this goes with the back.",
    )
    if not fit.block.flaws:
        lines += layout.item("Flaws", "none is named; look again with a raking light and a wet sponge")
    for name, by in fit.kept_mm:
        lines += layout.item("Flaw inside", f"{name}: {shown.length(by)} from the figure (exact)")
    later = [r for r in cut.regions if r.reach != "back"]
    behind = [r for r in cut.regions if r.reach == "back"]
    places = [f"{region.number}. {region.place.text(shown)}" for region in behind]
    lines += layout.item("From the back", _listed(places) or "nothing waits for it")
    for region in later[:_MOST]:
        after = f", after {', '.join(map(str, region.after))}" if region.after else ""
        lines += layout.item(
            "Other undercuts", f"{region.number}. {region.place.text(shown)}: {region.approach}{after}"
        )
    if len(later) > _MOST:
        lines += layout.item("More undercuts", f"{len(later) - _MOST}, which the survey lists")
    lines += _read_back(points, readings, layout)
    if stage is not None:
        lines += layout.item("Already gone", ", ".join(stage.gone) or "nothing was named")
        lines += _coming(what_next(fit, stage, planes=planes, points=points, offcuts=offcuts, undercut=cut), layout)
    elif offcuts is not None:
        late = [f"offcut {k}" for k, piece in enumerate(offcuts.pieces, 1) if piece.stage != "before carving"]
        lines += layout.item("Wait for front", ", ".join(late) or "no offcut waits until the front is finished")
    lines += [
        "",
        *layout.paragraph("What leaves behind the figure cannot come back: the setback above is its price.", ""),
    ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _read_back(points: Pointing | None, readings: Check | None, layout: Layout) -> list[str]:
    """Return which points were read back, and which readings are too deep or cannot be."""
    if points is None:
        lines = layout.item("Points", "no table of points was given")
    elif readings is None:
        lines = layout.item("Points", f"{len(points.points)} in the table, none read back")
    else:
        read = {reading.name for reading in readings.readings}
        missing = [point.name for point in points.points if point.name not in read]
        left = f"not read: {', '.join(missing[:20])}{' …' if len(missing) > 20 else ''}" if missing else "all read"
        lines = layout.item("Points", f"{len(points.points) - len(missing)} of {len(points.points)} read back; {left}")
    if readings is None:
        return lines
    shown, deep = layout.units, readings.too_deep
    words = ", ".join(f"{r.name} {shown.fine(-r.left_mm, Rounding.UP)}" for r in deep) if deep else "none"
    lines += layout.item("Too deep", f"{words} (beyond the error of {shown.given(readings.error_mm)})")
    if readings.outside:
        names = ", ".join(reading.name for reading in readings.outside[:20])
        lines += layout.item("Outside block", f"{names}: {OUTSIDE}")
    return lines


def _coming(coming: Next, layout: Layout) -> list[str]:
    """Return what is not yet done in the stone as it stands, and what must wait."""
    free = ", ".join(f"offcut {piece.number}" for piece in coming.pieces if not piece.why_not)
    lines = layout.item("May leave now", free or "no offcut that was given") if coming.pieces else []
    if coming.planes:
        planes = [f"{plane.number} from the {plane.face}" for plane in coming.planes]
        lines += layout.item("Planes not done", _listed(planes, ", "))
    if coming.points_in_all:
        most = max((point.left_mm for point in coming.points), default=0.0)
        rest = f"; at most {layout.units.length(most)} is left at one" if coming.points else ""
        words = f"{coming.points_reached} of {coming.points_in_all} points are at their stops{rest}"
        lines += layout.item("Stops", words)
    waits = [words.text(layout.units) for words in coming.must_wait]  # all of them: none may be begun by mistake
    return lines + layout.item("Must wait", "; ".join(waits) or "nothing that was given")


def _listed(words: Sequence[str], between: str = "; ") -> str:
    """Return the first few of some words, and how many more there are."""
    more = [f"and {len(words) - _MOST} more"] if len(words) > _MOST else []
    return between.join([*words[:_MOST], *more])

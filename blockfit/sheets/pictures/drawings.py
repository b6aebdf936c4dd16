"""Pictures to pin up, by matplotlib, whose one home this is: the measured drawing, maps and charts.

They are read in black and white print and by colour-blind readers: outlines, hatches and grey, no colour alone.

Each returns a matplotlib figure, which `save_picture` writes as PNG, SVG or PDF; `picture_bytes` returns a PNG. They
need the extra ``page``, and raise `MissingExtraError` without it.

>>> import pathlib, tempfile
>>> import blockfit as bf
>>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
>>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
>>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
>>> weighed = bf.weights(fit, undercut=bf.undercuts(fit, pitch=20))
>>> drawing = bf.pictures.weight_picture(weighed)
>>> with tempfile.TemporaryDirectory() as folder:
...     bf.pictures.save_picture(drawing, pathlib.Path(folder) / "weight.png", dots_per_inch=50)
...     [file.name for file in pathlib.Path(folder).iterdir()]
['weight.png']
"""

import importlib
import io
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.carving.left import StoneLeft
from blockfit.errors import BadValueError, MissingExtraError
from blockfit.facts.systems import METRIC
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.tolerances import NOTHING_MM
from blockfit.marking.check import Check
from blockfit.measure.sections import footprint
from blockfit.measure.views import face_view
from blockfit.search.result import Fit
from blockfit.sheets.pictures.relief import relief_of
from blockfit.sheets.words import rounded_down
from blockfit.sheets.yard.ranking import Comparison
from blockfit.solids.figure import Figure
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.undercut import Undercuts
from blockfit.waste.reserve.cover import Cover, stone_cover
from blockfit.waste.reserve.setback import setback
from blockfit.waste.standing.weight import Weights
from blockfit.waste.strength.thin import ThinStone

__all__ = [
    "bounds_picture",
    "check_picture",
    "cover_map",
    "left_map",
    "measured_drawing",
    "picture_bytes",
    "save_picture",
    "thickness_map",
    "trade_picture",
    "undercut_map",
    "view_drawing",
    "weight_picture",
    "yard_picture",
]

_MOST_MARKS = 30
_FACES = ("front", "left", "right", "back", "top")


def measured_drawing(
    fit: Fit, *, undercut: Undercuts | None = None, offcuts: OffcutPlan | None = None, title: str = ""
) -> Any:
    """Return the measured drawing: five views of the placed figure inside the block, to scale, with what is known.

    Ticks every 100 mm along the block's edges; the least cover where it is; undercut regions dotted and numbered;
    offcuts outlined and numbered; the reserve hatched behind the figure in the views from the sides and above.
    """
    plt = _pyplot()
    figure, block = fit.solid(), fit.block
    width, depth, height = block.size_mm
    widths = [width, depth, depth, width, width]
    drawing, axes = plt.subplots(
        1, 5, figsize=(16, 16 * (height + 260) / (sum(widths) + 900)), gridspec_kw={"width_ratios": widths},
        layout="constrained",
    )  # fmt: skip
    cover, reserve = stone_cover(fit), setback(fit)
    for side, ax in zip(_FACES, axes, strict=True):
        _draw_view(plt, ax, fit, side, cover, reserve.back_mm, undercut, offcuts)
    tall = float(np.ptp(figure.vertices[:, 2]))
    words = title or f"{fit.figure.name} in {block.name}: {METRIC.length(tall)} high"
    least, back = METRIC.length(cover.least_mm), METRIC.length(reserve.back_mm)
    notes = f"least cover {least} (o), reserve {back} (hatched); ticks every 100 mm"
    notes += ", offcuts dashed and numbered" if offcuts is not None and offcuts.pieces else ""
    notes += ", undercut regions dotted (u)" if undercut is not None and undercut.regions else ""
    drawing.suptitle(f"{words}\n{notes}", fontsize=12)
    return drawing


def view_drawing(fit: Fit, side: str, *, undercut: Undercuts | None = None, offcuts: OffcutPlan | None = None) -> Any:
    """Return one view of the measured drawing, ``front``, ``left``, ``right``, ``back`` or ``top``, by itself."""
    plt = _pyplot()
    width, depth, height = fit.block.size_mm
    across = depth if side in ("left", "right") else width
    up = depth if side == "top" else height
    scale = 6.2 / max(across + 90, up + 90)
    drawing, ax = plt.subplots(figsize=(max(3.2, (across + 90) * scale), (up + 90) * scale), layout="constrained")
    _draw_view(plt, ax, fit, side, stone_cover(fit), setback(fit).back_mm, undercut, offcuts)
    return drawing


def _draw_view(  # noqa: PLR0913
    plt: Any, ax: Any, fit: Fit, side: str, cover: Cover, back_mm: float, undercut: Undercuts | None,
    offcuts: OffcutPlan | None,
) -> None:  # fmt: skip
    """Draw the figure in the block as seen from a face, with what is known."""
    figure = fit.solid()
    picture = relief_of(figure.vertices, figure.faces, side)
    view = picture.view
    ax.imshow(
        picture.shade, cmap="gray", vmin=0, vmax=1, origin="lower", extent=picture.extent, interpolation="bilinear"
    )
    low, high = _ends(fit.block.corners_mm, view)
    ax.add_patch(plt.Rectangle(low, *(high - low), fill=False, linewidth=1.6, edgecolor="black"))
    _ticks(ax, low, high)
    _reserve(plt, ax, view, figure.vertices, back_mm)
    if offcuts is not None:
        for number, piece in enumerate(offcuts.pieces, 1):
            _piece(plt, ax, view, piece.solid.vertices, number)
    if undercut is not None and side == undercut.front:
        for region in undercut.regions[:8]:
            for part in region.outline:
                ax.plot(*np.array(part[0]).T, linestyle=":", linewidth=1.2, color="black")
            x, y = view.seen(np.array(region.centre_mm)[None])[0][0]
            ax.text(x, y, f"u{region.number}", ha="center", va="center", fontsize=8, bbox=_LABEL)
    _least_cover(ax, view, cover, fit)
    ax.set_title(side, fontsize=12, fontweight="bold")
    ax.set_aspect("equal")
    ax.set_xlim(low[0] - 45, high[0] + 45)
    ax.set_ylim(low[1] - 45, high[1] + 45)
    ax.axis("off")


def cover_map(fit: Fit) -> Any:
    """Return the stone over the figure, in five views: the paler, the less."""
    figure, cover = fit.solid(), stone_cover(fit)
    values = cover.per_vertex_mm[figure.faces].mean(axis=1)
    return _map(figure.vertices, figure.faces, values, f"sound stone over {fit.figure.name}, mm", "cividis")


def check_picture(fit: Fit, checked: Check) -> Any:
    """Return readings taken back, on five views: o with stone on it, x too deep, . within the error, ^ outside."""
    plt = _pyplot()
    figure = fit.solid()
    drawing, axes = plt.subplots(1, 5, figsize=(16, 6), layout="constrained")
    marks = {"stone on it": "o", "too deep": "x", "within the error": ".", "outside the block": "^"}
    for side, ax in zip(_FACES, axes, strict=True):
        picture = relief_of(figure.vertices, figure.faces, side)
        ax.imshow(picture.shade, cmap="gray", vmin=-0.6, vmax=1, origin="lower", extent=picture.extent)
        for reading in checked.readings:
            x, y = picture.view.seen(reading.at_mm[None])[0][0]
            ax.plot(x, y, marks[reading.verdict], color="black", markerfacecolor="none", markersize=8)
            ax.annotate(f"{reading.left_mm:+.0f}", (x, y), xytext=(5, 5), textcoords="offset points", fontsize=8)
        ax.set_title(side)
        ax.axis("off")
    deep = len(checked.too_deep)
    drawing.suptitle(f"{len(checked.readings)} readings, {deep} too deep by more than {checked.error_mm:g} mm (x)")
    return drawing


def thickness_map(thin: ThinStone) -> Any:
    """Return the figure's thickness, in five views: the paler, the thinner."""
    top = float(np.quantile(thin.per_element_mm, 0.8))
    values = np.minimum(thin.per_element_mm, top)
    return _map(thin.elements.vertices, thin.elements.faces, values, f"thickness, mm (up to {top:.0f})", "cividis_r")


def left_map(left: StoneLeft) -> Any:
    """Return the stone left over the figure, in five views: the paler, the more; x and mm where it is too deep."""
    top = max(1.0, float(np.quantile(left.left_mm, 0.9)))
    elements = left.elements
    title = f"stone left, mm (up to {top:.0f}); x: surely too deep by so many mm"
    drawing = _map(elements.vertices, elements.faces, np.clip(left.left_mm, 0.0, top), title, "Greys_r")
    for side, ax in zip(_FACES, drawing.axes, strict=False):
        view = face_view(side)
        for region in left.too_deep[:_MOST_MARKS]:
            if float(region.outward @ view.into) < 0:
                x, y = view.seen(region.worst_mm[None])[0][0]
                ax.plot(x, y, "x", color="black", markersize=8)
                words = f"{-region.least_mm:.0f}"
                ax.annotate(words, (x, y), xytext=(5, 5), textcoords="offset points", fontsize=8, bbox=_LABEL)
    return drawing


def undercut_map(cut: Undercuts) -> Any:
    """Return what the front does not reach, in five views: each region in a grey of its own, the rest white."""
    most = max(1, int(cut.region_of.max(initial=0)))
    values = np.where(cut.region_of > 0, 0.25 + 0.6 * (cut.region_of % 7) / 7, 0.0)
    title = f"not reached from the {cut.front}: {most} regions (white is reached)"
    return _map(cut.elements.vertices, cut.elements.faces, values, title, "Greys", bar=False)


def weight_picture(weight: Weights) -> Any:
    """Return what is left on the banker after every stage."""
    plt = _pyplot()
    drawing, ax = plt.subplots(figsize=(8, 4), layout="constrained")
    names = ["the block", *[stage.name for stage in weight.stages]]
    kilograms = weight.block_kg is not None
    left = [weight.block_kg if kilograms else weight.block_m3 * 1000]
    left += [stage.left_kg if kilograms else stage.left_m3 * 1000 for stage in weight.stages]
    bars = ax.barh(range(len(names)), left, color="0.75", edgecolor="black")
    low, high = weight.low, weight.high
    if kilograms and low != high:
        ends = np.array(left)
        ax.errorbar(
            left, range(len(names)), xerr=[ends * (1 - low), ends * (high - 1)], fmt="none", ecolor="black", capsize=3
        )
    ax.bar_label(bars, [f" {value:,.0f}" for value in left], label_type="center")
    ax.set_yticks(range(len(names)), names)
    ax.invert_yaxis()
    ax.set_xlabel("left, kg (typical, with the range of the density)" if kilograms else "left, litres")
    return drawing


def trade_picture(plan: OffcutPlan) -> Any:
    """Return what is recovered, and sawn, against the number of pieces."""
    plt = _pyplot()
    drawing, ax = plt.subplots(figsize=(7, 4), layout="constrained")
    steps = plan.trade_off
    count = [0, *[step.pieces for step in steps]]
    ax.step(
        count, [0, *[100 * step.recovered for step in steps]], where="post", color="black", label="waste recovered, %"
    )
    ax.set_xlabel("pieces taken off whole")
    ax.set_ylabel("waste recovered, %")
    other = ax.twinx()
    other.step(
        count, [0, *[step.sawn_m2 for step in steps]], where="post", color="0.45", linestyle="--", label="sawn, m²"
    )
    other.set_ylabel("sawn, m²")
    drawing.legend(loc="outside upper center", ncols=2)
    return drawing


def bounds_picture(fit: Fit) -> Any:
    """Return how the search closed in: the best found and the bound that none exceeds, against cells."""
    if fit.trace is None or len(fit.trace) < 1:
        raise BadValueError("this fit kept no trace of its search")
    plt = _pyplot()
    drawing, ax = plt.subplots(figsize=(7, 4), layout="constrained")
    cells, best, bound = np.asarray(fit.trace, np.float64).T
    ax.step(cells, best, where="post", color="black", label="best found")
    ax.step(
        cells,
        np.where(np.isfinite(bound), bound, np.nan),
        where="post",
        color="0.45",
        linestyle="--",
        label="proved bound",
    )
    ax.set_xscale("log")
    ax.set_xlabel("cells of rotations looked at")
    ax.set_ylabel("scale" if fit.ask.is_scale else "mm")
    ax.legend()
    return drawing


def yard_picture(table: Comparison, figure: Figure, most: int = 6) -> Any:
    """Return the best blocks of a yard side by side, to one scale, the figure standing in each at its largest."""
    plt = _pyplot()
    rows = [row for row in table.rows if row.scale > 0 and row.verdict != "FAILED"][:most]
    if not rows:
        raise BadValueError("no block of the table holds the figure: there is nothing to draw")
    widths = [row.block.size_mm[0] + 120 for row in rows]
    tall = max(row.block.size_mm[2] for row in rows)
    size = (14, 14 * (tall + 420) / sum(widths))
    drawing, axes = plt.subplots(
        1, len(rows), figsize=size, gridspec_kw={"width_ratios": widths}, layout="constrained", squeeze=False
    )
    for row, ax in zip(rows, axes[0], strict=True):
        width, _, height = row.block.size_mm
        grown = (table.scale or row.scale) if row.verdict == "FITS" else row.scale
        turn = np.radians(row.turn_deg or 0.0) if not row.tilt_deg or row.tilt_deg < 1 else 0.0
        about = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
        vertices = grown * figure.vertices @ about.T
        vertices = vertices - [(vertices[:, 0].max() + vertices[:, 0].min()) / 2 - width / 2, 0, vertices[:, 2].min()]
        picture = relief_of(vertices, figure.faces, "front", 300)
        ax.imshow(picture.shade, cmap="gray", vmin=0, vmax=1, origin="lower", extent=picture.extent)
        ax.add_patch(plt.Rectangle((0, 0), width, height, fill=False, linewidth=1.6))
        price = "" if row.price is None else f"\nprice {row.price:,.0f}"
        lean = "" if not row.tilt_deg or row.tilt_deg < 1 else f"\nleaned {row.tilt_deg:.0f}° (drawn upright)"
        ax.set_title(f"{row.block.name}\n{row.verdict}, {rounded_down(row.scale, 3):.3f}{price}{lean}", fontsize=9)
        ax.set_xlim(-50, width + 50)
        ax.set_ylim(-50, tall + 50)
        ax.set_aspect("equal")
        ax.axis("off")
    drawing.suptitle(f"ranked by {table.rank}, seen from the front, one scale for all", fontsize=12)
    return drawing


def save_picture(drawing: Any, path: str | Path, *, dots_per_inch: int = 150) -> None:
    """Write a drawing as ``.png``, ``.svg`` or ``.pdf``, and close it."""
    file = Path(path)
    if file.suffix.lower() not in (".png", ".svg", ".pdf"):
        raise BadValueError(f"{file.name}: a picture is saved as .png, .svg or .pdf")
    drawing.savefig(file, dpi=dots_per_inch)
    _pyplot().close(drawing)


def picture_bytes(drawing: Any, *, dots_per_inch: int = 110) -> bytes:
    """Return a drawing as a PNG, and close it."""
    out = io.BytesIO()
    drawing.savefig(out, format="png", dpi=dots_per_inch)
    _pyplot().close(drawing)
    return out.getvalue()


_LABEL = {"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": "black", "linewidth": 0.6}


def _map(vertices: Array, faces: Ints, values: Array, title: str, colours: str, *, bar: bool = True) -> Any:
    plt = _pyplot()
    drawing, axes = plt.subplots(1, 5, figsize=(16, 6), layout="constrained")
    shown = None
    for side, ax in zip(_FACES, axes, strict=True):
        picture = relief_of(vertices, faces, side)
        painted = np.where(picture.face >= 0, values[np.maximum(picture.face, 0)], np.nan)
        least, most = float(values.min()), float(values.max()) or 1.0
        shown = ax.imshow(painted, cmap=colours, vmin=least, vmax=most, origin="lower", extent=picture.extent)
        ax.imshow(picture.shade, cmap="gray", vmin=0, vmax=1, origin="lower", extent=picture.extent, alpha=0.25)
        met = np.isfinite(picture.shade).astype(np.float64)
        ax.contour(met, levels=[0.5], colors="black", linewidths=0.6, origin="lower", extent=picture.extent)
        ax.set_title(side)
        ax.axis("off")
    if bar and shown is not None:
        drawing.colorbar(shown, ax=axes, shrink=0.6)
    drawing.suptitle(title)
    return drawing


def _ends(corners: Array, view: Any) -> tuple[Array, Array]:
    seen, _ = view.seen(corners)
    return seen.min(axis=0), seen.max(axis=0)


def _ticks(ax: Any, low: Array, high: Array) -> None:
    for k in range(int((high[0] - low[0]) // 100) + 1):
        x, tall = low[0] + 100 * k, 28 if k % 5 == 0 else 14
        ax.plot([x, x], [low[1], low[1] - tall], color="black", linewidth=0.7)
    for k in range(int((high[1] - low[1]) // 100) + 1):
        y, tall = low[1] + 100 * k, 28 if k % 5 == 0 else 14
        ax.plot([low[0], low[0] - tall], [y, y], color="black", linewidth=0.7)


def _reserve(plt: Any, ax: Any, view: Any, vertices: Array, back_mm: float) -> None:
    """Hatch how far the figure could go back, where the view shows depth."""
    along = np.array([0.0, 1.0, 0.0])
    if back_mm < 1 or abs(float(view.into @ along)) > 0.5:
        return
    behind = vertices[vertices[:, 1] >= vertices[:, 1].max() - NOTHING_MM]
    start = view.seen(behind)[0].mean(axis=0)
    ends, _ = view.seen(np.stack([np.zeros(3), back_mm * along]))
    shift = ends[1] - ends[0]
    seen, _ = view.seen(vertices)
    low, high = seen.min(axis=0), seen.max(axis=0)
    if abs(shift[0]) > abs(shift[1]):
        corner, size = (min(start[0], start[0] + shift[0]), low[1]), (abs(shift[0]), high[1] - low[1])
    else:
        corner, size = (low[0], min(start[1], start[1] + shift[1])), (high[0] - low[0], abs(shift[1]))
    ax.add_patch(plt.Rectangle(corner, *size, fill=False, hatch="//", linewidth=0, edgecolor="0.55"))


def _piece(plt: Any, ax: Any, view: Any, vertices: Array, number: int) -> None:
    seen, _ = view.seen(vertices)
    ring = footprint(seen)
    ax.add_patch(plt.Polygon(ring, closed=True, fill=False, linestyle="--", linewidth=0.9, edgecolor="black"))
    x, y = ring.mean(axis=0)
    ax.text(x, y, str(number), ha="center", va="center", fontsize=8, bbox=_LABEL)


def _least_cover(ax: Any, view: Any, cover: Cover, fit: Fit) -> None:
    """Mark where the cover is least, with a line to the face it is least towards, where the view shows it."""
    names = list(fit.block.names)
    point = view.seen(cover.at[None])[0][0]
    ax.plot(*point, marker="o", markersize=6, markerfacecolor="none", markeredgecolor="black", markeredgewidth=1.4)
    if cover.least_face not in names:
        return
    normal = fit.block.normals[names.index(cover.least_face)]
    if abs(float(normal @ view.into)) < 0.5:
        end, _ = view.seen((cover.at + cover.least_mm * normal)[None])
        ax.plot(*np.stack([point, end[0]]).T, color="black", linewidth=1.4)


def _pyplot() -> Any:
    try:
        matplotlib = importlib.import_module("matplotlib")
        if matplotlib.rcParams._get_backend_or_none() is None:  # where nothing was chosen, none that needs a screen
            matplotlib.use("Agg")
        return importlib.import_module("matplotlib.pyplot")
    except ImportError as error:
        raise MissingExtraError("pictures need matplotlib: pip install 'blockfit[page]'") from error

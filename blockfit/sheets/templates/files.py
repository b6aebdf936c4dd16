"""Full-size templates as files: SVG by hand, DXF by ezdxf, PDF by reportlab (extra ``templates``); their one home.

True size in mm: an outline measures on paper what it measures on the stone."""

import math
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.errors import BadValueError, MissingExtraError
from blockfit.kinds import kinds_checked
from blockfit.sheets.templates.sheet import Label, Line, Sheet
from blockfit.writing import whole

__all__ = ["PAPERS_MM", "save_template"]

PAPERS_MM = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "Letter": (215.9, 279.4)}
"""Paper sizes in mm: ISO 216 and ANSI/ASME Y14.1."""

_MARGIN = 10.0  # of every tile, where printers do not print
_OVERLAP = 15.0  # of neighbouring tiles
_WIDTHS = {"outline": 0.7, "inner": 0.25, "block": 0.35, "tick": 0.18, "square": 0.35}
_SHADE = "#ececec"  # of what stays
_POINT = 72 / 25.4  # points in a mm


@kinds_checked
def save_template(sheet: Sheet, path: str | Path, *, paper: str | None = None) -> None:
    """Write a sheet as ``.svg``, ``.dxf`` or ``.pdf``, at true size.

    ``paper`` (A4, A3 or Letter) tiles a PDF, with overlaps and register marks; without it the PDF is one large page.
    The file appears whole or not at all. Raises `MissingExtraError` where the extra ``templates`` is not installed.

    The paper sizes are those of ISO 216 and ANSI/ASME Y14.1. Raises `BadValueError` for another ending or paper, and
    `UnreadableFileError` where nothing can be written.

    >>> import pathlib, tempfile
    >>> import blockfit as bf
    >>> sheet = bf.ruler_sheet(500, 4)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     bf.save_template(sheet, pathlib.Path(folder) / "ruler.svg")
    ...     bf.save_template(sheet, pathlib.Path(folder) / "ruler.pdf", paper="A4")
    ...     print(sorted(file.name for file in pathlib.Path(folder).iterdir()))
    ['ruler.pdf', 'ruler.svg']
    """
    file = Path(path)
    kind = file.suffix.lower()
    if paper is not None and (kind != ".pdf" or paper not in PAPERS_MM):
        raise BadValueError(f"paper={paper!r}: only a PDF is tiled, on {', '.join(PAPERS_MM)}")
    with whole(file) as beside:
        if kind == ".svg":
            beside.write_text(_svg(sheet), encoding="utf-8")
        elif kind == ".dxf":
            _dxf(sheet, beside)
        elif kind == ".pdf":
            _pdf(sheet, beside, paper)
        else:
            raise BadValueError(f"{file.name}: a template is saved as .svg, .dxf or .pdf")


def _svg(sheet: Sheet) -> str:
    """Return the sheet as SVG, its user unit a millimetre."""
    body = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{sheet.width:.3f}mm" height="{sheet.height:.3f}mm" '
        f'viewBox="0 0 {sheet.width:.3f} {sheet.height:.3f}">',
        f"<title>{escape(sheet.title, quote=False)}</title>",
        f'<rect width="{sheet.width:.3f}" height="{sheet.height:.3f}" fill="white"/>',
    ]
    body.append(f'<path class="stays" d="{_ring_path(sheet)}" fill="{_SHADE}" fill-rule="evenodd"/>')
    for line in sheet.lines:
        points = " ".join(f"{x:.3f},{sheet.height - y:.3f}" for x, y in line.points)
        name = "polygon" if line.closed else "polyline"
        width = _WIDTHS[line.weight]
        body.append(
            f'<{name} class="{line.weight}" points="{points}" fill="none" stroke="black" stroke-width="{width}"/>'
        )
    for label in sheet.labels:
        place = f'x="{label.x:.3f}" y="{sheet.height - label.y:.3f}" font-size="{label.size * 1.4:g}"'
        body.append(f'<text {place} font-family="sans-serif">{escape(label.text, quote=False)}</text>')
    return "\n".join([*body, "</svg>"]) + "\n"


def _ring_path(sheet: Sheet) -> str:
    """Return the closed outlines as one path, so that holes stay white."""
    rings = [line.points for line in sheet.lines if line.weight == "outline" and line.closed]
    return "".join("M" + "L".join(f"{x:.3f} {sheet.height - y:.3f}" for x, y in ring) + "Z" for ring in rings)


def _dxf(sheet: Sheet, path: Path) -> None:
    ezdxf = _extra("ezdxf")
    drawing = ezdxf.new("R2010", units=4)  # 4: millimetres, in the format's own table of units
    for name in _WIDTHS:
        drawing.layers.add(name, lineweight=round(_WIDTHS[name] * 100 / 5) * 5 if name != "outline" else 70)
    space = drawing.modelspace()
    for line in sheet.lines:
        space.add_lwpolyline(line.points.tolist(), close=line.closed, dxfattribs={"layer": line.weight})
    for label in sheet.labels:
        text = space.add_text(label.text, height=label.size, dxfattribs={"layer": "tick"})
        text.set_placement((label.x, label.y))
    low = [min(float(line.points[:, k].min()) for line in sheet.lines) for k in (0, 1)]
    high = [max(float(line.points[:, k].max()) for line in sheet.lines) for k in (0, 1)]
    drawing.header["$EXTMIN"] = (*low, 0.0)
    drawing.header["$EXTMAX"] = (*high, 0.0)
    drawing.header["$MEASUREMENT"] = 1
    drawing.saveas(path)


def _pdf(sheet: Sheet, path: Path, paper: str | None) -> None:
    canvas = _extra("reportlab.pdfgen.canvas").Canvas
    if paper is None:
        page = canvas(str(path), pagesize=(sheet.width * _POINT, sheet.height * _POINT), invariant=1)
        page.setTitle(sheet.title)
        page.scale(_POINT, _POINT)
        _draw(page, sheet)
        page.showPage()
        page.save()
        return
    wide, tall = PAPERS_MM[paper]
    tiling = Tiling(sheet, wide - 2 * _MARGIN, tall - 2 * _MARGIN)
    page = canvas(str(path), pagesize=(wide * _POINT, tall * _POINT), invariant=1)
    page.setTitle(sheet.title)
    for row, column in tiling.drawn:
        left, low = tiling.corner(row, column)
        page.scale(_POINT, _POINT)
        page.saveState()
        clip = page.beginPath()
        clip.rect(_MARGIN, _MARGIN, tiling.wide, tiling.tall)
        page.clipPath(clip, stroke=0)
        page.translate(_MARGIN - left, _MARGIN - low)
        _draw(page, sheet)
        page.restoreState()
        _register(page, tiling.wide, tiling.tall)
        page.setFont("Helvetica", 3.2)
        name = f"{sheet.title}: row {row + 1} of {tiling.rows} from below, column {column + 1} of {tiling.columns}"
        page.drawString(_MARGIN + 12, 4, _latin(f"{name}; overlap {_OVERLAP:g} mm, crosses on crosses"))
        page.showPage()
    _overview(page, sheet, tiling)
    page.save()


@dataclass(frozen=True, slots=True, eq=False)
class Tiling:
    """How a sheet is divided on paper: tiles of ``wide`` by ``tall`` mm that overlap; empty ones are left out."""

    sheet: Sheet
    wide: float
    tall: float

    @property
    def columns(self) -> int:
        """How many tiles lie side by side."""
        return max(1, math.ceil((self.sheet.width - _OVERLAP) / (self.wide - _OVERLAP)))

    @property
    def rows(self) -> int:
        """How many tiles lie above each other."""
        return max(1, math.ceil((self.sheet.height - _OVERLAP) / (self.tall - _OVERLAP)))

    @property
    def drawn(self) -> list[tuple[int, int]]:
        """The (row, column) of every tile on which there is a line or a word, from below."""
        cells = ((row, column) for row in range(self.rows) for column in range(self.columns))
        return [cell for cell in cells if not self._is_empty(*cell)]

    def corner(self, row: int, column: int) -> tuple[float, float]:
        """Return the sheet's place at a tile's lower left corner."""
        return column * (self.wide - _OVERLAP), row * (self.tall - _OVERLAP)

    def _is_empty(self, row: int, column: int) -> bool:
        left, low = self.corner(row, column)
        right, high = left + self.wide, low + self.tall
        if any(left - 60 <= one.x <= right and low - one.size <= one.y <= high for one in self.sheet.labels):
            return False
        return not any(self._crosses(line, left, low, right, high) for line in self.sheet.lines)

    def _crosses(self, line: Line, left: float, low: float, right: float, high: float) -> bool:
        """Tell whether the box around a piece of a line reaches into a tile: a tile too many does no harm."""
        ends = np.concatenate([line.points, line.points[:1]]) if line.closed else line.points
        a, b = ends[:-1], ends[1:]
        least, most = np.minimum(a, b), np.maximum(a, b)
        inside = (most >= [left, low]).all(axis=1) & (least <= [right, high]).all(axis=1)
        return bool(inside.any())


def _overview(page: Any, sheet: Sheet, tiling: Tiling) -> None:
    """Draw, as the last page, the whole sheet small with every tile's row and column."""
    scale = min(tiling.wide / sheet.width, (tiling.tall - 20) / sheet.height)
    page.scale(_POINT, _POINT)
    page.setFont("Helvetica", 5)
    page.drawString(_MARGIN, _MARGIN + tiling.tall - 6, _latin(f"{sheet.title}: overview, not to scale"))
    page.translate(_MARGIN, _MARGIN)
    page.scale(scale, scale)
    _draw(page, Sheet(sheet.title, sheet.width, sheet.height, sheet.lines, ()))
    page.setFont("Helvetica", 5 / scale)
    for row, column in tiling.drawn:
        left, low = tiling.corner(row, column)
        page.setLineWidth(0.4 / scale)
        page.rect(left, low, tiling.wide, tiling.tall, stroke=1, fill=0)
        page.drawCentredString(left + tiling.wide / 2, low + tiling.tall / 2, f"row {row + 1}, column {column + 1}")
    page.showPage()


def _register(page: Any, inner_x: float, inner_y: float) -> None:
    """Draw a cross in the middle of each overlap's corner: on the neighbour they fall on the same places."""
    page.setLineWidth(0.15)
    for x in (_MARGIN + _OVERLAP / 2, _MARGIN + inner_x - _OVERLAP / 2):
        for y in (_MARGIN + _OVERLAP / 2, _MARGIN + inner_y - _OVERLAP / 2):
            page.line(x - 4, y, x + 4, y)
            page.line(x, y - 4, x, y + 4)


def _draw(page: Any, sheet: Sheet) -> None:
    path, shaded = page.beginPath(), False
    for line in sheet.lines:
        if line.weight == "outline" and line.closed:
            shaded = True
            path.moveTo(*line.points[0].tolist())
            for point in line.points[1:].tolist():
                path.lineTo(*point)
            path.close()
    if shaded:
        page.setFillGray(0.925)
        page.drawPath(path, stroke=0, fill=1, fillMode=0)  # even-odd: holes stay white
        page.setFillGray(0)
    for line in sheet.lines:
        _stroke(page, line)
    for label in sheet.labels:
        _write(page, label)


def _stroke(page: Any, line: Line) -> None:
    page.setLineWidth(_WIDTHS[line.weight])
    path = page.beginPath()
    path.moveTo(*line.points[0].tolist())
    for point in line.points[1:].tolist():
        path.lineTo(*point)
    if line.closed:
        path.close()
    page.drawPath(path, stroke=1, fill=0)


def _write(page: Any, label: Label) -> None:
    page.setFont("Helvetica", label.size * 1.4)
    page.drawString(label.x, label.y, _latin(label.text))


def _latin(text: str) -> str:
    """Return text that the PDF's built-in letters can show."""
    return text.replace("↑", "^").encode("latin-1", "replace").decode("latin-1")


def _extra(name: str) -> Any:
    """Return a module of the extra ``templates``, or raise what says how to install it."""
    import importlib

    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise MissingExtraError(f"templates as DXF and PDF need {name}: pip install 'blockfit[templates]'") from error

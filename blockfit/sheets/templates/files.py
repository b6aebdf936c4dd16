"""Full-size templates as files: SVG by hand, DXF by ezdxf, PDF by reportlab (extra ``templates``); their one home.

True size in mm: an outline measures on paper what it measures on the stone."""

import math
import os
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from blockfit.errors import BadValueError, MissingExtraError, UnreadableFileError
from blockfit.sheets.templates.sheet import Label, Line, Sheet

__all__ = ["PAPERS_MM", "save_template"]

PAPERS_MM = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "Letter": (215.9, 279.4)}
"""Paper sizes in mm: ISO 216 and ANSI/ASME Y14.1."""

_MARGIN = 10.0  # of every tile, where printers do not print
_OVERLAP = 15.0  # of neighbouring tiles
_WIDTHS = {"outline": 0.7, "block": 0.35, "tick": 0.18, "square": 0.35}
_POINT = 72 / 25.4  # points in a mm


def save_template(sheet: Sheet, path: str | Path, *, paper: str | None = None) -> None:
    """Write a sheet as ``.svg``, ``.dxf`` or ``.pdf``, at true size.

    ``paper`` (A4, A3 or Letter) tiles a PDF, with overlaps and register marks; without it the PDF is one large page.
    The file appears whole or not at all. Raises `MissingExtraError` where the extra ``templates`` is not installed.
    """
    file = Path(path)
    kind = file.suffix.lower()
    if paper is not None and (kind != ".pdf" or paper not in PAPERS_MM):
        raise BadValueError(f"paper={paper!r}: only a PDF is tiled, on {', '.join(PAPERS_MM)}")
    beside = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        if kind == ".svg":
            beside.write_text(_svg(sheet), encoding="utf-8")
        elif kind == ".dxf":
            _dxf(sheet, beside)
        elif kind == ".pdf":
            _pdf(sheet, beside, paper)
        else:
            raise BadValueError(f"{file.name}: a template is saved as .svg, .dxf or .pdf")
        os.replace(beside, file)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise UnreadableFileError(f"{file.name} cannot be written: {error.strerror or error}") from error


def _svg(sheet: Sheet) -> str:
    """Return the sheet as SVG, its user unit a millimetre."""
    body = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{sheet.width:.3f}mm" height="{sheet.height:.3f}mm" '
        f'viewBox="0 0 {sheet.width:.3f} {sheet.height:.3f}">',
        f"<title>{escape(sheet.title)}</title>",
        f'<rect width="{sheet.width:.3f}" height="{sheet.height:.3f}" fill="white"/>',
    ]
    for line in sheet.lines:
        points = " ".join(f"{x:.3f},{sheet.height - y:.3f}" for x, y in line.points)
        name = "polygon" if line.closed else "polyline"
        width = _WIDTHS[line.weight]
        body.append(
            f'<{name} class="{line.weight}" points="{points}" fill="none" stroke="black" stroke-width="{width}"/>'
        )
    for label in sheet.labels:
        place = f'x="{label.x:.3f}" y="{sheet.height - label.y:.3f}" font-size="{label.size * 1.4:g}"'
        body.append(f'<text {place} font-family="sans-serif">{escape(label.text)}</text>')
    return "\n".join([*body, "</svg>"]) + "\n"


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
    inner_x, inner_y = wide - 2 * _MARGIN, tall - 2 * _MARGIN
    columns = max(1, math.ceil((sheet.width - _OVERLAP) / (inner_x - _OVERLAP)))
    rows = max(1, math.ceil((sheet.height - _OVERLAP) / (inner_y - _OVERLAP)))
    page = canvas(str(path), pagesize=(wide * _POINT, tall * _POINT), invariant=1)
    page.setTitle(sheet.title)
    for row in range(rows):
        for column in range(columns):
            left, low = column * (inner_x - _OVERLAP), row * (inner_y - _OVERLAP)
            page.scale(_POINT, _POINT)
            page.saveState()
            clip = page.beginPath()
            clip.rect(_MARGIN, _MARGIN, inner_x, inner_y)
            page.clipPath(clip, stroke=0)
            page.translate(_MARGIN - left, _MARGIN - low)
            _draw(page, sheet)
            page.restoreState()
            _register(page, inner_x, inner_y)
            page.setFont("Helvetica", 3.2)
            name = f"{sheet.title}: column {column + 1} of {columns}, row {row + 1} of {rows} from below"
            page.drawString(_MARGIN + 12, 4, _latin(f"{name}; overlap {_OVERLAP:g} mm, crosses on crosses"))
            page.showPage()
    page.save()


def _register(page: Any, inner_x: float, inner_y: float) -> None:
    """Draw a cross in the middle of each overlap's corner: on the neighbour they fall on the same places."""
    page.setLineWidth(0.15)
    for x in (_MARGIN + _OVERLAP / 2, _MARGIN + inner_x - _OVERLAP / 2):
        for y in (_MARGIN + _OVERLAP / 2, _MARGIN + inner_y - _OVERLAP / 2):
            page.line(x - 4, y, x + 4, y)
            page.line(x, y - 4, x, y + 4)


def _draw(page: Any, sheet: Sheet) -> None:
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

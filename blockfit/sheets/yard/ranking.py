"""The yard's table: rows, how they are ranked, and the files they are saved to."""

import html
import json
import math
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from blockfit.errors import BadValueError, MissingExtraError, plain_text, shown_name
from blockfit.facts.systems import US, UnitSystem, units_of
from blockfit.sheets.saving import MADE_BY, check_free, partial_path, write_whole
from blockfit.sheets.words import rounded_down, rounded_up
from blockfit.solids.block import Block

__all__ = ["RANKS", "Comparison", "Row", "alike", "csv_heading", "csv_line", "csv_stopped", "rank_key"]

RANKS = ("largest", "cheapest", "least waste", "lightest")


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """One figure in one block.

    ``scale`` is the largest in that block, also where it is less than was wanted, ``scale_bound`` proved out of reach;
    ``cover_mm`` the cover, at the size wanted if one
    was. ``verdict`` is FITS, CANNOT_FIT, UNDECIDED or FAILED, about the size wanted; ``note`` says what else there is
    to say. Weights are at typical density; ``waste_share`` and ``removed_kg`` are at the size wanted, or the largest.
    """

    order: int
    figure: str
    block: Block
    verdict: str
    scale: float
    scale_bound: float
    cover_mm: float | None
    turn_deg: float | None
    tilt_deg: float | None
    stands_on: str | None
    block_kg: float | None
    removed_kg: float | None
    waste_share: float | None
    price: float | None
    price_per_m3: float | None
    recovered: float | None
    note: str

    def record(self) -> dict[str, Any]:
        """Return the row as plain data."""
        data = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "block"}
        width, depth, height = self.block.size_mm
        stone = None if self.block.stone is None else self.block.stone.name
        return {
            "block": self.block.name,
            "width_mm": width,
            "depth_mm": depth,
            "height_mm": height,
            "stone": stone,
            **data,
        }

    @classmethod
    def restored(cls, data: dict[str, Any], block: Block) -> "Row | None":
        """Return a row from its plain data and its block; ``None`` where the data are not what a row holds."""
        values = {name: data.get(name, _MISSING) for name in _ROW_TYPES}
        for name, value in values.items():
            if not isinstance(value, _ROW_TYPES[name]) or isinstance(value, bool):
                return None
        if values["verdict"] not in _ORDER or math.isnan(values["scale"]) or math.isnan(values["scale_bound"]):
            return None
        return cls(block=block, **values)


_MISSING = object()
_NUMBER, _MAYBE = (int, float), (int, float, type(None))
_ROW_TYPES: dict[str, tuple[type, ...]] = {
    "order": (int,), "figure": (str,), "verdict": (str,), "scale": _NUMBER, "scale_bound": _NUMBER,
    "cover_mm": _MAYBE, "turn_deg": _MAYBE, "tilt_deg": _MAYBE, "stands_on": (str, type(None)), "block_kg": _MAYBE,
    "removed_kg": _MAYBE, "waste_share": _MAYBE, "price": _MAYBE, "price_per_m3": _MAYBE, "recovered": _MAYBE,
    "note": (str,),
}  # fmt: skip
_ORDER = {"FITS": 0, "UNDECIDED": 1, "CANNOT_FIT": 2, "FAILED": 3}


def rank_key(row: Row, rank: str) -> tuple[float, ...]:
    """Return what rows are sorted by: those that fit first, then by rank, then in the order given.

    By ``largest`` only rows that failed come after the others. What differs by rounding alone counts as equal.
    """
    order = _ORDER[row.verdict]
    first = {
        "largest": -row.scale,
        "cheapest": _or_last(row.price),
        "least waste": _or_last(row.waste_share),
        "lightest": _or_last(row.block_kg),
    }[rank]
    return (0.0 if rank == "largest" and order < 3 else float(order), alike(first), float(row.order))


def alike(value: float) -> float:
    """Return a value to ten digits, so that ties are ties whatever rounding did to them.

    >>> from blockfit.sheets.yard.ranking import alike
    >>> alike(0.1 + 0.2) == alike(0.3)
    True
    """
    return float(f"{value:.10g}")


def _or_last(value: float | None) -> float:
    return math.inf if value is None else value


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """The rows, ranked; ``finished`` is false if the work was stopped before all blocks were done.

    ``stopped`` then says what stopped it, where it was not Ctrl-C.
    """

    rows: tuple[Row, ...]
    rank: str
    scale: float | None
    finished: bool = True
    stopped: str = ""

    def __str__(self) -> str:
        """Return the table as text, in metric units."""
        return self.text()

    def text(self, units: str = "metric") -> str:
        """Return the table as text, in ``"metric"`` or ``"us"`` units."""
        shown = units_of(units)
        headings = _headings(shown)
        table = [headings, *(_cells(row, shown) for row in self.rows)]
        widths = [max(len(line[k]) for line in table) for k in range(len(headings))]
        lines = []
        for line in table:
            pairs = enumerate(zip(line, widths, strict=True))
            lines.append("  ".join(c.ljust(w) if k < 3 else c.rjust(w) for k, (c, w) in pairs).rstrip())
        about = f"ranked by {self.rank}" + ("" if self.scale is None else f", wanted at {self.scale:g} of full size")
        about += "" if self.finished else "; STOPPED before all blocks were done"
        about += f": {self.stopped}" if self.stopped else ""
        return "\n".join([about, "", *lines]) + "\n"

    def save(self, path: str | Path, *, units: str = "metric") -> Path:
        """Write ``.csv`` (safe in a spreadsheet), ``.json``, or ``.html`` (one file, sorts by a click on a heading;
        in ``units``; the others hold SI values).

        A table that was stopped is written beside it, to ``….partial.csv``, and says so inside. Returns what was
        written. A file that is no earlier table of ours is left alone: that raises `BadValueError`.
        """
        file = Path(path) if self.finished else partial_path(Path(path))
        kind = file.suffix.lower()
        if kind == ".csv":
            body = csv_heading() + "".join(csv_line(row) for row in self.rows)
            body += "" if self.finished else csv_stopped()
        elif kind == ".json":
            body = "{\n " + MADE_BY + "," + json.dumps(_finite(self._record()), indent=1, ensure_ascii=False)[1:] + "\n"
        elif kind == ".html":
            body = _page(self, units_of(units))
        else:
            raise BadValueError(f"{shown_name(file)}: a yard is saved as .csv, .json or .html")
        check_free(file)
        write_whole(file, body)
        return file

    def _record(self) -> dict[str, Any]:
        return {
            "rank": self.rank,
            "scale": self.scale,
            "finished": self.finished,
            "rows": [row.record() for row in self.rows],
        }

    def frame(self) -> Any:
        """Return the rows as a pandas DataFrame. Raises `MissingExtraError` where pandas is not installed."""
        import importlib

        try:
            pandas = importlib.import_module("pandas")
        except ImportError as error:
            raise MissingExtraError("a DataFrame needs pandas: pip install pandas") from error
        return pandas.DataFrame([row.record() for row in self.rows])


_COLUMNS = (
    "block", "figure", "verdict", "scale", "scale_bound", "cover_mm", "turn_deg", "tilt_deg", "stands_on", "width_mm",
    "depth_mm", "height_mm", "stone", "block_kg", "removed_kg", "waste_share", "recovered", "price", "price_per_m3",
    "note",
)  # fmt: skip


def _headings(units: UnitSystem) -> tuple[str, ...]:
    us = units is US
    weight = "lb" if us else "kg"
    cover, per = ("cover", "per cu ft") if us else ("cover mm", "per m³")
    fit = ("block", "figure", "verdict", "scale", "bound", cover)
    return (*fit, f"block {weight}", f"out {weight}", "waste", "price", per)


def csv_heading() -> str:
    """Return the first line of the CSV."""
    return ",".join(_COLUMNS) + "\n"


def csv_line(row: Row) -> str:
    """Return a row as a line of CSV in which no cell starts a formula."""
    data = row.record()
    return _line([data[name] for name in _COLUMNS])


def csv_stopped() -> str:
    """Return the last line of a table that was stopped before all rows were there."""
    words = {"block": "(stopped)", "verdict": "STOPPED", "note": "stopped before all blocks were done"}
    return _line([words.get(name) for name in _COLUMNS])


def _line(values: list[Any]) -> str:
    return ",".join(map(_cell, values)) + "\n"


def _cell(value: Any) -> str:
    """Return a cell: one line, and quoted wherever a comma, a semicolon or a tab might end it.

    A spreadsheet computes what begins with one of a few signs, wide ones too, also after spaces: those stay text.
    """
    if value is None:
        return ""
    if not isinstance(value, str):
        return repr(value) if isinstance(value, float) else str(value)
    text = plain_text(value)
    if text[:1] in _COMPUTED:
        text = "'" + text
    doubled = text.replace('"', '""')
    return f'"{doubled}"' if any(sign in text for sign in ',;\t"|') else text


_COMPUTED = ("=", "+", "-", "@", "＝", "＋", "－", "＠")


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_finite(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _name(text: str) -> str:
    """Return a name that keeps the table whole: one line, and of a length that leaves room for the rest."""
    plain = plain_text(text[: 4 * _LONGEST])
    return plain if len(plain) <= _LONGEST else plain[: _LONGEST - 1] + "…"


_LONGEST = 48  # letters of a name in a table


def _cells(row: Row, units: UnitSystem) -> tuple[str, ...]:
    def number(value: float | None, digits: int = 0) -> str:
        return "" if value is None else f"{value:,.{digits}f}"

    def weight(value: float | None) -> str:
        return "" if value is None else units.mass(value).removesuffix(" kg").removesuffix(" lb")

    cover = "" if row.cover_mm is None else units.length(row.cover_mm).removesuffix(" mm")
    per = None if row.price_per_m3 is None else row.price_per_m3 * (0.3048**3 if units is US else 1.0)
    waste = "" if row.waste_share is None else f"{row.waste_share:.0%}"
    words = row.verdict if not row.note else f"{row.verdict} ({row.note})"
    return (
        _name(row.block.name), _name(row.figure), plain_text(words), f"{rounded_down(row.scale, 4):.4f}",
        f"{rounded_up(row.scale_bound, 4):.4f}", cover, weight(row.block_kg), weight(row.removed_kg), waste,
        number(row.price), number(per),
    )  # fmt: skip


_STYLE = """
body{font:15px/1.4 system-ui,sans-serif;margin:1.5rem;color:#111;background:#fff}
table{border-collapse:collapse}th,td{padding:.3rem .6rem;border-bottom:1px solid #bbb;text-align:right}
th:nth-child(-n+3),td:nth-child(-n+3){text-align:left}
th button{font:inherit;font-weight:600;border:0;background:none;cursor:pointer}
tr.no{color:#666}@media print{th button{color:#000}}
"""
_SCRIPT = """
const table=document.querySelector('table');
table.querySelectorAll('th button').forEach((button,k)=>button.addEventListener('click',()=>{
 const down=button.parentElement.getAttribute('aria-sort')==='ascending';
 table.querySelectorAll('th').forEach(th=>th.removeAttribute('aria-sort'));
 button.parentElement.setAttribute('aria-sort',down?'descending':'ascending');
 const body=table.tBodies[0],rows=[...body.rows],key=r=>r.cells[k].dataset.value;
 rows.sort((a,b)=>{const x=key(a),y=key(b),m=parseFloat(x),n=parseFloat(y);
  const c=isNaN(m)||isNaN(n)?x.localeCompare(y):m-n;return down?-c:c});
 rows.forEach(r=>body.append(r));
}));
"""


def _page(table: Comparison, units: UnitSystem) -> str:
    """Return the self-contained page."""
    head = "".join(
        f'<th scope="col"><button type="button">{html.escape(name)}</button></th>' for name in _headings(units)
    )
    lines = []
    for row in table.rows:
        raw = (
            _name(row.block.name), _name(row.figure), row.verdict, row.scale, row.scale_bound, row.cover_mm,
            row.block_kg, row.removed_kg, row.waste_share, row.price, row.price_per_m3,
        )  # fmt: skip
        cells = "".join(
            f'<td data-value="{html.escape("" if value is None else str(value))}">{html.escape(text)}</td>'
            for value, text in zip(raw, _cells(row, units), strict=True)
        )
        lines.append(f'<tr class="{"" if row.verdict == "FITS" else "no"}">{cells}</tr>')
    wanted = "" if table.scale is None else f", wanted at {table.scale:g} of full size"
    stopped = "" if table.finished else "<p><strong>Stopped before all blocks were done.</strong></p>"
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="generator" content="blockfit"><meta name="viewport" content="width=device-width">'
        f"<title>Yard</title><style>{_STYLE}</style></head><body><h1>Blocks ranked by {html.escape(table.rank)}</h1>"
        f"<p>{len(table.rows)} rows{wanted}. Scales are the largest found and the bound that none exceeds (proved); "
        f"weights at typical density. Click a heading to sort.</p>{stopped}<table><thead><tr>{head}</tr></thead><tbody>"
        f"{''.join(lines)}</tbody></table><script>{_SCRIPT}</script></body></html>\n"
    )

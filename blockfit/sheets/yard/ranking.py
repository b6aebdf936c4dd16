"""The yard's table: rows, how they are ranked, and the files they are saved to."""

import html
import importlib
import math
import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from blockfit.errors import MissingExtraError
from blockfit.facts.measures import Rounding
from blockfit.facts.systems import US, UnitSystem, units_of
from blockfit.kinds import kinds_checked
from blockfit.sheets.saving import as_json, partial_path, write_as
from blockfit.sheets.words import rounded_down, rounded_up
from blockfit.sheets.yard.rows import Row, csv_heading, csv_line, csv_stopped, name_words, why_words

__all__ = ["Comparison"]

_LEFT = ("block", "figure", "size", "stone", "verdict")  # columns of words
_MEANS = {
    "largest": "the largest figure first",
    "cheapest": "of those that fit, the lowest price first",
    "least waste": "of those that fit, the least stone cut away first",
    "lightest": "of those that fit, the lightest block to move first",
}


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """The rows, ranked; ``finished`` is false if the work was stopped before all blocks were done.

    ``stopped`` then says what stopped it, where it was not Ctrl-C.

    ``scale`` is the size wanted, ``None`` where the largest was asked. In each row the scale is exact and its bound
    proved, cover in mm exact, weights in kg estimates; `frame` gives a pandas table, `save` a file.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 400)]
    >>> yard = [bf.Block.box(200, 200, 300, name="low"), bf.Block.box(300, 300, 900, name="large", price=700)]
    >>> table = bf.compare(bf.Figure.from_points(corners), yard, scale=1, stance=bf.Stance.fixed(), jobs=1)
    >>> table.finished, table.rank, [(row.block.name, row.verdict, round(row.scale, 2)) for row in table.rows]
    (True, 'largest', [('large', 'FITS', 2.25), ('low', 'CANNOT_FIT', 0.75)])
    """

    rows: tuple[Row, ...]
    rank: str
    scale: float | None
    finished: bool = True
    stopped: str = ""

    def __str__(self) -> str:
        """Return the table as text, in metric units."""
        return self.text()

    @kinds_checked
    def text(self, units: str = "metric") -> str:
        """Return the table as text, in ``"metric"`` or ``"us"`` units."""
        shown = units_of(units)
        columns = self._columns(shown)
        cells_of = self._cells_in(shown)
        table = [columns, *([words for words, _ in cells_of(row).values()] for row in self.rows)]
        widths = [max(len(line[k]) for line in table) for k in range(len(columns))]
        first = sum(name in _LEFT for name in columns)
        lines = []
        for number, line in enumerate(table):
            pairs = enumerate(zip(line, widths, strict=True))
            lines.append("  ".join(c.ljust(w) if k < first else c.rjust(w) for k, (c, w) in pairs).rstrip())
            why = why_words(self.rows[number - 1], shown) if number else ""
            lines += textwrap.wrap(why, 100, initial_indent="    ", subsequent_indent="    ")[:2]
        about = f"ranked by {self.rank}" + ("" if self.scale is None else f", wanted at {self.scale:g} of full size")
        about += f" ({_MEANS[self.rank]})"
        about += "" if self.finished else "; STOPPED before all blocks were done"
        about += f": {self.stopped}" if self.stopped else ""
        return "\n".join([about, "", *lines]) + "\n"

    def _columns(self, units: UnitSystem) -> list[str]:
        """Return the headings: the figure's only where there are several, prices only where some are known."""
        return list(self._cells_in(units)(None))

    def _cells_in(self, units: UnitSystem) -> "Callable[[Row | None], dict[str, tuple[str, Any]]]":
        several = len({row.figure for row in self.rows}) > 1
        priced = any(row.price is not None for row in self.rows)
        return partial(_cells, units=units, several=several, priced=priced)

    @kinds_checked
    def save(self, path: str | Path, *, units: str = "metric") -> Path:
        """Write ``.csv`` (safe in a spreadsheet), ``.json``, or ``.html`` (one file, sorts by a click on a heading;
        in ``units``; the others hold SI values).

        A table that was stopped is written beside it, to ``….partial.csv``, and says so inside. Returns what was
        written. A file that is no earlier table of ours is left alone: that raises `BadValueError`.
        """
        file = Path(path) if self.finished else partial_path(Path(path))
        stopped = "" if self.finished else csv_stopped()
        bodies = {
            ".csv": lambda: csv_heading() + "".join(csv_line(row) for row in self.rows) + stopped,
            ".json": lambda: as_json(_finite(self._record())),
            ".html": lambda: _page(self, units_of(units)),
        }
        write_as(file, "a yard", bodies)
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
        try:
            pandas = importlib.import_module("pandas")
        except ImportError as error:
            raise MissingExtraError("a DataFrame needs pandas: pip install pandas") from error
        return pandas.DataFrame([row.record() for row in self.rows])


def _cells(row: Row | None, *, units: UnitSystem, several: bool, priced: bool) -> dict[str, tuple[str, Any]]:
    """Return every column's words and the value it is sorted by; the headings alone where there is no row."""
    us = units is US
    weight, tall, per = ("lb", "", "cu ft") if us else ("kg", " mm", "m³")
    names = ["block", *(["figure"] if several else []), "size", "stone", "verdict", f"tall{tall}", "scale", "bound"]
    names += [f"cover{tall}", f"reserve{tall}", f"weighs {weight}", f"out {weight}", "waste"]
    names += ["price", f"per {per} of stone", f"per {per} of figure"] if priced else []
    if row is None:
        return dict.fromkeys(names, ("", None))

    def length(value: float | None) -> tuple[str, Any]:
        return ("" if value is None else units.length(value).removesuffix(" mm")), value

    def mass(value: float | None) -> tuple[str, Any]:
        return ("" if value is None else units.mass(value).removesuffix(" kg").removesuffix(" lb")), value

    def money(value: float | None, volume: float = 1.0) -> tuple[str, Any]:
        return ("" if value is None else f"{value * volume:,.0f}"), value

    block, cubic = row.block, 0.3048**3 if us else 1.0
    stone = "" if block.stone is None else name_words(block.stone.name)
    bed = "" if block.bed is None else f", bed {block.bed}"
    down = "" if row.stands_on in (None, "bottom") else f", on its {row.stands_on}"
    size = units.sizes(block.size_mm, Rounding.NEAREST).removesuffix(" mm")
    cells: list[tuple[str, Any]] = [(name_words(block.name), name_words(block.name))]
    cells += [(name_words(row.figure), name_words(row.figure))] if several else []
    cells += [(size, block.volume_m3), (stone + bed, stone), (row.verdict + down, row.verdict), length(row.tall_mm)]
    cells += [
        (f"{rounded_down(row.scale, 4):.4f}", row.scale),
        (f"{rounded_up(row.scale_bound, 4):.4f}", row.scale_bound),
    ]
    cells += [length(row.cover_mm), length(row.reserve_mm), mass(row.block_kg), mass(row.removed_kg)]
    cells.append(("" if row.waste_share is None else f"{row.waste_share:.0%}", row.waste_share))
    if priced:
        cells += [money(row.price), money(row.stone_price_per_m3, cubic), money(row.price_per_m3, cubic)]
    return dict(zip(names, cells, strict=True))


_STYLE = """
:root{color-scheme:light dark;--ink:#111;--paper:#fff;--line:#888}
@media (prefers-color-scheme:dark){:root{--ink:#eee;--paper:#16191c;--line:#888}}
body{font:15px/1.4 system-ui,sans-serif;margin:1.2rem;color:var(--ink);background:var(--paper)}
table{border-collapse:collapse}
th,td{padding:.3rem .6rem;border-bottom:1px solid var(--line);text-align:right;vertical-align:top}
th:nth-child(-n+4),td:nth-child(-n+4){text-align:left}
th button{font:inherit;font-weight:600;border:0;background:none;color:inherit;cursor:pointer;min-height:2.2rem}
tr.no{opacity:.75}.why{display:block;font-size:.88em;text-align:left}
@media (max-width:700px){thead{position:absolute;left:-9999px}
tr{display:block;border:1px solid var(--line);margin:.6rem 0;padding:.4rem}
td{display:flex;justify-content:space-between;gap:1rem;border:0;text-align:right}td::before{content:attr(data-name);font-weight:600}}
@media print{:root{--ink:#000;--paper:#fff}tr{break-inside:avoid}}
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


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_finite(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _page(table: Comparison, units: UnitSystem) -> str:
    """Return the self-contained page."""
    cells_of = table._cells_in(units)
    head = "".join(
        f'<th scope="col"><button type="button">{html.escape(name)}</button></th>' for name in table._columns(units)
    )
    lines = []
    for row in table.rows:
        why = why_words(row, units)
        said = f'<span class="why">{html.escape(why)}</span>' if why else ""
        cells = "".join(
            f'<td data-name="{html.escape(name)}" data-value="{html.escape("" if value is None else str(value))}">'
            f"<span>{html.escape(words)}{said if name == 'verdict' else ''}</span></td>"
            for name, (words, value) in cells_of(row).items()
        )
        lines.append(f'<tr class="{"" if row.verdict == "FITS" else "no"}">{cells}</tr>')
    wanted = "" if table.scale is None else f", wanted at {table.scale:g} of full size"
    stopped = "" if table.finished else "<p><strong>Stopped before all blocks were done.</strong></p>"
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="generator" content="blockfit"><meta name="viewport" content="width=device-width,initial-scale=1">'
        f'<link rel="icon" href="data:,"><title>Yard</title><style>{_STYLE}</style></head><body>'
        f"<h1>Blocks ranked by {html.escape(table.rank)}</h1>"
        f"<p>{len(table.rows)} rows{wanted}: {_MEANS[table.rank]}. Scales are the largest found and the bound that "
        "none exceeds (proved); weights at typical density. Click a heading to sort.</p>"
        f"{stopped}<table><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table>"
        f"<script>{_SCRIPT}</script></body></html>\n"
    )

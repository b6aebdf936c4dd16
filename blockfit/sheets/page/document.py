"""The survey as one page that opens offline: a figure to turn, the measured drawing, every table, the cautions.

Everything from the user is escaped. The page holds all it needs and asks the network for nothing."""

import base64
import html
import importlib.util
import json
from typing import Any

from blockfit.errors import MissingExtraError
from blockfit.geometry.arrays import Array
from blockfit.search.result import Fit
from blockfit.sheets.page.scene import plotly_script, scene_json
from blockfit.sheets.pictures.drawings import measured_drawing, picture_bytes
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.undercut import Undercuts
from blockfit.waste.standing.weight import Weights

__all__ = ["page_can_be_made", "page_of"]

_STYLE = """
:root{color-scheme:light}
body{font:16px/1.5 system-ui,sans-serif;margin:0 auto;max-width:72rem;padding:1rem;color:#111;background:#fff}
h1{font-size:1.6rem}h2{font-size:1.15rem;border-bottom:1px solid #999;margin-top:2rem}
.wide{overflow-x:auto}table{border-collapse:collapse;font-size:.92rem}
th,td{padding:.25rem .6rem;border-bottom:1px solid #ccc;text-align:right}
th:first-child,td:first-child{text-align:left}pre{white-space:pre-wrap;font:13px/1.45 ui-monospace,monospace}
#view{width:100%;height:min(65vh,32rem);border:1px solid #999}
fieldset{border:1px solid #999;display:flex;flex-wrap:wrap;gap:.3rem 1rem}
label{display:inline-flex;gap:.4rem;align-items:center;min-height:2.2rem}input[type=range]{width:min(22rem,60vw)}
img{max-width:100%;height:auto}.caution{border-left:4px solid #b00;padding:.2rem .8rem;background:#fff4f2}
@media print{#three{display:none}h2{break-after:avoid}table,img{break-inside:avoid}}
"""
_SCRIPT = """
const scene=JSON.parse(document.getElementById('scene').textContent);
const stages=JSON.parse(document.getElementById('stages').textContent);
const view=document.getElementById('view'),said=document.getElementById('stage-words');
const slider=document.getElementById('stage');
const shown={block:true,figure:true,offcuts:true,undercuts:false,points:true};
function visible(trace){
 const stage=+slider.value;
 if(!shown[trace.meta])return false;
 if(trace.meta==='offcuts')return stages[stage].offcuts_gone<+trace.name.split(' ')[1];
 return true}
function show(){
 Plotly.restyle(view,{visible:scene.data.map(visible)});
 const s=stages[+slider.value];
 const kg=s.left_kg===null?'':', '+Math.ceil(s.left_kg).toLocaleString('en')+' kg';
 said.textContent=s.name+': '+s.left_m3.toFixed(4)+' m\\u00b3 left'+kg;
 said.dataset.leftM3=s.left_m3;slider.setAttribute('aria-valuetext',said.textContent)}
Plotly.newPlot(view,scene.data.map(t=>({...t,visible:shown[t.meta]})),scene.layout,{displayModeBar:false,responsive:true,plotGlPixelRatio:1}).then(()=>{show();document.body.dataset.ready='yes'});
document.querySelectorAll('#three input[type=checkbox]').forEach(box=>
 box.addEventListener('change',()=>{shown[box.value]=box.checked;show()}));
slider.addEventListener('input',show);
"""


def page_can_be_made() -> None:
    """Raise `MissingExtraError`, before an hour's work, where what the page needs is not installed."""
    missing = [name for name in ("matplotlib", "plotly") if importlib.util.find_spec(name) is None]
    if missing:
        raise MissingExtraError(f"the page needs {' and '.join(missing)}: pip install 'blockfit[page]'")


def page_of(
    title: str, text: str, record: dict[str, Any], fit: Fit, plan: OffcutPlan | None, cut: Undercuts | None,
    weight: Weights | None, cautions: list[str], points: Array | None = None,
) -> str:  # fmt: skip
    """Return the page."""
    drawing = ""
    view = "<p>There is no placement to draw.</p>"
    scripts = ""
    if fit.placement is not None and len(fit.figure.faces):
        picture = picture_bytes(measured_drawing(fit, undercut=cut, offcuts=plan))
        data = base64.b64encode(picture).decode("ascii")
        drawing = (
            '<h2>Measured drawing</h2><div class="wide"><img alt="Five views of the figure in the block, with ticks '
            f'every 100 mm" src="data:image/png;base64,{data}"></div>'
        )
        view = _controls(_stages(record, weight))
        scripts = (
            f'<script type="application/json" id="scene">{scene_json(fit, plan, cut, points)}</script>'
            f'<script type="application/json" id="stages">{_safe(_stages(record, weight))}</script>'
            f"<script>{plotly_script()}</script><script>{_SCRIPT}</script>"
        )
    tables = "".join(_tables(record))
    warned = "".join(f'<p class="caution">{html.escape(caution)}</p>' for caution in cautions)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><meta name="generator" content="blockfit">'
        '<meta name="viewport" content="width=device-width,initial-scale=1"><link rel="icon" href="data:,">'
        f"<title>{html.escape(title)}</title><style>{_STYLE}</style></head><body><h1>{html.escape(title)}</h1>"
        f'<section id="three"><h2>In the block</h2>{view}</section>{drawing}{tables}'
        f"<h2>Cautions</h2>{warned}<h2>How sure the numbers are</h2><ul>"
        "<li>Proved: the bound on the scale or cover, and that a figure cannot fit.</li>"
        "<li>Exact: the placement, cover, setback, and the solids of block, figure and offcuts.</li>"
        "<li>Resolved to a stated pitch: the stone before, beside, between and behind the figure, reach, regions.</li>"
        "<li>Estimates: weights (typical density, with its range), strength, handling. Plan with them; permit nothing "
        "by them.</li></ul>"
        f"<h2>The survey as printed</h2><pre>{html.escape(text)}</pre>{scripts}</body></html>\n"
    )


def _stages(record: dict[str, Any], weight: Weights | None) -> list[dict[str, Any]]:
    """Return the stages of the slider: the block, each offcut gone, then the stages of carving."""
    block = record["fit"]["block"]["volume_m3"]
    whole = None if weight is None else weight.block_kg
    told = [{"name": "the block", "left_m3": block, "left_kg": whole, "offcuts_gone": 0}]
    pieces = (record.get("offcuts") or {}).get("pieces", [])
    for number, piece in enumerate(pieces, 1):
        told.append({"name": f"after offcut {number}", "left_m3": piece["left_m3"], "left_kg": piece["left_kg"],
                     "offcuts_gone": number})  # fmt: skip
    for stage in (record.get("weights") or {}).get("stages", []):
        if stage["name"] != "offcuts taken off whole":
            told.append({"name": f"once the stone {stage['name']} is gone", "left_m3": stage["left_m3"],
                         "left_kg": stage["left_kg"], "offcuts_gone": len(pieces)})  # fmt: skip
    return told


def _controls(stages: list[dict[str, Any]]) -> str:
    boxes = "".join(
        f'<label><input type="checkbox" value="{name}"{" checked" if name != "undercuts" else ""}>{label}</label>'
        for name, label in (
            ("block", "Block"), ("figure", "Figure"), ("offcuts", "Offcuts"), ("undercuts", "Undercut regions"),
            ("points", "Points"),
        )
    )  # fmt: skip
    return (
        '<div id="view" role="img" aria-label="The figure in the block, in three dimensions; drag to turn, scroll to '
        f'zoom"></div><fieldset><legend>Show</legend>{boxes}</fieldset>'
        '<p><label for="stage">Take the stone off</label> <input id="stage" type="range" min="0" '
        f'max="{len(stages) - 1}" value="0" step="1"> '
        '<output id="stage-words" for="stage" aria-live="polite"></output></p>'
    )


def _tables(record: dict[str, Any]) -> list[str]:
    """Return the record's lists as tables, and its single values as two columns."""
    titles = {
        "figure": "The figure as read", "fit": "The fit", "cover": "Stone over the figure", "setback": "Reserve",
        "undercuts": "Undercuts", "offcuts": "Pieces to save", "weights": "Weight", "handling": "Standing and moving",
        "thin_stone": "Thin stone", "other_stances": "Other stances",
    }  # fmt: skip
    told = []
    for key, title in titles.items():
        value = record.get(key)
        if not value:
            continue
        body = _table(value, key) if isinstance(value, list) else _pairs(value, key)
        told.append(f'<h2>{html.escape(title)}</h2><div class="wide">{body}</div>')
    return told


def _pairs(values: dict[str, Any], path: str) -> str:
    rows, after = [], []
    for name, value in values.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            after.append(f"<h3>{html.escape(_plain(name))}</h3>{_table(value, f'{path}.{name}')}")
        elif isinstance(value, dict):
            after.append(f"<h3>{html.escape(_plain(name))}</h3>{_pairs(value, f'{path}.{name}')}")
        else:
            cell = f'<td data-path="{html.escape(f"{path}.{name}")}" data-value="{_raw(value)}">{_shown(value)}</td>'
            rows.append(f'<tr><th scope="row">{html.escape(_plain(name))}</th>{cell}</tr>')
    return f"<table>{''.join(rows)}</table>{''.join(after)}"


def _table(rows: list[dict[str, Any]], path: str) -> str:
    names = [n for n in rows[0] if not _is_bulky(rows, n)]
    head = "".join(f'<th scope="col">{html.escape(_plain(name))}</th>' for name in names)
    lines = []
    for number, row in enumerate(rows):
        cells = "".join(
            f'<td data-path="{html.escape(f"{path}.{number}.{name}")}" data-value="{_raw(row.get(name))}">'
            f"{_shown(row.get(name))}</td>"
            for name in names
        )
        lines.append(f"<tr>{cells}</tr>")
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table>"


def _is_bulky(rows: list[dict[str, Any]], name: str) -> bool:
    return any(len(json.dumps(row.get(name))) > 160 for row in rows)


def _plain(name: str) -> str:
    """Return a key as words: its unit last."""
    words = name.replace("_", " ")
    for unit, shown in _UNITS.items():
        if words.endswith(unit):
            return words[: -len(unit)] + shown
    return words


_UNITS = {
    " mm2": ", mm²", " m2": ", m²", " m3": ", m³", " mm": ", mm", " kg": ", kg", " deg": ", °", " mpa": ", MPa",
}  # fmt: skip


def _raw(value: Any) -> str:
    return html.escape(json.dumps(value))


def _shown(value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"
    if isinstance(value, list):
        return ", ".join(_shown(item) for item in value) if len(value) <= 8 else f"{len(value)} values"
    return html.escape(str(value))


def _safe(value: Any) -> str:
    return json.dumps(value).replace("</", "<\\/")

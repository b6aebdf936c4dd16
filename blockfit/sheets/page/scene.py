"""The page's view in three dimensions, as plotly draws it; plotly's one home.

Surfaces are simplified for display only; every number on the page comes from the full ones."""

import importlib
import json
from typing import Any

import numpy as np

from blockfit.errors import MissingExtraError, OpenSurfaceError
from blockfit.geometry.arrays import Array, Ints
from blockfit.measure.booleans import arrays_of, solid_from
from blockfit.search.result import Fit
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.undercut import Undercuts

__all__ = ["plotly_script", "scene_json"]

_MOST_FACES = 6000


def scene_json(fit: Fit, plan: OffcutPlan | None, cut: Undercuts | None, points: Array | None = None) -> str:
    """Return the scene's traces and layout as JSON: block, figure, offcuts, undercut regions, points, in that order."""
    _plotly()
    figure = fit.solid()
    traces: list[dict[str, Any]] = [_block(fit)]
    traces.append(_mesh(*_lighter(figure.vertices, figure.faces), "figure", "#c8c2b4", 1.0, "figure"))
    for number, piece in enumerate(plan.pieces if plan is not None else (), 1):
        name = f"offcut {number}"
        traces.append(_mesh(piece.solid.vertices, piece.solid.faces, name, "#7a8fa6", 0.45, "offcuts"))
    if cut is not None and (cut.region_of > 0).any():
        chosen = np.flatnonzero(cut.region_of > 0)
        chosen = chosen[:: max(1, len(chosen) // 6000)]
        traces.append(_dots(cut.elements.points[chosen], "undercut regions", "#b0413e", 2, "undercuts"))
    marks = [np.array(list(figure.landmarks.values())).reshape(-1, 3)]
    marks += [points] if points is not None else []
    placed = np.concatenate(marks)
    if len(placed):
        traces.append(_dots(placed, "points", "#111111", 4, "points"))
    axis = {"showbackground": False, "zeroline": False, "showspikes": False}
    layout = {
        "margin": {"l": 0, "r": 0, "t": 0, "b": 0},
        "showlegend": False,
        "scene": {
            "aspectmode": "data",
            "hovermode": False,  # or every movement draws the scene once more, to see what is under the pointer
            "xaxis": {"title": {"text": "right, mm"}, **axis},
            "yaxis": {"title": {"text": "in, mm"}, **axis},
            "zaxis": {"title": {"text": "up, mm"}, **axis},
            "camera": {"eye": {"x": 0.9, "y": -1.9, "z": 0.7}},
        },
    }
    return json.dumps({"data": traces, "layout": layout}).replace("</", "<\\/")


def plotly_script() -> str:
    """Return plotly's own script, for a page that needs no network."""
    _plotly()
    return str(importlib.import_module("plotly.offline").get_plotlyjs())


def _plotly() -> Any:
    try:
        return importlib.import_module("plotly")
    except ImportError as error:
        raise MissingExtraError("the page needs plotly: pip install 'blockfit[page]'") from error


def _lighter(vertices: Array, faces: Ints) -> tuple[Array, Ints]:
    """Return the surface with few enough faces to turn smoothly, by manifold3d's own simplification."""
    if len(faces) <= _MOST_FACES:
        return vertices, faces
    try:
        solid = solid_from(vertices, faces)
    except OpenSurfaceError:
        return vertices, faces
    tolerance = 2e-4 * float(np.ptp(vertices, axis=0).max())
    for _ in range(12):
        light = arrays_of(solid.simplify(tolerance))
        if len(light[1]) <= _MOST_FACES:
            return light
        tolerance *= 1.6
    return light


def _mesh(vertices: Array, faces: Ints, name: str, colour: str, opacity: float, group: str) -> dict[str, Any]:
    x, y, z = (np.round(vertices[:, k], 1).tolist() for k in range(3))
    i, j, k = (faces[:, c].tolist() for c in range(3))
    light = {"ambient": 0.45, "diffuse": 0.7, "specular": 0.1, "roughness": 0.8}
    return {
        "type": "mesh3d", "x": x, "y": y, "z": z, "i": i, "j": j, "k": k, "name": name, "color": colour,
        "opacity": opacity, "flatshading": len(faces) < 200, "lighting": light,
        "lightposition": {"x": -2000, "y": -5000, "z": 5000}, "meta": group, "hoverinfo": "skip",
    }  # fmt: skip


def _block(fit: Fit) -> dict[str, Any]:
    """Return the block's edges as one broken line."""
    block = fit.block
    corners = block.corners_mm
    on = np.abs(corners @ block.normals.T - block.offsets_mm) < 1e-6 * max(block.size_mm)
    lines: list[list[float | None]] = []
    for a in range(len(corners)):
        for b in range(a):
            if int((on[a] & on[b]).sum()) >= 2:
                lines += [corners[a].tolist(), corners[b].tolist(), [None] * 3]
    x, y, z = zip(*lines, strict=True) if lines else ((), (), ())
    line = {"color": "#333333", "width": 4}
    told: dict[str, Any] = {"type": "scatter3d", "mode": "lines", "x": x, "y": y, "z": z, "line": line}
    return {**told, "name": "block", "meta": "block"}


def _dots(points: Array, name: str, colour: str, size: float, group: str) -> dict[str, Any]:
    x, y, z = (np.round(points[:, k], 1).tolist() for k in range(3))
    marker = {"size": size, "color": colour}
    told: dict[str, Any] = {"type": "scatter3d", "mode": "markers", "x": x, "y": y, "z": z, "marker": marker}
    return {**told, "name": name, "meta": group}

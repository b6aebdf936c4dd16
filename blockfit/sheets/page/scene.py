"""What the page's view in three dimensions draws: surfaces simplified for display, as bytes in text. mm.

Every number on the page comes from the full surfaces."""

import base64
import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from blockfit.errors import OpenSurfaceError
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.tolerances import NOT_ZERO, NOTHING_MM
from blockfit.measure.booleans import arrays_of, solid_from
from blockfit.search.result import Fit
from blockfit.sheets.page.stages import StoneStage
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.undercut import Undercuts

__all__ = ["feature_edges", "lighter_surface", "scene_json"]

_MOST_FACES = 16_000
_DOTS = 4000
_SHARP = 0.985  # cosine between two faces below which their common side is drawn
_SAME_SPOT = 1e-4  # of the size: on a screen nobody sees a smaller change


def scene_json(fit: Fit, stages: Sequence[StoneStage], plan: OffcutPlan | None, cut: Undercuts | None) -> str:
    """Return the scene: the figure, the stone at each stage with its edges, the piece that leaves next, undercuts."""
    figure = fit.solid()
    corners = np.concatenate([fit.block.corners_mm, figure.vertices])
    low, size = corners.min(axis=0), np.maximum(np.ptp(corners, axis=0), NOTHING_MM)
    last = len(stages) - 1

    def part(group: str, kind: str, vertices: Array, indices: Ints, first: int, to: int) -> dict[str, Any]:
        places = np.rint(np.clip((vertices - low) / size, 0, 1) * 65535).astype("<u2")
        return {
            "group": group,
            "kind": kind,
            "points": _text(np.ascontiguousarray(places)),
            "indices": _text(np.ascontiguousarray(indices.astype("<u4").ravel())),
            "from": first,
            "to": to,
        }

    parts = [part("figure", "faces", *lighter_surface(figure.vertices, figure.faces), 0, last)]
    for k, stage in enumerate(stages[:-1]):
        vertices, faces = lighter_surface(stage.vertices, stage.faces, _MOST_FACES // 4)
        parts.append(part("stone", "faces", vertices, faces, k, k))
        parts.append(part("stone", "edges", vertices, feature_edges(vertices, faces), k, k))
    for k, piece in enumerate(plan.pieces if plan is not None else ()):
        parts.append(part("pieces", "faces", piece.solid.vertices, piece.solid.faces, k, k))
    if cut is not None and (cut.region_of > 0).any():
        chosen = np.flatnonzero(cut.region_of > 0)
        dots = cut.elements.points[chosen[:: max(1, len(chosen) // _DOTS)]]
        parts.append(part("undercuts", "dots", dots, np.arange(len(dots)), 0, last))
    told = [stage.record(fit.block.stone) for stage in stages]
    return json.dumps({"low": low.tolist(), "size": size.tolist(), "parts": parts, "stages": told}).replace(
        "<", "\\u003c"
    )


def lighter_surface(vertices: Array, faces: Ints, most: int = _MOST_FACES) -> tuple[Array, Ints]:
    """Return the surface with few enough faces to turn smoothly, by manifold3d's own simplification."""
    if len(faces) <= most:
        return vertices, faces
    try:
        solid = solid_from(vertices, faces)
    except OpenSurfaceError:
        return vertices, faces
    light = vertices, faces
    tolerance = _SAME_SPOT * float(np.ptp(vertices, axis=0).max())
    for _ in range(12):
        light = arrays_of(solid.simplify(tolerance))
        if len(light[1]) <= most:
            break
        tolerance *= 1.6
    return light


def feature_edges(vertices: Array, faces: Ints) -> Ints:
    """Return (k, 2) the sides at which a closed surface turns, or ends."""
    corners = vertices[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), NOT_ZERO)
    sides = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.lexsort((sides[:, 1], sides[:, 0]))
    sides, owner = sides[order], owner[order]
    pairs = np.flatnonzero((sides[1:] == sides[:-1]).all(axis=1))
    turns = (normals[owner[pairs]] * normals[owner[pairs + 1]]).sum(axis=1) < _SHARP
    return np.asarray(sides[pairs[turns]])


def _text(values: Array) -> str:
    return base64.b64encode(values.tobytes()).decode("ascii")

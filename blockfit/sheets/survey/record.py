"""A figure and its fit as plain data for JSON; every other result states its own facts. Keys say their units."""

from typing import Any

import numpy as np

from blockfit.search.result import Fit

__all__ = ["figure_record", "fit_record"]


def figure_record(fit: Fit) -> dict[str, Any]:
    """Return what was read and what was repaired."""
    figure = fit.figure
    return {
        "name": figure.name,
        "faces": len(figure.faces),
        "size_mm": figure.size_mm,
        "area_m2": figure.area_m2,
        "volume_m3": figure.volume_m3,
        "ratio": figure.ratio,
        "is_solid": figure.is_solid,
        "is_envelope": figure.is_envelope,
        "margin_mm": figure.margin_mm,
        "repairs": [{"step": r.step, "text": r.text, "measures": dict(r.measures)} for r in figure.repairs],
    }


def fit_record(fit: Fit) -> dict[str, Any]:
    """Return the question, the answer and how sure it is."""
    block, placement = fit.block, fit.placement
    return {
        "question": fit.ask.seek.value,
        "verdict": fit.verdict.name,
        "block": {
            "name": block.name,
            "size_mm": block.size_mm,
            "volume_m3": block.volume_m3,
            "stone": None if block.stone is None else block.stone.name,
            "density_kg_m3": None if block.stone is None else block.stone.density_kg_m3,
            "density_source": None if block.stone is None else block.stone.source,
            "skin_mm": dict(zip(block.names, block.skin_mm.tolist(), strict=True)),
            "price": block.price,
            "bed": block.bed,
        },
        "stance": {"tilt_deg": fit.stance.tilt, "turn_deg": fit.stance.turn},
        "cover_asked_mm": dict(zip(block.names, fit.asked_cover_mm.tolist(), strict=True)),
        "scale": fit.scale,
        "scale_bound": fit.scale_bound,
        "gap": fit.gap,
        "cover_mm": fit.cover_mm,
        "cover_bound_mm": fit.cover_bound_mm,
        "gap_mm": fit.gap_mm,
        "short_mm": fit.short_mm,
        "proof": fit.proof,
        "kept_mm": dict(fit.kept_mm),
        "short_faces": fit.short_faces,
        "cells": fit.cells,
        "stands_on": fit.stands_on,
        "placement": None
        if placement is None
        else {
            "scale": placement.scale,
            "rotation": placement.rotation,
            "shift_mm": placement.shift_mm,
            "turn_deg": placement.turn_deg,
            "tilt_deg": placement.tilt_deg,
            "height_mm": float(np.ptp(fit.solid().vertices[:, 2])),
        },
    }

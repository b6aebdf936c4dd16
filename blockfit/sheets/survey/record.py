"""Results as plain data for JSON: every key says its unit."""

import math
from typing import Any

import numpy as np

from blockfit.search.result import Fit
from blockfit.sheets.setting_out import marks_record
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.undercut import Undercuts
from blockfit.waste.reserve.cover import Cover
from blockfit.waste.reserve.setback import Setback
from blockfit.waste.standing.handling import Handling
from blockfit.waste.standing.weight import Weights
from blockfit.waste.strength.thin import ThinStone

__all__ = [
    "cover_record",
    "figure_record",
    "fit_record",
    "handling_record",
    "offcuts_record",
    "plain",
    "setback_record",
    "thin_record",
    "undercuts_record",
    "weights_record",
]


def plain(value: Any) -> Any:
    """Return a value as JSON can hold it: arrays as lists, and no infinity or not-a-number."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, np.bool_ | np.integer):
        return value.item()
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return value


def figure_record(fit: Fit) -> dict[str, Any]:
    """Return what was read and what was mended."""
    figure = fit.figure
    return {
        "name": figure.name,
        "faces": len(figure.faces),
        "size_mm": figure.size_mm,
        "area_m2": figure.area_m2,
        "volume_m3": figure.volume_m3,
        "ratio": figure.ratio,
        "is_solid": figure.is_solid,
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


def cover_record(cover: Cover) -> dict[str, Any]:
    """Return the cover; exact."""
    return {
        "least_mm": cover.least_mm,
        "least_face": cover.least_face,
        "at_mm": cover.at,
        "by_face_mm": cover.by_face,
        "tolerance_mm": cover.tolerance_mm,
    }


def setback_record(reserve: Setback) -> dict[str, Any]:
    """Return the reserve; exact."""
    return {
        "back_mm": reserve.back_mm,
        "limit_face": reserve.limit_face,
        "at_mm": reserve.at,
        "left_mm": reserve.left_mm,
        "right_mm": reserve.right_mm,
        "up_mm": reserve.up_mm,
        "front_mm": reserve.front_mm,
        "down_mm": reserve.down_mm,
    }


def undercuts_record(cut: Undercuts) -> dict[str, Any]:
    """Return volumes and regions; resolved to the pitch."""
    names = (
        "front_m3",
        "beside_m3",
        "trapped_m3",
        "rear_m3",
        "residual_m3",
        "pitch_mm",
        "scattered_mm2",
        "skims_mm2",
        "later_mm2",
        "least_angle_deg",
    )
    regions = [
        {
            "number": r.number,
            "place": r.place,
            "reach": r.reach,
            "approach": r.approach,
            "into": r.into,
            "area_mm2": r.area_mm2,
            "stone_m3": r.stone_m3,
            "stone_kg": r.stone_kg,
            "meets_deg": r.meets_deg,
            "opening_mm": r.opening_mm,
            "slender_mm2": r.slender_mm2,
            "outline_mm": [[ring.round(1) for ring in part] for part in r.outline],
            "centre_mm": r.centre_mm,
            "depth_mm": r.depth_mm,
            "after": r.after,
        }
        for r in cut.regions
    ]
    return {
        "front": cut.front,
        **{name: getattr(cut, name) for name in names},
        "reach_by_face": cut.reach_by_face,
        "regions": regions,
    }


def offcuts_record(plan: OffcutPlan) -> dict[str, Any]:
    """Return the pieces in order; exact solids."""
    pieces = [
        {
            "kind": p.kind,
            "stage": p.stage,
            "volume_m3": p.volume_m3,
            "weight_kg": p.weight_kg,
            "weight_range_kg": p.weight_range_kg,
            "size_mm": p.size_mm,
            "box_mm": p.box_mm,
            "least_thickness_mm": p.least_thickness_mm,
            "centre_mm": p.centre_mm,
            "draw_out": p.draw_out,
            "setback_mm": p.setback_mm,
            "left_m3": p.left_m3,
            "left_kg": p.left_kg,
            "left_stands": p.left_stands.stands,
            "left_margin_mm": p.left_stands.margin_mm,
            "web": None if p.web is None else {"area_m2": p.web.area_m2, "outline_mm": p.web.outline},
            "cuts": [
                {
                    "normal": c.normal,
                    "offset_mm": c.offset_mm,
                    "area_m2": c.area_m2,
                    "method": c.method,
                    "kerf_mm": c.kerf_mm,
                    "depth_mm": c.depth_mm,
                    "outline_mm": c.outline,
                    "marks": marks_record(c),
                }
                for c in p.cuts
            ],
        }
        for p in plan.pieces
    ]
    return {
        "recovered": plan.recovered,
        "volume_m3": plan.volume_m3,
        "too_light_m3": plan.too_light_m3,
        "sawn_m2": plan.sawn_m2,
        "clearance_mm": plan.clearance_mm,
        "kerf_mm": plan.kerf_mm,
        "reserve_mm": plan.reserve_mm,
        "later_m3": plan.later_m3,
        "lift_limit_kg": plan.lift_limit_kg,
        "trade_off": [{"pieces": t.pieces, "recovered": t.recovered, "sawn_m2": t.sawn_m2} for t in plan.trade_off],
        "wishes": [{"about": w.about, "kept": w.kept, "text": w.text} for w in plan.wishes],
        "by_cuts": [
            {"cuts": k.cuts, "pieces": k.pieces, "recovered": k.recovered, "sawn_m2": k.sawn_m2} for k in plan.by_cuts
        ],
        "pieces": pieces,
    }


def weights_record(weight: Weights) -> dict[str, Any]:
    """Return weights and stages."""
    names = ("block", "figure", "removed", "offcuts", "chips", "skin")
    return {
        **{f"{name}_kg": getattr(weight, f"{name}_kg") for name in names},
        **{f"{name}_m3": getattr(weight, f"{name}_m3") for name in names},
        "range_low_factor": weight.low,
        "range_high_factor": weight.high,
        "wet_factor": weight.wet,
        "parts_m3": dict(weight.parts_m3),
        "allowances": [
            {"tool": a.tool, "thickness_mm": a.thickness_mm, "over_m3": a.over_m3, "over_kg": a.over_kg}
            for a in weight.allowances
        ],
        "stages": [
            {
                "name": s.name,
                "removed_m3": s.removed_m3,
                "left_m3": s.left_m3,
                "removed_kg": s.removed_kg,
                "left_kg": s.left_kg,
            }
            for s in weight.stages
        ],
    }


def handling_record(told: Handling) -> dict[str, Any]:
    """Return loads, turns, lifts and limits; estimates."""
    return {
        "stone_named": told.stone_named,
        "flat_mm": told.flat_mm,
        "loads": [
            {
                "name": load.name,
                "volume_m3": load.volume_m3,
                "weight_kg": load.weight_kg,
                "weight_range_kg": load.weight_range_kg,
                "centre_mm": load.centre_mm,
                "stands": load.stands.stands,
                "margin_mm": load.stands.margin_mm,
                "tips_over": load.stands.weakest,
                "tips_at_deg": load.stands.weakest_deg,
                "centre_within_mm": load.stands.within_mm,
                "base_mm": load.stands.base,
                "size_mm": load.size_mm,
                "stands_on_supports": None if load.on_supports is None else load.on_supports.stands,
                "stands_cut_level_at_mm": None if load.level is None else load.level.height_mm,
            }
            for load in told.loads
        ],
        "turns": [
            {
                "edge": turn.edge,
                "pull_kg": [{"at_deg": angle, "pull_kg": pull} for angle, pull in turn.pull_kg],
                "balance_deg": turn.balance_deg,
                "diagonal_mm": turn.diagonal_mm,
                "goes_over_by_itself": turn.goes_by_itself,
                "next_side_at_deg": turn.rests_deg,
                "rests_there": turn.rests,
                "pull_at_mm": turn.pull_at_mm,
            }
            for turn in told.turns
        ],
        "lifts": [
            {
                "name": name,
                "load_kg": lift.load_kg,
                "legs": lift.legs,
                "counted_legs": lift.counted_legs,
                "angle_deg": lift.angle_deg,
                "tension_kg": lift.tension_kg,
                "warnings": lift.warnings,
            }
            for name, lift in told.lifts
        ],
        "rollers": {"break_out_kg": told.rollers.break_out_kg, "rolling_kg": told.rollers.rolling_kg},
        "limits": [
            {"about": check.about, "kept": check.kept, "text": check.text, "over": check.over} for check in told.checks
        ],
    }


def thin_record(thin: ThinStone) -> dict[str, Any]:
    """Return the least thickness, resolved to the samples, and the necks with their stress; estimates."""
    return {
        "least_mm": thin.least_mm,
        "at_mm": thin.at_mm,
        "spacing_mm": thin.spacing_mm,
        "rupture_range_mpa": thin.rupture_mpa,
        "rupture_source": thin.rupture_source,
        "jerk_factor": thin.jerk,
        "stands_on": [
            {
                "height_mm": b.height_mm,
                "area_mm2": b.area_mm2,
                "carried_shares": b.shares,
                "above_kg": b.above_m3 * thin.density_kg_m3,
                "lever_mm": b.lever_mm,
                "tension_mpa": b.tension_mpa,
                "compression_mpa": b.compression_mpa,
            }
            for b in thin.bearings
        ],
        "lying": [
            {"side": side, "height_mm": height, "tension_mpa": tension, "compression_mpa": pressed}
            for side, height, tension, pressed in thin.lying
        ],
        "necks": [
            {
                "carries_all_above": neck.stands,
                "centre_mm": neck.centre_mm,
                "normal": neck.normal,
                "area_mm2": neck.area_mm2,
                "part_m3": neck.part_m3,
                "part_kg": neck.part_m3 * thin.density_kg_m3,
                "lever_mm": neck.lever_mm,
                "towards": neck.towards,
                "stress_mpa": neck.stress_mpa,
                "prop_mm": neck.prop_mm,
                "prop_share": neck.prop_share,
                "early": neck.early,
            }
            for neck in thin.necks
        ],
    }

"""Every option of every public question, given what nobody means: it is refused in one line that names the option.

An option of a new kind needs no line here if its annotation leaves nothing odd; what is sensible of the odd values
(a cover of 0, a name of one letter) stands in `SENSIBLE`, by the option's name or by question and option."""

import inspect
from functools import cache
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

import numpy as np
import pytest
import shapely
from conftest import FIXED, KNEELING, assert_refused, cuboid

import blockfit as bf

VALUES = {
    "None": None, "True": True, "word": "x", "empty": "", "-1": -1, "0": 0, "nan": float("nan"), "inf": 1e400,
    "20.5": 20.5, "[]": [], "(1,)": (1,), "{}": {}, "object": object(), "bytes": b"1",
}  # fmt: skip
FREE_TEXT = "word empty"
LENGTH = "0 20.5"
# Where -1 and 0 are missing, the option must be above 0; `20.5` stands for numbers of any size.
SENSIBLE = {
    # text that may say anything
    "name": FREE_TEXT, "date": FREE_TEXT, "source": FREE_TEXT, "caution": FREE_TEXT, "rupture_source": FREE_TEXT,
    "source_sha256": FREE_TEXT, "words": FREE_TEXT, "what": FREE_TEXT,
    # lengths, weights and ratios
    "clearance": LENGTH, "kerf": LENGTH, "reserve": LENGTH, "web": LENGTH, "cover": f"{LENGTH} {{}}",
    "skin": f"{LENGTH} {{}}", "covers": LENGTH, "margin": LENGTH, "margin_mm": LENGTH, "aside": LENGTH,
    "allowance": LENGTH, "width": LENGTH, "error": LENGTH, "length_error": LENGTH, "tolerance": LENGTH,
    "flat": LENGTH, "hook_height": LENGTH, "hook_clearance": LENGTH, "floor_kg_m2": LENGTH, "table_kg": LENGTH,
    "hoist_kg": LENGTH, "gantry_kg": LENGTH, "slings_kg": LENGTH, "rigging_kg": LENGTH, "least_weight_kg": LENGTH,
    "lift_limit_kg": LENGTH, "max_hole": LENGTH, "until": LENGTH, "price": LENGTH, "price_m3": LENGTH,
    "sawing_m2": LENGTH, "rate_hour": LENGTH, "hours_piece": LENGTH, "hours_m2": LENGTH, "kerf_mm": LENGTH,
    "drift_mm": LENGTH, "overrun_mm": LENGTH, "diameter": LENGTH, "tip": LENGTH, "tip_length": LENGTH,
    "hand": LENGTH, "mm": LENGTH, "area_m2": LENGTH, "gap": LENGTH, "smallest_block.step": LENGTH, "radius": LENGTH,
    "pitch": "20.5", "spacing": "20.5", "step": "20.5", "height": "20.5", "pixel": "20.5", "distance": "20.5",
    "grain": "20.5", "mark_error": "20.5", "depth": "20.5", "length": "20.5", "least_thickness": "20.5",
    "scale": "20.5", "ratio": "20.5", "factor": "20.5", "block_mm": "20.5", "depth_mm": "20.5 inf", "jerk": "20.5",
    "offset": "-1 0 20.5", "centre": "-1 0 20.5", "base": "-1 0 20.5", "left": "-1 0 20.5", "bottom": "-1 0 20.5",
    "Datum.lines.front": "-1 0 20.5", "Datum.frame.front": "-1 0 20.5", "low_kg_m3": "20.5", "hours": "20.5",
    "finishing_m2_per_hour": "20.5", "price_per_m3": "20.5", "most_scale": "20.5", "effort": "20.5",
    "offcuts.effort": "", "best_first_cut.gap": "20.5", "largest_from_waste.gap": "20.5",
    # angles, counts and shares
    "turn": LENGTH, "lean": LENGTH, "tilt": LENGTH, "least_angle": LENGTH, "sling_angle": "20.5",
    "turns": "0", "high": "0", "most_pieces": "0", "most": "0", "slants": "0", "least_region": "0",
    "water_absorption": "0", "threshold": "0", "jobs": "-1", "pieces": "", "to": "", "smallest_block.most": "",
    # lists that may be empty
    "blocks": "[]", "planes": "[]", "gone": "[]", "lost": "[] {}", "openings": "[]", "repairs": "[]", "flaws": "[]",
    "landmarks": "{}", "lengths": "{}", "allowances": "{}", "limits": "{}", "sawing": "{}", "kg_per_hour": "{}",
    "figure_from_outlines.lines": "", "bed": "word", "Figure.faces": "[]", "plane_sheets.planes": "",
    # faces are looked for in the block asked about; a path is whatever file it names
    "stands_on": "word", "largest.stands_on": "", "safest.stands_on": "", "up": "word", "read_figure.front": "word",
    "resume": "word", "stream": "word", "picture": " ".join(VALUES),
}  # fmt: skip
SENSIBLE["fit"] = SENSIBLE["path"] = ""
NAMED_OTHERWISE = {"path", "resume", "stream", "certificate", "landmarks"}  # a file: its own name is said
LEFT_OUT = {("iter_blocks", "path")}  # read as it is used


@cache
def made() -> dict[str, Any]:
    """Small answers to ask further questions of."""
    points = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    figure = bf.Figure(points, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    block = bf.Block.box(600, 500, 700, stone="marble")
    fit = bf.safest(figure, block, cover=20, stance=FIXED)
    planes = bf.roughing(fit, step=20)
    stage = bf.stage_of(fit, planes=planes, to=1)
    rough = bf.Block.scanned(cuboid(600, 500, 700))
    return {
        "corners": points, "figure": figure, "block": block, "fit": fit, "planes": planes, "stage": stage,
        "plan": bf.offcuts(fit, most_pieces=1, compare=False), "table": bf.compare(figure, [block]),
        "points": bf.pointing(fit, count=3, high=1, faces=("front",)), "weights": bf.weights(fit),
        "left": bf.stone_left(fit, stage), "later": bf.stone_left(fit, bf.stage_of(fit, planes=planes, to=2)),
        "sheet": bf.face_sheet(fit, "front"), "rough": rough, "rough fit": bf.safest(figure, rough, stance=FIXED),
        "certificate": bf.largest(figure, block, stance=bf.Stance.upright(10), certificate=True).certificate,
        "survey": bf.Survey(fit),
    }  # fmt: skip


def asked(of: dict[str, Any]) -> dict[str, tuple[Any, dict[str, Any]]]:
    """Each public question with options that are answered."""
    fit, figure, block, plan = of["fit"], of["figure"], of["block"], of["plan"]
    of_fit = ("best_first_cut", "handling", "setback", "setting", "stage_of", "stone_cover", "weights")
    in_block = {"figure": figure, "block": block, "stance": FIXED}
    square = {"front": shapely.box(0, 0, 400, 600), "side": shapely.box(0, 0, 300, 600)}
    options: dict[str, dict[str, Any]] = {
        **{name: {"fit": fit} for name in of_fit},
        "pointing": {"fit": fit, "count": 6},
        "answer": {"figure": figure, "block": block, "ask": bf.Ask(stance=FIXED)},
        "before_the_back": {"fit": fit},
        "best_front": {"fit": fit, "fronts": ("front",), "pitch": 40},
        "check": {"fit": fit, "readings": [[100, 100, 100]]},
        "compare": {"figures": figure, "blocks": [block]},
        "concepts": {"table": of["table"]},
        "cut_sheets": {"plan": plan},
        "demo_blocks": {},
        "demo_figure": {"scan": False},
        "directions": {"fit": fit, "count": 20, "pitch": 40},
        "face_sheet": {"fit": fit, "face": "front"},
        "figure_from_measures": {"points": dict(zip("abcd", of["corners"], strict=True))},
        "figure_from_outlines": square,
        "hours": {"weight": of["weights"], "kg_per_hour": {"other": 10}},
        "iter_blocks": {"path": "nowhere.csv"},
        "largest": in_block,
        "largest_from_waste": {"fit": fit, "other": figure, "stance": FIXED, "max_cells": 50},
        "model_moved": {"before": of["corners"], "after": of["corners"]},
        "offcuts": {"fit": fit, "most_pieces": 1, "compare": False},
        "open_job": {"path": "nowhere.blockfit"},
        "pace": {"first": of["left"], "later": of["later"], "dates": ("2026-03-02", "2026-03-04")},
        "piece_sheets": {"plan": plan},
        "plane_sheets": {"fit": fit, "planes": of["planes"]},
        "read_blocks": {"path": "nowhere.csv"},
        "read_certificate": {"path": "nowhere.proof"},
        "read_figure": {"path": KNEELING, "unit": "mm"},
        "read_scan": {"path": KNEELING, "unit": "mm"},
        "recover": {"fit": fit, "turn": 0, "lean": 0, "effort": 0.1},
        "register": {"scan": of["stage"].stone, "fit": fit, "rough": np.eye(4), "stage": of["stage"]},
        "roughing": {"fit": fit, "step": 100},
        "ruler_sheet": {"block_mm": 500, "factor": 4},
        "safest": in_block,
        "save_left": {"left": of["left"], "path": "left.none"},
        "save_template": {"sheet": of["sheet"], "path": "sheet.none"},
        "share_block": {"figures": [figure, figure], "block": block, "stances": [FIXED, FIXED]},
        "smallest_block": {"figure": figure, "stance": FIXED},
        "squaring": {"fit": of["rough fit"]},
        "stone_left": {"fit": fit, "stage": of["stage"]},
        "survey": {"fit": fit, "alternatives": False, "plan": plan, "pitch": 40},
        "thin_stone": {"fit": fit, "spacing": 40},
        "undercuts": {"fit": fit, "pitch": 40, "slants": 0},
        "verify": {"certificate": of["certificate"], "figure": figure, "block": block},
        "what_next": {"fit": fit, "stage": of["stage"]},
        "worth": {"plan": plan, "price_m3": 100},
        "Ask": {},
        "Block.box": {"width": 600, "depth": 500, "height": 700},
        "Block.convex": {"points": of["corners"]},
        "Block.from_planes": {"normals": block.normals, "offsets": block.offsets_mm},
        "Block.scanned": {"source": of["rough"].surface},
        "Figure": {"vertices": of["corners"], "faces": figure.faces},
        "Figure.from_points": {"points": of["corners"]},
        "Flaw.ball": {"centre": (1, 2, 3), "radius": 5},
        "Flaw.box": {"low": (0, 0, 0), "high": (1, 2, 3)},
        "Flaw.solid": {"figure": figure},
        "Flaw.crack": {"outline": [[0, 0, 0], [1, 0, 0], [0, 1, 0]]},
        "Flaw.disc": {"centre": (1, 2, 3), "normal": (0, 0, 1), "radius": 5},
        "Flaw.beyond": {"normal": (0, 0, 1), "offset": 3},
        "Datum.edges": {"block": block},
        "Datum.lines": {"centre": 300},
        "Datum.frame": {"left": 3, "front": 3},
        "Method": {"name": "saw"},
        "Prices": {"price_m3": 400},
        "Photo": {"picture": np.ones((4, 4), bool), "distance": 100},
        "Placement": {"scale": 1, "rotation": np.eye(3), "shift_mm": (0, 0, 0)},
        "Stance.upright": {},
        "Stance.leaning": {"tilt": 10},
        "Stone": {"name": "m", "density_kg_m3": 2700, "low_kg_m3": 2600, "high_kg_m3": 2800},
        "Tool": {"diameter": 20},
    }
    found = {name: (_of_name(name), given) for name, given in options.items()}
    texts = {"table": ("text",), "points": ("text", "rows", "csv"), "planes": ("text", "rows"), "survey": ("text",)}
    for name, methods in {**texts, "left": ("share_within",), "plan": ("blocks",)}.items():
        found |= {f"{name}.{method}": (getattr(of[name], method), {}) for method in methods}
    found["left.share_within"] = (of["left"].share_within, {"mm": 3})
    return found


def _of_name(name: str) -> Any:
    found: Any = bf
    for part in name.split("."):
        found = getattr(found, part)
    return found


def sensible(question: str, option: str, hint: Any) -> set[str]:
    """The odd values that an option may take."""
    kinds = get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)
    allowed = set(SENSIBLE.get(f"{question}.{option}", SENSIBLE.get(option, "")).split())
    if NoneType in kinds or Any in kinds:
        allowed.add("None")
    return allowed | ({"True", "0"} if bool in kinds else set())


def tried(question: str):
    """Each option of a question with the odd values, and whether each may be taken."""
    function, given = asked(made())[question]
    hints = get_type_hints(function.__init__ if inspect.isclass(function) else function)
    for option in inspect.signature(function).parameters:
        if (question, option) in LEFT_OUT:
            continue
        allowed = sensible(question, option, hints[option])
        for label, value in VALUES.items():
            yield option, label, label in allowed, lambda o=option, v=value: function(**{**given, o: v})


def faults(sensible_ones: bool) -> list[str]:
    """What is taken that should not be, and what is refused in words of another kind.

    Of the sensible values, of which each takes a whole answer, the last is tried.
    """
    told = []
    for question in asked(made()):
        cases = [case for case in tried(question) if case[2] == sensible_ones]
        last = {option: label for option, label, *_ in cases}
        for option, label, allowed, ask in cases:
            if sensible_ones and label != last[option]:
                continue
            try:
                ask()
            except bf.BlockfitError as error:
                named = option in str(error) or option in NAMED_OTHERWISE or allowed
                if not named or "\n" in str(error):
                    told.append(f"{question}({option}={label}) says: {error}")
            except Exception as error:
                told.append(f"{question}({option}={label}) raises {type(error).__name__}: {error}")
            else:
                if not allowed:
                    told.append(f"{question}({option}={label}) is taken")
    return told


def test_odd_values_are_refused_by_name(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    found = faults(sensible_ones=False)
    assert not found, "\n".join(found)


@pytest.mark.slow
def test_odd_values_that_mean_something_are_answered(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    found = faults(sensible_ones=True)
    assert not found, "\n".join(found)


def test_every_public_question_is_tried():
    questions = {name for name in bf.__all__ if inspect.isfunction(getattr(bf, name))}
    assert questions
    assert questions <= set(asked(made()))


def _refused(of: dict[str, Any]) -> dict[str, tuple[Any, str]]:
    """What was once taken, or refused in words that did not help, and what is said now."""
    fit, plan, left, figure = of["fit"], of["plan"], of["left"], of["figure"]
    own = ("kerf", "clearance", "reserve", "lift_limit_kg", "least_weight_kg")
    return {
        "units of pieces": (lambda: bf.piece_sheets(plan, units="x"), "units='x' must be"),
        "units of cuts": (lambda: bf.cut_sheets(plan, units="x"), "units='x' must be"),
        **{
            f"{name} as sawing": (
                lambda name=name: bf.survey(fit, sawing={name: 1}), f"sawing: {name!r} is an option of survey itself"
            )
            for name in own
        },
        "an aim": (lambda: bf.Ask(seek="nope"), "seek='nope' must be one of"),
        "cells in words": (lambda: bf.Ask(max_cells="x"), "max_cells='x' must be a whole number"),
        "a gap in words": (lambda: bf.Ask(gap="x"), "gap='x' must be a number"),
        "half a range": (lambda: bf.thin_stone(fit, rupture=(7,)), "rupture=(7,) must be two numbers"),
        "supports in words": (lambda: bf.handling(fit, supports="ab"), "supports='ab' must be a list"),
        "an opening of one side": (lambda: bf.handling(fit, openings=list[Any]([5])), "openings=[5] must be a list"),
        "holding a number": (lambda: bf.offcuts(fit, holds=5), "holds=5 must be a Figure"),
        "pieces in words": (lambda: bf.offcuts(fit, most_pieces="x"), "most_pieces='x' must be a whole number"),
        "half a direction": (lambda: bf.directions(fit, count=20.5), "count=20.5 must be a whole number"),
        "no covers": (lambda: bf.share_block([figure, figure], of["block"], covers=None), "covers=None"),
        "a ruler in words": (lambda: bf.ruler_sheet("500 mm", 4), "block_mm='500 mm' must be a number"),
        "effort below 0": (lambda: bf.recover(fit, effort=-1), "effort=-1 must be a number, more than 0"),
        "slants below 0": (lambda: bf.undercuts(fit, slants=-3), "slants=-3 must be a whole number, at least 0"),
        "necks below 0": (lambda: bf.thin_stone(fit, most=-1), "most=-1 must be a whole number, at least 0"),
        "no pace": (lambda: bf.pace(left, left, ("2026-03-02", "2026-03-04")), "no stone has gone between"),
        "another front": (lambda: bf.best_front(fit, fronts="fore"), "fronts='fore' must be"),
        "far away": (lambda: bf.Block.box("900 parsecs", 1, 1), "width='900 parsecs': 'parsecs' is not a unit"),
    }  # fmt: skip


def test_what_was_once_unclear_is_refused_clearly():
    for ask, words in _refused(made()).values():
        assert_refused(ask, words)


def test_one_front_may_be_named_by_itself():
    fit = made()["fit"]
    assert [front.name for front in bf.best_front(fit, fronts="front", pitch=40)] == ["front"]


def test_a_width_of_0_in_a_yard_is_reported_with_its_heading(tmp_path):
    yard = tmp_path / "yard.csv"
    yard.write_text("name,width (cm),depth (cm),height (cm)\nA,0,50,70\n")
    assert_refused(lambda: bf.read_blocks(yard), "width (cm)")
    assert_refused(lambda: bf.read_blocks(yard), "must be more than 0")


def test_a_fit_without_its_cover_can_be_recovered():
    """Its placement is where the ladder starts; what is found keeps the cover that was asked."""
    fit = bf.safest(cuboid(200, 200, 200), bf.Block.box(230, 230, 230), cover=20, stance=FIXED)
    assert fit.verdict is bf.Verdict.CANNOT_FIT
    assert fit.placement is not None
    told = bf.recover(fit, turn=0, lean=0, effort=0.1)
    assert not told.straight_back.found
    assert told.smaller.found
    assert told.smaller.scale == pytest.approx(190 / 200, abs=1e-3)
    assert told.smaller.cover_mm == pytest.approx(20, abs=0.1)


def test_no_plane_is_made_where_the_figure_touches_the_face():
    box = cuboid(200, 200, 200)
    fit = bf.safest(box, bf.Block.box(200, 300, 200, stone="marble"), stance=FIXED)
    told = bf.roughing(fit, face="right")
    assert told.planes == ()
    assert "there is no plane to cut" in told.text()
    assert len(told.rows("us")) == 1
    assert bf.plane_sheets(fit, told) == []
    assert bf.stage_of(fit, planes=told).volume_m3 == pytest.approx(fit.block.volume_m3)

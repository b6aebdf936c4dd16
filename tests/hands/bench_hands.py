"""A second pair of hands: an independent carver who does what the sheets say, and looks at what is left.

It reads what is printed or saved for the carver, rebuilds the cuts as solids with manifold3d, takes them off the
block in order, and asks: is any of the figure gone, is the stated allowance left, is what was promised as waste gone?
It shares nothing with the code that makes the sheets. ``python tests/hands/bench_hands.py COUNT SEED`` runs more."""

import json
import sys
import tempfile
import time
import warnings
from collections import Counter
from itertools import combinations
from pathlib import Path

import manifold3d as m3
import numpy as np
from hands_figures import KINDS, Case, case, figure_of, manifold_of
from hands_marks import Fault, Points, compare_outline, cut_between, cut_planes, drill, read_back
from hands_read import RIGHT, UP, between, drawing, planes, points, straight_back
from hands_solid import Convex, Skewed
from hands_stone import Hole, Room, move_all_ways, move_back, saw

import blockfit as bf

__all__ = ["case", "faults_of", "main"]

FACES = ("front", "back", "left", "right", "top")
CORNERS = tuple(f"{y} {x} {z}" for x in ("left", "right") for y in ("front", "back") for z in ("bottom", "top"))


# ---- points ----


def skewed_corners(case: Case) -> np.ndarray:
    """A box's corners (2, 2, 2, 3) by x, y, z, off square: the bottom level, its front edge along x from the origin."""
    rng = np.random.default_rng([case.seed, 2])
    size = case.corners.max(axis=0)
    corners = np.array([[[[x, y, z] for z in (0, 1)] for y in (0, 1)] for x in (0, 1)], float) * size
    off = rng.uniform(-8, 8, corners.shape)
    off[:, :, 0, 2] = 0
    off[0, 0, 0], off[1, 0, 0, 1] = 0, 0
    return corners + off


def asked_points(case: Case) -> tuple[dict, Convex | Skewed, np.ndarray]:
    """The options of a sheet of points, the surface on which its depths are read, and the origin of its readings."""
    rng = case.rng
    options = {
        "count": int(rng.integers(3, 25)),
        "faces": tuple(map(str, rng.permutation(FACES)[: int(rng.integers(1, 3))])),
        "high": int(rng.choice([0, 2, 5])),
        "allowance": float(rng.choice([0, 2, 5, 10])),
        "width": float(rng.choice([2, 5, 5, 10])),
    }
    if rng.random() < 0.4:
        options |= {"inches": True, "grain": str(rng.choice(["1/8 in", "1/16 in", "1/32 in", "1/64 in"]))}
    else:
        options["grain"] = float(rng.choice([0.5, 1, 1.5, 2.5, 5]))
    surface: Convex | Skewed = Convex(case.corners)
    origin = case.corners.min(axis=0)
    if case.is_box and case.cover["other"] == 25:
        surface = Skewed(skewed_corners(case))
        names = dict(zip(CORNERS, surface.corners.reshape(8, 3), strict=True))
        apart = {(a, b): float(np.linalg.norm(names[a] - names[b])) for a, b in combinations(CORNERS, 2)}
        options["datum"] = bf.Datum.out_of_square(case.fit.block, apart)
    elif case.is_box and rng.random() < 0.3:
        origin = np.array([40.0, 5.0, 30.0])
        options["datum"] = bf.Datum.lines(centre=40, front=5, base=30)
    return options, surface, origin


def sheet_of_points(case: Case) -> tuple[str, str, dict, Convex | Skewed, np.ndarray]:
    options, surface, origin = asked_points(case)
    told = bf.pointing(case.fit, **options)
    return told.csv(), str(told), options, surface, origin


def read_points(table: str, text: str, options: dict, surface, origin) -> Points:
    return Points(points(table), between(text), options["width"], options["allowance"], surface, origin)


def check_points(case: Case) -> list[Fault]:
    told = read_points(*sheet_of_points(case))
    return drill(case, told) + cut_between(case, told) + read_back(case, told)


# ---- planes ----


def sheets_of_planes(case: Case, folder: Path):
    """What is printed of roughing, and its drawings as files."""
    rng = case.rng
    face = str(rng.choice([*FACES, "bottom"], p=[0.4, 0.12, 0.12, 0.12, 0.16, 0.08]))
    step, allowance = float(rng.choice([15, 25, 37.5, 50])), float(rng.choice([0, 2, 10, 15]))
    told = bf.roughing(case.fit, face=face, step=step, allowance=allowance)
    kind = "dxf" if rng.random() < 0.05 else "svg"
    files = []
    for number, sheet in enumerate(bf.plane_sheets(case.fit, told)):
        files.append(folder / f"plane_{number}.{kind}")
        bf.save_template(sheet, files[-1])
    return str(told), files


def check_planes(case: Case) -> list[Fault]:
    with tempfile.TemporaryDirectory() as folder:
        text, files = sheets_of_planes(case, Path(folder))
        sheet = planes(text)
        drawings = [drawing(file, sheet[0], case.corners) for file in files]
        whole = Path(folder) / "face.svg"
        bf.save_template(bf.face_sheet(case.fit, sheet[0]), whole)
        outline = drawing(whole, sheet[0], case.corners)
    axes = RIGHT[sheet[0]], UP[sheet[0]]
    return cut_planes(case, sheet, drawings, axes) + compare_outline(case, outline, axes)


# ---- setback and recovery ----


def notches(case: Case, rng) -> list[m3.Manifold]:
    """Stone that is gone already: boxes and balls in the block, clear of the figure."""
    low, high = case.corners.min(axis=0), case.corners.max(axis=0)
    found = []
    for _ in range(4):
        size = float(rng.uniform(15, 60))
        part = m3.Manifold.cube((size,) * 3, True) if rng.random() < 0.5 else m3.Manifold.sphere(size / 2, 16)
        part = part.translate(tuple(rng.uniform(low, high)))
        if case.solid.min_gap(part, 5) > 1:
            found.append(part)
    return found[:2]


def disc_of(centre, normal, radius: float) -> m3.Manifold:
    """A round crack as a very thin solid."""
    disc = m3.Manifold.cylinder(1e-6, radius, -1, 96, True)
    axis = np.asarray(normal, float) / np.linalg.norm(normal)
    side = np.cross(axis, np.eye(3)[np.abs(axis).argmin()])
    side /= np.linalg.norm(side)
    turn = np.column_stack([side, np.cross(axis, side), axis, centre])
    return disc.transform(turn)


def flawed(case: Case, rng) -> tuple[Case, list[Hole]]:
    """The same question in a block with one or two flaws, where there is a place, and what must be kept clear of."""
    flaws, holes = [], []
    low, high = case.corners.min(axis=0), case.corners.max(axis=0)
    for _ in range(int(rng.integers(1, 3))):
        at, radius, margin = rng.uniform(low, high), float(rng.uniform(5, 40)), float(rng.choice([0, 3, 10]))
        if rng.random() < 0.5:
            flaws.append(bf.Flaw.ball(tuple(at), radius, margin=margin))
            holes.append(Hole(margin, tuple(at), radius))
        else:
            normal = np.eye(3)[rng.integers(3)] if rng.random() < 0.5 else rng.normal(size=3)
            flaws.append(bf.Flaw.disc(tuple(at), tuple(normal), radius, margin=margin))
            holes.append(Hole(margin, solid=disc_of(at, normal, radius)))
        if max(hole.lacking(case.solid) for hole in holes) > -1:
            flaws.pop(), holes.pop()
    if not flaws:
        return case, []
    figure, block, scale = case.fit.figure, case.fit.block.with_flaws(*flaws), case.fit.scale
    fit = bf.safest(figure, block, scale=scale, cover=case.cover, stance=bf.Stance.fixed())
    if fit.verdict is not bf.Verdict.FITS:
        return case, []
    placed = fit.solid()
    solid = manifold_of(placed.vertices, placed.faces)
    return Case(case.seed, case.kind, fit, solid, case.corners, case.cover, case.factor), holes


def asked_setback(case: Case) -> tuple[Room, dict[str, float]]:
    rng = case.rng
    how, stage, holes, stone = rng.random(), None, [], None
    if how < 0.4:
        case, holes = flawed(case, rng)
    elif how < 0.75:
        gone = notches(case, rng)
        stage = bf.stage_of(case.fit, gone=[(f"notch {k}", figure_of(part)) for k, part in enumerate(gone)])
        stone = case.block - m3.Manifold.batch_boolean(gone, m3.OpType.Add) if gone else case.block
    told = bf.setback(case.fit, stage)
    ways = {name: float(getattr(told, name)) for name in ("back_mm", "left_mm", "right_mm", "up_mm")}
    return Room(case, holes, stone), ways


def check_setback(case: Case) -> list[Fault]:
    return move_all_ways(*asked_setback(case))


def asked_recovery(case: Case) -> tuple[Room, str]:
    """A loss that takes some of the figure's front, in the block or in stone already cut, and what is printed."""
    rng = case.rng
    vertices = np.asarray(case.fit.solid().vertices)
    front = vertices[vertices[:, 1] <= np.quantile(vertices[:, 1], 0.4)]
    at, margin = front[rng.integers(len(front))] + rng.uniform(-5, 5, 3), float(rng.choice([0, 0, 4]))
    if rng.random() < 0.5:
        radius = float(rng.uniform(5, 40))
        lost, hole = bf.Flaw.ball(tuple(at), radius), Hole(margin, tuple(at), radius)
    else:
        size = np.round(rng.uniform(10, 80, 3))
        solid = m3.Manifold.cube(tuple(size), True).translate(tuple(at))
        lost, hole = figure_of(solid), Hole(margin, solid=solid)
    gone = notches(case, rng) if rng.random() < 0.4 else []
    more, stone = {}, None
    if gone:
        more["stone"] = bf.stage_of(case.fit, gone=[(f"notch {k}", figure_of(part)) for k, part in enumerate(gone)])
        stone = case.block - m3.Manifold.batch_boolean(gone, m3.OpType.Add)
    told = bf.recover(case.fit, lost, margin=margin, turn=0, lean=0, aside=0, effort=0.02, **more)
    return Room(case, [hole], stone), str(told)


def check_recovery(case: Case) -> list[Fault]:
    room, text = asked_recovery(case)
    return move_back(room, straight_back(text))


# ---- offcuts ----


def record_of(case: Case) -> dict:
    """The plan of offcuts: of a survey as saved for one case in ten, else by the same names from the plan."""
    rng = case.rng
    clearance, cuts = float(rng.choice([5, 10, 20])), int(rng.choice([1, 2, 2, 3]))
    if rng.random() < 0.1:
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "survey.json"
            bf.survey(case.fit, alternatives=False, clearance=clearance, least_weight_kg=0.3, pitch=4).save(file)
            return json.loads(file.read_text(encoding="utf-8"))["offcuts"]
    kerf = None if rng.random() < 0.5 else float(rng.choice([3, 12]))
    more = [{}, {}, {"reserve": 0}, {"reserve": 10}][rng.integers(4)]
    plan = bf.offcuts(
        case.fit,
        clearance=clearance,
        kerf=kerf,
        most_cuts=cuts,
        most_pieces=5,
        least_thickness=15,
        least_weight_kg=0.2,
        **more,
    )
    return record_from(plan)


def record_from(plan: bf.OffcutPlan) -> dict:
    """A plan by the names that it has in a survey's record."""
    names = ("volume_m3", "left_m3", "setback_mm", "stage", "draw_out")
    of_cut = ("normal", "offset_mm", "kerf_mm")
    pieces = [
        {name: getattr(piece, name) for name in names}
        | {"cuts": [{n: getattr(cut, n) for n in of_cut} | {"outline_mm": cut.outline} for cut in piece.cuts]}
        for piece in plan.pieces
    ]
    return {"pieces": pieces, "clearance_mm": plan.clearance_mm, "reserve_mm": plan.reserve_mm}


def check_offcuts(case: Case) -> list[Fault]:
    return saw(case, record_of(case))


# ---- many ----

CHECKS = {
    "points": check_points,
    "planes": check_planes,
    "setback": check_setback,
    "recovery": check_recovery,
    "offcuts": check_offcuts,
}


def faults_of(seed: int, kind: str = "") -> tuple[str, list[Fault]]:
    """The kind of a case and its faults."""
    asked = case(seed, kind)
    return asked.kind, CHECKS[asked.kind](asked)


def main(count: int, seed: int, *kinds: str) -> int:
    """Run cases from a seed on; print how many of each kind, and every failure with its seed."""
    warnings.simplefilter("error")
    ran, failed, what, seconds = Counter(), Counter(), Counter(), Counter()
    for number in range(seed, seed + count):
        kind = kinds[number % len(kinds)] if kinds else KINDS[number % len(KINDS)]
        start = time.process_time()
        try:
            _, faults = faults_of(number, kind)
        except Exception as error:
            faults = [Fault(f"{type(error).__name__}: {str(error)[:200]}", 0.0, "")]
        ran[kind] += 1
        seconds[kind] += time.process_time() - start
        failed[kind] += bool(faults)
        worst = {fault.what: fault for fault in sorted(faults, key=lambda fault: fault.by_mm)}
        for fault in worst.values():
            what[kind, fault.what] += 1
            print(f"{number} {kind}: {fault.what}: {fault.by_mm:.3f} mm; {fault.where}"
                  f"{'' if fault.sure else ' (a second way does not agree)'}", flush=True)  # fmt: skip
    print(f"\n{'kind':<10}{'cases':>8}{'failed':>8}{'s/case':>8}")
    for kind in ran:
        print(f"{kind:<10}{ran[kind]:>8}{failed[kind]:>8}{seconds[kind] / ran[kind]:>8.2f}")
    for (kind, name), times in what.most_common():
        print(f"{times:>6}  {kind}: {name}")
    return sum(failed.values())


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]), int(sys.argv[2]), *sys.argv[3:])))

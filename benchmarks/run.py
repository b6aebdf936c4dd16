"""One command, one table: `python benchmarks/run.py` writes benchmarks/RESULTS.md.

Every row compares medians taken in the same run, in turns, on figures seeded or read from files; tightness
stands beside time. Give a mesh folder to use real scans: `python benchmarks/run.py FOLDER`."""

import os
import platform
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

import growth
import numpy as np
import trimesh
from scipy.optimize import differential_evolution, direct, shgo

import blockfit as bf
from blockfit.geometry.turns import from_quaternions
from blockfit.measure.booleans import solid_from
from blockfit.measure.columns import columns_of
from blockfit.measure.views import View, face_view, lattice_over
from blockfit.search.proof.support import hull_of
from blockfit.waste.reach.sight import Elements, elements_of, reached

HERE = Path(__file__).parent
BOXES = {"kneeling": (900, 700, 1600), "striding": (900, 700, 1600), "putto": (900, 700, 1000)}


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    figures = _figures(folder)
    lines = ["# Benchmarks", "", *_machine(), ""]
    lines += _largest(figures)
    lines += _least_boxes(figures)
    lines += _undercuts(figures)
    lines += _columns_against(figures)
    lines += _flaws(figures)
    lines += _survey(figures)
    lines += _growth()
    lines += _yard(figures)
    lines += _import()
    lines += _kept(HERE / "RESULTS.md")
    (HERE / "RESULTS.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


def _kept(file: Path) -> list[str]:
    """The last sections, which `bad_day.py`, `tests/hands/bench_hands.py` and `certificates.py` fill."""
    text = file.read_text(encoding="utf-8") if file.exists() else ""
    at = text.find("## The bad day")
    return ["", text[at:].rstrip()] if at >= 0 else []


def _figures(folder: Path | None) -> dict[str, bf.Figure]:
    if folder is None:
        return {"kneeling": bf.read_figure(HERE.parent / "tests" / "data" / "kneeling.stl", unit="m")}
    return {
        "kneeling": bf.read_figure(folder / "kneeling_arm_raised.stl", unit="m"),
        "striding": bf.read_figure(folder / "striding.stl", unit="m"),
        "putto": bf.read_figure(folder / "putto_scan.ply", unit="mm", ratio=5),
    }


def _machine() -> list[str]:
    packages = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "highspy", "trimesh", "manifold3d"))
    info = Path("/proc/cpuinfo")
    lines = info.read_text(encoding="utf-8").splitlines() if info.exists() else []
    models = [line.split(":")[1].strip() for line in lines if line.startswith("model name")]
    model = models[0] if models else platform.machine()
    return [
        f"Python {platform.python_version()}, {packages}; {os.cpu_count()} cores ({model}), {platform.system()},",
        "a shared machine: seconds vary by half as much again from run to run, ratios little.",
    ]


def _median(*jobs: Callable[[], object], rounds: int = 5) -> list[float]:
    """Return the median seconds of each job; the jobs take turns, so that a slow spell hits all."""
    times: list[list[float]] = [[] for _ in jobs]
    for _ in range(rounds):
        for job, taken in zip(jobs, times, strict=True):
            start = time.perf_counter()
            job()
            taken.append(time.perf_counter() - start)
    return [statistics.median(taken) for taken in times]


def _rivals(figure: bf.Figure, dims: tuple[float, ...]) -> dict[str, Callable[[], float]]:
    """General global optimisers of scipy on the same hull, over the same rotations; none proves anything."""
    points, sizes = hull_of(figure).points, np.array(dims)

    def shortfall(v: np.ndarray) -> float:
        turned = points @ from_quaternions(np.array([1, *v])).T
        return -float((sizes / np.ptp(turned, axis=0)).min())

    cube = [(-1.0, 1.0)] * 3
    return {
        "differential_evolution": lambda: -differential_evolution(shortfall, cube, seed=1).fun,
        "shgo": lambda: -shgo(shortfall, cube, n=500, iters=2).fun,
        "direct": lambda: -direct(shortfall, cube, maxfun=20_000).fun,
    }


def _largest(figures: dict[str, bf.Figure]) -> list[str]:
    lines = [
        "## Largest scale, any rotation",
        "",
        "How long does a proof take, against what a general optimiser takes to guess? Ratios are to",
        "`differential_evolution` on the same hull; a rival's scale is given as a share of ours.",
        "",
        "| figure | hull points | proved to | cells | seconds | times d.e. | d.e. | shgo | direct |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for name, figure in figures.items():
        dims = BOXES[name]
        block = bf.Block.box(*dims)
        rivals = _rivals(figure, dims)
        hull = hull_of(figure)
        bare = bf.Figure.from_points(hull.points)
        found = {rival: job() for rival, job in rivals.items()}
        for gap in (1e-3, 1e-6):
            fit = bf.largest(bare, block, gap=gap)

            def ours(bare: bf.Figure = bare, block: bf.Block = block, gap: float = gap) -> object:
                return bf.largest(bare, block, gap=gap)

            mine, theirs = _median(ours, rivals["differential_evolution"])
            shares = " | ".join(f"{scale / fit.scale:.6f}" for scale in found.values())
            lines.append(
                f"| {name} | {len(hull.points)} | {fit.gap:.1e} | {fit.cells:,} | {mine:.3f} | {mine / theirs:.1f} "
                f"| {shares} |"
            )
    return [*lines, ""]


def _box_rivals(points: np.ndarray) -> dict[str, Callable[[], float]]:
    """General geometry libraries' least boxes of the same points, as volumes in mm³; those that are installed."""
    rivals: dict[str, Callable[[], float]] = {
        "trimesh `oriented_bounds`": lambda: float(np.prod(trimesh.bounds.oriented_bounds(points)[1]))
    }
    if find_spec("open3d"):
        import open3d

        many, method = open3d.core.Tensor(points), open3d.t.geometry.MethodOBBCreate
        make = open3d.t.geometry.OrientedBoundingBox.create_from_points
        rivals["open3d `MINIMAL_APPROX`"] = lambda: float(make(many, method=method.MINIMAL_APPROX).volume())
        rivals["open3d `MINIMAL_JYLANKI`"] = lambda: float(make(many, method=method.MINIMAL_JYLANKI).volume())
    if find_spec("pyvista"):
        import pyvista

        rivals["pyvista `oriented_bounding_box`"] = lambda: abs(pyvista.PolyData(points).oriented_bounding_box().volume)
    return rivals


def _least_boxes(figures: dict[str, bf.Figure]) -> list[str]:
    lines = [
        "## Least box, any rotation",
        "",
        "Ours, proved to the bound given, against general libraries on the same hull: our time over theirs, their",
        "volume as a share of ours. None of them gives a bound.",
        "",
        "| figure | hull points | bound within | seconds | against | our time / theirs | their volume / ours |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, figure in figures.items():
        points = hull_of(figure).points
        bare = bf.Figure.from_points(points)
        size = bf.smallest_block(bare, cover=0)
        within = 1 - size.volume_bound_m3 / size.volume_m3
        for rival, job in _box_rivals(points).items():
            mine, theirs = _median(lambda points=points: bf.smallest_block(bf.Figure.from_points(points), cover=0), job)
            share = job() * 1e-9 / size.volume_m3
            lines.append(
                f"| {name} | {len(points)} | {within:.1e} | {mine:.3f} | {rival} | {mine / theirs:.1f} | {share:.6f} |"
            )
    return [*lines, ""]


def _undercuts(figures: dict[str, bf.Figure]) -> list[str]:
    """How long do columns and directions take, and how far do volumes move when the pitch is halved?"""
    lines = [
        "## Undercuts",
        "",
        "Columns: one pass of a subdivided figure at full size, 2 mm apart. Directions: reach from 400 of them.",
        "",
        "| figure | faces | columns, seconds | elements | 400 directions, seconds | volumes move by (share of block) |",
        "|---|---|---|---|---|---|",
    ]
    for name, figure in figures.items():
        mesh = trimesh.Trimesh(figure.vertices, figure.faces, process=False)
        while len(mesh.faces) < 400_000:
            mesh = mesh.subdivide()
        vertices, faces, view = np.asarray(mesh.vertices), np.asarray(mesh.faces, np.int64), face_view("front")

        def columns(vertices: np.ndarray = vertices, faces: np.ndarray = faces, view: View = view) -> object:
            return columns_of(vertices, faces, view, lattice_over(view, vertices, 2.0))

        fit = bf.largest(figure, bf.Block.box(*BOXES[name]), stance=bf.Stance.upright())

        def reach(fit: bf.Fit = fit) -> object:
            return bf.directions(fit)

        (pass_seconds,), (reach_seconds,) = _median(columns, rounds=3), _median(reach, rounds=1)
        coarse, fine = (bf.undercuts(fit, slants=0, pitch=max(BOXES[name]) / parts) for parts in (400, 800))
        parts = ("front_m3", "beside_m3", "trapped_m3", "rear_m3")
        moved = max(abs(getattr(coarse, part) - getattr(fine, part)) for part in parts) / fit.block.volume_m3
        lines.append(
            f"| {name} | {len(faces):,} | {pass_seconds:.2f} | {len(coarse.elements.faces):,} | {reach_seconds:.1f} "
            f"| {moved:.1e} |"
        )
    return [*lines, ""]


def _flaws(figures: dict[str, bf.Figure]) -> list[str]:
    """How long do fifty cracks of 10 to 60 mm take, upright within 30°? Processor seconds: most of it is one thread."""
    lines = ["## Fifty flaws", "", "Largest scale among fifty cracks with a margin of 10 mm, upright within 30°.", ""]
    lines += ["| figure | faces | processor seconds | scale / bound without flaws |", "|---|---|---|---|"]
    for name, figure in figures.items():
        random, size = np.random.default_rng(0), np.array(BOXES[name])
        cracks = []
        for _ in range(50):
            at, radius = random.uniform(0, 1, 3) * size, float(random.uniform(10, 60))
            cracks.append(bf.Flaw.disc(at, random.normal(size=3), radius, margin=10))
        block, start = bf.Block.box(*BOXES[name]).with_flaws(*cracks), time.process_time()
        fit = bf.largest(figure, block, cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(30))
        taken = time.process_time() - start
        lines.append(f"| {name} | {len(figure.faces):,} | {taken:.1f} | {fit.scale / fit.scale_bound:.4f} |")
    return [*lines, ""]


def _survey(figures: dict[str, bf.Figure]) -> list[str]:
    lines = ["## Whole survey", "", "| figure | faces | seconds |", "|---|---|---|"]
    for name, figure in figures.items():
        block = bf.Block.box(*BOXES[name], stone="marble")

        def whole(figure: bf.Figure = figure, block: bf.Block = block) -> str:
            cover = {"bottom": 0, "other": 20}
            return str(bf.survey(bf.largest(figure, block, cover=cover, stance=bf.Stance.upright(30))))

        (seconds,) = _median(whole, rounds=3)
        lines.append(f"| {name} | {len(figure.faces):,} | {seconds:.1f} |")
    return [*lines, ""]


def _columns_against(figures: dict[str, bf.Figure]) -> list[str]:
    """Volume by columns against trimesh's voxels and manifold3d's exact volume; reach against rays."""
    lines = [
        "## Columns and reach against general libraries",
        "",
        "Volume at a pitch of a 200th of the height: error by our columns and by trimesh's filled voxels, and the time",
        "as a ratio. Reach of the front: share of elements on which we agree with trimesh's rays, time as a ratio.",
        "",
        "| figure | columns' error | voxels' error | voxels' time / ours | reach agrees | rays' time / ours |",
        "|---|---|---|---|---|---|",
    ]
    for name, figure in figures.items():
        pitch = figure.size_mm[2] / 200
        mesh = trimesh.Trimesh(figure.vertices, figure.faces, process=False)
        view = face_view("front")

        def ours(figure: bf.Figure = figure, view: View = view, pitch: float = pitch) -> float:
            columns = columns_of(figure.vertices, figure.faces, view, lattice_over(view, figure.vertices, pitch))
            return float((columns.leave - columns.enter).sum()) * pitch**2 * 1e-9

        def voxels(mesh: trimesh.Trimesh = mesh, pitch: float = pitch) -> float:
            return float(mesh.voxelized(pitch).fill().filled_count) * pitch**3 * 1e-9

        exact = solid_from(figure.vertices, figure.faces).volume() * 1e-9
        mine, theirs = _median(ours, voxels, rounds=2)
        elements = elements_of(figure.vertices, figure.faces, pitch)

        def reach(elements: Elements = elements, view: View = view, pitch: float = pitch) -> np.ndarray:
            return reached(elements, view, pitch)

        def rays(mesh: trimesh.Trimesh = mesh, elements: Elements = elements, view: View = view) -> np.ndarray:
            facing = -(elements.normals @ view.into) > 1e-3
            starts = elements.points - 1e-3 * view.into
            hidden = mesh.ray.intersects_any(starts, np.tile(-view.into, (len(starts), 1)))
            return facing & ~hidden

        (own,), (cast,) = _median(reach, rounds=2), _median(rays, rounds=2)
        agree = float((reach() == rays()).mean())
        lines.append(
            f"| {name} | {abs(ours() / exact - 1):.1e} | {abs(voxels() / exact - 1):.1e} | {theirs / mine:.1f} "
            f"| {agree:.1%} | {cast / own:.1f} |"
        )
    return [*lines, ""]


def _growth() -> list[str]:
    rows = growth.grown()
    growth.plot(rows, HERE / "growth.png")
    lines = ["## Survey against faces", "", "The kneeling figure of the tests, subdivided; seconds of each step."]
    return [*lines, "", *growth.table(rows), "", "![Seconds against faces](growth.png)", ""]


def _yard(figures: dict[str, bf.Figure]) -> list[str]:
    """How many blocks a second, any turn, each proved to a thousandth; and what a wanted scale or best few save."""
    name, figure = next(iter(figures.items()))
    random = np.random.default_rng(0)
    blocks = [bf.Block.box(*random.uniform(500, 1800, 3), stone="marble", name=str(k)) for k in range(1000)]
    lines = ["## Yard", "", f"{name} in 1,000 boxes of 500 to 1,800 mm a side, any turn, two processes.", ""]
    lines += ["| question | seconds | ms per block |", "|---|---|---|"]
    for words, how in (
        ("largest scale, each proved to 1e-3", {}),
        ("only the best five", {"best": 5}),
        ("which hold it at 0.85 of full size", {"scale": 0.85, "deepest": False}),
    ):
        start = time.perf_counter()
        bf.compare(figure, blocks, jobs=2, **how)
        taken = time.perf_counter() - start
        lines.append(f"| {words} | {taken:.1f} | {taken / len(blocks) * 1e3:.0f} |")
    return [*lines, ""]


def _import() -> list[str]:
    def load(module: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, "-c", f"import {module}"], check=True)

    names = "blockfit; [getattr(blockfit, name) for name in blockfit.__all__]"
    ours, every, bare = _median(load("blockfit"), load(names), load("sys"))
    return [
        "## Import",
        "",
        f"`import blockfit` takes {ours - bare:.2f} s more than starting Python; every name of it, numpy within, "
        f"{every - bare:.2f} s.",
        "",
    ]


if __name__ == "__main__":
    main()

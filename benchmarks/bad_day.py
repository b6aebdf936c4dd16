"""What a carver waits for after a loss: `python benchmarks/bad_day.py FILE` fills a section of RESULTS.md.

FILE is a scan of a kneeling figure of 50,000 faces in metres; each row says what was asked. Rivals, where they are
installed, are asked the same: trimesh's proximity and open3d's scene for distances."""

import statistics
import sys
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

import blockfit as bf
from blockfit.measure.booleans import Solid, arrays_of, hull_solid, refined, solid_from, unite
from blockfit.measure.distance import SurfaceDistance

HEADING = "## The bad day"
RESULTS = Path(__file__).parent / "RESULTS.md"
UPRIGHT = bf.Stance.upright(30)


def main() -> None:
    figure = bf.read_figure(sys.argv[1], unit="m")
    block = bf.Block.box(900, 700, 1600, stone="marble")
    fit = bf.safest(figure, block, scale=0.4, stance=bf.Stance.upright(0))
    rows = [*distances(figure), *after_a_loss(fit), *half_carved(figure, block), *flaws(figure, block)]
    rows += surveyed(figure, fit, block)
    text = RESULTS.read_text(encoding="utf-8")
    start = text.find(HEADING)
    end = text.find("\n## ", start + 1) if start >= 0 else text.find("## A second pair of hands")
    before, after = (text[:start], text[end:].lstrip("\n")) if start >= 0 else (text[:end], text[end:])
    section = [HEADING, "", *__doc__.splitlines()[2:], "Seconds on a shared machine, medians.", ""]
    section += ["| asked | seconds | answer |", "|---|---|---|"]
    section += [f"| {what} | {seconds:.2f} | {told} |" for what, seconds, told in rows]
    RESULTS.write_text(before + "\n".join(section) + "\n\n" + after, encoding="utf-8")
    print("\n".join(section))


Row = tuple[str, float, str]


def timed(job: Callable[[], Any], rounds: int = 3) -> tuple[float, Any]:
    """Return the median of the seconds that a job takes, and its answer."""
    taken, answer = [], None
    for _ in range(rounds):
        start = time.perf_counter()
        answer = job()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken), answer


def distances(figure: bf.Figure) -> list[Row]:
    """A hundred thousand signed distances, and what others take for as many or fewer."""
    size = figure.size_mm
    points = np.random.default_rng(0).uniform(figure.vertices.min(axis=0), figure.vertices.max(axis=0), (100_000, 3))
    seconds, ours = timed(lambda: SurfaceDistance(figure.vertices, figure.faces).signed(points)[0])
    rows = [(f"100,000 signed distances, {len(figure.faces):,} faces", seconds, "exact")]
    try:
        import trimesh

        mesh, few = trimesh.Trimesh(figure.vertices, figure.faces, process=False), points[:2000]
        taken, theirs = timed(lambda: trimesh.proximity.signed_distance(mesh, few), 1)
        apart = float(np.abs(-theirs - ours[:2000]).max()) / max(size)
        rows.append(("the same of 2,000 points, trimesh `signed_distance`", taken, f"{apart:.0e} of its size apart"))
    except ImportError:
        pass
    try:
        import open3d

        scene = open3d.t.geometry.RaycastingScene()
        scene.add_triangles(figure.vertices.astype(np.float32), figure.faces.astype(np.uint32))
        taken, found = timed(lambda: scene.compute_signed_distance(points.astype(np.float32)).numpy())
        apart = float(np.abs(found - ours).max()) / max(size)
        rows.append(("the same, open3d `RaycastingScene`", taken, f"{apart:.0e} of its size apart (single precision)"))
    except ImportError:
        pass
    return rows


def after_a_loss(fit: bf.Fit) -> list[Row]:
    """All rungs after a loss of 50 mm at the foremost place, in stone roughed in seven planes; and a scan read back."""
    stage = bf.stage_of(fit, planes=bf.roughing(fit, step=50), to=7)
    vertices = fit.solid().vertices
    lost = bf.Flaw.ball(vertices[vertices[:, 1].argmin()].tolist(), 25)
    seconds, ladder = timed(lambda: bf.recover(fit, lost, stone=stage))
    back = ladder.straight_back
    random = np.random.default_rng(1)
    points = vertices[random.integers(0, len(vertices), 100_000)] + random.normal(0, 2, (100_000, 3))
    checked, _ = timed(lambda: str(bf.check(fit, points)))
    return [
        ("recover, all rungs, stone roughed in 7 planes", seconds, f"{back.back_mm:.1f} mm back ({back.proof})"),
        ("check of 100,000 points, with its summary", checked, ""),
    ]


def half_carved(figure: bf.Figure, block: bf.Block) -> list[Row]:
    """The largest figure in a scan of stone whose front half is carved to within 25 mm of hulls of its slices."""
    fit = bf.largest(figure, block, cover=15, stance=UPRIGHT)
    placed = fit.solid()
    body, whole = solid_from(placed.vertices, placed.faces), hull_solid(block.corners_mm)
    low, high = placed.vertices.min(axis=0), placed.vertices.max(axis=0)
    parts: list[Solid] = [whole.trim_by_plane([0, 1, 0], float(low[1] + high[1]) / 2)]
    heights = np.linspace(0, high[2] + 10, 9)
    for bottom, top in pairwise(heights):
        piece = body.trim_by_plane([0, 0, 1], float(bottom)).trim_by_plane([0, 0, -1], -float(top))
        if not piece.is_empty():
            corners, _ = arrays_of(piece.hull())
            cube = np.array([[x, y, z] for x in (-25, 25) for y in (-25, 25) for z in (-25, 25)])
            parts.append(hull_solid((corners[:, None] + cube).reshape(-1, 3)))
    vertices, faces = arrays_of(unite(parts) ^ whole)
    side = 20.0
    while len(faces) < 200_000:
        vertices, faces = refined(vertices, faces, side)
        side /= 1.3
    noise = np.random.default_rng(3).normal(size=vertices.shape) * 0.3
    stone = bf.Block.scanned(bf.Figure(vertices + noise, faces), stone="marble")
    seconds, found = timed(lambda: bf.largest(figure, stone, stance=UPRIGHT), 1)
    said = f"scale {found.scale:.4f}, proved at most {found.scale_bound:.4f}"
    return [(f"largest, upright 30°, in a half-carved scan of {len(faces):,} faces, noise 0.3 mm", seconds, said)]


def flaws(figure: bf.Figure, block: bf.Block) -> list[Row]:
    """Fifty cracks, and a thousand cavities."""
    random, rows = np.random.default_rng(0), []
    size = np.array(block.size_mm)
    cracks = [
        bf.Flaw.disc(random.uniform(0, 1, 3) * size, random.normal(size=3), random.uniform(10, 60), margin=10)
        for _ in range(50)
    ]
    balls = [bf.Flaw.ball(random.uniform(0, 1, 3) * size, random.uniform(2, 8)) for _ in range(1000)]
    for name, some in (("50 cracks", cracks), ("1,000 cavities", balls)):
        seconds, fit = timed(lambda some=some: bf.largest(figure, block.with_flaws(*some), stance=UPRIGHT), 1)
        rows.append((f"largest, upright 30°, among {name}", seconds, f"scale {fit.scale:.4f}"))
    return rows


def surveyed(figure: bf.Figure, fit: bf.Fit, block: bf.Block) -> list[Row]:
    """Thin stone, offcuts and the whole survey."""
    thin, _ = timed(lambda: bf.thin_stone(fit))
    largest = bf.largest(figure, block, stance=UPRIGHT)
    pieces, plan = timed(lambda: bf.offcuts(largest))
    whole, _ = timed(lambda: str(bf.survey(largest)))
    return [
        ("thin stone", thin, ""),
        ("offcuts, as by default", pieces, f"{plan.recovered:.0%} of the waste in {len(plan.pieces)} pieces"),
        ("whole survey, with the other stances", whole, ""),
    ]


if __name__ == "__main__":
    main()

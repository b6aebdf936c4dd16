"""What each step of a survey costs against the number of faces, from 7,000 to 7,000,000.

`run.py` calls it; `python benchmarks/growth.py FILE` alone surveys one file (in mm) and prints seconds per step."""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import trimesh

import blockfit as bf

HERE = Path(__file__).parent
TIMES_FOUR = 5  # subdivisions: each cuts every triangle into four


def grown() -> list[dict[str, float]]:
    """Return, for each size, its faces, the seconds of each step, and the peak of memory in GB.

    Each size is read and surveyed by a process of its own, so that its memory is its own.
    """
    start = bf.read_figure(HERE.parent / "tests" / "data" / "kneeling.stl", unit="m")
    mesh = trimesh.Trimesh(start.vertices, start.faces, process=False)
    rows = []
    for k in range(TIMES_FOUR + 1):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "grown.stl"
            mesh.export(path)
            done = subprocess.run([sys.executable, __file__, str(path)], check=True, capture_output=True, text=True)
        rows.append(json.loads(done.stdout))
        if k < TIMES_FOUR:
            mesh = mesh.subdivide()
    return rows


def surveyed(path: Path) -> dict[str, float]:
    """Return the faces of a file, the seconds that each step of its survey takes, and the peak of memory in GB."""
    marks = [("reading", time.perf_counter())]
    figure = bf.read_figure(path, unit="mm")

    def mark(step: str) -> None:
        marks.append((step, time.perf_counter()))

    mark("fitting")
    fit = bf.largest(figure, bf.Block.box(900, 700, 1600, stone="marble"), stance=bf.Stance.upright(30))
    survey = bf.survey(fit, alternatives=False, progress=mark)
    mark("writing")
    str(survey)
    ends = [at for _, at in marks[1:]] + [time.perf_counter()]
    steps = {step: end - start for (step, start), end in zip(marks, ends, strict=True)}
    return {"faces": len(figure.faces), **steps, "whole": ends[-1] - marks[0][1], "peak": _peak_gb()}


def _peak_gb() -> float:
    """Return the most memory that this process held; 0 where the system does not tell."""
    told = Path("/proc/self/status")
    lines = told.read_text(encoding="utf-8").splitlines() if told.exists() else []
    return sum(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024**2


def table(rows: list[dict[str, float]]) -> list[str]:
    """Return the rows as a table, a column for each size."""
    names = [name for name in rows[-1] if name not in ("faces", "peak")]
    lines = ["| seconds | " + " | ".join(f"{row['faces']:,.0f} faces" for row in rows) + " |"]
    lines.append("|---" * (len(rows) + 1) + "|")
    lines += [f"| {name} | " + " | ".join(f"{row.get(name, 0):.2f}" for row in rows) + " |" for name in names]
    lines.append("| most memory, GB | " + " | ".join(f"{row['peak']:.1f}" for row in rows) + " |")
    return lines


def plot(rows: list[dict[str, float]], path: Path) -> None:
    """Draw each step against the number of faces, with the slope that would be linear."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(figsize=(7, 5), layout="constrained")
    faces = [row["faces"] for row in rows]
    names = [name for name in rows[-1] if name not in ("faces", "peak", "writing")]
    for name in names:
        values = [max(row.get(name, 0), 1e-3) for row in rows]
        axes.loglog(faces, values, marker="o", markersize=3, linewidth=2.5 if name == "whole" else 1, label=name)
    last = rows[-1]["whole"]
    axes.loglog(faces, [last * each / faces[-1] for each in faces], "k:", linewidth=1, label="linear")
    axes.set(xlabel="faces", ylabel="seconds", title="Each step of a survey against the number of faces")
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8)
    figure.savefig(path, dpi=110)
    plt.close(figure)


if __name__ == "__main__":
    print(json.dumps(surveyed(Path(sys.argv[1]))))

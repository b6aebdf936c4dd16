"""Has a change made anything slower? The time of this tree as a share of another commit's, by the same public calls.

`.ci/bench BASE` (a commit, branch or tag) unpacks BASE aside and runs every job in both trees, in turns, each round in
a process of its own. Times are seconds of work (not of the clock, so that a busy machine disturbs little); what is
printed is the median of each and their ratio. What one of the two trees does not know is left out."""

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROUNDS = 5


def jobs() -> dict[str, Callable[[], object]]:
    """The calls that are timed, by public names alone, on the figure of the tests."""
    import blockfit as bf

    figure = bf.read_figure(HERE.parent / "tests" / "data" / "kneeling.stl", unit="m")
    block = bf.Block.box(900, 700, 1600, stone="marble")
    upright = bf.Stance.upright(30)
    fit = bf.largest(figure, block, cover={"bottom": 0, "other": 20}, stance=upright)
    sizes = [(600 + 90 * k, 1500 - 70 * k, 900 + 50 * k) for k in range(12)]
    yard = [bf.Block.box(*size, stone="marble", name=str(k)) for k, size in enumerate(sizes)]
    cracked = block.with_flaws(bf.Flaw.ball((450, 300, 900), 60, margin=5))
    return {
        "read a scan": lambda: bf.read_figure(HERE.parent / "tests" / "data" / "kneeling.stl", unit="m"),
        "largest, any turn": lambda: bf.largest(figure, block),
        "largest, leaning": lambda: bf.largest(figure, block, stance=bf.Stance.leaning(15, 30)),
        "largest, past a flaw": lambda: bf.largest(figure, cracked, stance=upright),
        "least block": lambda: bf.smallest_block(figure, cover=20),
        "undercuts": lambda: bf.undercuts(fit),
        "offcuts": lambda: bf.offcuts(fit, lift_limit_kg=300),
        "handling": lambda: bf.handling(fit),
        "thin stone": lambda: bf.thin_stone(fit),
        "pointing": lambda: bf.pointing(fit, count=60),
        "roughing": lambda: bf.roughing(fit, step=100),
        "twelve blocks": lambda: bf.compare(figure, yard, cover=20, stance=upright, jobs=1),
        "whole survey": lambda: str(bf.survey(fit, alternatives=False)),
    }


def times() -> dict[str, float | None]:
    """Seconds of work of every job in the tree that is imported; None for what it does not know."""
    taken: dict[str, float | None] = {}
    for name, job in jobs().items():
        start = time.process_time()
        try:
            job()
        except (AttributeError, TypeError):
            taken[name] = None
        else:
            taken[name] = time.process_time() - start
    return taken


def measured(tree: Path) -> dict[str, float | None]:
    """One round in a tree, in a process of its own."""
    asked = {**os.environ, "PYTHONPATH": str(tree), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, str(Path(__file__).resolve()), "--times"]
    told = subprocess.run(command, env=asked, cwd=tree, capture_output=True, text=True, check=True).stdout
    return dict(json.loads(told.splitlines()[-1]))


def unpacked(base: str, place: Path) -> Path:
    """BASE's files, as git has them, in a folder aside: the work tree is not touched."""
    packed = subprocess.run(["git", "archive", base], cwd=HERE.parent, capture_output=True, check=True).stdout
    subprocess.run(["tar", "-x", "-C", str(place)], input=packed, check=True)
    return place


def table(ours: list[dict[str, float | None]], theirs: list[dict[str, float | None]]) -> list[str]:
    """A row a job: medians of both, and ours as a share of theirs."""
    lines = [f"{'':<22}{'base, s':>9}{'here, s':>9}{'here / base':>13}"]
    for name in ours[0]:
        before = [row[name] for row in theirs if row.get(name) is not None]
        after = [row[name] for row in ours if row[name] is not None]
        if not before or not after:
            lines.append(f"{name:<22}{'not known to both':>31}")
            continue
        then, now = statistics.median(before), statistics.median(after)
        lines.append(f"{name:<22}{then:>9.3f}{now:>9.3f}{now / then:>13.2f}")
    return lines


def main(base: str, rounds: int = ROUNDS) -> None:
    """Run the rounds, the two trees taking turns to go first, and print the table."""
    ours: list[dict[str, float | None]] = []
    theirs: list[dict[str, float | None]] = []
    with tempfile.TemporaryDirectory() as folder:
        other = unpacked(base, Path(folder))
        for number in range(rounds):
            turns = [(HERE.parent, ours), (other, theirs)]
            for tree, rows in turns[:: 1 if number % 2 else -1]:
                rows.append(measured(tree))
    print("\n".join(table(ours, theirs)))


if __name__ == "__main__":
    if sys.argv[1:] == ["--times"]:
        print(json.dumps(times()))
    elif 2 <= len(sys.argv) <= 3:
        main(sys.argv[1], *map(int, sys.argv[2:]))
    else:
        sys.exit("say against which commit: .ci/bench BASE [ROUNDS]")

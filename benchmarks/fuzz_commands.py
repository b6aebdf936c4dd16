"""The command line with mutated words and files: it must end with status 0 or 2, in time, in one short line if at all.

`python benchmarks/fuzz_commands.py COUNT [SEED [SECONDS]]` tries so many, or for so long: options, yards, landmarks and
journals, whole and mutated as in `fuzz.py`. What is read must stay as it was, and nothing half written may be left.
`tests/commands/test_mutated_commands.py` runs some of its own."""

import contextlib
import io
import os
import random
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import trimesh
from fuzz import LENGTHS, MARKS, YARD, limited, mutated

from blockfit.__main__ import main as blockfit
from blockfit.errors import safe_lines

ODD = [
    "", " ", "0", "-1", "1", "1e-12", "1e300", "nan", "inf", "1:4", "1:0", "1:1e999999999", "9" * 400, "=1+1",
    "\x1b[31m", "\u202e", "é", "\udce9", "mm", "in", "any", "bottom", "top", "z", "+y", "-z", "marble", "alabaster",
    "A4",
    "cheapest", "1,500", "1.500", "30 1/2 in", "2 ft 6 in", "36x30x60", "300x400x500", "300x400x500 mm", "x", "xx",
    "--",
    "-", "--help", "figure.stl", "yard.csv", "marks.csv", "journal", "nowhere", ".", "pipe", "folder", "name\nline",
    "*",
    "20", "45", "0.5", "1e3",
]  # fmt: skip
PLAIN = {
    "--unit": ["mm", "cm", "in"], "--ratio": ["1:2", "2:1", "1"], "--up": ["+z", "+y", "-x"], "--front": ["-y", "+x"],
    "--landmarks": ["marks.csv"], "--block": ["300x400x500", "12x14x20in", "0.4m x 0.4m x 40cm"], "--bed": ["x", "z"],
    "--stone": ["marble", "granite"], "--stands-on": ["any", "top"], "--layers": ["any", "level"],
    "--rank": ["cheapest"],
    "--face": ["left", "back"], "--paper": ["A4"], "-o": ["out.csv", "out.html", "out.json"], "--json": ["out.json"],
    "--door": ["800x2000"], "--resume": ["journal"], "--scale": ["1", "0.5"], "--turn": ["0", "90"], "--lean": ["0",
    "5"],
    "--gap": ["1e-2"], "--best": ["1", "2"], "--points": ["5", "30"], "--pitch": ["20"],
}  # fmt: skip
OPTIONS = {
    "survey": [
        "--unit", "--ratio", "--up", "--front", "--landmarks", "--max-hole", "--block", "--stone", "--skin", "--cover",
        "--bottom-cover", "--scale", "--turn", "--lean", "--stands-on", "--bed", "--layers", "--gap", "--lift-limit",
        "--least-weight", "--clearance", "--kerf", "--reserve", "--door", "--hook-height", "--floor-limit",
        "--table-limit", "--hoist-limit", "--pitch", "-o", "--json",
    ],
    "compare": [
        "--unit", "--ratio", "--up", "--front", "--cover", "--bottom-cover", "--scale", "--turn", "--lean",
        "--stands-on",
        "--rank", "--best", "--resume", "-o",
    ],
    "mark": [
        "--unit", "--ratio", "--up", "--landmarks", "--max-hole", "--block", "--skin", "--cover", "--scale", "--turn",
        "--lean", "--points", "--step", "--allowance", "--face", "--paper", "--date", "-o",
    ],
}  # fmt: skip
FLAGS = ["--any-rotation", "--us", "--skip-bad", "--brief", "--nonsense", "-q"]
USUAL = {
    "survey": ["figure.stl", "--unit", "mm", "--block", "300x200x400", "--turn", "5"],
    "compare": ["figure.stl", "yard.csv", "--unit", "mm", "--turn", "5", "--jobs", "1"],
    "mark": ["figure.stl", "--unit", "mm", "--block", "300x200x400", "--points", "12", "--step", "100", "-o", "marks"],
}
TARGETS = [
    "out.csv",
    "out.json",
    "out.html",
    "out.txt",
    "yard.csv",
    "figure.stl",
    "new/out.csv",
    "journal",
    "marks.csv",
    "marks",
]


def place_for(folder: Path) -> None:
    """Write the honest files that commands read."""
    trimesh.creation.box((100, 60, 200)).export(folder / "figure.stl")
    (folder / "yard.csv").write_text(YARD)
    (folder / "marks.csv").write_text(MARKS)
    (folder / "folder").mkdir()
    os.mkfifo(folder / "pipe")


def commands(count: int, seed: int) -> Iterator[tuple[list[str], dict[str, bytes]]]:
    """Yield so many commands, and the files that are other than usual for each; the same for the same seed."""
    chance = random.Random(seed)
    for _ in range(count):
        command = chance.choices(["survey", "compare", "mark"], [3, 20, 1])[0]
        words = [command, *USUAL[command]]
        for _ in range(chance.choice([0, 1, 1, 2, 3])):
            option = chance.choice(OPTIONS[command])
            words += [
                option,
                chance.choice(PLAIN.get(option, ["5", "20 mm", "1 in"])) if chance.random() < 0.6 else _value(chance),
            ]
        if chance.random() < 0.15:
            words.append(chance.choice(FLAGS))
        if chance.random() < 0.15:
            words.pop(chance.randrange(len(words)))
        if chance.random() < 0.1:
            words[chance.randrange(len(words))] = _value(chance)
        files = {}
        for name, honest in (("yard.csv", YARD.encode()), ("marks.csv", MARKS.encode())):
            if chance.random() < 0.2:
                files[name] = mutated(honest, chance)
        if command == "compare" and chance.random() < 0.3:
            words += ["--resume", "journal"]
            files["journal"] = b"" if chance.random() < 0.4 else b"?"  # what an earlier command left, mutated below
        yield [word.replace("\0", "") for word in words], files


def _value(chance: random.Random) -> str:
    if chance.random() < 0.3:
        return mutated(chance.choice(LENGTHS).encode(), chance).decode("utf-8", "surrogateescape").replace("\0", "")
    return chance.choice([*ODD, *TARGETS])


def ended(words: list[str], files: dict[str, bytes], folder: Path, chance: random.Random) -> str:
    """Run one command; return how it ended, or raise `AssertionError` for what should never be."""
    (folder / "yard.csv").write_text(YARD)
    (folder / "marks.csv").write_text(MARKS)
    for name, data in files.items():
        earlier = (folder / name).read_bytes() if data == b"?" and (folder / name).exists() else b""
        (folder / name).write_bytes(mutated(earlier, chance) if data == b"?" else data)
    read = [folder / name for name in ("figure.stl", "yard.csv", "marks.csv")]
    before = [file.read_bytes() for file in read]
    out, err = io.StringIO(), io.StringIO()
    code: object = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            blockfit(words)
        except SystemExit as stop:
            code = stop.code or 0
    told, line = out.getvalue(), err.getvalue()
    assert code in (0, 2, 130), f"status {code}: {line[:300]}"
    assert [file.read_bytes() for file in read] == before, "an input was changed"
    assert not list(folder.glob("**/*.part")), "something half written was left"
    assert line.count("\n") <= 1, f"several lines: {line[:300]}"
    assert len(line) < 420, f"{len(line)} letters: {line[:300]}"
    assert safe_lines(told + line) == told + line, "control characters were shown"
    return f"{words[0] if words else ''} {code}"


def run(count: int, seed: int, seconds: float, found: Callable[[str], None]) -> Counter[str]:
    """Run so many commands, or for so long; call ``found`` with what surprises."""
    ends: Counter[str] = Counter()
    start, here = time.monotonic(), Path.cwd()
    with tempfile.TemporaryDirectory() as name:
        os.chdir(name)
        try:
            for number, (words, files) in enumerate(commands(count, seed)):
                if number % 40 == 0:
                    _emptied(Path(name))
                if time.monotonic() - start > seconds:
                    break
                chance = random.Random(f"{seed} {number}")
                try:
                    ends[limited(lambda w=words, f=files, c=chance: ended(w, f, Path(name), c))] += 1
                except Exception as error:
                    ends["FOUND"] += 1
                    found(f"{seed}-{number} {words!r} {sorted(files)}: {type(error).__name__} {str(error)[:300]}")
                    _emptied(Path(name))
        finally:
            os.chdir(here)
    return ends


def _emptied(folder: Path) -> None:
    for file in sorted(folder.rglob("*"), reverse=True):
        file.rmdir() if file.is_dir() and not file.is_symlink() else file.unlink()
    place_for(folder)


def main() -> None:
    """Run the fuzzer as the command line says."""
    count, seed, seconds = (float(word) for word in [*sys.argv[1:4], *["1000", "0", "1e9"][len(sys.argv) - 1 :]])
    warnings.simplefilter("error")
    start = time.perf_counter()
    ends = run(int(count), int(seed), seconds, lambda told: print(told, flush=True))
    print(f"{sum(ends.values())} commands in {time.perf_counter() - start:.0f} s: {dict(ends)}")


if __name__ == "__main__":
    main()

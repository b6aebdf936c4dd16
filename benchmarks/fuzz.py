"""Mutated inputs: every one must end in a result or a BlockfitError, in time, and leave no half-written file.

`python benchmarks/fuzz.py COUNT [SEED]` tries so many; what fails is written to tests/data/corpus, where the tests run
it again for ever. `tests/intake/test_mutated_files.py` runs some hundreds of its own."""

import json
import logging
import random
import signal
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import trimesh

import blockfit as bf
from blockfit.marking.datum import Datum
from blockfit.units import length_mm, ratio_value, sizes_mm

SECONDS = 20
CORPUS = Path(__file__).parent.parent / "tests" / "data" / "corpus"
YARD = """name,width (in),depth,height_mm,stone,skin,price per m3,density,note
A-1,36,30 in,1500,marble,15 mm,800,,by the gate
A-2,40,900mm,1600,,0 mm,900,2650,weighed
"""
MARKS = "name,x,y,z\nleft knee,1,2,3\nright hand,4,5,6\n"
LENGTHS = [
    "36 in",
    "2 ft 6 in",
    "0.9 m",
    "1 1/2 in",
    "-3mm",
    "1e3 mm",
    "5'",
    '6"',
    "1,5 m",
    "900x750x1500",
    "36x30x60 in",
    "1:4",
]


class Slow(Exception):
    """An input took longer than it may."""


def seeds() -> dict[str, bytes]:
    """Return small honest files of every kind that is read."""
    box = trimesh.creation.box((100, 60, 200))
    ball = trimesh.creation.icosphere(1, 80)
    two = trimesh.util.concatenate([box, ball])
    found = {}
    for kind in ("stl", "ply", "obj", "off", "glb", "3mf"):
        data = two.export(None, file_type=kind)
        found[f"figure.{kind}"] = data if isinstance(data, bytes) else data.encode()
    found["ascii.stl"] = trimesh.exchange.stl.export_stl_ascii(box).encode()
    found["ascii.ply"] = trimesh.exchange.ply.export_ply(box, encoding="ascii")
    found["yard.csv"] = YARD.encode()
    row = {"name": "q", "width": "1 m", "depth": "1 m", "height": "1 m", "stone": "granite", "price": "200 per tonne"}
    found["yard.json"] = json.dumps([row]).encode()
    found["marks.csv"] = MARKS.encode()
    found["marks.json"] = json.dumps({"left knee": [1, 2, 3]}).encode()
    return found


def mutated(data: bytes, chance: random.Random) -> bytes:
    """Return the bytes with a few of them changed, dropped, doubled, cut off or made of something else."""
    body = bytearray(data)
    for _ in range(chance.choice([1, 1, 2, 4, 12])):
        if not body:
            break
        at = chance.randrange(len(body))
        way = chance.randrange(8)
        if way == 0:
            body[at] = chance.randrange(256)
        elif way == 1:
            del body[at : at + chance.choice([1, 3, 40])]
        elif way == 2:
            body[at:at] = body[at : at + chance.choice([1, 8, 80])]
        elif way == 3:
            del body[at:]
        elif way == 4:
            body[at : at + 4] = np.float32(chance.choice([np.nan, np.inf, -1e38, 1e-38, 0])).tobytes()
        elif way == 5:
            body[at : at + 4] = np.uint32(chance.choice([0, 1, 2**31, 2**32 - 1])).tobytes()
        elif way == 6:
            body[at:at] = chance.choice(
                [b"nan", b"-1", b"1e999", b",", b"\n", b'"', b"=cmd()", "é".encode(), b"\x00", b"[[", b"{}"]
            )
        else:
            body[at] ^= 1 << chance.randrange(8)
    return bytes(body)


def tried(name: str, data: bytes, folder: Path) -> str:
    """Read one input as what its name says it is; return how it ended, or raise what should never come out."""
    file = folder / name
    file.write_bytes(data)
    try:
        if name.startswith("yard"):
            bf.read_blocks(file, skip_bad=len(data) % 2 == 0)
        elif name.startswith("marks"):
            bf.read_figure(folder / "whole.stl", unit="mm", landmarks=file)
        elif name.startswith("length"):
            text = data.decode("utf-8", "replace")
            for read in (length_mm, ratio_value, sizes_mm):
                try:
                    read(text)
                except bf.BlockfitError:
                    continue
        elif name.startswith("numbers"):
            _numbers(data)
        else:
            figure = bf.read_figure(file, unit="mm", pitch=8)
            if len(data) % 7 == 0:
                bf.largest(figure, bf.Block.box(400, 300, 500), stance=bf.Stance.upright(10))
        return "result"
    except bf.BlockfitError as error:
        return type(error).__name__ if str(error) else "AN ERROR WITHOUT WORDS"


def _numbers(data: bytes) -> None:
    """Take the bytes as numbers for blocks, figures, options and readings."""
    values = np.frombuffer(data[: len(data) // 8 * 8], np.float64)
    if len(values) < 12:
        return
    block = bf.Block.box(*[float(v) for v in values[:3]], skin=float(values[3]))
    figure = bf.Figure.from_points(
        values[4 : 4 + (len(values) - 4) // 3 * 3].reshape(-1, 3), tolerance=abs(float(values[3]))
    )
    fit = bf.largest(figure, block, cover=float(values[5]), stance=bf.Stance(0, 30), max_cells=2000)
    if fit.placement is not None:
        bf.stone_cover(fit)
        bf.pointing(fit, datum=Datum.lines(centre=float(values[6])))


def inputs(count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """Yield so many mutated inputs; the same for the same seed."""
    chance = random.Random(seed)
    honest = seeds()
    names = list(honest)
    for _ in range(count):
        kind = chance.randrange(10)
        if kind == 0:
            text = chance.choice(LENGTHS).encode()
            yield "length.txt", mutated(text, chance)
        elif kind == 1:
            size = 4 + 3 * chance.randrange(3, 8)
            numbers = np.array(
                [chance.choice([100.0, 500.0, 1e-9, 1e12, -5.0, 0.0, chance.uniform(0, 900)]) for _ in range(size)]
            )
            yield "numbers.bin", mutated(numbers.tobytes(), chance) if chance.random() < 0.3 else numbers.tobytes()
        else:
            name = chance.choice(names)
            yield name, mutated(honest[name], chance)


def limited(job: Callable[[], str]) -> str:
    """Return what a job says, or raise `Slow`."""

    def ring(*_: object) -> None:
        raise Slow(f"more than {SECONDS} s of work")

    # Seconds of work, not of the clock: a machine that is busy with other things makes nothing slow.
    old = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    try:
        return job()
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, old)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    warnings.simplefilter("error")
    logging.getLogger("trimesh").setLevel(logging.CRITICAL)
    ends: Counter[str] = Counter()
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        trimesh.creation.box((10, 10, 10)).export(folder / "whole.stl")
        for number, (name, data) in enumerate(inputs(count, seed)):
            try:
                ends[limited(lambda name=name, data=data: tried(name, data, folder))] += 1
            except BaseException as error:  # anything at all is a finding
                if isinstance(error, KeyboardInterrupt):
                    raise
                ends["FOUND " + type(error).__name__] += 1
                CORPUS.mkdir(parents=True, exist_ok=True)
                (CORPUS / f"{seed}-{number}-{name}").write_bytes(data)
                print(f"{seed}-{number}-{name}: {type(error).__name__}: {str(error)[:160]}", flush=True)
    print(f"{count} inputs in {time.perf_counter() - start:.0f} s: {dict(ends)}")


if __name__ == "__main__":
    main()

"""Certificates of the twenty pairs of regular solids: cells, bytes, and seconds of processor time to find and check.

``python benchmarks/certificates.py GAP [INNER OUTER]`` prints a row of the table in RESULTS.md for each pair."""

import sys
import time
from itertools import permutations
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

from regular import SOLIDS

import blockfit as bf


def row(inner: str, outer: str, gap: float) -> str:
    figure, block = bf.Figure.from_points(SOLIDS[inner] * 1000), bf.Block.convex(SOLIDS[outer] * 1000)
    searched = bf.largest(figure, block, gap=gap)
    found = time.process_time()
    fit = bf.largest(figure, block, gap=gap, certificate=True)
    written = time.process_time()
    certificate = fit.certificate
    if certificate is None:
        return f"| {inner} in {outer} | {fit.scale:.9f} | none | {searched.cells:,} | | | | |"
    result = bf.verify(certificate, figure, block)
    checked = time.process_time()
    assert result.valid, result.reason
    size, cells = len(certificate.as_bytes()), certificate.cells
    return (
        f"| {inner} in {outer} | {fit.scale:.9f} | {fit.gap:.1e} | {searched.cells:,} | {cells:,} | {size / cells:.0f} "
        f"| {written - found:.1f} | {checked - written:.2f} |"
    )


if __name__ == "__main__":
    pairs = [tuple(sys.argv[2:4])] if len(sys.argv) > 2 else list(permutations(SOLIDS, 2))
    for inner, outer in pairs:
        print(row(inner, outer, float(sys.argv[1])), flush=True)

"""The five regular solids, by their coordinates (Euclid XIII; any textbook), scaled to edge 1."""

import numpy as np

PHI = (1 + 5**0.5) / 2


def _cyclic(rows: list[tuple[float, float, float]]) -> np.ndarray:
    return np.array([np.roll(row, k) for row in rows for k in range(3)], float)


def _signs(x: float, y: float, z: float) -> list[tuple[float, float, float]]:
    values = [sorted({v, -v}) for v in (x, y, z)]
    return [(a, b, c) for a in values[0] for b in values[1] for c in values[2]]


CUBE = np.array(_signs(0.5, 0.5, 0.5))
TETRAHEDRON = np.array([(1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1)], float) / np.sqrt(8)
OCTAHEDRON = np.unique(_cyclic(_signs(1, 0, 0)), axis=0) / np.sqrt(2)
ICOSAHEDRON = np.unique(_cyclic(_signs(0, 1, PHI)), axis=0) / 2
DODECAHEDRON = np.unique(np.vstack([_signs(1, 1, 1), _cyclic(_signs(0, 1 / PHI, PHI))]), axis=0) * PHI / 2
SOLIDS = {
    "tetrahedron": TETRAHEDRON,
    "cube": CUBE,
    "octahedron": OCTAHEDRON,
    "dodecahedron": DODECAHEDRON,
    "icosahedron": ICOSAHEDRON,
}

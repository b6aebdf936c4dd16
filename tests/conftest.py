"""Figures that the tests share, and how random tests are drawn."""

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, settings

from blockfit import Figure, read_figure
from blockfit.__main__ import main

settings.register_profile(
    "ci", derandomize=True, deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("ci")

HERE = Path(__file__).parent
SHARED = Path(os.environ.get("BLOCKFIT_MESHES", HERE.parent.parent / "shared" / "meshes"))

needs_meshes = pytest.mark.skipif(not SHARED.is_dir(), reason="the folder of real scans is not here")


@pytest.fixture(scope="session")
def kneeling() -> Figure:
    """A kneeling figure on a plinth, arm raised: CC0, 6,912 faces."""
    return read_figure(HERE / "data" / "kneeling.stl", unit="m")


def run(capsys, *arguments):
    """The command line's exit code, and what it wrote to stdout and stderr."""
    code = 0
    try:
        main(list(arguments))
    except SystemExit as stop:
        code = int(stop.code or 0)
    out, err = capsys.readouterr()
    return code, out, err


def cuboid(width: float, depth: float, height: float, at: tuple[float, float, float] = (0, 0, 0)) -> Figure:
    """A box of twelve faces with its lower front left corner at ``at``."""
    corners = np.array([[x, y, z] for x in (0, width) for y in (0, depth) for z in (0, height)], float) + at
    faces = [
        [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
        [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
    ]  # fmt: skip
    return Figure(corners, faces)


def joined(*figures: Figure) -> Figure:
    """Several surfaces in one."""
    starts = np.cumsum([0] + [len(f.vertices) for f in figures])
    vertices = np.concatenate([f.vertices for f in figures])
    return Figure(vertices, np.concatenate([f.faces + s for f, s in zip(figures, starts, strict=False)]))


def ball(radius: float, detail: int = 4) -> Figure:
    """A ball around the origin, by trimesh."""
    import trimesh

    mesh = trimesh.creation.icosphere(subdivisions=detail, radius=radius)
    return Figure(mesh.vertices, mesh.faces)


def torus(major: float, minor: float) -> Figure:
    """A ring lying flat around the origin, by trimesh."""
    import trimesh

    mesh = trimesh.creation.torus(major, minor, major_sections=96, minor_sections=48)
    return Figure(mesh.vertices, mesh.faces)

"""Scans made from a solid by a known motion, scale and noise, with holes, a table and clutter.

By manifold3d and numpy alone: nothing here comes from what it checks."""

import manifold3d as m3
import numpy as np
from scipy.spatial.transform import Rotation

import blockfit as bf

__all__ = [
    "FIT",
    "MARKS",
    "manifold_of",
    "marks_of",
    "moved_back",
    "outward",
    "scan_of",
    "some_motion",
    "statue",
    "surface_of",
]


def surface_of(solid):
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)


def manifold_of(figure):
    faces = np.array(figure.faces, np.uint64, order="C")
    solid = m3.Manifold(m3.Mesh64(np.array(figure.vertices, float, order="C"), faces))
    assert solid.status() == m3.Error.NoError
    return solid


def statue() -> bf.Figure:
    """A standing figure of a plinth, a column, a round head and an arm."""
    parts = [
        m3.Manifold.cube((480, 360, 80)).translate((-240, -180, 0)),
        m3.Manifold.cylinder(700, 130, 90, 48).translate((0, 0, 70)),
        m3.Manifold.sphere(120, 48).translate((0, -20, 850)),
        m3.Manifold.cube((260, 110, 110)).translate((40, -55, 560)),
    ]
    return bf.Figure(*surface_of(m3.Manifold.batch_boolean(parts, m3.OpType.Add)), name="statue")


BLOCK = bf.Block.box(640, 520, 1080, stone="limestone", name="B-7")
FIT = bf.safest(statue(), BLOCK, cover={"bottom": 0, "other": 10}, stance=bf.Stance.fixed())
MARKS = np.array([[0, 40, 300], [640, 30, 500], [20, 520, 1000], [640, 520, 900.0]])


def outward(vertices, faces):
    """Unit normals (n, 3) of the vertices."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    normal = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(normal, faces[:, k], np.cross(b - a, c - a))
    return normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-12)[:, None]


def some_motion(rng, scale=1.0):
    """A turn of any size, a shift, a scale: block = scale · turn · scan + shift."""
    return scale, Rotation.from_rotvec(rng.normal(size=3)).as_matrix(), rng.uniform(-800, 800, 3)


def moved_back(points, motion):
    """Places of the block as the scanner sees them."""
    scale, turn, shift = motion
    return (points - shift) @ turn / scale


def marks_of(motion, rng, by=1.0, places=MARKS):
    """Crosses read on the scan, each off by about ``by`` mm along every axis."""
    return {f"cross {k}": (moved_back(p + by * rng.normal(size=3), motion), p) for k, p in enumerate(places)}


def scan_of(solid, rng, motion, *, edge=12.0, noise=1.0, holes=12, table=True, clutter=True, closed=False):
    """A scan of a solid: its foot open unless ``closed``, noise along the normals, holes, a table, balls before it."""
    vertices, faces = surface_of(solid.refine_to_length(edge))
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    vertices = vertices + noise * rng.normal(size=(len(vertices), 1)) * outward(vertices, faces)
    middle = vertices[faces].mean(axis=1)
    kept = np.ones(len(faces), bool)
    if not closed:
        kept &= vertices[faces][:, :, 2].max(axis=1) > low[2] + 3 * noise + 0.1
        for _ in range(holes):
            kept &= np.linalg.norm(middle - middle[rng.integers(len(middle))], axis=1) > rng.uniform(4, 18)
    parts = [(vertices, faces[kept])]
    if table:
        line = np.linspace(-1.2, 1.2, 60)
        grid = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1).reshape(-1, 2) * (high - low)[:2]
        top = np.column_stack([grid + (low + high)[:2] / 2, np.full(len(grid), low[2])])
        at = (np.arange(59)[:, None] * 60 + np.arange(59)).ravel()
        flat = np.concatenate([np.stack([at, at + 60, at + 61], axis=1), np.stack([at, at + 61, at + 1], axis=1)])
        centre = top[flat].mean(axis=1)[:, :2]
        flat = flat[~((centre > low[:2] - 4) & (centre < high[:2] + 4)).all(axis=1)]
        parts.append((top + noise * rng.normal(size=(len(top), 1)) * [0, 0, 1], flat))
    if clutter:
        for k in range(4):
            parts.append(
                surface_of(m3.Manifold.sphere(45, 24).translate((low[0] + 170 * k, low[1] - 160, low[2] + 45)))
            )
    starts = np.cumsum([0] + [len(v) for v, _ in parts])
    vertices = np.concatenate([v for v, _ in parts])
    faces = np.concatenate([f + s for (_, f), s in zip(parts, starts, strict=False)])
    used, faces = np.unique(faces, return_inverse=True)
    return bf.Figure(moved_back(vertices[used], motion), faces.reshape(-1, 3), name="scan")

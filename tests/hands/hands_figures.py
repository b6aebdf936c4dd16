"""Random figures in random blocks for the second pair of hands: shapes that touch, coincide, overlap and taper.

Built with manifold3d alone. ``case(seed)`` is the same for the same seed, on every machine. mm, block frame."""

from dataclasses import dataclass

import manifold3d as m3
import numpy as np
from scipy.spatial import ConvexHull

import blockfit as bf

__all__ = ["Case", "KINDS", "case", "figure_of", "manifold_of", "surface_of"]

# How many of every twenty cases ask what: the quick ones often, the slow ones now and then.
KINDS = ("points", "planes", "setback", "planes", "setback") * 3 + (
    "points",
    "planes",
    "setback",
    "recovery",
    "offcuts",
)
SHAPES = ("box", "ball", "cylinder", "cone", "needle", "torus")


@dataclass(frozen=True, eq=False)
class Case:
    """A fit, with what was given: the solid as it lies in the block, the block's corners and the cover asked."""

    seed: int
    kind: str
    fit: bf.Fit
    solid: m3.Manifold
    corners: np.ndarray
    cover: dict[str, float]
    factor: float  # from the model's size to the block's

    @property
    def rng(self):
        """A fresh source of the choices that follow from the seed."""
        return np.random.default_rng([self.seed, 1])

    @property
    def is_box(self) -> bool:
        return bool(np.isclose(np.abs(self.planes[:, :3]).max(axis=1), 1).all())

    @property
    def block(self) -> m3.Manifold:
        return m3.Manifold.hull_points(np.ascontiguousarray(self.corners))

    @property
    def planes(self) -> np.ndarray:
        """The block's faces (n, 4): outward normals and offsets, normal · x <= offset inside."""
        hull = ConvexHull(self.corners).equations
        return np.unique(np.round(hull * [1, 1, 1, -1], 9), axis=0)


def surface_of(solid: m3.Manifold) -> tuple[np.ndarray, np.ndarray]:
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)


def figure_of(solid: m3.Manifold, **more) -> bf.Figure:
    return bf.Figure(*surface_of(solid), **more)


def manifold_of(vertices, faces) -> m3.Manifold:
    """A closed surface as a solid; the winding is kept, and an error is an error of the one who asked."""
    mesh = m3.Mesh64(np.array(vertices, float, order="C"), np.array(faces, np.uint64, order="C"))
    mesh.merge()
    solid = m3.Manifold(mesh)
    assert solid.status() == m3.Error.NoError, solid.status()
    return solid


def _about_origin(rng, shape: str) -> m3.Manifold:
    """A shape whose bounding box is centred on the origin."""
    segments = int(rng.choice([8, 12, 16, 24]))
    tens = lambda low, high: float(rng.integers(low, high)) * 10  # noqa: E731
    if shape == "box":
        return m3.Manifold.cube((tens(3, 16), tens(3, 12), tens(3, 20)), True)
    if shape == "ball":
        return m3.Manifold.sphere(tens(2, 7), segments)
    if shape == "cylinder":
        return m3.Manifold.cylinder(tens(4, 20), tens(1, 6), -1, segments, True)
    if shape == "cone":
        tip = 0.0 if rng.random() < 0.7 else 1.0
        return m3.Manifold.cylinder(tens(6, 25), tens(1, 6), tip, segments, True)
    if shape == "needle":
        thick = float(rng.choice([1, 1.5, 2, 3]))
        if rng.random() < 0.5:
            return m3.Manifold.cube((thick, thick, tens(4, 18)), True)
        return m3.Manifold.cylinder(tens(4, 18), thick / 2, -1, 8, True)
    ring = m3.CrossSection.circle(tens(1, 3), 10).translate((tens(3, 7), 0))
    return m3.Manifold.revolve(ring, segments)


def _turned(rng, solid: m3.Manifold) -> m3.Manifold:
    if rng.random() < 0.3:
        return solid.rotate(tuple(rng.uniform(-180, 180, 3)))
    return solid.rotate(tuple(90.0 * rng.integers(0, 4, 3)))


def _box_of(solid: m3.Manifold) -> tuple[np.ndarray, np.ndarray]:
    box = np.array(solid.bounding_box())
    return box[:3], box[3:]


def _placed(rng, part: m3.Manifold, onto: m3.Manifold) -> m3.Manifold:
    """A part against another: overlapping, touching, with one face in its plane, or at an edge."""
    (low, high), (own_low, own_high) = _box_of(onto), _box_of(part)
    how = rng.choice(["overlapping", "touching", "coplanar", "edge"], p=[0.4, 0.25, 0.25, 0.1])
    at = rng.uniform(low, high)
    at = np.round(at / 10) * 10 if rng.random() < 0.6 else at
    move = at - (own_low + own_high) / 2
    for axis in rng.permutation(3)[: {"overlapping": 0, "edge": 2}.get(how, 1)]:
        beyond = rng.random() < 0.5
        if how == "coplanar":
            move[axis] = high[axis] - own_high[axis] if beyond else low[axis] - own_low[axis]
        else:
            move[axis] = high[axis] - own_low[axis] if beyond else low[axis] - own_high[axis]
    return part.translate(tuple(move))


def _figure(rng) -> m3.Manifold:
    """A union of two to six shapes, the first of them a box or a cylinder to stand on."""
    parts = [_about_origin(rng, str(rng.choice(["box", "cylinder"])))]
    for _ in range(int(rng.integers(1, 6))):
        part = _turned(rng, _about_origin(rng, str(rng.choice(SHAPES))))
        parts.append(_placed(rng, part, parts[int(rng.integers(len(parts)))]))
    whole = m3.Manifold.batch_boolean(parts, m3.OpType.Add)
    if rng.random() < 0.15:
        whole = whole.rotate(tuple(rng.uniform(-180, 180, 3)))
    return whole


def _landmarks(rng, vertices, faces) -> dict[str, tuple[float, float, float]]:
    """Places on the surface: corners, and points of triangles."""
    places = {}
    for number in range(int(rng.choice([0, 0, 2, 4]))):
        weights = rng.dirichlet(np.ones(3)) if number % 2 else np.eye(3)[0]
        places[f"mark {number + 1}"] = tuple(weights @ vertices[faces[rng.integers(len(faces))]])
    return places


def _corners(rng, size: np.ndarray, shape: str) -> np.ndarray:
    """The corners of a block about so large: a box, a wedge, one with corners off, or one with no square face."""
    unit = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float)
    whole = unit * size
    if shape == "wedge":  # the front leans back
        whole[(unit[:, 1] == 0) & (unit[:, 2] == 1), 1] += float(rng.uniform(0.05, 0.3)) * size[1]
    elif shape == "slanted":
        whole += np.where(unit == 0, 1, -1) * rng.uniform(0, 0.12, (8, 3)) * size * [1, 1, 0]
    elif shape == "corner off":
        off = rng.choice(8, int(rng.integers(1, 3)), replace=False)
        cuts = [
            whole[k] + np.eye(3)[axis] * (1 - 2 * unit[k, axis]) * float(rng.uniform(0.1, 0.3)) * size[axis]
            for k in off
            for axis in range(3)
        ]
        whole = np.vstack([np.delete(whole, off, axis=0), cuts])
    return whole


def _block(corners, shape: str, flaws=()) -> bf.Block:
    box = shape == "box"
    block = bf.Block.box(*corners.max(axis=0), stone="marble") if box else bf.Block.convex(corners, stone="marble")
    return block.with_flaws(*flaws) if flaws else block


def _stance(rng) -> bf.Stance:
    return bf.Stance.upright(180) if rng.random() < 0.15 else bf.Stance.fixed()


def case(seed: int, kind: str = "") -> Case:
    """The figure, block and fit of a seed; ``kind`` asks for another kind of question than the seed's own."""
    rng = np.random.default_rng([seed, 0])
    kind = kind or KINDS[seed % len(KINDS)]
    solid = _figure(rng)
    vertices, faces = surface_of(solid)
    ratio, scale = float(rng.choice([1, 1, 2, 4])), float(rng.choice([1, 1, 1.5, 0.7]))
    figure = bf.Figure(vertices, faces, landmarks=_landmarks(rng, vertices, faces), ratio=ratio)
    cover = {"bottom": 0.0, "other": float(rng.choice([2, 10, 20]))}
    stance, shape = _stance(rng), str(rng.choice(["box", "box", "wedge", "slanted", "corner off"]))
    if kind == "points" and rng.random() < 0.25:
        shape, cover["other"] = "box", 25.0  # room for corners that lie elsewhere than they should
    size = np.ptp(vertices, axis=0) * scale + 2 * cover["other"] + rng.uniform(0, [80, 200, 80])
    while True:
        corners = _corners(rng, size, shape)
        fit = bf.safest(figure, _block(corners, shape), scale=scale, cover=cover, stance=stance)
        if fit.verdict is bf.Verdict.FITS:
            break
        size = size * 1.2 + 10
    placed = fit.solid()
    return Case(seed, kind, fit, manifold_of(placed.vertices, placed.faces), corners, cover, ratio * scale)

"""Random figures, blocks, stances and questions whose certificates are checked."""

from collections.abc import Callable

import numpy as np

import blockfit as bf

TURNS = (0.0, 10.0, 45.0, 90.0, 120.0, 180.0)


def random_figure(random: np.random.Generator) -> bf.Figure:
    """Scattered points, flat ones, a ball's, those of a grid, and far from the origin; some known to a tolerance."""
    kind, count = random.integers(6), int(random.integers(4, 40))
    points = random.normal(size=(count, 3)) * random.uniform(20, 200, 3)
    if kind == 1:
        points[:, 2] = 0
    elif kind == 2:
        points *= 100 / np.linalg.norm(points, axis=1, keepdims=True)
    elif kind == 3:
        points = np.round(points / 50) * 50
    elif kind == 4:
        points += random.uniform(-1e4, 1e4, 3)
    if len(np.unique(points, axis=0)) < 3:
        points = random.normal(size=(6, 3)) * 100
    return bf.Figure.from_points(points, tolerance=float(random.choice([0, 0, 2.5])))


def random_block(random: np.random.Generator) -> bf.Block:
    """Boxes, wedges, hulls of points, and blocks between many planes."""
    kind = random.integers(5)
    if kind < 2:
        return bf.Block.box(*random.uniform(100, 900, 3).round(2).tolist(), skin=float(random.choice([0, 7.5])))
    if kind == 2:
        a, b, c, d = random.uniform(200, 900, 4)
        return bf.Block.convex([[x, y, z] for x in (0, a) for y, z in ((0, 0), (b, 0), (0, c), (d / 2, c))])
    if kind == 3:
        points = random.normal(size=(int(random.integers(5, 14)), 3))
        return bf.Block.convex(
            400 * points / np.linalg.norm(points, axis=1, keepdims=True) + random.uniform(-1e3, 1e3, 3)
        )
    normals = np.vstack([random.normal(size=(int(random.integers(4, 26)), 3)), np.eye(3), -np.eye(3)])
    return bf.Block.from_planes(normals, random.uniform(250, 500, len(normals)) * np.linalg.norm(normals, axis=1))


def random_stance(random: np.random.Generator) -> bf.Stance:
    tilt, turn = float(random.choice([1, 15, 60, 95, 150])), float(random.choice(TURNS))
    stances = [bf.Stance.free(), bf.Stance.upright(), bf.Stance.upright(turn), bf.Stance.leaning(tilt, turn)]
    return [*stances, bf.Stance.fixed()][random.integers(5)]


def random_case(seed: int) -> tuple[bf.Figure, bf.Block, Callable[[], bf.Fit]]:
    """A figure, a block, and a question about them that asks for a certificate."""
    random = np.random.default_rng(seed)
    figure, block, stance = random_figure(random), random_block(random), random_stance(random)
    names = block.names
    covers = [0, 12, {names[random.integers(len(names))]: float(random.choice([0, 30])), "other": 10}]
    asked = {"stance": stance, "cover": covers[random.integers(3)]}
    if random.uniform() < 0.15:
        asked["stands_on"] = "any" if block.kind == "box" else names[:2]
    kind = int(random.integers(4))
    largest = bf.largest(figure, block, gap=1e-2, **asked)
    if kind < 2 or largest.placement is None:
        return figure, block, lambda: bf.largest(figure, block, gap=1e-3, certificate=True, **asked)
    scale = largest.scale * float(random.choice([0.5, 0.9, 1.0, 1.2]))
    seek = "cover" if kind == 2 else "setback"
    return figure, block, lambda: bf.safest(figure, block, scale=scale, seek=seek, gap=1e-3, certificate=True, **asked)

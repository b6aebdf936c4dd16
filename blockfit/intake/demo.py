"""An invented maquette, made by code: a lamplighter kneeling on a low plinth, shielding a lantern, one arm akimbo.

Quarter size: about 290 mm tall; blocks of an invented yard to choose among."""

from functools import cache

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.intake.scan import repaired
from blockfit.kinds import kinds_checked
from blockfit.measure.booleans import level_surface
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.stone import Stone
from blockfit.units import ratio_value

__all__ = ["demo_blocks", "demo_figure", "demo_maquette", "demo_scan"]

_PITCH = 4.0  # mm at quarter size
_BLEND = 6.0  # mm: how softly limbs run into each other
# Limbs: from, to, radius at either end; mm at quarter size, z up, looking towards −y.
_LIMBS = [
    ((0, 20, 112), (0, 16, 150), 33, 29),  # hips
    ((0, 16, 150), (0, 4, 204), 28, 30),  # chest
    ((-24, 8, 206), (24, 8, 206), 16, 16),  # shoulders
    ((0, 2, 218), (0, -4, 240), 13, 13),  # neck
    ((0, -8, 254), (0, -12, 262), 23, 22),  # head
    ((0, -10, 274), (0, -8, 284), 27, 15),  # cap
    ((-18, 20, 108), (-24, -8, 46), 21, 17),  # the thigh that kneels
    ((-24, -8, 38), (-24, 72, 34), 16, 12),
    ((-24, 72, 34), (-24, 92, 26), 10, 9),
    ((18, 14, 108), (26, -58, 98), 21, 16),  # the knee that stands
    ((26, -58, 98), (26, -52, 34), 16, 12),
    ((26, -48, 27), (26, -84, 25), 11, 9),
    ((-38, 8, 204), (-80, 26, 168), 13, 11),  # the arm akimbo
    ((-80, 26, 168), (-36, 6, 130), 11, 10),
    ((38, 6, 204), (56, -34, 166), 13, 11),  # the arm with the lantern
    ((56, -34, 166), (26, -84, 176), 11, 9),
    ((26, -84, 172), (26, -86, 140), 12, 15),  # the lantern
    ((-16, 32, 202), (-36, 58, 58), 12, 13),  # the cloak, in three folds
    ((0, 36, 204), (0, 66, 58), 13, 14),
    ((16, 32, 202), (36, 58, 58), 12, 13),
]
_PLINTH = ((0, 4, 10), (62, 104, 10))  # centre and half sizes


def demo_maquette() -> tuple[Array, Ints]:
    """Return the maquette's closed surface, vertices in mm at quarter size."""
    vertices, faces = _maquette()
    return vertices.copy(), faces.copy()


def demo_scan(seed: int = 7) -> tuple[Array, Ints]:
    """Return the maquette as a hand-held scanner would give it: noisy, open below, with holes and specks."""
    random = np.random.default_rng(seed)
    vertices, faces = demo_maquette()
    centres = vertices[faces].mean(axis=1)
    kept = centres[:, 2] > 2.0  # nothing is seen of the underside
    for spot in centres[random.choice(np.flatnonzero(centres[:, 2] > 40), 6, replace=False)]:
        kept &= np.linalg.norm(centres - spot, axis=1) > random.uniform(3, 6)
    noisy = vertices + random.normal(scale=0.15, size=vertices.shape)
    specks = random.uniform([-90, -110, 10], [90, 110, 280], size=(12, 1, 3)) + random.normal(size=(12, 3, 3))
    count = len(noisy)
    flakes = np.arange(36).reshape(12, 3) + count
    return np.concatenate([noisy, specks.reshape(-1, 3)]), np.concatenate([faces[kept], flakes])


@kinds_checked
def demo_figure(*, scan: bool = True, ratio: float = 4.0) -> Figure:
    """Return the lamplighter at full size, from the repaired scan or from the clean maquette.

    >>> from blockfit.intake.demo import demo_figure
    >>> demo_figure(scan=False).is_solid
    True
    """
    ratio = ratio_value(ratio)
    vertices, faces = demo_scan() if scan else demo_maquette()
    ours, triangles, repairs = repaired(vertices * ratio, faces, name="lamplighter")
    marks = {"crown": (0.0, -8.0, 298.0), "elbow": (-90.0, 28.0, 168.0), "lantern": (26.0, -99.0, 150.0)}
    return Figure(
        ours,
        triangles,
        repairs=tuple(repairs),
        landmarks={name: tuple(ratio * value for value in at) for name, at in marks.items()},  # type: ignore[misc]
        name="lamplighter",
        ratio=ratio,
    )


def demo_blocks() -> list[Block]:
    """Return the blocks of an invented yard: limestone of one bed, weighed by the yard.

    Sizes are mm, of sawn boxes with a skin of 15 mm; prices are for the whole block. All of it is invented.

    >>> import blockfit as bf
    >>> [(block.name, block.size_mm, block.price) for block in bf.demo_blocks()][:2]
    [('L-11', (620.0, 900.0, 1250.0), 940.0), ('L-14', (800.0, 1000.0, 1300.0), 1390.0)]
    """
    stone = Stone("shell limestone", 2320, 2280, 2360, source="weighed by the yard (invented)")
    sizes = [
        ("L-11", 620, 900, 1250, 940.0),
        ("L-14", 800, 1000, 1300, 1390.0),
        ("L-17", 700, 950, 1500, 1330.0),
        ("L-20", 1100, 760, 1250, 1400.0),
    ]
    return [
        Block.box(width, depth, height, stone=stone, name=name, skin=15, price=price, bed="z")
        for name, width, depth, height, price in sizes
    ]


@cache
def _maquette() -> tuple[Array, Ints]:
    low, high = np.array([-104.0, -112, -12]), np.array([80.0, 122, 306])
    counts = np.ceil((high - low) / _PITCH).astype(np.int64) + 1
    lines = [low[k] + _PITCH * np.arange(counts[k]) for k in range(3)]
    points = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1)
    body = np.full(points.shape[:3], np.inf)
    for start, end, first, last in _LIMBS:
        body = _blended(body, _limb(points, np.array(start), np.array(end), first, last))
    centre, half = np.array(_PLINTH)
    plinth = np.max(np.abs(points - centre) - half, axis=-1)
    return level_surface(-np.minimum(body, plinth), low, _PITCH, tolerance_mm=0.1)


def _limb(points: Array, start: Array, end: Array, first: float, last: float) -> Array:
    """Return the distance from a limb: a segment whose radius runs from ``first`` to ``last``."""
    along = end - start
    share = np.clip((points - start) @ along / float(along @ along), 0, 1)
    away = np.linalg.norm(points - start - share[..., None] * along, axis=-1)
    return np.asarray(away - (first + (last - first) * share))


def _blended(first: Array, second: Array) -> Array:
    """Return the smooth lesser of two distances."""
    near = np.maximum(_BLEND - np.abs(np.nan_to_num(first, posinf=1e9) - second), 0) / _BLEND
    return np.asarray(np.minimum(first, second) - near * near * _BLEND / 4)

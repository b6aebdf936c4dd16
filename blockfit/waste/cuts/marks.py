"""Setting a cut out on the stone: the lines to snap on every face that it crosses, and how each is measured.

mm, block frame. Exact: worked out along lines between planes, from the block's faces and from what the pieces before
have left, never from a mesh. A line lies on the waste side of the saw's way: the kerf is on its far side."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from blockfit.facts.measures import Sure, fact
from blockfit.facts.results import Result, plain, record_of
from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.polytope import corners_or_none
from blockfit.geometry.tolerances import CLOSE, LEVEL, TOUCHING
from blockfit.solids.block import Block
from blockfit.units import rounded_down
from blockfit.waste.cuts.sweep import TOUCH_MM

__all__ = ["Edge", "Hollow", "Mark", "marks_of"]

_LEAST_MM = 0.01  # a line shorter than that is a corner
_SIDE_MM = 1e-3  # how far to either side of a cut stone is looked for
_UNDER_MM = 5e-3  # and how far under a face
_NEAR_MM = 5.0  # what stays further from a cut has no line of it


@dataclass(frozen=True, slots=True, eq=False)
class Hollow:
    """Where stone is gone, kerf included, ``normals @ x >= offsets``, and the name of the face that each plane left.

    ``normals`` (k, 3) are unit vectors into the hollow, ``offsets`` (k,) mm; exact. A plan's ``hollows`` are in the
    order in which they are made.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> plan = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1, most_cuts=1)
    >>> hollow, cut = plan.hollows[0], plan.pieces[0].cuts[0]
    >>> hollow.names, round(cut.offset_mm - float(hollow.offsets[0]), 3)  # it begins where the kerf does
    (('cut 1 of piece 1',), 10.0)
    """

    normals: Array
    offsets: Array
    names: tuple[str, ...] = ()

    @classmethod
    def after(cls, normals: Array, offsets: Array, cuts: Array | None, piece: str) -> "Hollow":
        """Return what a piece leaves behind, its planes named by the piece's cuts (normals (c, 3)) among them."""
        named = []
        for normal in normals:
            numbers = [] if cuts is None else [k for k, cut in enumerate(cuts, 1) if (cut == normal).all()]
            named.append(f"cut {numbers[0]} of {piece}" if numbers else f"a side of {piece}")
        return cls(normals, offsets, tuple(named))


@dataclass(frozen=True, slots=True)
class Edge:
    """A place on an edge of the block: ``mm`` from the corner where the edge of two ``faces`` meets a third.

    Exact: measured on the block as bought.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.safest(cube, bf.Block.box(500, 100, 100), stance=bf.Stance.fixed())
    >>> cut = bf.best_first_cut(fit, clearance=20, kerf=10).cut
    >>> edge = cut.marks[0].start_edge
    >>> edge.faces, edge.corner, round(edge.mm, 3)
    (('front', 'top'), 'right', 170.0)
    """

    faces: tuple[str, str] = field(metadata=fact("edge of", Sure.EXACT))
    corner: str = field(metadata=fact("from the", Sure.EXACT))
    mm: float = field(metadata=fact("along it", Sure.EXACT, key="from_corner_mm"))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Mark(Result):
    """A line to snap on one face of the stone before a piece is begun, from ``start_mm`` to ``end_mm`` (3,).

    Both places lie on the face and on the waste side of the cut; ``waste`` (3,) points along the face to the piece.
    The kerf reaches from this line to ``kept_mm`` (2, 3), ``apart_mm`` off it along the face. ``angle_deg`` is the
    angle between face and cut on the waste side, 90 where it goes in square; ``depth_mm`` how deep it may go below
    start and end, square to the line along the cut, where it ends in stone at another cut's far side:
    ``None`` where it goes through. ``start_edge`` and ``end_edge`` measure the places along edges of the block that
    still have their corner; ``None`` where there is no such edge. ``normal`` (3,) is the face's, outward.

    Lengths are mm and angles degrees, in the block's frame; exact for the block's faces and the cuts before.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.safest(cube, bf.Block.box(500, 100, 100), stance=bf.Stance.fixed())
    >>> cut = bf.best_first_cut(fit, clearance=20, kerf=10).cut
    >>> mark = cut.marks[0]
    >>> mark.face, round(float(mark.start_mm[0]), 3), (mark.waste.round(6) + 0).tolist(), round(mark.angle_deg, 3)
    ('front', 330.0, [1.0, 0.0, 0.0], 90.0)
    >>> round(mark.apart_mm, 3), mark.depth_mm  # as wide as the kerf, where it goes in square; and it goes through
    (10.0, None)
    """

    face: str = field(metadata=fact("face", Sure.EXACT))
    start_mm: Array = field(metadata=fact("from", Sure.EXACT))
    end_mm: Array = field(metadata=fact("to", Sure.EXACT))
    waste: Array = field(metadata=fact("waste, as a vector", Sure.EXACT))
    apart_mm: float = field(metadata=fact("kerf on the face", Sure.EXACT))
    angle_deg: float = field(metadata=fact("angle", Sure.EXACT))
    depth_mm: tuple[float, float] | None
    start_edge: Edge | None = field(metadata=fact("start", Sure.EXACT))
    end_edge: Edge | None = field(metadata=fact("end", Sure.EXACT))
    normal: Array

    def record(self) -> dict[str, Any]:
        """Return the line as plain data; depths to stop at are rounded down."""
        depth = None if self.depth_mm is None else [rounded_down(by, 3) for by in self.depth_mm]
        return {**record_of(self), "kept_side_mm": plain(self.kept_mm), "stop_depth_mm": depth}

    @property
    def kept_mm(self) -> Array:
        """The (2, 3) ends of the line on the figure's side of the kerf, on the same face."""
        return np.stack([self.start_mm, self.end_mm]) - self.apart_mm * self.waste


@dataclass(frozen=True, slots=True, eq=False)
class _Stone:
    """The stone as it then stands, and the piece's planes: what asks whether there is stone at places (n, 3).

    ``gone_normals`` (p, 3) and ``gone_offsets`` (p,) are the planes of the hollows near the cut, one hollow after the
    other; ``first`` (h,) says where each begins among them.
    """

    block: Block
    gone: Sequence[Hollow]
    normals: Array
    offsets: Array
    kerfs: Array
    gone_normals: Array
    gone_offsets: Array
    first: Ints

    def has(self, points: Array) -> Flags:
        inside = (points @ self.block.normals.T < self.block.offsets_mm - TOUCH_MM).all(axis=1)
        if len(self.first):
            past = points @ self.gone_normals.T - self.gone_offsets  # (n, p): a piece of 100 hollows has some 300
            inside &= ~(np.minimum.reduceat(past, self.first, axis=1) > TOUCH_MM).any(axis=1)
        return np.asarray(inside)

    def is_beyond(self, points: Array, k: int) -> Flags:
        """Whether places in the plane of cut ``k`` lie on the piece's side of the other cuts."""
        others = np.arange(len(self.normals)) != k
        return np.asarray((points @ self.normals[others].T >= self.offsets[others] - TOUCH_MM).all(axis=1))

    def is_crossed(self, points: Array, k: int) -> Flags:
        """Whether cut ``k`` passes through stone at places in its plane: there is some on both sides of it."""
        side = _SIDE_MM * self.normals[k]
        return np.asarray(self.has(points + side) & self.has(points - side))


def marks_of(
    block: Block, gone: Sequence[Hollow], normals: Array, offsets: Array, kerfs: Array, k: int
) -> tuple[Mark, ...]:
    """Return the lines of cut ``k`` of a piece where ``normals @ x >= offsets``, in order round the stone.

    ``gone`` is what left the block before; ``kerfs`` (c,) the widths of the piece's cuts, on the other side of their
    planes.

    >>> import numpy as np
    >>> from blockfit import Block
    >>> from blockfit.waste.cuts.marks import marks_of
    >>> up, at, kerf = np.array([[0, 0, 1.0]]), np.array([1400.0]), np.array([12.0])
    >>> [(mark.face, mark.start_edge.mm) for mark in marks_of(Block.box(900, 700, 1600), [], up, at, kerf, 0)]
    [('front', 200.0), ('right', 200.0), ('back', 200.0), ('left', 200.0)]
    """
    cut = _where_cut(block, normals, offsets, k)
    if len(cut) == 0:
        return ()
    stone = _stone_near(block, gone, normals, offsets, kerfs, cut)
    faces = list(zip(block.names, block.normals, block.offsets_mm.tolist(), strict=True))
    for hollow in reversed(gone):  # the stone's face looks into the hollow: along its normal
        faces += list(zip(hollow.names, hollow.normals, hollow.offsets.tolist(), strict=True))
    heights = np.stack([face for _, face, _ in faces]) @ cut.T - np.array([[at] for _, _, at in faces])
    found: list[Mark] = []
    for number in np.flatnonzero((heights.min(axis=1) < _NEAR_MM) & (heights.max(axis=1) > -_NEAR_MM)):
        name, face, at = faces[number]
        found += _on_face(stone, k, name, face, at, found)
    return _in_order(found)


def _where_cut(block: Block, normals: Array, offsets: Array, k: int) -> Array:
    """Return the corners (n, 3) of a slab about cut ``k``, as far as the block and the piece's other planes let it
    run; none where it misses the block."""
    bounds = np.vstack([block.normals, -normals, normals[k]])
    at = np.concatenate([block.offsets_mm, _NEAR_MM - offsets, [offsets[k] + _NEAR_MM]])
    corners = corners_or_none(bounds, at)
    return np.zeros((0, 3)) if corners is None else corners


def _stone_near(
    block: Block, gone: Sequence[Hollow], normals: Array, offsets: Array, kerfs: Array, cut: Array
) -> _Stone:
    """Return the stone about a cut with these corners (n, 3): hollows that stay away from it are not asked."""
    near = [h for h in gone if (h.normals @ cut.T - h.offsets[:, None]).max(axis=1).min() > -_NEAR_MM]
    return _Stone(
        block=block,
        gone=gone,
        normals=normals,
        offsets=offsets,
        kerfs=kerfs,
        gone_normals=np.vstack([np.zeros((0, 3)), *[hollow.normals for hollow in near]]),
        gone_offsets=np.concatenate([np.zeros(0), *[hollow.offsets for hollow in near]]),
        first=np.cumsum([0, *[len(hollow.normals) for hollow in near]])[:-1],
    )


def _on_face(stone: _Stone, k: int, name: str, face: Array, at: float, known: Sequence[Mark]) -> list[Mark]:
    """Return the lines that the cut draws on one face, given by its outward normal and offset."""
    normal = stone.normals[k]
    along = np.cross(normal, face)
    slant = float(np.linalg.norm(along))  # sine of the angle between face and cut
    if slant < LEVEL:
        return []
    along = along / slant  # counter-clockwise round the cut as seen from the piece
    outward = np.cross(along, normal)
    start = np.linalg.solve(np.stack([normal, face, along]), np.array([float(stone.offsets[k]), at, 0.0]))
    spans = _spans(stone, k, start, along)
    middles = start + spans.mean(axis=1)[:, None] * along
    under, over = (middles + side * _UNDER_MM / slant * outward for side in (-1, 1))
    drawn = spans[stone.is_beyond(under, k) & stone.is_crossed(under, k) & ~stone.is_crossed(over, k)]
    marks: list[Mark] = []
    for low, high in _united(drawn):
        middle = start + (low + high) / 2 * along
        if any(_holds(mark, middle) for mark in known):
            continue
        ends = start + np.array([[low], [high]]) * along
        marks.append(
            Mark(
                face=name,
                start_mm=ends[0],
                end_mm=ends[1],
                waste=(normal - (normal @ face) * face) / slant,
                apart_mm=float(stone.kerfs[k]) / slant,
                angle_deg=float(np.degrees(np.arctan2(slant, float(face @ normal)))),
                depth_mm=_depths(stone, k, ends, outward),
                start_edge=_edge(stone, name, ends[0]),
                end_edge=_edge(stone, name, ends[1]),
                normal=face,
            )
        )
    return marks


def _united(spans: Array) -> list[tuple[float, float]]:
    """Return stretches (n, 2) of a line in order, those that touch as one."""
    united: list[tuple[float, float]] = []
    for low, high in spans.tolist():
        if united and low - united[-1][1] < _LEAST_MM:
            united[-1] = (united[-1][0], high)
        else:
            united.append((low, high))
    return united


def _spans(stone: _Stone, k: int, start: Array, along: Array) -> Array:
    """Return the parts (n, 2) of a line between all the planes that it crosses, about the block."""
    others = np.arange(len(stone.normals)) != k
    normals = np.vstack([stone.block.normals, stone.normals[others], stone.gone_normals])
    offsets = np.concatenate([stone.block.offsets_mm, stone.offsets[others], stone.gone_offsets])
    slope = normals @ along
    crossing = np.abs(slope) > CLOSE
    places = (offsets[crossing] - normals[crossing] @ start) / slope[crossing]
    reach = 2 * float(np.ptp(stone.block.corners_mm, axis=0).sum())
    middle = float((stone.block.corners_mm.mean(axis=0) - start) @ along)
    places = np.sort(places[np.abs(places - middle) < reach])
    spans = np.column_stack([places[:-1], places[1:]])
    return spans[spans[:, 1] - spans[:, 0] > _LEAST_MM]


def _holds(mark: Mark, point: Array) -> bool:
    """Whether a place lies on a line that is known already: two pieces may have left one face."""
    way = mark.end_mm - mark.start_mm
    share = float((point - mark.start_mm) @ way / (way @ way))
    return -CLOSE < share < 1 + CLOSE and bool(np.linalg.norm(mark.start_mm + share * way - point) < _LEAST_MM)


def _depths(stone: _Stone, k: int, ends: Array, outward: Array) -> tuple[float, float] | None:
    """Return how deep the cut may go below both ends of a line, where it ends in stone at another cut."""
    others = [j for j in range(len(stone.normals)) if j != k]
    stops = np.full(2, np.inf)
    for j in others:
        falling = float(stone.normals[j] @ outward)
        if falling > CLOSE:
            far = stone.offsets[j] - stone.kerfs[j]
            stops = np.minimum(stops, (ends @ stone.normals[j] - far) / falling)
    leaving = stone.block.normals @ outward
    through = np.full(2, np.inf)
    for normal, offset, by in zip(stone.block.normals, stone.block.offsets_mm, leaving, strict=True):
        if by < -CLOSE:
            through = np.minimum(through, (offset - ends @ normal) / -by)
    if (stops >= through - _LEAST_MM).all():
        return None
    first, last = np.minimum(stops, through).tolist()
    return first, last


def _edge(stone: _Stone, face: str, at: Array) -> Edge | None:
    """Return how a place on an edge of the block is measured from the nearer of its corners that still stands."""
    block = stone.block
    if face not in block.names:
        return None
    own = block.names.index(face)
    touching = np.abs(block.normals @ at - block.offsets_mm) < _LEAST_MM
    beside = [f for f in np.flatnonzero(touching) if f != own]
    corners = block.corners_mm
    on = np.abs(corners @ block.normals.T - block.offsets_mm) < TOUCHING * max(block.size_mm)  # (corners, faces)
    best: Edge | None = None
    for f in beside:
        for corner in np.flatnonzero(on[:, own] & on[:, f]):
            third = [block.names[j] for j in np.flatnonzero(on[corner]) if j not in (own, f)]
            away = float(np.linalg.norm(corners[corner] - at))
            if third and _stands(stone, corners[corner]) and (best is None or away < best.mm):
                best = Edge((face, block.names[f]), third[0], away)
    return best


def _stands(stone: _Stone, corner: Array) -> bool:
    """Whether a corner of the block has not been cut off."""
    return not any((hollow.normals @ corner >= hollow.offsets - TOUCH_MM).all() for hollow in stone.gone)


def _in_order(marks: Sequence[Mark]) -> tuple[Mark, ...]:
    """Return lines in order round the stone, each beginning where the one before ends as far as they meet."""
    left = list(marks)
    ordered: list[Mark] = []
    while left:
        if ordered:
            away = [float(np.linalg.norm(mark.start_mm - ordered[-1].end_mm)) for mark in left]
            nearest = int(np.argmin(away))
            if away[nearest] < _LEAST_MM:
                ordered.append(_joined(left.pop(nearest), ordered[-1]))
                continue
        # A line that none leads to comes first, where the cut ends in stone.
        loose = [m for m in left if all(np.linalg.norm(o.end_mm - m.start_mm) >= _LEAST_MM for o in left if o is not m)]
        first = (loose or left)[0]
        left = [mark for mark in left if mark is not first]
        ordered.append(first)
    return tuple(ordered)


def _joined(mark: Mark, before: Mark) -> Mark:
    """Return a line whose beginning is measured along the same edge as the end of the one before, if it has none."""
    return mark if mark.start_edge is not None else replace(mark, start_edge=before.end_edge)

"""Closed shells: which are stone and which are hollows, by what lies in what, and one solid from all of them.

A shell lies in another where every part of it does: points all over it are tried by winding numbers, and where all
are inside, the exact solids have the last word. Works on plain arrays in mm and never changes what it is given."""

from dataclasses import dataclass

import numpy as np

from blockfit.errors import OpenSurfaceError
from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.surface import is_closed, signed_volume, undirected_edges
from blockfit.geometry.tolerances import CLOSE, NOT_ZERO
from blockfit.measure.booleans import Solid, arrays_of, solid_from, unite
from blockfit.measure.distance import winding_numbers
from blockfit.measure.patches import areas, linked, members, pieces
from blockfit.solids.figure import Repair
from blockfit.units import L_PER_MM3

__all__ = ["one_solid"]

_POINTS = 600  # tried on every shell, fewer where there are very many shells
_ALL_POINTS = 300_000
_INSIDE = 0.98  # of the points of a shell inside another: then it may lie in it, and the exact solids are asked
_POKES = 1e-6  # of a shell's volume: what rounding may let stand out of the shell around it
_STEP = 1e-6  # of a shell's size: how far within and without its surface the points lie, so that touching is seen
_FEW = 0.2  # of an inward part's surface outside all others: below that it might be a hollow that breaks through


@dataclass(frozen=True, slots=True, eq=False)
class _Shell:
    """One shell's own vertices (n, 3) and faces (m, 3), its signed volume in mm³, and points all over it.

    ``points`` (2 p, 3) lie just within its surface, then at the same places just without.
    """

    vertices: Array
    faces: Ints
    volume: float
    points: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Nest:
    """Shells sorted: ``around[k]`` are those that k lies in, ``hollow`` (n,) what is a hollow and not stone.

    ``turned`` (n,) are those that faced the wrong way, ``outside`` (n,) is the share of each shell's points that lies
    outside all others, ``touching`` (n,) whether some of them lie on another's surface.
    """

    around: list[list[int]]
    hollow: Flags
    turned: Flags
    outside: Array
    touching: Flags


def one_solid(vertices: Array, faces: Ints, pairs: tuple[Ints, Ints] | None = None) -> tuple[Array, Ints, list[Repair]]:
    """Turn shells the right way out and unite them: hollows kept out, solids within hollows kept, stone counted once.

    A shell inside another that faces against it is a hollow; one that reaches out of it is a part, whichever way it
    faces. What lies in a hollow is stone again. ``pairs`` are those of `opposed_pairs`, where they are known.
    """
    piece = _closed_pieces(vertices, faces) if pairs is None else linked(len(faces), *pairs)
    if not piece.any():
        return _one_shell(vertices, faces)
    shells = _shells(vertices, faces, piece)
    nest = _nested(shells)
    turned = faces.copy()
    flip = nest.turned[piece]
    turned[flip] = turned[flip][:, ::-1]
    news = _turned_words(nest)
    if not is_closed(turned):
        return vertices, turned, news
    try:
        solid = _united(shells, nest)
    except OpenSurfaceError:
        return vertices, turned, news
    volumes = [abs(shell.volume) * (-1 if hollow else 1) for shell, hollow in zip(shells, nest.hollow, strict=True)]
    corners, triangles = arrays_of(solid)
    bodies = _bodies(corners, triangles)
    return corners, triangles, [*news, _united_words(nest, sum(volumes), solid.volume(), bodies)]


def _bodies(vertices: Array, faces: Ints) -> int:
    """Return how many bodies of stone a solid is in that share no corner; hollows are none."""
    return sum(signed_volume(vertices, faces[mine]) > 0 for mine in members(pieces(faces, len(vertices))))


def _one_shell(vertices: Array, faces: Ints) -> tuple[Array, Ints, list[Repair]]:
    if signed_volume(vertices, faces) >= 0:
        return vertices, faces, []
    news = Repair("inside out", "turned the surface right side out", (("shells", 1),))
    return vertices, faces[:, ::-1].copy(), [news]


def _closed_pieces(vertices: Array, faces: Ints) -> Ints:
    """Return which shell each face belongs to. Shells that only touch, in a corner, a side or a face, are separate."""
    finer = linked(len(faces), *_partners(faces))
    return finer if _all_closed(faces, finer) else pieces(faces, len(vertices))


def _all_closed(faces: Ints, piece: Ints) -> bool:
    """Tell whether every piece by itself is closed: each of its sides met as often one way as the other."""
    keys, direction = undirected_edges(faces)
    side = np.unique(keys, return_inverse=True)[1] * (int(piece.max()) + 1) + np.repeat(piece, 3)
    return not np.bincount(np.unique(side, return_inverse=True)[1], direction).any()


def _partners(faces: Ints) -> tuple[Ints, Ints]:
    """Return pairs of faces that go on into each other over a side.

    Where shells touch, four or more meet in a side; files hold one part after the other, so those next to each other
    in the file go together if they run along the side in opposite ways.
    """
    keys, direction = undirected_edges(faces)
    order = np.argsort(keys, kind="stable")
    keys, direction, owner = keys[order], direction[order], order // 3
    starts = np.flatnonzero(np.concatenate([[True], keys[1:] != keys[:-1]]))
    runs = np.diff(np.append(starts, len(keys)))
    rank = np.arange(len(keys)) - np.repeat(starts, runs)
    first = np.flatnonzero((rank % 2 == 0) & (np.repeat(runs, runs) % 2 == 0))
    fits = (direction[first] != direction[first + 1]) | (np.repeat(runs, runs)[first] == 2)
    return owner[first[fits]], owner[first[fits] + 1]


def _shells(vertices: Array, faces: Ints, piece: Ints) -> list[_Shell]:
    parts = members(piece)
    count = max(40, min(_POINTS, _ALL_POINTS // len(parts)))
    found = []
    for mine in parts:
        used, corners = np.unique(faces[mine], return_inverse=True)  # of few among many: quicker than marking all
        own, triangles = vertices[used], corners.reshape(-1, 3).astype(np.int64)
        volume = signed_volume(own, triangles)
        points = _points_over(own, triangles if volume > 0 else triangles[:, ::-1], count)
        found.append(_Shell(own, triangles, volume, points))
    return found


def _points_over(vertices: Array, faces: Ints, count: int) -> Array:
    """Return points spread evenly over a shell and some near its corners: just within it, then just without."""
    area = np.cumsum(areas(vertices, faces))
    at = (np.arange(count) + 0.5) / count
    spread = np.minimum(np.searchsorted(area, at * area[-1]), len(faces) - 1)
    root, v = np.sqrt((at * 0.7548776662466927 * count) % 1.0), (at * 0.5698402909980532 * count) % 1.0
    shares = np.stack([1 - root, root * (1 - v), root * v], axis=1)
    few = np.arange(0, len(faces), max(1, len(faces) // count))
    near_corners = np.tile(np.full((3, 3), 0.01) + 0.97 * np.eye(3), (len(few), 1))
    face = np.concatenate([spread, np.repeat(few, 3)])
    corners = vertices[faces[face]]  # (p, 3 corners, 3)
    places = (np.concatenate([shares, near_corners])[:, :, None] * corners).sum(axis=1)
    out = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    out /= np.maximum(np.linalg.norm(out, axis=1), NOT_ZERO)[:, None]
    step = _STEP * float(np.ptp(corners, axis=(0, 1)).max())
    return np.concatenate([places - step * out, places + step * out])


def _nested(shells: list[_Shell]) -> _Nest:
    """Return the shells sorted, the largest decided first."""
    count = len(shells)
    order = sorted(range(count), key=lambda k: (-abs(shells[k].volume), k))
    place = {k: at for at, k in enumerate(order)}
    around: list[list[int]] = [[] for _ in shells]
    inside_any = [np.zeros(len(shell.points) // 2, bool) for shell in shells]
    touching = np.zeros(count, bool)
    low, high = (np.array([end(shell.vertices, axis=0) for shell in shells]) for end in (np.min, np.max))
    for j in order:
        meets = (low <= high[j]).all(axis=1) & (high >= low[j]).all(axis=1)
        near = [k for k in np.flatnonzero(meets).tolist() if k != j]
        for k, inside in zip(near, _insides(shells, j, near), strict=True):
            within, without = np.split(inside, 2)
            inside_any[k] |= within
            touching[k] |= bool((within & ~without).any())
            if place[k] > place[j] and _lies_in(shells[k], shells[j], within):
                around[k].append(j)  # the smallest comes last
    hollow, turned = np.zeros(count, bool), np.zeros(count, bool)
    for k in order:
        if around[k] and not hollow[around[k][-1]]:
            hollow[k] = (shells[k].volume < 0) != (shells[around[k][-1]].volume < 0)
        turned[k] = (shells[k].volume < 0) != hollow[k]
    outside = np.array([1 - float(mine.mean()) for mine in inside_any])
    return _Nest(around, hollow, turned, outside, touching)


def _insides(shells: list[_Shell], j: int, near: list[int]) -> list[Flags]:
    """Return which points of each of the ``near`` shells shell j goes round, whichever way it faces."""
    if not near:
        return []
    points = np.concatenate([shells[k].points for k in near])
    inside = np.abs(winding_numbers(shells[j].vertices, shells[j].faces, points)) > 0.5
    return np.split(inside, np.cumsum([len(shells[k].points) for k in near])[:-1])


def _lies_in(inner: _Shell, outer: _Shell, inside: Flags) -> bool:
    """Tell whether a shell lies in another, given which points just within it are inside the other."""
    if float(inside.mean()) < _INSIDE:
        return False
    try:
        beyond = _outward(inner) - _outward(outer)
        return bool(beyond.volume() <= _POKES * abs(inner.volume))
    except OpenSurfaceError:  # open, or cutting itself: the points decide
        return bool(inside.all())


def _outward(shell: _Shell) -> Solid:
    return solid_from(shell.vertices, shell.faces if shell.volume > 0 else shell.faces[:, ::-1])


def _united(shells: list[_Shell], nest: _Nest) -> Solid:
    """Return all stone: every solid without the hollows that lie in it, united."""
    solids = [_outward(shell) for shell in shells]
    inner = np.flatnonzero(nest.hollow)
    parts = []
    for k, solid in enumerate(solids):
        if nest.hollow[k]:
            continue
        hollows = [solids[j] for j in inner.tolist() if k in nest.around[j]]
        parts.append(solid - unite(hollows) if hollows else solid)
    return unite(parts)


def _turned_words(nest: _Nest) -> list[Repair]:
    count = int(nest.turned.sum())
    if count == 0:
        return []
    alone = np.array([not around for around in nest.around])
    parts = nest.turned & ~nest.hollow & alone & (nest.outside < 1)
    text = f"turned {count:,} shell{'s' * (count > 1)} the right way out"
    if parts.any():
        least = float(nest.outside[parts].min())
        text += f"; {int(parts.sum()):,} of them meet other stone and reach out of it by {least:.0%} of their surface "
        text += "at least, so they are parts, not hollows"
        if least < _FEW:
            text += " (not sure: a hollow that breaks through would look the same; compare the volume)"
    return [Repair("inside out", text, (("shells", float(count)),))]


def _united_words(nest: _Nest, all_mm3: float, united_mm3: float, bodies: int) -> Repair:
    count, hollows = len(nest.hollow), int(nest.hollow.sum())
    twice_l = (all_mm3 - united_mm3) * L_PER_MM3
    share = twice_l * 1e6 / max(united_mm3, NOT_ZERO)
    text = f"united {count} closed shells into one solid"
    if bodies > 1:
        text = f"took {count} closed shells together; THEY ARE {bodies} BODIES that nothing joins"
    text += f"; {twice_l:.3g} l ({share:.1%}) lay in more than one" if share > CLOSE else ""
    if hollows:
        inner = sum(bool(nest.hollow[around].any()) for around in nest.around if around)
        text += f"; {hollows} closed hollows kept"
        text += f", and {inner} shells within them" if inner else ""
        unsure = nest.hollow & (nest.touching | nest.turned)
        text += " (not sure: they touch, or the file is inside out)" if unsure.any() else " (sure: each whole inside)"
    return Repair("shells", text, (("shells", float(count)), ("shared_l", twice_l), ("hollows", float(hollows))))

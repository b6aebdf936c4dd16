"""The ladder that turns a scan into a solid; every rung that changes something says so, with its measure.

Works on plain arrays in mm and never changes what it is given."""

from collections.abc import Callable

import numpy as np

from blockfit.geometry.arrays import Array, Ints, all_differ, distinct_rows
from blockfit.geometry.surface import compacted, is_closed, open_edges, undirected_edges
from blockfit.intake.holes import fill_holes
from blockfit.intake.shells import one_solid
from blockfit.measure.patches import areas, face_pairs, linked, opposed_pairs, pieces
from blockfit.solids.figure import Repair

__all__ = ["repair_surface", "untangled"]

Rung = tuple[Array, Ints, list[Repair]]

_SPECK = 0.002  # of the largest piece's area
_SNAPPED = 1e-6  # of the size: corners so near are one, where sides stay open


def repair_surface(vertices: Array, faces: Ints, max_hole_mm: float | None, *, joins_are_news: bool = True) -> Rung:
    """Return the repaired surface and what was done. It may still be open: see `is_closed`.

    ``joins_are_news`` tells whether joining vertices by position is worth telling (an STL stores all apart).
    """
    done: list[Repair] = []
    rungs: list[Callable[[Array, Ints], Rung]] = [
        _drop_non_finite,
        lambda v, f: _merge_by_position(v, f, joins_are_news),
        _drop_degenerate,
        _drop_duplicates,
        _drop_specks,
        lambda v, f: _closed(v, f, max_hole_mm),
    ]
    for rung in rungs:
        vertices, faces, news = rung(vertices, faces)
        done += news
        if len(faces) == 0:
            break
    return *compacted(vertices, faces), done


def _closed(vertices: Array, faces: Ints, max_hole_mm: float | None) -> Rung:
    """Turn faces so that neighbours agree, cap holes, unite shells; of a closed, consistent surface only the last."""
    pairs = opposed_pairs(faces)
    if pairs is not None:
        return one_solid(vertices, faces, pairs)
    vertices, faces, news = _make_consistent(vertices, faces)
    vertices, faces, more = fill_holes(vertices, faces, max_hole_mm)
    vertices, faces, last = one_solid(vertices, faces)
    return vertices, faces, [*news, *more, *last]


def untangled(vertices: Array, faces: Ints) -> Rung:
    """Cut out the faces on sides that more than two share, three times at most: the gaps can then be capped."""
    kept, cut = faces, 0
    for _ in range(3):
        keys, _ = undirected_edges(kept)
        _, where, counts = np.unique(keys, return_inverse=True, return_counts=True)
        tangled = (counts[where] > 2).reshape(kept.shape).any(axis=1)
        if not tangled.any():
            break
        kept, cut = kept[~tangled], cut + int(tangled.sum())
    if cut == 0 or len(kept) == 0:
        return vertices, faces, []
    text = f"cut out {cut:,} faces where more than two met in one side"
    return vertices, kept, [Repair("tangled faces", text, (("faces", cut),))]


def _drop_non_finite(vertices: Array, faces: Ints) -> Rung:
    bad = np.asarray(~np.isfinite(vertices).all(axis=1))
    if not bad.any():
        return vertices, faces, []
    broken = bad[faces].any(axis=1)
    kept = np.where(bad[:, None], 0.0, vertices)
    text = f"dropped {int(bad.sum()):,} vertices that are not numbers, with {int(broken.sum()):,} faces on them"
    return kept, faces[~broken], [Repair("not a number", text, (("vertices", int(bad.sum())),))]


def _merge_by_position(vertices: Array, faces: Ints, news: bool) -> Rung:
    """Join vertices at the same place; if sides stay open, those within a millionth of the size as well."""
    used, compact = compacted(vertices, faces)
    spots, where = distinct_rows(used)
    merged = where[compact]
    size = float(np.ptp(spots, axis=0).max()) if len(spots) else 0.0
    near = 0
    if size and len(open_edges(merged)):
        snapped = distinct_rows(np.round(spots / (_SNAPPED * size)))[1]
        near = len(spots) - int(snapped.max()) - 1
        if near:
            first = np.full(int(snapped.max()) + 1, -1)
            first[snapped[::-1]] = np.arange(len(spots))[::-1]
            spots, merged = spots[first], snapped[merged]
    joined = len(used) - len(spots)
    if joined == 0 or not (news or near):
        return spots, merged, []
    text = f"joined {joined:,} vertices that lie at the same place"
    text += f" ({near:,} within a tolerance)" if near else ""
    return spots, merged, [Repair("joined vertices", text, (("vertices", joined),))]


def _drop_degenerate(vertices: Array, faces: Ints) -> Rung:
    """Drop faces with a corner twice; needles with three corners stay, or they would leave slits."""
    a, b, c = faces.T
    bad = np.asarray((a == b) | (b == c) | (c == a))
    if not bad.any():
        return vertices, faces, []
    count = int(bad.sum())
    return (
        vertices,
        faces[~bad],
        [Repair("degenerate faces", f"dropped {count:,} faces without area", (("faces", count),))],
    )


def _drop_duplicates(vertices: Array, faces: Ints) -> Rung:
    corners = np.sort(faces, axis=1)
    if all_differ(corners):
        return vertices, faces, []
    different, which = distinct_rows(corners)
    count = len(faces) - len(different)
    if count == 0:
        return vertices, faces, []
    first = np.full(len(different), len(faces))
    np.minimum.at(first, which, np.arange(len(faces)))
    if is_closed(faces) and not is_closed(faces[first]):
        return vertices, faces, []  # the wall between two parts that touch: each needs its own
    text = f"dropped {count:,} faces that were there twice"
    return vertices, faces[np.sort(first)], [Repair("duplicate faces", text, (("faces", count),))]


def _drop_specks(vertices: Array, faces: Ints) -> Rung:
    piece = pieces(faces, len(vertices))
    if not piece.any():  # all in one
        return vertices, faces, []
    share = np.bincount(piece, areas(vertices, faces))
    small = share < _SPECK * share.max()
    if not small.any():
        return vertices, faces, []
    part = float(share[small].sum() / share.sum())
    text = f"dropped {int(small.sum()):,} specks, together {part:.2%} of the surface"
    measures = (("specks", float(small.sum())), ("share_of_area", part))
    return vertices, faces[~small[piece]], [Repair("specks", text, measures)]


def _make_consistent(vertices: Array, faces: Ints) -> Rung:
    """Turn faces so that neighbours agree: every face stands twice, as it is and turned, and agreement links them."""
    first, second, same = face_pairs(faces)
    if not same.any():
        return vertices, faces, []
    count = len(faces)
    straight = np.concatenate([first, first + count])
    partner = np.where(same, second + count, second)
    group = linked(2 * count, straight, np.concatenate([partner, (partner + count) % (2 * count)]))
    sides = np.minimum(group[:count], group[count:])
    # Of the two ways to agree within a piece, the one that turns less of its faces.
    way = group[:count] == sides
    upright = np.bincount(sides, way, minlength=2 * count)
    total = np.bincount(sides, minlength=2 * count)
    turn = np.where(2 * upright[sides] >= total[sides], ~way, way)
    twisted = int((group[:count] == group[count:]).sum())
    turn &= group[:count] != group[count:]
    turned = faces.copy()
    turned[turn] = turned[turn][:, ::-1]
    text = f"turned {int(turn.sum()):,} faces the same way as their neighbours"
    if twisted:
        text += f"; {twisted:,} lie on a one-sided surface and cannot agree"
    return vertices, turned, [Repair("flipped faces", text, (("faces", float(turn.sum())),))]

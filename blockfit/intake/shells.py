"""Closed shells: which way they face, which lie in which, and one solid from all of them."""

import numpy as np

from blockfit.errors import OpenSurfaceError
from blockfit.measure.booleans import arrays_of, solid_from, unite
from blockfit.measure.patches import patches, pieces
from blockfit.solids.arrays import Array, Ints
from blockfit.solids.figure import Repair
from blockfit.solids.surface import compacted, is_closed, signed_volume

__all__ = ["outward", "united"]


def outward(vertices: Array, faces: Ints) -> tuple[Array, Ints, list[Repair]]:
    """Turn shells that are inside out; a shell that faces inward inside another is a hollow and stays."""
    piece = pieces(faces, len(vertices))
    volumes = [signed_volume(vertices, faces[piece == k]) for k in range(int(piece.max()) + 1)]
    turned, count = faces.copy(), 0
    for k, volume in enumerate(volumes):
        mine = piece == k
        if volume >= 0:
            continue
        corner = vertices[faces[mine][0]].mean(axis=0)
        others = [j for j in range(len(volumes)) if j != k and abs(volumes[j]) > abs(volume)]
        if any(_winding(vertices, faces[piece == j], corner) for j in others):
            continue
        turned[mine] = turned[mine][:, ::-1]
        count += 1
    if count == 0:
        return vertices, faces, []
    shells = f"{count:,} shells" if len(volumes) > 1 else "the surface"
    return vertices, turned, [Repair("inside out", f"turned {shells} right side out", (("shells", count),))]


def united(vertices: Array, faces: Ints) -> tuple[Array, Ints, list[Repair]]:
    """Unite closed shells into one solid, hollows kept out, so that no stone is counted twice."""
    piece = _closed_pieces(vertices, faces)
    count = int(piece.max()) + 1
    if count == 1 or not is_closed(faces):
        return vertices, faces, []
    shells = [faces[piece == k] for k in range(count)]
    volumes = [signed_volume(vertices, shell) for shell in shells]
    try:
        full = [_own(vertices, shell) for shell, volume in zip(shells, volumes, strict=True) if volume > 0]
        hollow = [_own(vertices, shell[:, ::-1]) for shell, volume in zip(shells, volumes, strict=True) if volume < 0]
        solid = unite(full)
        if hollow:
            solid = solid - unite(hollow)
    except OpenSurfaceError:
        return vertices, faces, []
    twice_l = (sum(volumes) - solid.volume()) * 1e-6
    share = twice_l * 1e6 / max(solid.volume(), 1e-300)
    ours = arrays_of(solid)
    text = f"united {count} closed shells into one solid"
    text += f"; {twice_l:.3g} l ({share:.1%}) lay in more than one" if share > 1e-9 else ""
    text += f"; {len(hollow)} closed hollows kept" if hollow else ""
    return *ours, [Repair("shells", text, (("shells", float(count)), ("shared_l", twice_l)))]


def _closed_pieces(vertices: Array, faces: Ints) -> Ints:
    """Return which shell each face belongs to. Shells that only touch, in a corner or along a side, are told apart."""
    finer = np.unique(patches(faces, np.zeros(len(faces), np.int64)), return_inverse=True)[1].astype(np.int64)
    if all(is_closed(faces[finer == k]) for k in range(min(int(finer.max()) + 1, 1000))):
        return finer
    return pieces(faces, len(vertices))


def _own(vertices: Array, faces: Ints):  # type: ignore[no-untyped-def]
    return solid_from(*compacted(vertices, faces))


def _winding(vertices: Array, faces: Ints, point: Array) -> bool:
    """Tell whether a point lies inside a shell: its faces fill the point's whole view (solid angle)."""
    a, b, c = (vertices[faces[:, k]] - point for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    over = np.einsum("ij,ij->i", a, np.cross(b, c))
    under = la * lb * lc + (a * b).sum(1) * lc + (b * c).sum(1) * la + (c * a).sum(1) * lb
    return bool(abs(2 * np.arctan2(over, under).sum()) > 2 * np.pi)

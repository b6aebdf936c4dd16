"""From a scan laid into the block's frame to a solid of stone: without the table, clutter and holes. mm.

Stone never grows: what lies outside the stone as it stood before is no stone, and what rests against it facing the
other way is what it stands on. What is left is closed as any scan is, and ends below where the stone before ended."""

from dataclasses import dataclass

import numpy as np

from blockfit.carving.evening import evened
from blockfit.carving.shown import hidden_share
from blockfit.errors import BadValueError, OpenSurfaceError
from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.polytope import hull_planes
from blockfit.geometry.surface import area_vectors, compacted, is_closed, signed_volume, surface_area
from blockfit.geometry.tolerances import ALMOST_PARALLEL
from blockfit.intake.scan import repaired
from blockfit.measure.booleans import Solid, arrays_of, solid_from, unite
from blockfit.measure.distance import SurfaceDistance
from blockfit.solids.figure import Figure, Repair

__all__ = ["TOLD", "ScanStone", "is_rebuilt", "stone_of_scan"]

TOLD = ("rebuilt", "not shown")
"""Steps of closing a scan that are said wherever its stone is: they decide how well it is known."""

_AGAINST = -0.5  # cosine between the scan's normal and the stone's: it is another body's
_CRUMB = 0.01  # of the largest piece's volume: a smaller one apart is clutter
_MOST_PLANES = 200
_SEEN = 60_000  # places kept to tell later what the scan showed
_EVEN_MM = 0.1  # less noise is left as it is
_SHEET_MM = 2.0  # mean thickness below which a scan was closed to a sheet
_NEAR = 0.01  # of the size: how far from its scan a stone made of it may lie and still be shown
_MUCH_HIDDEN = 0.15  # of the surface: more than the gaps between two views
_NOWHERE = "no part of the scan lies where the stone was; check the marks, or give rough="


@dataclass(frozen=True, slots=True, eq=False)
class ScanStone:
    """A scan's stone as a solid, the places ``seen`` (n, 3) that it shows, and what was done."""

    solid: Solid
    seen: Array
    repairs: tuple[Repair, ...]


def stone_of_scan(vertices: Array, faces: Ints, before: Figure, spare_mm: float, noise_mm: float) -> ScanStone:
    """Return a scan's stone as a solid.

    ``before`` is the stone as it stood; the scan, whose places scatter by ``noise_mm``, may reach ``spare_mm`` beyond
    it. Raises `OpenSurfaceError` where no solid comes of it.
    """
    field = SurfaceDistance(before.vertices, before.faces)
    kept, dropped = _stone_faces(vertices, faces, before, field, spare_mm)
    if not kept.any():
        raise BadValueError(_NOWHERE)
    done: list[Repair] = []
    if dropped:
        vertices, faces = compacted(vertices, faces[kept])
        done.append(Repair("no stone", f"left out {dropped:,} faces that are no stone: a table, clutter"))
    if noise_mm > _EVEN_MM:
        vertices = evened(vertices, faces, noise_mm)
        done.append(Repair("evened", f"took most of a noise of {noise_mm:.1f} mm out", (("noise_mm", noise_mm),)))
    seen = vertices[:: max(1, len(vertices) // _SEEN)]
    scan = SurfaceDistance(vertices, faces)
    # What reaches the floor is drawn below it, so that the foot, which no scan shows, is cut off level where it was.
    low = float(before.vertices[:, 2].min())
    vertices = np.where((vertices[:, 2:] < low + spare_mm) & [False, False, True], low - spare_mm, vertices)
    if not (is_closed(faces) and signed_volume(vertices, faces) > 0):
        vertices, faces, news = repaired(vertices, faces, name="the scan")
        done += news
    if not (is_closed(faces) and signed_volume(vertices, faces) > 0):
        raise OpenSurfaceError("the scan could not be closed, so its stone has no volume; scan the open parts again")
    body = _less_crumbs(_within(_solid_of(vertices, faces), before, spare_mm))
    corners, triangles = arrays_of(body)
    if 2 * float(body.volume()) < (_SHEET_MM + 3 * noise_mm) * surface_area(corners, triangles):
        raise OpenSurfaceError("the scan shows one side of the stone only, a sheet without volume; scan it all round")
    hidden = hidden_share(corners, triangles, scan, spare_mm + 3 * noise_mm + _NEAR * max(before.size_mm))
    if hidden > _MUCH_HIDDEN:
        text = f"about {hidden:.0%} of the surface is not in the scan: what is counted as gone there may still stand"
        done.append(Repair("not shown", text, (("share", hidden),)))
    return ScanStone(body, seen, tuple(done))


def is_rebuilt(stone: Figure) -> bool:
    """Tell whether a scan's stone was made anew on a grid, because its holes could not be capped."""
    return any(repair.step == "rebuilt" for repair in stone.repairs)


def _solid_of(vertices: Array, faces: Ints) -> Solid:
    """Return the solid inside a closed scan; raise where its surface crosses itself too badly."""
    try:
        return solid_from(vertices, faces)
    except OpenSurfaceError as error:
        raise OpenSurfaceError("the scan crosses itself where it was closed; scan the open parts again") from error


def _less_crumbs(body: Solid) -> Solid:
    """Return a solid without its small separate pieces: clutter that lies where stone was."""
    parts = body.decompose()
    most = max((float(part.volume()) for part in parts), default=0.0)
    if most <= 0:
        raise BadValueError(_NOWHERE)
    large = [part for part in parts if float(part.volume()) > _CRUMB * most]
    return body if len(large) == len(parts) else unite(large)


def _stone_faces(
    vertices: Array, faces: Ints, before: Figure, field: SurfaceDistance, spare_mm: float
) -> tuple[Flags, int]:
    """Return (m,) which faces of a scan are stone, and how many are not."""
    low, high = before.vertices.min(axis=0) - spare_mm, before.vertices.max(axis=0) + spare_mm
    near = ((vertices >= low) & (vertices <= high)).all(axis=1)
    some = np.flatnonzero(near)
    near[some] = field.signed(vertices[some])[0] <= spare_mm
    kept = near[faces].all(axis=1)
    asked = np.flatnonzero(kept)
    middle = vertices[faces[asked]].mean(axis=1)
    face, place = field.nearest(middle)
    outward = area_vectors(before.vertices, before.faces)[face]
    own = area_vectors(vertices, faces[asked])
    lengths = np.linalg.norm(outward, axis=1) * np.linalg.norm(own, axis=1)
    against = (outward * own).sum(axis=1) < _AGAINST * lengths
    against &= np.linalg.norm(middle - place, axis=1) <= spare_mm
    kept[asked[against]] = False
    return np.asarray(kept), int(len(faces) - kept.sum())


def _within(body: Solid, before: Figure, spare_mm: float) -> Solid:
    """Return as much of a solid as lies within the hull of the stone before, with room for noise, and above its
    foot."""
    normals, offsets = hull_planes(before.vertices)
    low = float(before.vertices[:, 2].min())
    corners, _ = arrays_of(body)
    if len(normals) > _MOST_PLANES:
        axes = np.concatenate([np.eye(3), -np.eye(3)])
        normals, offsets = axes, (before.vertices @ axes.T).max(axis=0)
    for normal, offset in zip(normals, offsets, strict=True):
        level = float(normal[2]) < -ALMOST_PARALLEL
        limit = float(offset) if level else float(offset) + spare_mm
        if float((corners @ normal).max()) > limit:
            body = body.trim_by_plane((-normal).tolist(), -limit)
    return body.trim_by_plane([0.0, 0.0, 1.0], low) if float(corners[:, 2].min()) < low else body

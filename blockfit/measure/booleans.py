"""Exact solids: cutting, uniting, measuring; manifold3d's one home.

A `Solid` is a closed solid in mm, block or figure frame. Not checked here: that arrays given are closed (see
intake); what manifold3d refuses raises `OpenSurfaceError`."""

from typing import Any, Protocol, TypeAlias
from weakref import WeakKeyDictionary

import numpy as np

from blockfit.errors import OpenSurfaceError
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.polytope import corners_of
from blockfit.geometry.surface import area_vectors, signed_volume
from blockfit.geometry.tolerances import CLOSE, NOTHING_MM, ROUNDING
from blockfit.geometry.turns import spread_directions

__all__ = [
    "body_of",
    "Solid",
    "arrays_of",
    "ball_solid",
    "block_solid",
    "gap_between",
    "hull_solid",
    "inflated",
    "keep_body",
    "keep_moved",
    "level_rings",
    "level_surface",
    "lighter",
    "prism",
    "prism_towards",
    "projected_rings",
    "refined",
    "shadow_rings",
    "solid_from",
    "triangulated",
    "unite",
]

Solid: TypeAlias = Any
"""A manifold3d ``Manifold``: ``a - b``, ``a + b``, ``a ^ b`` (common part), ``volume()`` in mm³, ``is_empty()``."""

_MOVED = 1e-7  # of the size: what a vertex may be moved at most
_SAME_VOLUME = 1e-6  # of the volume: what is lost by a change within the library's tolerance


def solid_from(vertices: Array, faces: Ints) -> Solid:
    """Return the solid inside a closed surface. Raises `OpenSurfaceError` if it is none."""
    import manifold3d

    ours = signed_volume(vertices, faces)
    size = float(np.abs(vertices).max(initial=0.0))
    # On import manifold3d collapses what it takes for degenerate, and where many planes coincide it can take away
    # stone with it: the volume shows it, and moving the vertices slightly helps.
    for share in (0.0, CLOSE, _MOVED):
        moved = vertices + share * size * np.random.default_rng(0).uniform(-1, 1, size=vertices.shape)
        mesh = manifold3d.Mesh64(np.array(moved, np.float64, order="C"), np.array(faces, np.uint64, order="C"))
        solid = manifold3d.Manifold(mesh)
        if solid.status() != manifold3d.Error.NoError:
            raise OpenSurfaceError(f"the surface bounds no solid ({solid.status().name})")
        if abs(solid.volume() - ours) <= _SAME_VOLUME * abs(ours) + ROUNDING * size**3:
            return solid
    raise OpenSurfaceError(f"the surface bounds {ours:.6g} mm³, but manifold3d makes {solid.volume():.6g} of it")


def arrays_of(solid: Solid) -> tuple[Array, Ints]:
    """Return vertices (n, 3) and faces (m, 3)."""
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3], np.float64), np.array(mesh.tri_verts, np.int64)


def hull_solid(points: Array) -> Solid:
    """Return the convex hull of (n, 3) points; empty if they are flat."""
    import manifold3d

    return manifold3d.Manifold.hull_points(np.array(points, np.float64, order="C"))


def unite(solids: list[Solid]) -> Solid:
    """Return all that lies in any of the solids."""
    import manifold3d

    return manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)


def inflated(solid: Solid, by_mm: float) -> Solid:
    """Return a solid that holds all within ``by_mm`` of a solid, and little more.

    It is the sum with a polytope around the ball of that radius whose planes touch the ball along the axes and
    square to the solid's own faces: exact there, elsewhere up to a hundredth of ``by_mm`` too large (a twentieth for
    solids that are not convex).
    """
    vertices, faces = arrays_of(solid)
    hull = solid.hull()
    convex = bool(abs(hull.volume() - solid.volume()) <= CLOSE * abs(hull.volume()))
    around = _around_ball(vertices, faces, by_mm, 500 if convex else 80)
    if convex:
        corners, _ = arrays_of(hull)
        return hull_solid((corners[:, None] + around[None]).reshape(-1, 3))
    grown = [hull_solid((vertices[face][:, None] + around[None]).reshape(-1, 3)) for face in faces]
    return unite([solid, *grown])


def _around_ball(vertices: Array, faces: Ints, radius: float, count: int) -> Array:
    """Return the corners (n, 3) of a polytope around a ball; its planes are square to the axes and the faces too."""
    own = area_vectors(vertices, faces)
    own = own[np.argsort(-np.linalg.norm(own, axis=1), kind="stable")[:60]]
    own = own[np.linalg.norm(own, axis=1) > 0]
    own = own / np.linalg.norm(own, axis=1)[:, None]
    normals = np.concatenate([np.eye(3), -np.eye(3), own, spread_directions(count)])
    _, first = np.unique(np.round(normals, 6), axis=0, return_index=True)
    normals = normals[np.sort(first)]
    return corners_of(normals, np.full(len(normals), radius))[0]


class Surface(Protocol):
    """A closed surface, such as a figure's, that does not change."""

    @property
    def vertices(self) -> Array: ...
    @property
    def faces(self) -> Ints: ...


_bodies: "WeakKeyDictionary[Surface, Solid]" = WeakKeyDictionary()


def body_of(surface: Surface) -> Solid:
    """Return the solid inside a figure's surface; it is made once, and kept as long as the figure is.

    Raises `OpenSurfaceError` if it is none.
    """
    if surface not in _bodies:
        _bodies[surface] = solid_from(surface.vertices, surface.faces)
    return _bodies[surface]


def keep_body(surface: Surface, solid: Solid) -> None:
    """Keep the solid inside a figure's surface, where it is known already."""
    _bodies[surface] = solid


def keep_moved(surface: Surface, moved: Surface, matrix: Array, shift: Array) -> None:
    """Keep the solid inside a ``moved`` surface, ``matrix @ x + shift``, made of the other's, where that is known.

    The other's is given up: of millions of faces two would not fit beside each other.
    """
    if surface in _bodies and moved not in _bodies:
        _bodies[moved] = _bodies.pop(surface).transform(np.column_stack([matrix, shift]))


def gap_between(first: Solid, second: Solid, most_mm: float) -> float:
    """Return the least distance between two solids in mm, known to be ``most_mm`` at most; 0 if they meet.

    All pairs of faces so near are looked at: with a bound just above the answer that takes a moment, with one of
    metres minutes.
    """
    return float(first.min_gap(second, max(0.0, most_mm) * (1 + CLOSE) + NOTHING_MM))


def refined(vertices: Array, faces: Ints, length_mm: float) -> tuple[Array, Ints]:
    """Return the same closed surface with no side longer than ``length_mm``, or as given if it is refused."""
    try:
        return arrays_of(solid_from(vertices, faces).refine_to_length(length_mm))
    except OpenSurfaceError:
        return vertices, faces


def lighter(surface: Surface, tolerance_mm: float) -> tuple[Array, Ints]:
    """Return a closed surface of fewer faces, within ``tolerance_mm`` of it, or as given if it is refused."""
    try:
        return arrays_of(body_of(surface).simplify(tolerance_mm))
    except OpenSurfaceError:
        return surface.vertices, surface.faces


def triangulated(loops: list[Array]) -> Ints:
    """Return triangles (t, 3) that fill plane polygons (n, 2) each, counter-clockwise outside, holes clockwise."""
    import manifold3d

    return np.array(manifold3d.triangulate(loops), np.int64).reshape(-1, 3)


def level_surface(field: Array, origin: Array, pitch: float, *, tolerance_mm: float) -> tuple[Array, Ints]:
    """Return the surface where a field (i, j, k), sampled at ``origin + pitch · (i, j, k)``, falls through 0.

    The field is positive inside; between samples it is interpolated. Triangles that ``tolerance_mm`` can spare
    are merged.
    """
    import manifold3d

    sizes = field.shape
    strides = (sizes[1] * sizes[2], sizes[2])
    flat = field.ravel().tolist()
    ox, oy, oz = origin.tolist()
    mx, my, mz = sizes[0] - 2, sizes[1] - 2, sizes[2] - 2

    def value(x: float, y: float, z: float) -> float:
        """Trilinear; called a million times, so plain floats."""
        x, y, z = (x - ox) / pitch, (y - oy) / pitch, (z - oz) / pitch
        i, j, k = min(max(int(x), 0), mx), min(max(int(y), 0), my), min(max(int(z), 0), mz)
        u, v, w = x - i, y - j, z - k
        at = i * strides[0] + j * strides[1] + k
        row, next_row = at + strides[1], at + strides[0]
        far = next_row + strides[1]
        low = (flat[at] * (1 - w) + flat[at + 1] * w) * (1 - v) + (flat[row] * (1 - w) + flat[row + 1] * w) * v
        high = (flat[next_row] * (1 - w) + flat[next_row + 1] * w) * (1 - v) + (
            flat[far] * (1 - w) + flat[far + 1] * w
        ) * v
        return float(low * (1 - u) + high * u)

    top = [ox + pitch * (sizes[0] - 1), oy + pitch * (sizes[1] - 1), oz + pitch * (sizes[2] - 1)]
    surface = manifold3d.Manifold.level_set(value, [ox, oy, oz, *top], 1.3 * pitch)
    return arrays_of(surface.simplify(tolerance_mm))


def projected_rings(solid: Solid) -> tuple[list[Array], float]:
    """Return the rings (n, 2) of a solid's projection along z, outer rings and holes alike, and its area in mm²."""
    section = solid.project()
    return [np.array(ring, np.float64) for ring in section.to_polygons() if len(ring) >= 3], float(section.area())


def level_rings(solid: Solid, height: float) -> list[Array]:
    """Return the rings (n, 2) of a solid's horizontal section at a height; outer ones counter-clockwise, holes not."""
    return [np.array(ring, np.float64) for ring in solid.slice(float(height)).to_polygons() if len(ring) >= 3]


def prism(rings: list[Array], axes: tuple[int, int], low: float, high: float) -> Solid:
    """Return the solid over rings (n, 2) on two of the axes, between two heights along the third."""
    import manifold3d

    section = manifold3d.CrossSection([ring.tolist() for ring in rings], manifold3d.FillRule.EvenOdd)
    body = section.extrude(high - low).translate([0.0, 0.0, low])
    third = 3 - sum(axes)
    vertices, faces = arrays_of(body)
    if len(faces) == 0:
        return body
    placed = np.empty_like(vertices)
    placed[:, [*axes, third]] = vertices
    flip = axes in ((0, 2),)
    return solid_from(placed, faces[:, ::-1] if flip else faces)


def prism_towards(
    rings: list[Array], right: Array, up: Array, low: float, high: float, eye: Array | None = None
) -> Solid:
    """Return what lies behind an outline as seen by a viewer: rings (n, 2) along ``right`` and ``up``, unit vectors.

    It reaches from ``low`` to ``high`` towards the viewer. With an ``eye`` (3,), its place along right, up and towards,
    it is all that the eye sees within the rings, drawn at towards = 0: it narrows to the eye.
    """
    import manifold3d

    section = manifold3d.CrossSection([ring.tolist() for ring in rings], manifold3d.FillRule.EvenOdd)
    if eye is None:
        body = section.extrude(high - low)
    else:
        over, across, away = eye.tolist()
        near, far = (away - high) / away, (away - low) / away
        body = section.translate([-over, -across]).scale([far, far]).extrude(high - low, 0, 0.0, [near / far] * 2)
        body = body.translate([over, across, 0.0])
    towards = np.cross(right, up)
    placed = body.translate([0.0, 0.0, low])
    return placed.transform(np.column_stack([right, up, towards, np.zeros(3)]))


def shadow_rings(solid: Solid, right: Array, up: Array) -> list[Array]:
    """Return the rings (n, 2) along ``right`` and ``up`` of a solid's shadow as that viewer sees it."""
    turned = solid.transform(np.column_stack([np.stack([right, up, np.cross(right, up)]), np.zeros(3)]))
    return projected_rings(turned)[0]


def block_solid(corners: Array, surface: Any) -> Solid:
    """Return a block as a solid: the hull of its corners (n, 3), or its own closed ``surface`` if it has one."""
    return hull_solid(corners) if surface is None else body_of(surface)


def ball_solid(centre: Array, radius: float) -> Solid:
    """Return a ball of many faces that holds the true one, to a thousandth of its radius."""
    import manifold3d

    segments = 128
    outside = radius / np.cos(np.pi / segments) ** 2
    return manifold3d.Manifold.sphere(float(outside), segments).translate(np.asarray(centre, float).tolist())

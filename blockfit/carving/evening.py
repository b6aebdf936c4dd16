"""Taking the noise out of a scan: every place is drawn onto the smooth surface that its neighbours make. mm.

A quadric is fitted to the neighbours of each place (moving least squares: Levin, Mathematics of Computation 67(224),
1998, from memory), and neighbours that lie off it by much more than noise, beyond an edge, do not count. Noise
shrinks to about a third; edges and gouges wider than a few places of the scan stay."""

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.surface import area_vectors
from blockfit.geometry.tolerances import NOT_ZERO
from blockfit.measure.nearest import tree_of

__all__ = ["evened"]

_AROUND = 28  # neighbours
_AT_ONCE = 20_000
_FAR = 2.5  # noises off the first surface by which a neighbour lies beyond an edge
_MOST = 3.0  # noises by which a place is moved at most
_STEADY = 1e-6  # of a place's own weight: keeps the fit solvable where its neighbours lie in a line


def evened(vertices: Array, faces: Ints, noise_mm: float) -> Array:
    """Return the vertices (n, 3) of a scan without most of a noise of ``noise_mm``; faces (m, 3) tell which way is
    out."""
    if len(vertices) <= _AROUND or noise_mm <= 0:
        return vertices
    outward = np.zeros_like(vertices)
    spread = area_vectors(vertices, faces)
    for corner in range(3):
        np.add.at(outward, faces[:, corner], spread)
    tree = tree_of(vertices)
    found = vertices.copy()
    for start in range(0, len(vertices), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        _, around = tree.query(vertices[some], k=_AROUND)
        near = vertices[np.asarray(around)] - vertices[some][:, None]
        normal = outward[np.asarray(around)].sum(axis=1)
        normal /= np.maximum(np.linalg.norm(normal, axis=1), NOT_ZERO)[:, None]
        off = np.clip(_offset(near, normal, noise_mm), -_MOST * noise_mm, _MOST * noise_mm)
        found[some] = vertices[some] + off[:, None] * normal
    return found


def _offset(near: Array, normal: Array, noise_mm: float) -> Array:
    """Return (n,) how far along its normal each place lies from the surface of its neighbours ``near`` (n, k, 3)."""
    least = np.eye(3)[np.abs(normal).argmin(axis=1)]
    right = np.cross(normal, least)
    right /= np.maximum(np.linalg.norm(right, axis=1), NOT_ZERO)[:, None]
    up = np.cross(normal, right)
    size = np.maximum(np.sqrt((near**2).sum(axis=2).max(axis=1)), NOT_ZERO)[:, None]
    u = np.einsum("nki,ni->nk", near, right) / size
    v = np.einsum("nki,ni->nk", near, up) / size
    height = np.einsum("nki,ni->nk", near, normal)
    rows = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=2)
    weights = np.ones_like(u)
    fitted = np.zeros((len(u), 6))
    for _ in range(3):
        whole = np.einsum("nki,nk,nkj->nij", rows, weights, rows) + _STEADY * np.eye(6)
        fitted = np.linalg.solve(whole, np.einsum("nki,nk,nk->ni", rows, weights, height)[:, :, None])[:, :, 0]
        rest = height - np.einsum("nki,ni->nk", rows, fitted)
        weights = 1 / (1 + (rest / (_FAR * noise_mm)) ** 2) ** 2
    return np.asarray(fitted[:, 0])

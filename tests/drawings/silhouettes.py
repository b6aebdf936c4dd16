"""Silhouettes of solids by a rasteriser of the tests' own: a pixel is dark where a triangle covers its centre."""

import numpy as np

from blockfit.measure.distance import SurfaceDistance


def seen(figure, name):
    """Return (n, 2) where a viewer of that face sees the figure's vertices: to the right, and up."""
    x, y, z = figure.vertices.T
    return np.stack({"front": (x, z), "side": (-y, z), "top": (x, y), "back": (-x, z)}[name], axis=1)


def raster(places, faces, pitch, low, shape):
    """Return (h, w) which pixel centres triangles cover; the first row is the top."""
    tall, wide = shape
    dark = np.zeros(shape, bool)
    at = (places - low) / pitch - 0.5  # pixel centres lie on whole numbers
    for a, b, c in at[faces]:
        least = np.maximum(np.ceil(np.minimum(np.minimum(a, b), c)), 0).astype(int)
        most = np.minimum(np.floor(np.maximum(np.maximum(a, b), c)), (wide - 1, tall - 1)).astype(int)
        if (most < least).any():
            continue
        u, v = np.meshgrid(np.arange(least[0], most[0] + 1), np.arange(least[1], most[1] + 1))
        sides = [(q[0] - p[0]) * (v - p[1]) - (q[1] - p[1]) * (u - p[0]) for p, q in ((a, b), (b, c), (c, a))]
        inside = np.logical_or(np.all([s >= 0 for s in sides], axis=0), np.all([s <= 0 for s in sides], axis=0))
        dark[least[1] : most[1] + 1, least[0] : most[0] + 1] |= inside
    return dark[::-1]


def silhouette(figure, name, pitch):
    """Return (h, w) the silhouette of a figure from a face, with a rim of two pixels."""
    places = seen(figure, name)
    low = places.min(axis=0) - 2 * pitch
    wide, tall = (np.ceil((places.max(axis=0) - low) / pitch) + 2).astype(int)
    return raster(places, figure.faces, pitch, low, (tall, wide))


def trimmed(dark):
    """Return an array without its light rim."""
    rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    return dark[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]


def voxels(front, side, top):
    """Return how many cells the common part of three outlines (h, w), (h, d), (d, w) has."""
    # side: its last column is the front; top: its last row is the front.
    rows = front.T.astype(np.float64) @ side.astype(np.float64)  # (w, d): how many levels each column has; exact
    return int((rows * top.T).sum())


def on_surface(figure, count, seed=0):
    """Return (count, 3) random points on a figure's surface, and its vertices."""
    random = np.random.default_rng(seed)
    corners = figure.vertices[figure.faces]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    face = corners[random.choice(len(corners), count, p=area / area.sum())]
    shares = random.dirichlet([1, 1, 1], count)
    return np.concatenate([np.einsum("nk,nkc->nc", shares, face), figure.vertices])


def winding(figure, points):
    """How often the surface goes round each point, by libigl."""
    import igl

    arrays = np.array(figure.vertices), np.array(figure.faces)
    return np.asarray(igl.fast_winding_number(*arrays, np.ascontiguousarray(points))).ravel()


def outside_by(figure, points):
    """How far the farthest point lies outside a figure, by libigl's distances and winding numbers.

    The long faces of a hull are divided first, or winding numbers take ten times as long.
    """
    signed, _ = SurfaceDistance(figure.vertices, figure.faces).signed(points)
    return max(0.0, float(signed.max()))

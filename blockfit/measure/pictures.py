"""Depth pictures and what a tool with a width can reach in them; scipy.ndimage's one home.

A picture (rows, columns) holds how far one can go along a view before meeting the surface, inf where nothing is
met, at a plain lattice's pitch."""

import functools
import math

import numpy as np

from blockfit.geometry.arrays import Array, Flags

__all__ = ["closed_once", "closed_picture", "least_around", "least_square"]


def least_around(picture: Array, radius_cells: float) -> Array:
    """Return the least depth within a disc around every cell. Wider discs hold narrower ones, so it only falls."""
    from scipy import ndimage

    if radius_cells < 1:
        return picture
    return np.asarray(ndimage.minimum_filter(picture, footprint=_disc(radius_cells), mode="constant", cval=np.inf))


def least_square(picture: Array, cells: int) -> Array:
    """Return the least depth within so many cells of every cell, to all sides."""
    from scipy import ndimage

    return np.asarray(ndimage.minimum_filter(picture, size=2 * cells + 1, mode="constant", cval=np.inf))


def closed_once(picture: Array, radius_cells: float, stop: Array | None = None) -> Array:
    """Return how deep the tip of one tool gets at every cell: the deepest halt of its middle within the tip's disc."""
    from scipy import ndimage

    halted = least_around(picture, radius_cells)
    if stop is not None:
        halted = np.minimum(halted, stop)
    if radius_cells < 1:
        return halted
    spread = ndimage.maximum_filter(halted, footprint=_disc(radius_cells), mode="constant", cval=-np.inf)
    return np.minimum(spread, picture)


def closed_picture(picture: Array, stop: Array, radius_cells: float) -> Array:
    """Return how deep a tool's tip gets at every cell, ``stop`` being how deep it may go with its middle on a cell.

    Digital discs are not monotone in the radius, so the least over all whole radii up to it is taken, rounded up: a
    thicker tool never reaches more, and what is told as reached is.
    """
    deepest = closed_once(picture, 0, stop)
    if radius_cells < 1:
        return deepest
    closed = (closed_once(picture, radius, stop) for radius in range(1, math.ceil(radius_cells) + 1))
    return np.asarray(functools.reduce(np.minimum, closed))


def _disc(radius_cells: float) -> Flags:
    reach = math.floor(radius_cells)
    steps = np.arange(-reach, reach + 1)
    return np.asarray(steps[:, None] ** 2 + steps[None, :] ** 2 <= radius_cells**2)

"""Quadratic forms of quaternions over boxes: what a statement says of a cell, in floating point.

The mathematics is written in `blockfit.certificates.certificate`; here many cells and forms are worked at once."""

import math
from itertools import product

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.solids.stance import Stance

__all__ = ["Charts", "charts_for", "coefficients", "corners_of_cells", "form_of", "sides_for", "stance_forms"]

_CORNERS = np.array(list(product((0, 1), repeat=3)))  # (8, 3)
_SUM = _CORNERS @ [9, 3, 1]
_MEANS = np.zeros((64, 27))  # takes the products of corners to the 27 coefficients
np.add.at(_MEANS, (np.arange(64), np.add.outer(_SUM, _SUM).ravel()), 1.0)
_MEANS /= _MEANS.sum(axis=0)

_ONE, _I, _K = np.eye(4)[0], np.eye(4)[1], np.eye(4)[3]

Charts = Array
"""(c, 4, 4): what takes (1 + t k)(1 + y_1 i + y_2 j) to a quaternion, for each chart."""


def charts_for(frame: Array, stance: Stance, *, is_box: bool) -> Charts:
    """Return the charts that hold every rotation in question, in the order of the certificate."""
    pairs = [(_ONE, _ONE)] if is_box and stance.is_free else [(h, f) for h in (_ONE, _K) for f in (_ONE, _I)]
    pairs = [(_ONE, _ONE), (_K, _ONE)] if stance.tilt == 0 else pairs
    return np.array([_left(frame) @ _left(h) @ _right(f) for h, f in pairs])


def sides_for(frame: Array, stance: Stance, charts: int) -> Array:
    """Return (c, 3) how far each chart's t, y_1 and y_2 go to either side of 0."""
    sides = np.ones((charts, 3))
    if stance.tilt == 0:
        sides[:, 1:] = 0
    if stance.turn == 0 and np.array_equal(frame, _ONE):
        sides[0, 0] = 0
    return sides


def _left(q: Array) -> Array:
    """Return the matrix (4, 4) of multiplying by a quaternion from the left."""
    w, x, y, z = q
    return np.array([[w, -x, -y, -z], [x, w, -z, y], [y, z, w, -x], [z, -y, x, w]])


def _right(q: Array) -> Array:
    w, x, y, z = q
    return np.array([[w, -x, -y, -z], [x, w, z, -y], [y, -z, w, x], [z, y, -x, w]])


def corners_of_cells(low: Array, high: Array, matrices: Array) -> Array:
    """Return (b, 8, 4) the quaternions at the corners of boxes ``low`` to ``high`` (b, 3), by their (b, 4, 4) chart."""
    place = low[:, None, :] + _CORNERS * (high - low)[:, None, :]
    t, first, second = place[..., 0], place[..., 1], place[..., 2]
    plain = np.stack([np.ones_like(t), first - t * second, second + t * first, t], axis=-1)
    return np.asarray(plain @ np.swapaxes(matrices, 1, 2))


def coefficients(corners: Array, forms: Array) -> Array:
    """Return (b, k, 27) the coefficients of (b, k, 4, 4) forms over cells with (b, 8, 4) corners.

    A form is above 0 on the whole cell if all of its coefficients are.
    """
    products = np.einsum("bci,bkij,bdj->bkcd", corners, forms, corners, optimize=True)
    return np.asarray(products.reshape(*products.shape[:2], 64) @ _MEANS)


def form_of(moments: Array) -> Array:
    """Return (..., 4, 4) the forms of tr(R N) for (..., 3, 3) moments N = Σ λ p nᵀ."""
    form = np.empty((*moments.shape[:-2], 4, 4))
    trace = np.trace(moments, axis1=-2, axis2=-1)
    form[..., 0, 0] = trace
    for i, (j, k) in enumerate(((1, 2), (2, 0), (0, 1))):
        form[..., 0, i + 1] = form[..., i + 1, 0] = moments[..., j, k] - moments[..., k, j]
    form[..., 1:, 1:] = moments + np.swapaxes(moments, -1, -2) - trace[..., None, None] * np.eye(3)
    return form


def stance_forms(stance: Stance) -> Array:
    """Return (2, 4, 4) the forms of tilt and turn, at least 0 where the stance allows; 0 where there is no limit."""
    tilt, turn = math.radians(stance.tilt) / 2, math.radians(stance.turn) / 2
    cos, sin = math.cos(tilt) ** 2, math.sin(tilt) ** 2
    forms = np.zeros((2, 4, 4))
    if stance.tilt < 180:
        forms[0] = np.diag([sin, -cos, -cos, sin])
    if stance.turn < 180:
        forms[1] = np.diag([math.sin(turn) ** 2, 0, 0, -(math.cos(turn) ** 2)])
    return forms

"""How far a figure can move in stone of any shape. mm, block frame."""

from collections.abc import Sequence

import numpy as np

from blockfit.measure.booleans import solid_from
from blockfit.measure.columns import columns_of
from blockfit.measure.views import View, lattice_over, view_along
from blockfit.solids.arrays import Array, Ints
from blockfit.solids.figure import Figure

__all__ = ["room_along"]

_FINE = 1e-3


def room_along(
    placed: Figure, stone: Figure, direction: Sequence[float] | Array, most_mm: float
) -> tuple[float, Array]:
    """Return how far a placed figure can move along a direction and stay in the stone, and where it is stopped (3,).

    Columns along the way find it to their pitch; then booleans of the moved solid draw it in until it holds to a
    thousandth of a millimetre. 0 if the figure does not lie in the stone as it is.
    """
    way = np.asarray(direction, np.float64)
    way = way / np.linalg.norm(way)
    view: View = view_along(way)
    pitch = max(placed.size_mm) / 250
    lattice = lattice_over(view, placed.vertices, pitch)
    own = columns_of(placed.vertices, placed.faces, view, lattice)
    around = columns_of(stone.vertices, stone.faces, view, lattice)
    # The stretch of stone that holds each stretch of the figure: both are in order of cell, then depth.
    key = np.searchsorted(_keys(around.cell, around.enter), _keys(own.cell, own.enter + 1e-6), side="right") - 1
    same = (key >= 0) & (around.cell[np.maximum(key, 0)] == own.cell)
    room = np.where(same, around.leave[np.maximum(key, 0)] - own.leave, 0.0)
    if len(room) == 0:
        return 0.0, placed.vertices[0].copy()
    stopped = int(room.argmin())
    places = own.places()
    at = places[stopped] @ np.stack([view.right, view.up]) + own.leave[stopped] * view.into
    figure, body = solid_from(placed.vertices, placed.faces), solid_from(stone.vertices, stone.faces)
    allowed = 1e-7 * placed.volume_m3 * 1e9 if placed.volume_m3 else 1.0

    def holds(by: float) -> bool:
        moved = figure.translate((by * way).tolist())
        return bool((moved - body).volume() <= allowed)

    if not holds(0.0):
        return 0.0, at
    high = float(np.clip(room.min() + 2 * pitch, 0.0, most_mm))
    if holds(high):
        return high, at
    low = float(np.clip(room.min() - 2 * pitch, 0.0, most_mm))
    low = low if holds(low) else 0.0
    while high - low > _FINE:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low, at


def _keys(cell: Ints, depth: Array) -> Array:
    return np.asarray(cell, np.float64) * 1e7 + depth

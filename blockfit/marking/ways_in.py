"""Where a depth rod, held straight in from a side of the block, meets the real stone: the zero of every depth.

mm, block frame. A sawn box, a convex block of any shape, a rough block's own surface, or the faces of a block measured
out of square: always the stone itself at the very place, never a rectangle around it."""

from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.marking.datum import Datum
from blockfit.measure.lines import nudged, stretches
from blockfit.measure.views import FACE_DIRECTIONS, face_view
from blockfit.solids.block import Block

__all__ = ["AXIS", "WayIn", "way_in"]

_TOUCHES = 1e-9  # of the block's size and place: what lies no further outside counts as touching

AXIS = {"left": 0, "right": 0, "front": 1, "back": 1, "bottom": 2, "top": 2}
"""The axis along which each face is left behind."""


@dataclass(frozen=True, slots=True, eq=False)
class WayIn:
    """The way in from one face of a block; ``words`` say what a depth is measured from."""

    face: str
    block: Block
    datum: Datum
    words: str

    @property
    def into(self) -> Array:
        """The way in, a unit vector (3,)."""
        return np.array(FACE_DIRECTIONS[self.face])

    def entry_mm(self, points: Array, aside_mm: float = 0.0) -> Array:
        """Return how far along the way in the stone begins before each of (n, 3) points; nan where no stone is met.

        The deepest such place as far as ``aside_mm`` to every side, so that a depth measured from it is never too deep.
        """
        view = face_view(self.face)
        ends = (0.0,) if aside_mm <= 0 else (-aside_mm, 0.0, aside_mm)
        moves = [(a, b) for a in ends for b in ends]
        found = np.stack([self._entry(points + a * view.right + b * view.up) for a, b in moves])
        # Beside the stone the face is taken to run on as it does on the place's other side.
        found = np.where(np.isnan(found), 2 * found[len(found) // 2] - found[::-1], found)
        return np.asarray(np.where(np.isnan(found).all(axis=0), np.nan, np.fmax.reduce(found, axis=0)))

    def entry_at(self, places: Array, aside_mm: float = 0.0) -> Array:
        """Return the same for (n, 2) places as seen from the face."""
        view = face_view(self.face)
        return self.entry_mm(places @ np.stack([view.right, view.up]), aside_mm)

    def _entry(self, points: Array) -> Array:
        into = self.into
        axis = AXIS[self.face]
        if self.datum.corners_mm is not None:
            return np.asarray(self.datum.face_at(axis, points, far=into[axis] < 0) * into[axis])
        if self.block.surface is not None:
            return self._on_surface(points)
        along = self.block.normals @ into
        spare = self.block.offsets_mm - points @ self.block.normals.T + np.outer(points @ into, along)  # at depth 0
        steps = np.where(along != 0, spare / np.where(along != 0, along, 1.0), np.nan)
        start = np.max(np.where(along < 0, steps, -np.inf), axis=1)
        end = np.min(np.where(along > 0, steps, np.inf), axis=1)
        # A figure that touches a face lies outside it by as much as its placement is rounded.
        near = _TOUCHES * (max(self.block.size_mm) + float(np.abs(self.block.offsets_mm).max()))
        beside = (np.where(along == 0, spare, 0.0) < -near).any(axis=1)
        return np.where((start <= end + near) & ~beside, start, np.nan)

    def _on_surface(self, points: Array) -> Array:
        body = self.block.surface
        assert body is not None
        view = face_view(self.face)
        places, _ = view.seen(points)
        found = stretches(body.vertices, body.faces, view, nudged(places, max(self.block.size_mm)))
        start = np.full(len(points), np.inf)
        np.minimum.at(start, found.line, found.enter)
        return np.where(np.isfinite(start), start, np.nan)


def way_in(block: Block, datum: Datum, face: str) -> WayIn:
    """Return the way in from a face. Raises `BadValueError` for a face that a block does not have.

    >>> import numpy as np
    >>> import blockfit as bf
    >>> from blockfit.marking.ways_in import way_in
    >>> wedge = bf.Block.convex([[x, y, z] for x in (0, 400) for y, z in ((0, 0), (300, 0), (300, 800), (100, 800))])
    >>> from_front = way_in(wedge, bf.Datum.edges(wedge), "front")
    >>> from_front.entry_mm(np.array([[200.0, 150, 400]])).tolist()  # half way up the front leans back by 50
    [50.0]
    """
    if face not in FACE_DIRECTIONS:
        raise BadValueError(f"face={face!r} must be one of {', '.join(FACE_DIRECTIONS)}")
    straight = f"straight in, square to the block's {'xyz'[AXIS[face]]} axis"
    if datum.corners_mm is not None:
        words = f"from the {face} face as measured, which runs straight between its corners, {straight}"
    elif block.surface is not None:
        words = f"from the stone's own surface at the place itself, {straight}"
    elif block.kind != "box":
        words = f"from the stone as it is sawn or split at the place itself, {straight}"
    else:
        words = f"from the {face} face, {straight}"
    return WayIn(face, block, datum, words)

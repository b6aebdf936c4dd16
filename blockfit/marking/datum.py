"""What readings are taken from: the block's edges, lines kept on the stone, or an outer frame.

mm, block frame. A reading is (across, in, up): along x from the datum's side, along y, and along z."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, frozen
from blockfit.geometry.programs import fitted
from blockfit.kinds import kinds_checked
from blockfit.solids.block import Block
from blockfit.units import Length, length_mm

__all__ = ["CORNERS", "Change", "Datum"]

CORNERS = tuple(
    f"{front} {side} {height}"
    for height in ("bottom", "top")
    for front in ("front", "back")
    for side in ("left", "right")
)
_PLACES = {name: k for k, name in enumerate(CORNERS)}
_MOST_STEPS = 60
_NEWTON = 8  # steps: of faces that lean little the third is exact
_HELD = 1e-4  # what the true box counts for: it only decides where the lengths leave a corner free


@dataclass(frozen=True, slots=True)
class Change:
    """From one datum to another: what must be added to every reading, (across, in, up) in mm."""

    before: str
    after: str
    add_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Datum:
    """An origin for readings, ``origin_mm`` (3,), and its name.

    ``corners_mm`` (8, 3), in the order of `CORNERS`, are set for a block out of square: readings are then taken from
    its actual faces, which run straight between its corners. Use `edges`, `lines`, `frame` or `out_of_square`.

    >>> import numpy as np
    >>> from blockfit.marking.datum import Datum
    >>> Datum.lines(centre=450, base=30).readings(np.array([[400.0, 100, 530]])).tolist()
    [[-50.0, 100.0, 500.0]]
    """

    name: str
    origin_mm: Array
    corners_mm: Array | None = None

    def __post_init__(self) -> None:
        """Freeze the arrays."""
        object.__setattr__(self, "origin_mm", frozen(self.origin_mm, (3,), "origin"))
        if self.corners_mm is not None:
            object.__setattr__(self, "corners_mm", frozen(self.corners_mm, (8, 3), "corners"))

    @classmethod
    @kinds_checked
    def edges(cls, block: Block) -> "Datum":
        """Return the block's own edges: left, front and bottom. They are the first thing cut away.

        A rough block has none: there it is a frame set up square around the stone, against its outermost points.
        """
        rough = "a frame square around the stone, against its outermost points"
        return cls(rough if block.surface is not None else "the block's edges", _corner(block))

    @classmethod
    @kinds_checked
    def lines(cls, *, centre: Length, base: Length = 0, front: Length = 0, block: Block | None = None) -> "Datum":
        """Return a centre line and a base line kept on the stone, as far from its left, bottom and front edges.

        Without a ``block`` those edges are taken to meet at the origin of its frame, as they do in a sawn box.
        """
        gaps = [length_mm(value, name) for name, value in (("centre", centre), ("front", front), ("base", base))]
        return cls("the centre and base lines", _corner(block) + gaps)

    @classmethod
    @kinds_checked
    def frame(cls, *, left: Length, front: Length, bottom: Length = 0, block: Block | None = None) -> "Datum":
        """Return an outer frame whose inside stands off the block by so much at the left, front and bottom.

        ``block`` as for `lines`: give it where its corner is not the origin of its frame, as in a scanned one.
        """
        gaps = [length_mm(value, name) for name, value in (("left", left), ("front", front), ("bottom", bottom))]
        return cls("the outer frame", _corner(block) - np.array(gaps))

    @classmethod
    @kinds_checked
    def out_of_square(cls, block: Block, distances: Mapping[tuple[str, str], Length]) -> "Datum":
        """Return the edges of a block whose corners are as far apart as measured.

        ``distances`` are between pairs of `CORNERS`, such as ``("front left bottom", "back right bottom")``: its
        edges and the diagonals of its faces. The corners are those nearest to a true box that agree with them, with
        the front left bottom corner at the origin, the front bottom edge along x and the bottom level. Raises
        `BadValueError` for unknown corners, or distances that contradict each other by more than 2 mm.
        """
        if block.kind != "box":
            raise BadValueError("only a sawn block, a box, can be out of square")
        pairs, lengths = [], []
        for (first, second), value in distances.items():
            for name in (first, second):
                if name not in _PLACES:
                    raise BadValueError(f"{name!r} is no corner; they are {', '.join(CORNERS)}")
            pairs.append((_PLACES[first], _PLACES[second]))
            lengths.append(length_mm(value, f"{first} to {second}", least=0))
        size = np.array(block.size_mm)
        true = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], np.float64) * size
        a, b = np.array(pairs, np.int64).reshape(-1, 2).T
        wanted = np.array(lengths)

        def misses(flat: Array) -> Array:
            corners = flat.reshape(8, 3)
            away = np.linalg.norm(corners[a] - corners[b], axis=1) - wanted
            held = np.concatenate([corners[0], corners[1, 1:], corners[2, 2:], corners[3, 2:]])
            return np.concatenate([away, held, _HELD * (corners - true).ravel()])

        corners = fitted(misses, true.ravel()).reshape(8, 3)
        worst = float(np.abs(np.linalg.norm(corners[a] - corners[b], axis=1) - wanted).max(initial=0.0))
        if worst > 2:
            raise BadValueError(f"the corner distances contradict each other by {worst:.1f} mm: measure them again")
        return cls("the edges of the block as measured", np.zeros(3), corners)

    def readings(self, points: Array) -> Array:
        """Return (n, 3) readings of (n, 3) points of the block frame."""
        if self.corners_mm is None:
            return np.asarray(points - self.origin_mm)
        told = np.empty_like(points)
        for axis in range(3):
            told[:, axis] = points[:, axis] - self.face_at(axis, points)
        return told

    def points(self, readings: Array) -> Array:
        """Return the (n, 3) points of the block frame that have these readings."""
        if self.corners_mm is None:
            return np.asarray(readings + self.origin_mm)
        points = np.array(readings, np.float64)
        for _ in range(_MOST_STEPS):  # the faces lean little: each step leaves a small share of the error
            points = readings + np.stack([self.face_at(axis, points) for axis in range(3)], axis=1)
        return points

    def to(self, other: "Datum") -> Change:
        """Return what changes every reading from this datum to another."""
        if self.corners_mm is not None or other.corners_mm is not None:
            raise BadValueError(
                "from faces out of square no one sum changes every reading: take points() and readings()"
            )
        x, y, z = (self.origin_mm - other.origin_mm).tolist()
        return Change(self.name, other.name, (x, y, z))

    def face_at(self, axis: int, points: Array, *, far: bool = False) -> Array:
        """Return how far along an axis a measured block's face lies at each point (n, 3): straight between its corners.

        The left, front or bottom face; ``far``: the right, back or top one. Lines between points at equal shares of two
        opposite edges make the face; it passes through all four corners, wherever they have moved to. Only for blocks
        `out_of_square`.
        """
        if self.corners_mm is None:
            raise BadValueError(f"{self.name}: no corners were measured, so its faces are the block's")
        corners = self.corners_mm
        grid = corners.reshape(2, 2, 2, 3)  # z, y, x
        side = int(far)
        face = {0: grid[:, :, side], 1: grid[:, side, :], 2: grid[side]}[axis]
        first, second = {0: (2, 1), 1: (2, 0), 2: (1, 0)}[axis]  # what the two remaining places of the grid run along
        # P(u, v) = a + u b + v c + uv d; u and v are those whose two other coordinates are the point's (Newton).
        a, b, c = face[0, 0], face[1, 0] - face[0, 0], face[0, 1] - face[0, 0]
        d = face[1, 1] - face[1, 0] - face[0, 1] + face[0, 0]
        u = (points[:, first] - a[first]) / b[first]
        v = (points[:, second] - a[second]) / c[second]
        for _ in range(_NEWTON):
            miss_u = a[first] + u * b[first] + v * c[first] + u * v * d[first] - points[:, first]
            miss_v = a[second] + u * b[second] + v * c[second] + u * v * d[second] - points[:, second]
            uu, uv = b[first] + v * d[first], c[first] + u * d[first]
            vu, vv = b[second] + v * d[second], c[second] + u * d[second]
            scale = uu * vv - uv * vu
            u, v = u - (vv * miss_u - uv * miss_v) / scale, v - (uu * miss_v - vu * miss_u) / scale
        return np.asarray(a[axis] + u * b[axis] + v * c[axis] + u * v * d[axis])


def _corner(block: Block | None) -> Array:
    """Return where the left, front and bottom edges meet."""
    return np.zeros(3) if block is None else np.asarray(block.corners_mm.min(axis=0))

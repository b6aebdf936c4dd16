"""How a scan lies in the block: a motion with a scale, fitted to marks, and how well it is known at any point.

mm, block frame. Errors given are two standard deviations: about one time in twenty there is more."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding
from blockfit.facts.systems import METRIC, UnitSystem
from blockfit.geometry.arrays import Array, frozen
from blockfit.geometry.tolerances import CLOSE
from blockfit.geometry.turns import best_turn, from_quaternions, lie_in_a_line

__all__ = ["NOISE", "Certainty", "Marks", "Motion", "by_marks", "marks_from", "motion_rows"]

NOISE = 3.0  # standard deviations by which one place of a scan may lie off
_APART = 2.0  # standard errors of a mark at which marks are said to disagree
_SQUARE = 1e-3  # a matrix in a file is written with few digits: further from square it is no movement


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Block place = scale · rotation · scan place + shift."""

    scale: float
    rotation: Array
    shift: Array

    def apply(self, points: Array) -> Array:
        """Return scan places (n, 3) in the block's frame."""
        return np.asarray(self.scale * (points @ self.rotation.T) + self.shift)

    def moved(self, step: Array, about: Array) -> "Motion":
        """Return the motion followed by a small one: ``step`` (7,) shift, turn in radians, growth, about a place."""
        turn, angle = step[3:6], float(np.linalg.norm(step[3:6]))
        axis = turn / angle if angle else np.array([0.0, 0, 1])
        more = from_quaternions(np.array([np.cos(angle / 2), *(np.sin(angle / 2) * axis)]))
        growth = float(np.exp(step[6]))
        shift = growth * more @ (self.shift - about) + about + step[:3]
        return Motion(self.scale * growth, more @ self.rotation, shift)

    @property
    def matrix(self) -> Array:
        """The same as a matrix (4, 4)."""
        whole = np.eye(4)
        whole[:3, :3], whole[:3, 3] = self.scale * self.rotation, self.shift
        return whole

    @classmethod
    def from_matrix(cls, matrix: Any) -> "Motion":
        """Return the motion of a matrix (4, 4). Raises `BadValueError` for one that shears or mirrors."""
        whole = frozen(matrix, (4, 4), "rough")
        scale = float(np.cbrt(np.linalg.det(whole[:3, :3])))
        rotation = whole[:3, :3] / scale if scale > 0 else np.zeros((3, 3))
        square = np.abs(rotation @ rotation.T - np.eye(3)).max() < _SQUARE
        if not square or np.abs(whole[3] - [0, 0, 0, 1]).max() > CLOSE:
            raise BadValueError("rough must be a turn, a shift and one scale as a (4, 4) matrix, last row 0 0 0 1")
        u, _, vt = np.linalg.svd(rotation)
        return cls(scale, u @ vt, whole[:3, 3].copy())


def motion_rows(arms: Array) -> Array:
    """Return (n, 3, 7) how places (n, 3), told from the middle, move with each part of a small motion."""
    rows = np.zeros((len(arms), 3, 7))
    rows[:, :, :3] = np.eye(3)
    rows[:, 0, 4], rows[:, 0, 5] = arms[:, 2], -arms[:, 1]
    rows[:, 1, 3], rows[:, 1, 5] = -arms[:, 2], arms[:, 0]
    rows[:, 2, 3], rows[:, 2, 4] = arms[:, 1], -arms[:, 0]
    rows[:, :, 6] = arms
    return rows


@dataclass(frozen=True, slots=True, eq=False)
class Certainty:
    """How well a place in the block is known: ``covariance`` (7, 7) of shift (mm), turn (radians) and growth about
    ``middle`` (3,), and ``noise_mm``, the scatter of single places of the scan."""

    middle: Array
    covariance: Array
    noise_mm: float

    def error_mm(self, points: Array) -> Array:
        """Return (n,) how far places (n, 3) may be off in the direction in which they are known worst."""
        rows = motion_rows(points - self.middle)
        spread = np.einsum("nik,kl,njl->nij", rows, self.covariance, rows)
        return np.asarray(2 * np.sqrt(np.maximum(np.linalg.eigvalsh(spread)[:, -1], 0.0)))

    def along_mm(self, points: Array, ways: Array) -> Array:
        """Return (n,) how far places (n, 3) may be off along unit vectors (n, 3)."""
        arms = points - self.middle
        rows = np.concatenate([ways, np.cross(arms, ways), (arms * ways).sum(axis=1)[:, None]], axis=1)
        return np.asarray(2 * np.sqrt(np.maximum(np.einsum("nk,kl,nl->n", rows, self.covariance, rows), 0.0)))

    def words(self, units: UnitSystem = METRIC) -> str:
        """Return how well, in words."""
        by_mm = 2 * float(np.sqrt(np.trace(self.covariance[:3, :3])))
        return f"to {units.close(by_mm, Rounding.UP)} at the scan's middle"


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """Places known twice: on the scan as read (n, 3), and in the block (n, 3)."""

    names: tuple[str, ...]
    scan: Array
    block: Array

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.names)

    def without(self, k: int) -> "Marks":
        """Return all but one."""
        names = self.names[:k] + self.names[k + 1 :]
        return Marks(names, np.delete(self.scan, k, axis=0), np.delete(self.block, k, axis=0))

    def miss(self, motion: Motion) -> Array:
        """Return (n, 3) how far each lies from its place in the block."""
        return motion.apply(self.scan) - self.block


def marks_from(marks: Mapping[str, Sequence[Any]]) -> Marks:
    """Return marks from a mapping of names to pairs: the place on the scan, the place in the block.

    Raises `BadValueError` for fewer than three, or for marks that lie in a line.
    """
    names, pairs = tuple(str(name) for name in marks), list(marks.values())
    for name, pair in zip(names, pairs, strict=True):
        if not isinstance(pair, Sequence | np.ndarray) or len(pair) != 2:
            raise BadValueError(f"mark {name!r} must be two places: on the scan (x, y, z), and in the block (x, y, z)")
    if len(names) < 3:
        raise BadValueError(f"{len(names)} marks cannot tell how the scan lies; three or more, not in a line, can")
    scan = np.stack(
        [frozen(pair[0], (3,), f"mark {name!r} on the scan") for name, pair in zip(names, pairs, strict=True)]
    )
    block = np.stack(
        [frozen(pair[1], (3,), f"mark {name!r} in the block") for name, pair in zip(names, pairs, strict=True)]
    )
    for places in (scan, block):
        if lie_in_a_line(places):
            raise BadValueError(
                f"the marks {', '.join(names)} lie in a line, so the scan could turn about it; "
                "take one more well to the side of that line"
            )
    return Marks(names, scan, block)


def by_marks(marks: Marks, scale: float | None, error_mm: float) -> tuple[Motion, float]:
    """Return the motion that brings marks to their places best, and a mark's scatter in mm along each axis.

    ``scale`` ``None`` lets the marks say it. Least squares (Umeyama, IEEE Transactions on Pattern Analysis and Machine
    Intelligence 13(4), 1991, from memory). Raises `BadValueError` where marks disagree by more than they can be wrong
    by, and names the one to blame where leaving it out makes the others agree.
    """
    motion = _least_squares(marks, scale)
    scatter = _scatter(marks, motion, scale)
    if scatter > _APART * error_mm:
        raise BadValueError(_disagreement(marks, scale, error_mm, motion))
    return motion, scatter


def _least_squares(marks: Marks, scale: float | None) -> Motion:
    middle, place = marks.scan.mean(axis=0), marks.block.mean(axis=0)
    rotation, best = best_turn(marks.scan - middle, marks.block - place)
    factor = best if scale is None else scale
    return Motion(factor, rotation, place - factor * rotation @ middle)


def _scatter(marks: Marks, motion: Motion, scale: float | None) -> float:
    """Return the standard error of one coordinate of a mark, by what no motion explains."""
    free = 3 * len(marks) - (7 if scale is None else 6)
    return float(np.sqrt((marks.miss(motion) ** 2).sum() / max(free, 1)))


def _disagreement(marks: Marks, scale: float | None, error_mm: float, motion: Motion) -> str:
    away = np.linalg.norm(marks.miss(motion), axis=1)
    worst = int(away.argmax())
    if len(marks) > 3:
        trials = []
        for k in range(len(marks)):
            rest = marks.without(k)
            other = _least_squares(rest, scale)
            trials.append((_scatter(rest, other, scale), k, float(np.linalg.norm(marks.miss(other)[k]))))
        least, worst, off = min(trials)
        if least <= _APART * error_mm:
            name = marks.names[worst]
            return (
                f"the marks disagree: {name!r} lies {off:.1f} mm from where the others put it; measure it again, "
                "leave it out, or give mark_error= how well marks are known"
            )
    told = ", ".join(f"{name} {by:.1f} mm" for name, by in zip(marks.names, away, strict=True))
    return f"the marks disagree: no motion brings them nearer to their places than {told}; measure them again"

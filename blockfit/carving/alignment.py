"""Laying a scan onto a surface of stone: point to plane, deaf to what has been carved since and to what is no stone.

mm. Iterated least squares with Tukey's biweight (Beaton and Tukey, Technometrics 16(2), 1974, from memory): a place
that lies further from the old surface than noise explains counts for nothing, nor does one whose own slope is
another. How sure the motion is comes from how far separate patches of the scan agree with each other (sums over
patches, as for clustered data: Liang and Zeger, Biometrika 73(1), 1986, from memory), so that noise that hangs
together is not taken for more than it is."""

from dataclasses import dataclass

import numpy as np

from blockfit.carving.motion import Marks, Motion, motion_rows
from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.surface import area_vectors
from blockfit.geometry.tolerances import LEAST_SIZE, NOT_ZERO
from blockfit.measure.distance import SurfaceDistance
from blockfit.measure.nearest import tree_of

__all__ = ["Asked", "Laid", "Sample", "laid_onto", "sample_of"]

_KEPT = 80_000  # places of a scan that are laid onto the surface
_COARSE = 4_000  # of them while it is still far off
_AROUND = 24  # neighbours that tell the slope at a place
_NEIGHBOURS = 60_000  # places of the scan among which neighbours are looked for: apart by more than noise
_FEW_PLACES = 20_000  # fewer vertices do not show flat faces
_SLOPE = np.cos(np.radians(15))  # places with another slope than the surface have been carved since
_TUKEY = 4.685  # 95 % efficient for normal noise
_LEAST_MM = 0.02  # noise is taken to be no less
_FEW, _FEW_OF_NORMAL = 0.3, 0.385  # three tenths of normal residuals are no larger than that many times their scatter
_MOST_NOISE = 0.2  # of the reach: what lies within it is not all noise
_ROUNDS, _FINE_ROUNDS = 60, 12
_STILL_MM = 1e-4  # a round that moves the scan by less has arrived
_UNTOLD = 1e-9  # of what is told best
_ANYWHERE_MM = 1e4
_SHARED = 3.0  # sides of faces within which places share their errors
_BIAS = 0.05  # of the noise
_PATCHES = 24  # along the scan's longest side, that count as one reading each


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """Places of a scan (n, 3), spread evenly, with their normals (n, 3) and the scatter of places about those slopes.

    ``faces_out`` tells whether normals point out of the stone, or only along a line; ``patch`` is within how far of
    each other places share their errors, having been strewn over the same faces (0: each has its own).
    """

    places: Array
    normals: Array
    noise: float
    faces_out: bool
    patch: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """A scan laid onto a surface: the motion, its ``covariance`` (7, 7) about ``middle`` (3,), the rms of what counted
    and how many places did."""

    motion: Motion
    middle: Array
    covariance: Array
    rms_mm: float
    noise_mm: float
    counted: int
    share: float


def sample_of(vertices: Array, faces: Ints) -> Sample:
    """Return places of a scan spread evenly over it."""
    used = np.unique(faces) if len(faces) else np.arange(len(vertices))
    outward = _outward(vertices, faces)
    random = np.random.default_rng(0)
    strewn = None
    if len(faces) and len(used) < _FEW_PLACES:  # large faces hold places too
        strewn, ways = _on_faces(vertices, faces, random)
        places = strewn
    else:
        order = random.permutation(used)
        places, ways = vertices[order], outward[order]
    many = places[_spread(places, _NEIGHBOURS)]
    kept = _spread(places, _KEPT)
    k = min(_AROUND, len(many))
    _, around = tree_of(many).query(places[kept], k=k)
    near = many[np.asarray(around).reshape(len(kept), k)]
    near = near - near.mean(axis=1)[:, None]
    sizes, axes = np.linalg.eigh(np.einsum("nki,nkj->nij", near, near))
    normals = axes[:, :, 0]
    scatter = np.sqrt(np.maximum(sizes[:, 0], 0) / max(k - 3, 1))
    normals = normals * np.where((normals * ways[kept]).sum(axis=1) < 0, -1.0, 1.0)[:, None]
    noise = float(np.quantile(scatter, 0.3))
    return Sample(places[kept], normals, noise, len(faces) > 0, 0.0 if places is not strewn else _side(vertices, faces))


def _outward(vertices: Array, faces: Ints) -> Array:
    """Return (n, 3) the sum of the faces' normals at each vertex; 0 without faces."""
    total = np.zeros_like(vertices)
    normals = area_vectors(vertices, faces)
    for corner in range(3):
        np.add.at(total, faces[:, corner], normals)
    return total


def _side(vertices: Array, faces: Ints) -> float:
    """Return how long the sides of most faces are, or more."""
    corners = vertices[faces]
    return float(np.quantile(np.linalg.norm(corners - corners[:, [1, 2, 0]], axis=2), 0.9))


def _on_faces(vertices: Array, faces: Ints, random: np.random.Generator) -> tuple[Array, Array]:
    """Return places (k, 3) strewn over a surface, and their faces' normals."""
    normals = area_vectors(vertices, faces)
    sizes = np.linalg.norm(normals, axis=1)
    which = random.choice(len(faces), _NEIGHBOURS, p=sizes / sizes.sum())
    u, v = random.random((2, _NEIGHBOURS))
    u, v = np.where(u + v > 1, 1 - u, u), np.where(u + v > 1, 1 - v, v)
    a, b, c = (vertices[faces[which, k]] for k in range(3))
    return a + u[:, None] * (b - a) + v[:, None] * (c - a), normals[which]


def _spread(points: Array, count: int) -> Ints:
    """Return about ``count`` of the points, the first in each cell of a grid."""
    if len(points) <= count:
        return np.arange(len(points))
    low, size = points.min(axis=0), np.ptp(points, axis=0)
    side = float(size.max()) / 40
    kept = np.arange(len(points))
    for _ in range(12):
        cell = np.floor((points - low) / side).astype(np.int64)
        keys = (cell[:, 0] * 2_000_003 + cell[:, 1]) * 2_000_003 + cell[:, 2]
        kept = np.unique(keys, return_index=True)[1]
        if len(kept) >= 0.8 * count:
            break
        side *= 0.75
    return kept[:: max(1, round(len(kept) / count))]


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """What a scan is laid onto: a surface with its face normals (m, 3), and ``marks`` each good to ``mark_mm``."""

    target: SurfaceDistance
    normals: Array
    marks: Marks | None
    mark_mm: float
    free_scale: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Pulls:
    """Linear equations of a small motion (7,) about ``middle``: ``rows`` (q, 7), what is missing, weights, places."""

    rows: Array
    rest: Array
    weights: Array
    places: Array
    middle: Array
    noise: float


def laid_onto(sample: Sample, asked: Asked, start: Motion, near_mm: float) -> Laid:
    """Return the motion that lays a scan onto a surface, from one that is ``near_mm``; marks count together with it."""
    motion, reach = start, near_mm
    step = max(1, len(sample.places) // _COARSE)
    fewer = Sample(sample.places[::step], sample.normals[::step], sample.noise, sample.faces_out, sample.patch)
    pulls = _pulls(fewer, asked, motion, reach)
    for part, rounds in ((fewer, _ROUNDS), (sample, _FINE_ROUNDS)):
        for _ in range(rounds):
            pulls = _pulls(part, asked, motion, reach)
            moved = _solved(pulls, asked, motion)
            motion = motion.moved(moved, pulls.middle)
            final = 1.5 * _TUKEY * pulls.noise
            still = float(np.abs(moved / _units(pulls)).max()) < _STILL_MM
            if still and reach <= final:
                break
            reach = min(reach, max(final, 0.7 * reach))
    pulls = _pulls(sample, asked, motion, reach)
    rms = float(np.sqrt((pulls.weights * pulls.rest**2).sum() / max(float(pulls.weights.sum()), NOT_ZERO)))
    counted = int((pulls.weights > 0).sum())
    covariance = _covariance(pulls, asked, motion, _SHARED * sample.patch * motion.scale)
    return Laid(motion, pulls.middle, covariance, rms, pulls.noise, counted, counted / len(sample.places))


def _pulls(sample: Sample, asked: Asked, motion: Motion, reach: float) -> _Pulls:
    """Return the equations of all places that may count: near the surface, and with its slope."""
    placed = motion.apply(sample.places)
    middle = placed.mean(axis=0)
    face, nearest = asked.target.nearest(placed)
    outward = asked.normals[face]
    agree = ((sample.normals @ motion.rotation.T) * outward).sum(axis=1)
    agree = agree if sample.faces_out else np.abs(agree)
    near: Flags = np.asarray((((placed - nearest) ** 2).sum(axis=1) < reach**2) & (agree > _SLOPE))
    placed, outward = placed[near], outward[near]
    rest = ((placed - nearest[near]) * outward).sum(axis=1)
    arms = placed - middle
    rows = np.concatenate([outward, np.cross(arms, outward), (arms * outward).sum(axis=1)[:, None]], axis=1)
    own = max(_LEAST_MM, sample.noise * motion.scale)
    # A face that is not as flat as the solid says scatters by more than the scan's own noise.
    seen = float(np.quantile(np.abs(rest), _FEW)) / _FEW_OF_NORMAL if len(rest) else own
    noise = float(np.clip(seen, own, max(own, _MOST_NOISE * reach)))
    weights = np.maximum(1 - (rest / (_TUKEY * noise)) ** 2, 0.0) ** 2
    return _Pulls(rows, rest, np.asarray(weights), placed, middle, noise)


def _mark_rows(marks: Marks, motion: Motion, middle: Array) -> tuple[Array, Array]:
    """Return rows (3 n, 7) and what is missing (3 n,) of marks."""
    return motion_rows(motion.apply(marks.scan) - middle).reshape(-1, 7), marks.miss(motion).ravel()


def _normal_matrix(pulls: _Pulls, asked: Asked, motion: Motion) -> Array:
    whole = np.einsum("ni,n,nj->ij", pulls.rows, pulls.weights / pulls.noise**2, pulls.rows)
    if asked.marks is not None:
        ours, _ = _mark_rows(asked.marks, motion, pulls.middle)
        whole = whole + ours.T @ ours / asked.mark_mm**2
    return np.asarray(whole)


def _solved(pulls: _Pulls, asked: Asked, motion: Motion) -> Array:
    """Return the small motion (7,) that takes away most of what is missing; ways that nothing tells are left alone."""
    pull = -(pulls.rows * (pulls.weights * pulls.rest / pulls.noise**2)[:, None]).sum(axis=0)
    if asked.marks is not None:
        ours, miss = _mark_rows(asked.marks, motion, pulls.middle)
        pull = pull - ours.T @ miss / asked.mark_mm**2
    inverse = _inverse(_normal_matrix(pulls, asked, motion), _units(pulls), asked.free_scale, 0.0)
    return np.asarray(inverse @ pull)


def _units(pulls: _Pulls) -> Array:
    """Return (7,) what turns and growth are worth where one of them moves the scan by a mm."""
    arms = pulls.rows[:, 3:6]
    arm = max(float(np.sqrt((arms**2).sum(axis=1).mean())) if len(arms) else 1.0, 1.0)
    return np.array([1.0, 1.0, 1.0, *([1 / arm] * 4)])


def _inverse(whole: Array, units: Array, free_scale: bool, untold: float) -> Array:
    """Return the inverse (7, 7) of a matrix; ``untold`` is put (per mm²) along ways of which it tells nothing."""
    count = 7 if free_scale else 6
    sizes, axes = np.linalg.eigh((whole * np.outer(units, units))[:count, :count])
    told = sizes > _UNTOLD * max(float(sizes.max()), NOT_ZERO)
    inverse = np.zeros((7, 7))
    inverse[:count, :count] = (axes * np.where(told, 1 / np.where(told, sizes, 1.0), untold)) @ axes.T
    return np.asarray(inverse * np.outer(units, units))


def _covariance(pulls: _Pulls, asked: Asked, motion: Motion, patch_mm: float) -> Array:
    """Return the covariance (7, 7) of the motion; never surer than independent places of that noise would make it."""
    inverse = _inverse(_normal_matrix(pulls, asked, motion), _units(pulls), asked.free_scale, _ANYWHERE_MM**2)
    spread = np.zeros((7, 7))
    if len(pulls.rows):
        scores = pulls.rows * (pulls.weights * pulls.rest / pulls.noise**2)[:, None]
        side = max(float(np.ptp(pulls.places, axis=0).max()) / _PATCHES, patch_mm, LEAST_SIZE)
        cell = np.floor((pulls.places - pulls.places.min(axis=0)) / side).astype(np.int64)
        _, patch = np.unique((cell[:, 0] * 1009 + cell[:, 1]) * 1009 + cell[:, 2], return_inverse=True)
        sums = np.zeros((int(patch.max()) + 1, 7))
        np.add.at(sums, patch.ravel(), scores)
        spread = sums.T @ sums * len(sums) / max(len(sums) - 1, 1)
    told = _inverse(_normal_matrix(pulls, asked, motion), _units(pulls), asked.free_scale, 0.0)
    # What was carved by less than noise can tell, or lies at a rim, pulls all one way: no sample shows it.
    bias = np.zeros(7)
    bias[:3] = (_BIAS * pulls.noise) ** 2
    return np.asarray(told @ spread @ told + inverse + np.diag(bias))

"""From a fit to its certificate: the claim, the placement rounded so that it holds exactly, and the trees."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blockfit.certificates.certificate import Certificate
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.programs import least
from blockfit.geometry.tolerances import CLOSE
from blockfit.geometry.turns import from_quaternions, quaternion
from blockfit.search.proof.questions import Question
from blockfit.search.proof.support import Hull, hull_of
from blockfit.search.witness.forms import charts_for, sides_for
from blockfit.search.witness.placing import CornerRows, Stood, settled_in
from blockfit.search.witness.statements import Statement, Target
from blockfit.search.witness.tree import Tree, grown
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.placement import Placement
from blockfit.solids.stance import Stance

__all__ = ["Claim", "Way", "certificate_of", "moved_by"]

_ONE = np.array([1.0, 0, 0, 0])
_FRAMES = {2: _ONE, 0: np.array([1.0, 1, 1, 1]), 1: np.array([1.0, -1, -1, -1])}  # the axis that k is taken to
_LEAVES = (2_000, 20_000, 100_000, 300_000)  # tried in turn, each in every frame: one may need far fewer than another
_FIRST_LEAVES = 100_000  # for a bound tighter than the search's or than was asked


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """The block as it stands: ``block`` re-axed by ``rotation`` (3, 3) onto ``face``, the cover asked of its faces.

    ``question`` is what the search asked there, ``rows`` (m,) the certificate's number of each of its rows, and
    ``shift`` what must be taken from a bound to be the merit of that question.
    """

    face: str
    block: Block
    rotation: Array
    cover_mm: Array
    question: Question
    rows: Ints
    shift: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Claim:
    """What is to be proved: ``bounds`` in the order in which they are tried, and the placement in way ``placed``."""

    question: str
    scale: float
    most: float
    bounds: Sequence[float]
    placement: Placement | None
    placed: int
    value: float


def certificate_of(
    figure: Figure, block: Block, stance: Stance, ways: Sequence[Way], claim: Claim
) -> Certificate | None:
    """Return the certificate of a claim, for the first of its bounds that can be proved; None if there is none."""
    for number, bound in enumerate(claim.bounds):
        most = _FIRST_LEAVES if number == 0 and len(claim.bounds) > 4 else _LEAVES[-1]
        found = _trees(figure, stance, ways, bound, most, claim)
        if found is not None:
            return _written(figure, block, stance, ways, claim, bound, found)
    return None


Trees = list[tuple[Tree, Array]]


def _trees(figure: Figure, stance: Stance, ways: Sequence[Way], bound: float, most: int, claim: Claim) -> Trees | None:
    """Return a tree and its frame for each way; None where one would be too large."""
    if claim.question == "largest" and bound >= claim.most:
        return [(Tree([], [], 0), _ONE) for _ in ways]
    found: Trees = []
    for way in ways:
        best = _tree(hull_of(figure), stance, way, bound - way.shift, most, claim.question == "largest")
        if best is None:
            return None
        found.append(best)
    return found


def _tree(hull: Hull, stance: Stance, way: Way, merit: float, most: int, is_largest: bool) -> tuple[Tree, Array] | None:
    question = way.question
    if is_largest:
        blocked = question.tightest_place()
        if float(question.rows_of(blocked[None]).room[0]) < 0:  # the rows alone leave no place for any point
            rows = np.flatnonzero(blocked > 0)
            alone = Statement(rows, np.zeros(len(rows), np.int64), blocked[rows], np.zeros(2), np.zeros((4, 4)))
            count = len(charts_for(_ONE, stance, is_box=_is_box(question)))
            return Tree([3] * count, [alone] * count, count), _ONE
    frames = (2,) if stance.tilt == 0 or not _is_box(question) else (2, 0, 1)
    for allowed in (leaves for leaves in _LEAVES if leaves <= most):
        for frame in (_FRAMES[axis] for axis in frames):
            charts = charts_for(frame, stance, is_box=_is_box(question))
            tree = grown(
                Target(question, hull.points, stance, merit), charts, sides_for(frame, stance, len(charts)), allowed
            )
            if tree is not None:
                return tree, frame
    return None


def _is_box(question: Question) -> bool:
    return bool(((question.normals != 0).sum(axis=1) == 1).all())


def _written(
    figure: Figure, block: Block, stance: Stance, ways: Sequence[Way], claim: Claim, bound: float, found: Trees
) -> Certificate:
    faces = [_faces_of(block, way) for way in ways]
    corners = block.corners_mm
    cover = np.array([way.cover_mm[np.argsort(order)] for way, order in zip(ways, faces, strict=True)])
    turns = np.array([_tidy(quaternion(way.rotation)) for way in ways])
    value, turn, shift = np.nan, _ONE, np.zeros(3)
    if claim.placement is not None:
        way = ways[claim.placed]
        rows = _rows(block, cover[claim.placed], turns[claim.placed], claim)
        move = moved_by(block, way)
        stood = Stood(claim.value, quaternion(claim.placement.rotation), claim.placement.shift_mm - move)
        settled = settled_in(figure, rows, stance, stood, bound)
        if settled is not None:
            value, turn, shift = settled.value, settled.turn, settled.shift_mm
    down = [block.names.index(way.face) if way.face in block.names else 0 for way in ways]
    return Certificate(
        question=claim.question, scale=claim.scale, bound=bound, value=value, most=claim.most,
        stance=np.array([stance.tilt, stance.turn], np.float64), margin_mm=figure.margin_mm,
        normals=block.normals, offsets_mm=block.offsets_mm, skin_mm=block.skin_mm, cover_mm=cover, ways=turns,
        down=np.array(down), placed=claim.placed, turn=turn, shift_mm=shift,
        centre=(corners.min(axis=0) + corners.max(axis=0)) / 2, spans=_spans(block),
        frames=np.array([frame for _, frame in found]), **_lists(figure, ways, faces, [tree for tree, _ in found]),
    )  # fmt: skip


def _lists(figure: Figure, ways: Sequence[Way], faces: Sequence[Ints], trees: Sequence[Tree]) -> dict[str, Any]:
    """Return the nodes, leaves and statements, each statement and each vertex once."""
    hull = hull_of(figure)
    numbers: dict[bytes, int] = {}
    leaves, starts, limits = [], [0], []
    rows: list[Ints] = []
    points: list[Ints] = []
    weights: list[Array] = []
    for way, order, tree in zip(ways, faces, trees, strict=True):
        count = len(order)
        named = way.rows // count * count + order[way.rows % count]
        for statement in tree.leaves:
            key = b"".join(
                part.tobytes()
                for part in (named[statement.rows], statement.points, statement.weights, statement.limits)
            )
            if key not in numbers:
                numbers[key] = len(numbers)
                rows.append(named[statement.rows])
                points.append(statement.points)
                weights.append(statement.weights)
                limits.append(statement.limits)
                starts.append(starts[-1] + len(statement.rows))
            leaves.append(numbers[key])
    used = np.concatenate([np.zeros(0, np.int64), *points])
    nodes = [node for tree in trees for node in tree.nodes]
    named_points, which = np.unique(used, return_inverse=True) if len(used) else (np.zeros(1, np.int64), used)
    vertices = hull.corners[named_points]
    return {
        "vertices": vertices, "points": figure.vertices[vertices], "which": which,
        "nodes": np.array(nodes, np.int64), "leaves": np.array(leaves, np.int64),
        "starts": np.array(starts), "rows": np.concatenate([np.zeros(0, np.int64), *rows]),
        "weights": np.concatenate([np.zeros(0), *weights]), "limits": np.array(limits).reshape(-1, 2),
    }  # fmt: skip


def _rows(block: Block, cover: Array, turn: Array, claim: Claim) -> CornerRows:
    """Return the rows of a way as floats, for placing: normals as they stand, offsets, loads."""
    normals = block.normals @ from_quaternions(turn).T
    kept, loads = block.offsets_mm - block.skin_mm - cover, np.zeros(len(cover))
    if claim.question == "cover":
        counted = cover > 0 if cover.any() else np.ones(len(cover), bool)
        bare = (block.offsets_mm - block.skin_mm)[counted]
        faces = np.concatenate([np.arange(len(cover)), np.flatnonzero(counted)])
        return CornerRows(
            block,
            turn,
            cover,
            faces,
            np.concatenate([kept, bare]),
            np.concatenate([loads, np.ones(len(bare))]),
            claim.scale,
        )
    loads = {"setback": np.maximum(normals[:, 1], 0), "short": loads + 1}.get(claim.question, loads)
    return CornerRows(block, turn, cover, np.arange(len(cover)), kept, loads, claim.scale)


def _faces_of(block: Block, way: Way) -> Ints:
    """Return (f,) which face of the block as given each face of the re-axed one is."""
    turned = block.normals @ way.rotation.T
    apart = np.abs(way.block.normals[:, None, :] - turned[None, :, :]).max(axis=2)
    return np.asarray(apart.argmin(axis=1), np.int64)


def moved_by(block: Block, way: Way) -> Array:
    """Return the shift (3,) by which re-axing moved the block after turning it."""
    turned = block.corners_mm @ way.rotation.T
    return np.asarray(way.block.corners_mm.min(axis=0) - turned.min(axis=0))


def _tidy(q: Array) -> Array:
    """Return the quaternion with parts that are whole where they are nearly so, as those of quarter turns can be."""
    whole = q / np.abs(q).max()
    near = np.round(whole)
    return near if np.abs(whole - near).max() < CLOSE else q


def _spans(block: Block) -> Array:
    """Return (6, f) weights of the normals that add up to the axes and their opposites."""
    spans = []
    for axis in np.vstack([np.eye(3), -np.eye(3)]):
        found = least(-axis, block.normals, np.ones(len(block.normals)))
        assert found is not None, "a closed block spans every direction: a fault in blockfit, please report it"
        spans.append(np.maximum(found.duals, 0.0))
    return np.array(spans)

"""The least squaring of a rough block: a true base to stand on, and two faces to measure from.

mm, m³, kg, block frame. The three faces are level or upright, square to one another, and no nearer to the figure than
the cover that was asked. Each goes in as little as makes it large enough, resolved to a hundredth of the block: so far
apart are the planes looked at. Its area and what comes off are exact for the surface as it was read."""

from dataclasses import dataclass, field

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.tolerances import NOTHING_MM, UNDER_MM
from blockfit.kinds import kinds_checked
from blockfit.measure.booleans import Solid, arrays_of
from blockfit.measure.cross_sections import section_areas
from blockfit.measure.views import FACE_DIRECTIONS
from blockfit.search.flawed.obstacles import stone_of
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.units import M2_PER_MM2, M3_PER_MM3
from blockfit.waste.statics import balance

__all__ = ["Squaring", "TrueFace", "squaring"]

_LOOKS = 96  # planes looked at from the outermost place in
_SAME = 1e-6  # of an area: what rounding makes of it
_BASE = "bottom"
_CORNERS = (("left", "front"), ("right", "front"), ("left", "back"), ("right", "back"))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class TrueFace(Result):
    """A face to be sawn: ``inset_mm`` in from the outermost place on that side, its area, what comes off, and the stone
    that stays over the figure on that side.

    ``is_large`` is whether it is as large as was asked: the figure may stand in the way.

    ``inset_mm`` and ``cover_mm`` are mm, ``loss_kg`` is ``None`` without a stone. The inset is resolved to a hundredth
    of the block, the area and the loss are exact for the surface as it was read, the weight is an estimate.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 400) for y in (0, 300) for z in (0, 500)]
    >>> faces = [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6],
    ...     [0, 6, 4], [1, 5, 7], [1, 7, 3]]
    >>> block = bf.Block.scanned(bf.Figure(corners, faces), stone="granite")
    >>> small = bf.Figure([[c / 2 for c in corner] for corner in corners], faces)
    >>> fit = bf.largest(small, block, scales=(0, 1), stance=bf.Stance.fixed())
    >>> base = bf.squaring(fit).faces[0]  # of a block that is square already
    >>> base.face, base.is_large, round(base.area_m2, 2), base.inset_mm < 0.01, base.loss_m3 < 1e-6
    ('bottom', True, 0.12, True, True)
    """

    face: str = field(metadata=fact("face", Sure.GIVEN))
    inset_mm: float = field(metadata=fact("in from the outermost place", Sure.RESOLVED, Rounding.UP))
    area_m2: float = field(metadata=fact("true face", Sure.EXACT, Rounding.DOWN))
    loss_m3: float = field(metadata=fact("comes off", Sure.EXACT, Rounding.UP))
    loss_kg: float | None = field(metadata=fact("that is", Sure.ESTIMATE, Rounding.UP))
    cover_mm: float = field(metadata=fact("left over the figure", Sure.EXACT, Rounding.DOWN))
    is_large: bool = field(metadata=fact("large enough", Sure.EXACT))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Squaring(Result):
    """The faces to saw, in order: the base, then two to measure from; what comes off in all, and what is then left.

    ``stands`` tells whether the stone stands on its base by itself, ``left`` is the stone then left.

    Volumes are exact for the surface as it was read, weights estimates (``None`` without a stone).

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 400) for y in (0, 300) for z in (0, 500)]
    >>> faces = [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6],
    ...     [0, 6, 4], [1, 5, 7], [1, 7, 3]]
    >>> block = bf.Block.scanned(bf.Figure(corners, faces), stone="granite")
    >>> small = bf.Figure([[c / 2 for c in corner] for corner in corners], faces)
    >>> fit = bf.largest(small, block, scales=(0, 1), stance=bf.Stance.fixed())
    >>> found = bf.squaring(fit)
    >>> [face.face for face in found.faces], found.stands, round(found.left.volume_m3, 3), found.block().name
    (['bottom', 'left', 'front'], True, 0.06, 'figure, squared')
    """

    faces: tuple[TrueFace, ...] = field(metadata=fact("faces to saw", Sure.EXACT))
    loss_m3: float = field(metadata=fact("comes off in all", Sure.EXACT, Rounding.UP))
    loss_kg: float | None = field(metadata=fact("that is", Sure.ESTIMATE, Rounding.UP))
    stands: bool = field(metadata=fact("then stands by itself", Sure.EXACT))
    left: Figure
    origin: Block

    def block(self) -> Block:
        """Return the squared stone as a rough block, in the first block's frame; ask `answer` again in it."""
        block = self.origin
        named = f"{block.name}, squared"
        skin = float(block.skin_mm.max(initial=0.0))
        return Block.scanned(
            self.left, stone=block.stone, name=named, skin=skin, price=block.price, flaws=block.flaws
        )  # fmt: skip


@kinds_checked
def squaring(fit: Fit, *, share: float = 0.5) -> Squaring:
    """Return the least that must be sawn off a rough block for a base and two reference faces beside it.

    A face is large enough when it is ``share`` of the largest section parallel to it. Of the four pairs of upright
    faces that meet, the one that costs least is taken. Where the figure and its cover stand in the way a face goes as
    far as they allow, and `TrueFace.is_large` says so. Raises `BadValueError` for a block that is not rough,
    a figure without a place in it, and a share out of range.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 400) for y in (0, 300) for z in (0, 500)]
    >>> faces = [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6],
    ...     [0, 6, 4], [1, 5, 7], [1, 7, 3]]
    >>> block = bf.Block.scanned(bf.Figure(corners, faces))
    >>> small = bf.Figure([[c / 2 for c in corner] for corner in corners], faces)
    >>> fit = bf.largest(small, block, scales=(0, 1), stance=bf.Stance.fixed())
    >>> [face.face for face in bf.squaring(fit).faces], bf.squaring(fit).loss_m3    # it is square already
    (['bottom', 'left', 'front'], 0.0)
    """
    if fit.block.surface is None:
        raise BadValueError(f"{fit.block.name} is sawn already: squaring is asked of a rough block")
    if fit.placement is None:
        raise BadValueError(f"{fit.figure.name} has no place in {fit.block.name}: there is nothing to square it for")
    if not 0 < share <= 1:
        raise BadValueError(f"share={share!r} must be above 0 and at most 1")
    stone = stone_of(fit.block)
    base, stone = _sawn(fit, stone, _BASE, share)
    best: tuple[tuple[int, float], list[TrueFace], Solid] | None = None
    for pair in _CORNERS:
        left, faces = stone, [base]
        for side in pair:
            face, left = _sawn(fit, left, side, share)
            faces.append(face)
        cost = sum(not face.is_large for face in faces), round(sum(face.loss_m3 for face in faces), 12)
        if best is None or cost < best[0]:
            best = (cost, faces, left)
    assert best is not None
    _, faces, left = best
    vertices, triangles = arrays_of(left)
    body = Figure(vertices, triangles, name=fit.block.name)
    floor = vertices[vertices[:, 2] <= float(vertices[:, 2].min()) + NOTHING_MM]
    loss = sum(face.loss_m3 for face in faces)
    stands = balance(body.centroid_mm, floor).stands
    return Squaring(tuple(faces), loss, _kg(fit, loss), stands, body, fit.block)


def _sawn(fit: Fit, stone: Solid, face: str, share: float) -> tuple[TrueFace, Solid]:
    """Return a face sawn true with the least loss, and the stone then left."""
    outward = -np.array(FACE_DIRECTIONS[face])
    body = _Sections(*arrays_of(stone), outward)
    figure = float((fit.solid().vertices @ outward).max()) + fit.figure.margin_mm * fit.scale
    heights = body.vertices @ outward
    top, low = float(heights.max()), float(heights.min())
    limit = max(low, figure + float(fit.asked_cover_mm.max(initial=0.0)))
    levels = np.linspace(top, low, _LOOKS + 2)[1:-1]
    areas = body.areas_mm2(levels)
    enough = share * float(areas.max()) * (1 - _SAME)
    at, wanted = top, enough
    if body.area_mm2(top - UNDER_MM) < enough:
        allowed = levels >= limit
        if not (allowed & (areas >= enough)).any():  # as large as it can be, and no deeper than that takes
            most = max(float(areas[allowed].max(initial=0.0)), body.area_mm2(limit), body.area_mm2(top - UNDER_MM))
            enough = most * (1 - _SAME)
        reached = np.flatnonzero((areas >= enough) & allowed)
        at = _first_level(body, enough, levels, int(reached[0]), top) if len(reached) else limit
        at = top if body.area_mm2(top - UNDER_MM) >= enough else min(max(limit, at), top)
    left = stone.trim_by_plane((-outward).tolist(), -at)
    area = body.area_mm2(at - UNDER_MM)
    loss = max(0.0, float(stone.volume() - left.volume())) * M3_PER_MM3 if at < top else 0.0
    is_whole = bool(area >= wanted * (1 - _SAME))
    return TrueFace(face, top - at, area * M2_PER_MM2, loss, _kg(fit, loss), at - figure, is_whole), left


@dataclass(frozen=True, slots=True, eq=False)
class _Sections:
    """Sections of a closed surface square to a direction."""

    vertices: Array
    faces: Ints
    outward: Array

    def areas_mm2(self, levels: Array) -> Array:
        """Return the areas of the sections at levels (p,)."""
        return section_areas(self.vertices, self.faces, self.outward, levels)

    def area_mm2(self, level: float) -> float:
        """Return the area of one section."""
        return float(self.areas_mm2(np.array([level]))[0])


def _first_level(body: _Sections, enough: float, levels: Array, k: int, top: float) -> float:
    """Return the outermost level between the k-th and the one before whose section is large enough."""
    low, high = float(levels[k]), float(levels[k - 1]) if k else top
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (middle, high) if body.area_mm2(middle) >= enough else (low, middle)
    return low


def _kg(fit: Fit, volume_m3: float) -> float | None:
    stone = fit.block.stone
    return None if stone is None else volume_m3 * stone.density_kg_m3

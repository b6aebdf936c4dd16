"""The stone as offcuts leave it: an outline that stays convex, and within it convex parts past what was taken.

What is taken is cut out exactly; samples stand beside it for those who look where to cut next. mm, block frame."""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from itertools import islice

import numpy as np

from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.polytope import corners_of, corners_or_none
from blockfit.measure.booleans import Solid, hull_solid
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.waste.cuts.division import divisions
from blockfit.waste.cuts.marks import Hollow
from blockfit.waste.cuts.sweep import swept
from blockfit.waste.offcuts.parts import AIR_M2, Part, Planes, SetWedge, Span, dividing_saw, has_a_nick, parted, sawn_m2
from blockfit.waste.offcuts.stone import stone_for_pieces
from blockfit.waste.offcuts.wedges import draw_out
from blockfit.waste.offcuts.wishes import Limits
from blockfit.waste.sampling import surface_points, thinned

__all__ = ["SPARE_MM", "Obstacle", "Remaining"]

_SAMPLES = 18_000
_SPREAD = 12_000  # the same, in no rows
# Of the samples' spacing: how far apart the figure's points lie that planes are set by, and searched by.
_CLOSE, _NEAR, _SPARSE = 0.12, 0.5, 0.8
_MOST_CELLS = 10  # convex parts of the stone left that are searched for the next piece
_DIVISIONS = 8  # ways to divide a wedge that are tried until its parts are what is wanted
SPARE_MM = 1e-4
"""What is taken away goes so much past a plane that others share, or a film of stone would be left along it."""
_SLIVER_MM = 1e-6  # faces of the stone left that lie so near each other become one


@dataclass(frozen=True, slots=True, eq=False)
class Obstacle:
    """What pieces are kept clear of: its ``surface``, vertices and faces, and points of it, ``close``, ``near`` and
    ``sparse`` (3, m): long rows, which numpy reduces quickly."""

    surface: tuple[Array, Ints]
    close: Array
    near: Array
    sparse: Array

    @classmethod
    def of(cls, figure: Figure, reserve_mm: float, spacing: float) -> "Obstacle":
        """Return the figure, and where it comes to when set back by the reserve; its points for stone so spaced."""
        points = surface_points(figure, 0.5 * spacing)
        surface, back = (figure.vertices, figure.faces), np.array([0.0, 1.0, 0.0])
        if reserve_mm:
            steps = np.linspace(0, reserve_mm, 2 + int(reserve_mm / spacing))
            points = thinned(np.concatenate([points + step * back for step in steps]), 0.35 * spacing)
            surface = swept(figure.vertices, figure.faces, reserve_mm * back)
        sets = [np.ascontiguousarray(thinned(points, share * spacing).T) for share in (_CLOSE, _NEAR, _SPARSE)]
        return cls(surface, *sets)


class Remaining:
    """The stone left of a block, and the ``obstacle`` that its next pieces are kept clear of.

    `left` is that stone, `hollows` what is gone, part by part, `open` the same wedge by wedge, `too_light_m3` what went
    as chips because it was too light. `stone` (n, 3) are samples of it, `spacing` mm apart, of the `whole` block's;
    `spread` (n, 3) are samples of the whole in no rows, as even as a few of them from the first on.
    """

    obstacle: Obstacle

    def __init__(self, block: Block, limits: Limits) -> None:
        """Start with the whole block."""
        self.block, self.limits, self.wishes = block, limits, limits.wishes
        self._normals, self._offsets = block.normals, block.offsets_mm.copy()
        self.hollows: list[Hollow] = []
        self.open: list[Planes] = []
        self._kept = 0
        self.too_light_m3 = 0.0
        self.rock = stone_for_pieces(block)
        self.left: Solid = self.rock.solid
        # What is left, as convex parts that overlap: where normals @ x >= offsets, within the outline.
        self._cells: list[Planes] = [(np.zeros((0, 3)), np.zeros(0))]
        self.stone = self.rock.points(_SAMPLES)
        self.whole = len(self.stone)
        self.spread = self.rock.spread_points(_SPREAD)
        self.spacing = (block.volume_m3 * 1e9 / _SAMPLES) ** (1 / 3)

    def copied(self) -> "Remaining":
        """Return the same stone, to be cut otherwise."""
        other = copy(self)
        other.hollows, other.open = list(self.hollows), list(self.open)
        return other

    @property
    def cells(self) -> int:
        """In how many convex parts the stone left is searched."""
        return len(self._cells)

    def free_cells(self) -> list[tuple[Array, Array, Array]]:
        """Return the convex parts of the stone left, planes and samples, the largest first, none inside another."""
        inside = [(self.stone @ normals.T >= offsets).all(axis=1) for normals, offsets in self._cells]
        order = sorted(range(len(inside)), key=lambda k: -int(inside[k].sum()))
        kept: list[int] = []
        for k in order:
            if inside[k].any() and not any((inside[k] <= inside[j]).all() for j in kept):
                kept.append(k)
        self._cells = [self._cells[k] for k in kept[:_MOST_CELLS]]
        return [(*self._cells[i], self.stone[inside[k]]) for i, k in enumerate(kept[:_MOST_CELLS])]

    def take(self, plan: SetWedge, room: int | None) -> list[Part]:
        """Take a wedge out of the stone; return its parts in order, divided as the lift demands, ``room`` at most.

        What no room is left for stays in the stone: the plan ends there.
        """
        parts: list[Part] = []
        for span in self.spans(plan):
            if room is not None and len(parts) >= room:
                return parts
            corners, before = self.corners(span.normals, span.offsets, span.ends), len(self.hollows)
            areas = [sawn_m2(self.left, span.normals, span.offsets, k, span.ends) for k in range(len(span.normals))]
            gone = span.offsets - np.array([method.kerf_mm for method in span.methods])
            self._remove(span.normals, gone)
            volume, cuts = self.rock.volume_m3(corners), span.normals[np.array(areas) > AIR_M2]
            way = draw_out(cuts if len(cuts) else span.normals)
            sound = self._sound(span, closely=True)
            is_good = sound is not None and (not self.rock.is_rough or self._is_wanted(span))
            if corners is None or way is None or sound is None or not is_good or volume < self.limits.least_volume_m3:
                self.too_light_m3 += volume
                self.hollows.append(Hollow.after(span.normals, gone, None, f"the chips after piece {self._kept}"))
                continue
            parts.append(self._part(span, corners, sound, np.array(areas), way, before))
            self._kept += 1
            self.wishes = self.wishes.for_more()
            self.hollows.append(Hollow.after(span.normals, gone, parts[-1].normals, f"piece {self._kept}"))
        self._open_cells(plan)
        return parts

    def is_heavy(self, volume_m3: float) -> bool:
        """Whether a wedge of that much stone must be divided to be lifted."""
        return volume_m3 > self.limits.most_volume_m3

    def spans(self, plan: SetWedge) -> list[Span]:
        """Return the parts that a wedge is divided into, each after the parts beyond it; none if it cannot be.

        What is divided to be lifted is wanted as parts: each is what was asked for, or is too light to be kept.
        """
        wedge, corners = plan.wedge, self.corners(plan.wedge.normals, plan.wedge.offsets)
        is_light = not self.is_heavy(self.rock.volume_m3(corners))
        saw = None if corners is None else dividing_saw(plan, self.limits.methods, corners, is_light)
        if corners is None or saw is None:
            return []
        thick_mm = self.limits.least_thickness_mm + saw.kerf_mm
        whole = self.rock.piece(corners)
        for ways in islice(divisions(whole, corners, self.limits.most_volume_m3, thick_mm), _DIVISIONS):
            parts = parted(wedge, plan.methods, ways, saw)
            kept = [part for part in parts if self._is_kept(part)]
            if any(part.divided and self._has_a_nick(part) for part in kept):
                continue
            wanted = sum(self._is_wanted(part) for part in kept)
            # Of rough stone, parts that are no good go to the chips, as long as most are.
            if wanted and (wanted == len(kept) or (self.rock.is_rough and 2 * wanted >= len(kept))):
                return parts
        return []

    def corners(self, normals: Array, offsets: Array, ends: Sequence[tuple[Array, float]] = ()) -> Array | None:
        """Return the corners of the outline beyond the planes (and before each of ``ends``), or ``None``."""
        bounds = [self._normals, -normals, *(axis[None] for axis, _ in ends)]
        at = [self._offsets, -np.asarray(offsets), *(np.array([end]) for _, end in ends)]
        return corners_or_none(np.concatenate(bounds), np.concatenate(at))

    def _open_cells(self, plan: SetWedge) -> None:
        """Part the stone left into convex cells past a wedge that is gone."""
        normals, offsets = plan.wedge.normals, plan.wedge.offsets
        kerfs = np.array([method.kerf_mm for method in plan.methods])
        self.open.append((normals, offsets - kerfs))
        if len(normals) == 1:
            self._normals = np.vstack([self._normals, normals])
            self._offsets = np.append(self._offsets, offsets - kerfs)
        else:
            # Past a hollow the stone is convex on the far side of any one of its planes.
            self._cells = [
                (np.vstack([ways, -normals[k]]), np.append(at, kerfs[k] - offsets[k]))
                for ways, at in self._cells
                for k in range(len(normals))
            ]
        gone = (self.stone @ normals.T >= offsets - kerfs).all(axis=1)
        self.stone = self.stone[~gone]
        self.free_cells()

    def _is_kept(self, part: Span) -> bool:
        """Whether a part is heavy enough to be a piece; what is not goes with the chips."""
        volume = self.rock.volume_m3(self.corners(part.normals, part.offsets, part.ends))
        return volume >= self.limits.least_volume_m3

    def _has_a_nick(self, part: Span) -> bool:
        """Whether a part would have a cut too small to set out beside its others."""
        return has_a_nick(
            [sawn_m2(self.left, part.normals, part.offsets, k, part.ends) for k in range(len(part.normals))]
        )

    def _is_wanted(self, part: Span) -> bool:
        """Whether a part is of one body, thick enough all the way, and what the wishes ask."""
        sound = self._sound(part)
        return sound is not None and self.wishes.met_by(sound)

    def _sound(self, part: Span, *, closely: bool = False) -> Array | None:
        """Return the corners of the sound stone in a part; see `PlannedStone.sound`."""
        corners = self.corners(part.normals, part.offsets, part.ends)
        if corners is None:
            return None
        through = self._normals[len(self.block.normals) :]  # of cuts that earlier pieces left by
        cuts = np.vstack([-part.normals, *[axis[None] for axis, _ in part.ends], through])
        return self.rock.sound(corners, cuts, self.limits.least_thickness_mm, closely=closely)

    def _part(self, span: Span, corners: Array, sound: Array, areas: Array, way: Array, before: int) -> Part:
        """Return a part as it was taken out, with its cuts: planes that pass through more than air."""
        cut = np.flatnonzero(areas > AIR_M2)
        return Part(
            normals=span.normals[cut],
            offsets=span.offsets[cut],
            corners=corners,
            solid=self.rock.piece(corners),
            sound=sound,
            volume_m3=self.rock.volume_m3(corners),
            areas_m2=tuple(areas[cut].tolist()),
            outlines=tuple(self.rock.outline(corners, span.normals[k], float(span.offsets[k])) for k in cut),
            methods=tuple(span.methods[k] for k in cut),
            draw_out=way,
            divided=span.divided,
            left=self.left,
            before=before,
        )

    def _remove(self, normals: Array, offsets: Array) -> None:
        """Take all beyond the planes out of the stone left.

        The tool reaches beyond the block, and slightly beyond its planes: faces that coincide would leave fins.
        """
        low, high = self.block.corners_mm.min(axis=0) - 50, self.block.corners_mm.max(axis=0) + 50
        box = np.concatenate([high, -low])
        tool = corners_of(np.concatenate([np.eye(3), -np.eye(3), -normals]), np.concatenate([box, SPARE_MM - offsets]))
        # Cuts that nearly coincide would leave slivers, and more of them with every piece that follows.
        self.left = (self.left - hull_solid(tool[0])).as_original().simplify(_SLIVER_MM)

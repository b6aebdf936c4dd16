"""The stone as offcuts leave it: an outline that stays convex, and within it convex parts past what was taken.

Every plane is set exactly, by cutting the figure itself; samples only suggest where to look. mm, block frame."""

from collections.abc import Sequence
from copy import copy
from itertools import islice, permutations

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import corners_of, corners_or_none, least_width
from blockfit.measure.booleans import Solid, hull_solid
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.waste.cuts.clipping import reach_beyond
from blockfit.waste.cuts.division import divisions, outline
from blockfit.waste.cuts.marks import Hollow
from blockfit.waste.cuts.methods import Method, capable, depth_needed, still_made
from blockfit.waste.cuts.sweep import swept
from blockfit.waste.offcuts.parts import Part, SetWedge, Span, beyond, dividing_saw, parted, sawn_m2
from blockfit.waste.offcuts.sampling import seen_reach, surface_points, thinned
from blockfit.waste.offcuts.stone import stone_for_pieces
from blockfit.waste.offcuts.wedges import SampledWedge, Samples, best_wedges, cuts_seen, draw_out, frame_of
from blockfit.waste.offcuts.wishes import Limits, moved_out

__all__ = ["Planner"]

_SAMPLES = 18_000
_CLOSE = 0.12  # of the samples' spacing: so near lie the figure's points that planes are first set by
_APART = 1_000_003  # between the seeds of two courses
_KNOWN = 12  # wedges found for one piece that are tried for the next
_MOST_CELLS = 10  # convex parts of the stone left that are searched for the next piece
_DIVISIONS = 8  # ways to divide a wedge that are tried until its parts are what is wanted
_A_KIND = 5  # wedges of each number of cuts in a cell that are set by the figure's points
_NEARLY = 0.95  # of what a wedge promised: as good as all of it
_EXACT, _ENOUGH = 40, 4  # candidates set exactly, until so many keep every limit
_AIR_M2 = 1e-5  # a plane that passes through less stone than that is no cut
_HAIR_MM = 1e-4
_TOUCH_MM = 1e-6
_SLIVER_MM = 1e-6  # faces of the stone left that lie so near each other become one


class Planner:
    """Plans one piece after the other.

    `left` is the stone then left, `hollows` what is gone, part by part, `too_light_m3` what went as chips because it
    was too light.
    """

    def __init__(self, block: Block, limits: Limits) -> None:
        """Start with the whole block."""
        self._block, self.limits, self.wishes = block, limits, limits.wishes
        self._normals, self._offsets = block.normals, block.offsets_mm.copy()
        self.hollows: list[Hollow] = []
        self._kept = 0
        self._known: list[Array] = []
        self._seed = 0
        self.too_light_m3 = 0.0
        self._rock = stone_for_pieces(block)
        self.left: Solid = self._rock.solid
        # What is left, as convex parts that overlap: where normals @ x >= offsets, within the outline.
        self._cells: list[tuple[Array, Array]] = [(np.zeros((0, 3)), np.zeros(0))]
        self._stone = self._rock.points(_SAMPLES)
        self._whole = len(self._stone)
        self._spacing = (block.volume_m3 * 1e9 / _SAMPLES) ** (1 / 3)

    def keep_clear_of(self, figure: Figure, reserve_mm: float) -> None:
        """Keep the pieces to come clear of the figure and of where it comes to when set back by the reserve."""
        points = surface_points(figure, 0.5 * self._spacing)
        back = np.array([0.0, 1.0, 0.0])
        if reserve_mm:
            steps = np.linspace(0, reserve_mm, 2 + int(reserve_mm / self._spacing))
            points = thinned(np.concatenate([points + step * back for step in steps]), 0.35 * self._spacing)
            self._obstacle = swept(figure.vertices, figure.faces, reserve_mm * back)
        else:
            self._obstacle = (figure.vertices, figure.faces)
        close = thinned(points, _CLOSE * self._spacing)
        self._dense = np.ascontiguousarray(close.T)  # (3, points): long rows, which numpy reduces quickly
        self._surface = thinned(points, 0.8 * self._spacing)

    def copied(self, seed: int) -> "Planner":
        """Return a planner that goes on from here by itself, and draws other directions to try."""
        other = copy(self)
        other.hollows, other._known, other._seed = list(self.hollows), [], seed
        return other

    def next_wedge(self, most_cuts: int) -> SetWedge | None:
        """Return the wedge of most stone (or worth most) that, set exactly, keeps every limit, or ``None``."""
        promising: list[SampledWedge] = []
        for normals, offsets, stone in self._free_cells():
            keep = np.full(len(self._surface), self.limits.least_clear_mm)
            samples = Samples(stone, self._surface, keep, self._whole)
            promising += self._promising(samples, normals, offsets, most_cuts)
        promising.sort(key=lambda wedge: -wedge.stone)
        self._known = [frame_of(wedge) for wedge in promising[:_KNOWN]]  # tried again in the stone that is then left
        best: list[SetWedge] = []
        for wedge in promising[:_EXACT]:
            exact = self._exact(wedge, most_cuts)
            if exact is not None:
                best.append(exact)
            if len(best) == _ENOUGH:  # those that promise less seldom turn out to hold more
                break
        if self.limits.prices is None:
            return max(best, key=lambda plan: plan.wedge.stone, default=None)
        worth = [self.limits.value_of(self.copied(self._seed).take(plan, None)) for plan in best]
        return best[int(np.argmax(worth))] if max(worth, default=0.0) > 0 else None

    def _free_cells(self) -> list[tuple[Array, Array, Array]]:
        """Return the convex parts of the stone left, planes and samples, the largest first, none inside another."""
        inside = [(self._stone @ normals.T >= offsets).all(axis=1) for normals, offsets in self._cells]
        order = sorted(range(len(inside)), key=lambda k: -int(inside[k].sum()))
        kept: list[int] = []
        for k in order:
            if inside[k].any() and not any((inside[k] <= inside[j]).all() for j in kept):
                kept.append(k)
        self._cells = [self._cells[k] for k in kept[:_MOST_CELLS]]
        return [(*self._cells[i], self._stone[inside[k]]) for i, k in enumerate(kept[:_MOST_CELLS])]

    def _promising(self, samples: Samples, normals: Array, offsets: Array, most_cuts: int) -> list[SampledWedge]:
        """Return the wedges found in a cell, bounded by its own planes too, and set by the figure's sampled points."""
        thick = self.limits.least_thickness_mm
        found = best_wedges(
            samples,
            most_cuts=most_cuts,
            least_mm=thick,
            seed=len(samples.stone) + _APART * self._seed,
            tries=self._tries(),
            kind=self.wishes.cuts,
            faces=self._block.normals,
            known=self._known,
        )
        # Samples tell planes square to the block apart no better than others; set exactly, they often win.
        straight = [wedge for wedge in found if (np.abs(wedge.normals).max(axis=1) > 1 - 1e-9).all()]
        best = [w for cuts in range(1, most_cuts + 1) for w in [w for w in found if len(w.normals) == cuts][:_A_KIND]]
        chosen = [
            SampledWedge(
                np.vstack([wedge.normals, normals]),
                np.append(wedge.offsets, offsets),
                wedge.stone * self._block.volume_m3,
                len(normals),
            )
            for wedge in (*best, *straight[:2])
        ]
        trials = [self._set(wedge, self._methods_for(wedge), exact=False) for wedge in chosen]
        return [
            trial[0]
            for trial in trials
            if trial is not None and cuts_seen(trial[0], self._stone, self._spacing) <= most_cuts
        ]

    def _methods_for(self, wedge: SampledWedge) -> list[Method]:
        """Return the first method that makes each plane of a wedge, before its depth is known."""
        count = len(wedge.normals) - wedge.fixed
        method = capable(self.limits.methods, count)
        return [method or self.limits.methods[-1]] * len(wedge.normals)

    def _takes_other(self, wedge: SampledWedge, sawn: list[int]) -> bool:
        """Whether the cuts would free more than the wedge, stone that earlier pieces left on it, or less."""
        free = beyond(self.left, wedge.normals[sawn], wedge.offsets[sawn])
        return abs(float(free.volume()) * 1e-9 - wedge.stone) > wedge.stone * 1e-3 + 1e-6

    def _is_heavy(self, volume_m3: float) -> bool:
        """Whether a wedge of that much stone must be divided to be lifted."""
        return volume_m3 > self.limits.most_volume_m3

    def _tries(self) -> int:
        return max(70, 280 // max(1, len(self._cells)))

    def take(self, plan: SetWedge, room: int | None) -> list[Part]:
        """Take a wedge out of the stone; return its parts in order, divided as the lift demands, ``room`` at most.

        What no room is left for stays in the stone: the plan ends there.
        """
        parts: list[Part] = []
        for span in self._spans(plan):
            if room is not None and len(parts) >= room:
                return parts
            corners, before = self._corners(span.normals, span.offsets, span.ends), len(self.hollows)
            areas = [sawn_m2(self.left, span.normals, span.offsets, k, span.ends) for k in range(len(span.normals))]
            gone = span.offsets - np.array([method.kerf_mm for method in span.methods])
            self._remove(span.normals, gone)
            volume, way = self._rock.volume_m3(corners), draw_out(span.normals)
            sound = self._sound(span, closely=True)
            is_good = sound is not None and (not self._rock.is_rough or self._is_wanted(span))
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

    def _open_cells(self, plan: SetWedge) -> None:
        """Part the stone left into convex cells past a wedge that is gone."""
        normals, offsets = plan.wedge.normals, plan.wedge.offsets
        kerfs = np.array([method.kerf_mm for method in plan.methods])
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
        gone = (self._stone @ normals.T >= offsets - kerfs).all(axis=1)
        self._stone = self._stone[~gone]

    def _spans(self, plan: SetWedge) -> list[Span]:
        """Return the parts that a wedge is divided into, each after the parts beyond it; none if it cannot be.

        What is divided to be lifted is wanted as parts: each is what was asked for, or is too light to be kept.
        """
        wedge, corners = plan.wedge, self._corners(plan.wedge.normals, plan.wedge.offsets)
        is_light = not self._is_heavy(self._rock.volume_m3(corners))
        saw = None if corners is None else dividing_saw(plan, self.limits.methods, corners, is_light)
        if corners is None or saw is None:
            return []
        thick_mm = self.limits.least_thickness_mm + saw.kerf_mm
        whole = self._rock.piece(corners)
        for ways in islice(divisions(whole, corners, self.limits.most_volume_m3, thick_mm), _DIVISIONS):
            parts = parted(wedge, plan.methods, ways, saw)
            kept = [part for part in parts if self._is_kept(part)]
            wanted = sum(self._is_wanted(part) for part in kept)
            # Of rough stone, parts that are no good go to the chips, as long as most are.
            if wanted and (wanted == len(kept) or (self._rock.is_rough and 2 * wanted >= len(kept))):
                return parts
        return []

    def _is_kept(self, part: Span) -> bool:
        """Whether a part is heavy enough to be a piece; what is not goes with the chips."""
        volume = self._rock.volume_m3(self._corners(part.normals, part.offsets, part.ends))
        return volume >= self.limits.least_volume_m3

    def _is_wanted(self, part: Span) -> bool:
        """Whether a part is of one body, thick enough all the way, and what the wishes ask."""
        sound = self._sound(part)
        return sound is not None and self.wishes.met_by(sound)

    def _sound(self, part: Span, *, closely: bool = False) -> Array | None:
        """Return the corners of the sound stone in a part; see `PlannedStone.sound`."""
        corners = self._corners(part.normals, part.offsets, part.ends)
        if corners is None:
            return None
        through = self._normals[len(self._block.normals) :]  # of cuts that earlier pieces left by
        cuts = np.vstack([-part.normals, *[axis[None] for axis, _ in part.ends], through])
        return self._rock.sound(corners, cuts, self.limits.least_thickness_mm, closely=closely)

    def _part(self, span: Span, corners: Array, sound: Array, areas: Array, way: Array, before: int) -> Part:
        """Return a part as it was taken out, with its cuts: planes that pass through more than air."""
        cut = np.flatnonzero(areas > _AIR_M2)
        return Part(
            normals=span.normals[cut],
            offsets=span.offsets[cut],
            corners=corners,
            solid=self._rock.piece(corners),
            sound=sound,
            volume_m3=self._rock.volume_m3(corners),
            areas_m2=tuple(areas[cut].tolist()),
            outlines=tuple(self._rock.outline(corners, span.normals[k], float(span.offsets[k])) for k in cut),
            methods=tuple(span.methods[k] for k in cut),
            draw_out=way,
            divided=span.divided,
            left=self.left,
            before=before,
        )

    def _exact(self, wedge: SampledWedge, most_cuts: int) -> SetWedge | None:
        """Return the wedge set exactly, with what makes each cut, or ``None`` if it then breaks a limit."""
        methods = self._methods_for(wedge)
        for _ in range(2 + 3 * len(methods)):
            trial = self._set_best(wedge, methods)
            if trial is None:
                return None
            wedge, methods = trial
            count = len(wedge.normals)
            # Planes that only border on what earlier pieces left open are no cuts.
            sawn = [
                k
                for k in range(count)
                if count == 1 or sawn_m2(self.left, wedge.normals, wedge.offsets, k, ()) > _AIR_M2
            ]
            corners = self._corners(wedge.normals, wedge.offsets)
            if not sawn or len(sawn) > most_cuts or corners is None or self._takes_other(wedge, sawn):
                return None
            better = list(methods)
            for k in sawn:
                rim = outline(corners, wedge.normals[k], float(wedge.offsets[k]))
                others = [(wedge.normals[j], float(wedge.offsets[j])) for j in sawn if j != k]
                # What must be divided is cut part by part: each of its cuts ends in stone, and stops at the next.
                stops = len(sawn) + int(self._is_heavy(wedge.stone))
                method = capable(self.limits.methods, stops, depth_needed(rim, wedge.normals[k], others))
                if method is None:
                    return None
                better[k] = method
            lines = count + int(self._is_heavy(wedge.stone))
            if all(b.allowance_mm(lines) <= m.allowance_mm(lines) for b, m in zip(better, methods, strict=True)):
                # What is set asks for no more room than it was given; a narrower tool may then be used as well.
                return self._as_wished(SetWedge(wedge, tuple(better)), sawn)
            # The planes move out by what they now need, or each would meet the figure past the others.
            more = [b.allowance_mm(lines) - m.allowance_mm(lines) for b, m in zip(better, methods, strict=True)]
            wedge = SampledWedge(wedge.normals, wedge.offsets + more, wedge.stone, wedge.fixed)
            methods = better
        return None

    def _as_wished(self, plan: SetWedge, sawn: list[int]) -> SetWedge | None:
        """Return the wedge no larger than is wished, its cuts moved out as far as that takes; ``None`` if it cannot."""
        wedge, methods, wishes = plan.wedge, plan.methods, self.wishes
        if wedge.stone > wishes.most_m3:
            normals, moving = wedge.normals, np.arange(len(wedge.normals)) < len(wedge.normals) - wedge.fixed
            volume_m3 = self._rock.volume_m3
            offsets = moved_out(
                normals, wedge.offsets, moving, lambda n, o: volume_m3(self._corners(n, o)), wishes.most_m3
            )
            corners = self._corners(normals, offsets)
            if corners is None or least_width(corners) < self.limits.least_thickness_mm:
                return None
            wedge = SampledWedge(normals, offsets, self._rock.volume_m3(corners), wedge.fixed)
            if self._takes_other(wedge, sawn) or not still_made(normals, offsets, corners, methods, sawn):
                return None
        if wedge.stone < wishes.least_m3:
            return None
        plan = SetWedge(wedge, methods)
        return plan if self._spans(plan) else None

    def _set_best(self, wedge: SampledWedge, methods: list[Method]) -> tuple[SampledWedge, list[Method]] | None:
        """Return the wedge set exactly, its planes in the order that leaves most of it.

        Where samples missed an arm, the plane that is set first gives way to it: another might give way by less.
        """
        free = len(wedge.normals) - wedge.fixed
        best: tuple[SampledWedge, list[Method]] | None = None
        for order in permutations(range(free)):
            trial = self._set(wedge, methods, exact=True, order=order)
            if trial is not None and (best is None or trial[0].stone > best[0].stone):
                best = trial
            if best is not None and best[0].stone > _NEARLY * wedge.stone:
                break
        return best

    def _set(
        self, wedge: SampledWedge, methods: list[Method], *, exact: bool, order: Sequence[int] = ()
    ) -> tuple[SampledWedge, list[Method]] | None:
        """Return the wedge with its planes as far in as the figure allows, or ``None`` if it is too little.

        They are set one after the other, in the ``order`` given. Planes that meet nothing are left out.
        """
        normals, offsets = wedge.normals, wedge.offsets.copy()
        lines = len(normals) + int(self._is_heavy(wedge.stone))
        clear = self.limits.clearance_mm + np.array([method.allowance_mm(lines) for method in methods])
        heights = normals @ self._dense  # (k, points)
        lowest = (self._block.corners_mm @ normals.T).min(axis=0)
        for _ in range(2):
            for k in order or range(len(normals) - wedge.fixed):
                reach = self._reach(normals, offsets - clear, k) if exact else seen_reach(heights, offsets - clear, k)
                offsets[k] = max(lowest[k], reach + clear[k])
        corners = self._corners(normals, offsets)
        if corners is None:
            return None
        on_plane = np.abs(corners @ normals.T - offsets) < 1e-6 * self._spacing
        needed = (on_plane.sum(axis=0) >= 3) & (offsets > lowest + _TOUCH_MM)
        normals, offsets = normals[needed], offsets[needed]
        if len(normals) == 0 or draw_out(normals) is None:
            return None
        volume = self._rock.volume_m3(corners)
        if volume < self.limits.least_volume_m3 or least_width(corners) < self.limits.least_thickness_mm:
            return None
        fixed = int(needed[len(needed) - wedge.fixed :].sum()) if wedge.fixed else 0
        kept = [method for method, need in zip(methods, needed, strict=True) if need]
        return SampledWedge(normals, offsets, volume, fixed), kept

    def _reach(self, normals: Array, bounds: Array, k: int) -> float:
        """Return how far the figure reaches along plane k's normal where it is not kept clear by another plane.

        The figure lies clear of the piece if none of it is beyond all planes moved in by the clearance: every
        point of the figure then has a plane between it and the piece, at least that far away.
        """
        others = [j for j in range(len(normals)) if j != k]
        # A hair further in, or a face of the figure that only touches a plane would count as beyond it.
        return reach_beyond(*self._obstacle, normals[others], bounds[others] + _TOUCH_MM, normals[k])

    def _corners(self, normals: Array, offsets: Array, ends: Sequence[tuple[Array, float]] = ()) -> Array | None:
        """Return the corners of the outline beyond the planes (and before each of ``ends``), or ``None``."""
        bounds = [self._normals, -normals, *(axis[None] for axis, _ in ends)]
        at = [self._offsets, -np.asarray(offsets), *(np.array([end]) for _, end in ends)]
        return corners_or_none(np.concatenate(bounds), np.concatenate(at))

    def _remove(self, normals: Array, offsets: Array) -> None:
        """Take all beyond the planes out of the stone left.

        The tool reaches beyond the block, and slightly beyond its planes: faces that coincide would leave fins.
        """
        low, high = self._block.corners_mm.min(axis=0) - 50, self._block.corners_mm.max(axis=0) + 50
        box = np.concatenate([high, -low])
        tool = corners_of(np.concatenate([np.eye(3), -np.eye(3), -normals]), np.concatenate([box, _HAIR_MM - offsets]))
        # Cuts that nearly coincide would leave slivers, and more of them with every piece that follows.
        self.left = (self.left - hull_solid(tool[0])).as_original().simplify(_SLIVER_MM)

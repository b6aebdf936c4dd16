"""A wedge set exactly in the stone left: its planes against the figure's own surface, its cuts made by real tools.

mm and m³, block frame."""

from collections.abc import Callable, Sequence

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import least_width
from blockfit.geometry.tolerances import NOTHING_MM, TOUCHING
from blockfit.measure.booleans import arrays_of
from blockfit.units import M3_PER_MM3
from blockfit.waste.cuts.clipping import deepest_beyond, reach_beyond
from blockfit.waste.cuts.division import outline
from blockfit.waste.cuts.methods import Method, capable, depth_needed, still_made
from blockfit.waste.offcuts.parts import AIR_M2, SetWedge, beyond, has_a_nick, sawn_m2
from blockfit.waste.offcuts.remaining import SPARE_MM, Remaining
from blockfit.waste.offcuts.wedges import SampledWedge, draw_out
from blockfit.waste.offcuts.wishes import Limits, moved_out
from blockfit.waste.sampling import FAR_MM, settled

__all__ = ["set_by_samples", "set_exactly"]

_NICK_M2 = 0.01  # of a cut along the end of a hollow: less is no cut that anyone would set out
_STRAY_MM, _CRUMB_MM3 = 0.01, 1.0  # nearer to the plane that ends a piece in the open, or less than that, is rounding
_ALLOWED, _ALLOWED_M3 = 1e-3, 1e-6  # of a piece, and a cubic centimetre: what cuts may free beyond it

_Bounds = Callable[[Array, Array, int], Array]


def set_by_samples(left: Remaining, wedge: SampledWedge) -> SampledWedge | None:
    """Return a wedge with its planes as far in as sampled points of the figure allow; ``None`` if it is too little."""
    trial = _set(left, wedge, _methods_for(left.limits, wedge), _seen_bounds(left))
    return None if trial is None else trial[0]


def set_exactly(left: Remaining, wedge: SampledWedge, most_cuts: int) -> SetWedge | None:
    """Return a wedge set exactly, with what makes each cut, or ``None`` if it then breaks a limit."""
    methods = _methods_for(left.limits, wedge)
    for _ in range(2 + 3 * len(methods)):
        trial = _set(left, wedge, methods, _exact_bounds(left))
        if trial is None:
            return None
        wedge, methods = trial
        # Planes that only border on what earlier pieces left open are no cuts.
        areas = _areas_m2(left, wedge)
        sawn = list(areas)
        if len(sawn) > most_cuts or _nicks(wedge, areas) or _takes_other(left, wedge, methods, sawn):
            wedge = _without_strays(left, wedge, methods)
            areas = _areas_m2(left, wedge)
            sawn = list(areas)
        if not 0 < len(sawn) <= most_cuts or _nicks(wedge, areas) or not _is_a_piece(left, wedge, sawn):
            return None
        better = _methods_of(left, wedge, methods, sawn)
        if better is None:
            return None
        lines = len(wedge.normals) + int(left.is_heavy(wedge.stone))
        more = np.array([b.allowance_mm(lines) - m.allowance_mm(lines) for b, m in zip(better, methods, strict=True)])
        if (more <= 0).all():
            # What is set asks for no more room than it was given; a narrower tool may then be used as well.
            if _takes_other(left, wedge, better, sawn):
                return None
            return _as_wished(left, SetWedge(wedge, tuple(better)), sawn)
        # The planes move out by what they now need, or each would meet the figure past the others.
        wedge = SampledWedge(wedge.normals, wedge.offsets + more, wedge.stone, wedge.fixed)
        methods = better
    return None


def _methods_for(limits: Limits, wedge: SampledWedge) -> list[Method]:
    """Return the first method that makes each plane of a wedge, before its depth is known."""
    method = capable(limits.methods, len(wedge.normals) - wedge.fixed)
    return [method or limits.methods[-1]] * len(wedge.normals)


def _set(
    left: Remaining, wedge: SampledWedge, methods: list[Method], bounds: _Bounds
) -> tuple[SampledWedge, list[Method]] | None:
    """Return the wedge with its planes as far in as the figure allows, or ``None`` if it is too little.

    Planes that meet nothing are left out.
    """
    normals, moving = wedge.normals, len(wedge.normals) - wedge.fixed
    lines = len(normals) + int(left.is_heavy(wedge.stone))
    clear = left.limits.clearance_mm + np.array([method.allowance_mm(lines) for method in methods])
    lowest = (left.block.corners_mm @ normals.T).min(axis=0)
    offsets = wedge.offsets.copy()
    offsets[:moving] = np.maximum(lowest, clear + bounds(normals, offsets - clear, moving))[:moving]
    corners = left.corners(normals, offsets)
    if corners is None:
        return None
    on_plane = np.abs(corners @ normals.T - offsets) < TOUCHING * left.spacing
    needed = (on_plane.sum(axis=0) >= 3) & (offsets > lowest + NOTHING_MM)
    fixed = int(needed[moving:].sum())
    cuts = normals[:moving][needed[:moving]]
    if len(cuts) == 0 or draw_out(cuts) is None or not _is_enough(left, corners):
        return None
    kept = [method for method, need in zip(methods, needed, strict=True) if need]
    return SampledWedge(normals[needed], offsets[needed], left.rock.volume_m3(corners), fixed), kept


def _is_enough(left: Remaining, corners: Array) -> bool:
    """Whether a piece with these corners is large and thick enough to be kept."""
    limits = left.limits
    if left.rock.volume_m3(corners) < limits.least_volume_m3:
        return False
    return least_width(corners) >= limits.least_thickness_mm


def _seen_bounds(left: Remaining) -> _Bounds:
    return lambda normals, bounds, moving: settled(normals @ left.obstacle.close, bounds, moving)


def _exact_bounds(left: Remaining) -> _Bounds:
    """Return what sets the bounds (k,) of a wedge so that nothing of the figure is beyond all of them; see `settled`.

    The figure lies clear of the piece if none of it is beyond all planes moved in by the clearance: every
    point of the figure then has a plane between it and the piece, at least that far away.
    """

    def found(normals: Array, bounds: Array, moving: int) -> Array:
        surface, bounds = left.obstacle.surface, bounds.copy()
        bounds[:moving] += max(0.0, deepest_beyond(*surface, normals, bounds, moving))
        for k in range(moving):
            others = [j for j in range(len(normals)) if j != k]
            # A little further in, or a face of the figure that only touches a plane would count as beyond it.
            reach = reach_beyond(*surface, normals[others], bounds[others] + SPARE_MM, normals[k])
            bounds[k] = min(bounds[k], max(reach, -FAR_MM))
        bounds[:moving] += max(0.0, deepest_beyond(*surface, normals, bounds, moving))
        return bounds

    return found


def _areas_m2(left: Remaining, wedge: SampledWedge) -> dict[int, float]:
    """Return how much stone each plane of a wedge passes through that passes through any."""
    count = len(wedge.normals)
    areas = {k: sawn_m2(left.left, wedge.normals, wedge.offsets, k, ()) for k in range(count)}
    return {k: area for k, area in areas.items() if count == 1 or area > AIR_M2}


def _nicks(wedge: SampledWedge, areas_m2: dict[int, float]) -> bool:
    """Whether a cut would be too small to set out: beside the others, or for a corner past the end of a hollow."""
    moving = len(wedge.normals) - wedge.fixed
    return has_a_nick(list(areas_m2.values())) or any(a < _NICK_M2 for k, a in areas_m2.items() if k >= moving)


def _takes_other(left: Remaining, wedge: SampledWedge, methods: Sequence[Method], sawn: list[int]) -> bool:
    """Whether the cuts would free more than the wedge, stone that earlier pieces left on it, or less; or would take
    their kerfs out of stone past it as well."""
    normals, offsets = wedge.normals, wedge.offsets
    free = beyond(left.left, normals[sawn], offsets[sawn])
    allowed_m3 = wedge.stone * _ALLOWED + _ALLOWED_M3
    if abs(float(free.volume()) * M3_PER_MM3 - wedge.stone) > allowed_m3:
        return True
    gone = offsets - [method.kerf_mm for method in methods]
    taken = beyond(left.left, normals[sawn], gone[sawn])
    own = beyond(taken, normals, gone)
    return float(taken.volume() - own.volume()) * M3_PER_MM3 > allowed_m3


def _without_strays(left: Remaining, wedge: SampledWedge, methods: Sequence[Method]) -> SampledWedge:
    """Return the wedge with its cuts moved out until they take no stone past the planes that end it in the open.

    Of the cuts that could shed a stray body, the one that loses the piece least gives way to it.
    """
    normals, offsets = wedge.normals, wedge.offsets.copy()
    moving = len(normals) - wedge.fixed
    kerfs = np.array([method.kerf_mm for method in methods])
    free = beyond(left.left, normals[:moving], (offsets - kerfs)[:moving])
    for k in range(moving, len(normals)):
        past = free.trim_by_plane((-normals[k]).tolist(), _STRAY_MM - float(offsets[k] - kerfs[k]))
        for body in past.decompose():
            stray = beyond(body, normals[:moving], (offsets - kerfs)[:moving])
            if stray.volume() < _CRUMB_MM3:
                continue
            out = np.tile(offsets, (moving, 1))
            reach = (arrays_of(stray)[0] @ normals[:moving].T).max(axis=0)
            out[range(moving), range(moving)] = reach + kerfs[:moving]
            offsets = max(out, key=lambda row: left.rock.volume_m3(left.corners(normals, row)))
    return SampledWedge(normals, offsets, left.rock.volume_m3(left.corners(normals, offsets)), wedge.fixed)


def _is_a_piece(left: Remaining, wedge: SampledWedge, sawn: list[int]) -> bool:
    """Whether a piece is enough, and can leave its cuts.

    Where all that lies beyond them is the piece, it strikes nothing on a way on which it stays beyond them.
    """
    corners = left.corners(wedge.normals, wedge.offsets)
    return corners is not None and _is_enough(left, corners) and draw_out(wedge.normals[sawn]) is not None


def _methods_of(
    left: Remaining, wedge: SampledWedge, methods: Sequence[Method], sawn: list[int]
) -> list[Method] | None:
    """Return what makes each cut as deep as it must, or ``None`` where nothing does."""
    better = list(methods)
    corners = left.corners(wedge.normals, wedge.offsets)
    if corners is None:
        return None
    for k in sawn:
        rim = outline(corners, wedge.normals[k], float(wedge.offsets[k]))
        others = [(wedge.normals[j], float(wedge.offsets[j])) for j in sawn if j != k]
        # What must be divided is cut part by part: each of its cuts ends in stone, and stops at the next.
        stops = len(sawn) + int(left.is_heavy(wedge.stone))
        method = capable(left.limits.methods, stops, depth_needed(rim, wedge.normals[k], others))
        if method is None:
            return None
        better[k] = method
    return better


def _as_wished(left: Remaining, plan: SetWedge, sawn: list[int]) -> SetWedge | None:
    """Return the wedge no larger than is wished, its cuts moved out as far as that takes; ``None`` if it cannot."""
    wedge, methods, wishes = plan.wedge, plan.methods, left.wishes
    if wedge.stone > wishes.most_m3:
        normals, moving = wedge.normals, np.arange(len(wedge.normals)) < len(wedge.normals) - wedge.fixed
        volume_m3 = left.rock.volume_m3
        offsets = moved_out(normals, wedge.offsets, moving, lambda n, o: volume_m3(left.corners(n, o)), wishes.most_m3)
        corners = left.corners(normals, offsets)
        if corners is None or least_width(corners) < left.limits.least_thickness_mm:
            return None
        wedge = SampledWedge(normals, offsets, volume_m3(corners), wedge.fixed)
        if _takes_other(left, wedge, methods, sawn) or not still_made(normals, offsets, corners, methods, sawn):
            return None
    if wedge.stone < wishes.least_m3:
        return None
    plan = SetWedge(wedge, methods)
    return plan if left.spans(plan) else None

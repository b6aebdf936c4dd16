"""The same questions in stone with flaws or in a rough block: the best found, and the bound of the convex relaxation.

mm, block frame. The relaxation leaves flaws out and takes a rough block for all that its planes hold: no placement can
be better there than what is proved for it. What is found is checked by exact distances of solids."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import CLOSE, ROUNDING, TOUCHING
from blockfit.geometry.turns import from_quaternions
from blockfit.search.ask import Seek
from blockfit.search.flawed.avoid import Aim, Climb, begun, climbed, merit
from blockfit.search.flawed.kept import Kept, kept_clear, sharpened, verified
from blockfit.search.flawed.room import Place, Room, room_of
from blockfit.search.flawed.starts import axes_of, roomiest, rotations_for, starts_for
from blockfit.search.result import Fit, Verdict, counted_faces
from blockfit.solids.block import SURFACE, Block
from blockfit.solids.figure import Figure, require_solid
from blockfit.solids.placement import Placement
from blockfit.solids.stance import Stance

__all__ = ["NO_STONE", "best_of", "found_deepest", "found_largest", "plain_of"]

NO_STONE = "a flaw takes all of the stone"

_ROTATIONS = 40
_CLIMBS = 10
_SPARES = 10
_FIRST_STEPS = 8  # after them the starts are compared
_LEADERS = 5
_CHECKED = 4
_ROOMIEST = 3
_HELPED = 0.7  # of what was missing before: less is missing where a closer look helps
_NARROWED = 1e-5  # of the scale: how close the largest that passes is sought
_NEARLY_PASSES = 1e-3  # of the figure's size: what lacks no more is looked at more closely
_MORE_MM = 1e-4  # asked beyond what was missing, so that the next look passes
_SHRINKS = 1e-2  # of the figure's size: what lacks no more is tried a little smaller
_SHRUNK_MM = 1e-3  # at least so much smaller at a time


def plain_of(block: Block) -> Block:
    """Return the convex relaxation of a block: without flaws, and all that its planes hold."""
    return replace(block, flaws=(), surface=None, kind="convex" if block.surface is not None else block.kind)


def found_largest(figure: Figure, block: Block, relaxed: Fit, effort: float = 1.0) -> Fit:
    """Return the largest scale found for a figure among flaws; ``relaxed`` is the answer without them.

    ``effort`` multiplies the number of starts.
    """
    require_solid(figure, "stone with flaws, or a rough block,")
    if relaxed.placement is None:
        return replace(relaxed, block=block, proof="bound proved")
    if _is_swallowed(block):
        return _nowhere(relaxed, block, Verdict.CANNOT_FIT, NO_STONE)
    least, most = relaxed.ask.scales
    top = min(most, relaxed.scale_bound)
    asked = relaxed.asked_cover_mm
    # A smaller figure's margin is smaller: at the most scale there can be it is taken a little too large.
    spare_mm = figure.margin_mm * top if figure.margin_mm else 0.0
    room = room_of(figure, block, asked, counted_faces(asked), spare_mm=spare_mm)
    first = _as_found(room, relaxed.placement)
    rotations = [relaxed.placement.rotation, *rotations_for(relaxed.stance, round(_ROTATIONS * effort))]
    scales = top * np.array([1.0, 0.9, 0.8, 0.68, 0.55, 0.4, 0.25, 0.12])
    starts = [first, *starts_for(room, rotations, scales, round(_CLIMBS * effort))]
    starts += roomiest(room, relaxed.placement.rotation, top, _ROOMIEST)
    best = best_of(room, starts, relaxed.stance, Aim("largest", most=top))
    if best is not None and len(axes_of(relaxed.stance)) > 1:
        # Turned a little from where it got to, it may get past what stopped it.
        near = [
            replace(_as_found(room, best[0]), rotation=r) for r in _turned_a_little(best[0].rotation, relaxed.stance)
        ]
        again = best_of(room, near, relaxed.stance, Aim("largest", most=top))
        best = again if again is not None and again[0].scale > best[0].scale else best
    if best is None:
        return _nowhere(relaxed, block, Verdict.UNDECIDED, "nothing found")
    return _told(relaxed, block, best, least)


def found_deepest(figure: Figure, block: Block, relaxed: Fit, effort: float = 1.0) -> Fit:
    """Return the deepest cover found at the scale of ``relaxed``, the answer without flaws."""
    require_solid(figure, "stone with flaws, or a rough block,")
    if relaxed.placement is None or relaxed.verdict is Verdict.CANNOT_FIT:
        return replace(relaxed, block=block, proof="bound proved")
    if _is_swallowed(block):
        return _nowhere(relaxed, block, Verdict.CANNOT_FIT, NO_STONE)
    if relaxed.ask.seek is Seek.SETBACK:
        raise BadValueError('seek="setback" is not asked of stone with flaws: take the deepest cover, then setback()')
    asked = relaxed.asked_cover_mm
    spare_mm = figure.margin_mm * relaxed.scale
    room = room_of(figure, block, asked, counted_faces(asked), spare_mm=spare_mm)
    rotations = [relaxed.placement.rotation, *rotations_for(relaxed.stance, round(_ROTATIONS * effort))]
    scales = np.array([relaxed.scale])
    starts = [_as_found(room, relaxed.placement), *starts_for(room, rotations, scales, round(_CLIMBS * effort))]
    best = best_of(room, starts, relaxed.stance, Aim("deepest"))
    if best is None:
        # What grows into its place from a smaller scale gets where no start of this one does.
        smaller = relaxed.scale * np.array([0.85, 0.7, 0.5, 0.3])
        grown = starts_for(room, rotations, smaller, round(_CLIMBS * effort))
        there = best_of(room, [*starts, *grown], relaxed.stance, Aim("largest", most=relaxed.scale))
        if there is not None and there[0].scale >= relaxed.scale * (1 - CLOSE):
            exactly = replace(_as_found(room, there[0]), scale=relaxed.scale)
            best = best_of(room, [exactly], relaxed.stance, Aim("deepest")) or there
    if best is None:
        allowed, axes = relaxed.stance.allows, axes_of(relaxed.stance)
        ends = [climbed(room, begun(room, s, Aim("deepest")), allowed, axes, Aim("deepest")).best for s in starts]
        near = min(ends, key=lambda f: f.missing_mm)
        placement, _, missing = verified(room, near)
        kept = kept_clear(room, near)
        return replace(
            relaxed, block=block, placement=placement, verdict=Verdict.UNDECIDED, short_mm=missing, kept_mm=kept,
            proof="best found", short_faces=tuple(name for name, _ in kept),
        )  # fmt: skip
    return _told(relaxed, block, best, 0.0)


def _is_swallowed(block: Block) -> bool:
    """Tell whether one flaw alone surely takes all of the stone."""
    return any(flaw.holds(block.corners_mm) for flaw in block.flaws)


def _nowhere(relaxed: Fit, block: Block, verdict: Verdict, proof: str) -> Fit:
    """Return the answer where no placement is known: none of the stone without flaws stands in for it."""
    known = {"scale": 0.0} if relaxed.ask.is_scale else {}
    bound = {"scale_bound": 0.0, "cover_bound_mm": -np.inf} if verdict is Verdict.CANNOT_FIT else {}
    nothing = {"placement": None, "cover_mm": -np.inf, "gap": np.inf, "gap_mm": np.inf}
    return replace(relaxed, block=block, verdict=verdict, proof=proof, **nothing, **known, **bound)  # type: ignore[arg-type]


def best_of(
    room: Room,
    starts: list[Place],
    stance: Stance,
    aim: Aim,
    allow: Callable[[Array], bool] | None = None,
    worth_while: Callable[[Place], bool] = lambda _: True,
) -> tuple[Placement, Array, Kept] | None:
    """Return the best placement climbed to from the starts that passes the exact check, or ``None``.

    What is not ``worth_while`` is not checked: the exact place is no better than what the samples promise.

    All starts climb some steps, the best of them to their end. What is reached there is a local best: no small
    movement that the stance allows gains more than a ten-thousandth of the movement.
    """
    axes, allowed = axes_of(stance), allow or stance.allows
    climbs: list[Climb] = []
    for start in starts:
        climb = climbed(room, begun(room, start, aim), allowed, axes, aim, steps=_FIRST_STEPS)
        climbs.append(climb)
        if _is_enough(room, climb.best, aim):
            climbs = [climb]  # nothing can be better
            break
    climbs.sort(key=lambda climb: -merit(climb.best))
    ends = [climbed(room, climb, allowed, axes, aim) for climb in climbs[:_LEADERS]]
    ends.sort(key=lambda climb: -merit(climb.best))
    for end in ends[:_CHECKED]:
        found = _settled(room, end.best, allowed, axes, aim, worth_while)
        if found is not None:
            return found
    return None


def _is_enough(room: Room, found: Place, aim: Aim) -> bool:
    """Tell whether a placement is as good as any can be."""
    whole = found.scale >= aim.most * (1 - ROUNDING)
    return aim.kind == "largest" and whole and found.missing_mm <= TOUCHING * max(1.0, room.radius)


def _settled(
    room: Room,
    end: Place,
    allowed: Callable[[Array], bool],
    axes: Array,
    aim: Aim,
    worth_while: Callable[[Place], bool],
) -> tuple[Placement, Array, Kept] | None:
    """Return the placement that the end of a climb leads to, checked exactly, or ``None``."""
    tolerance = TOUCHING * max(1.0, room.radius)
    spare, before = 0.0, np.inf
    for turn in range(_SPARES):
        if end.missing_mm > max(tolerance, _NEARLY_PASSES * room.radius * end.scale) or not worth_while(end):
            break
        placement, planes, missing = verified(room, end)
        if missing <= tolerance:
            return placement, planes, kept_clear(room, end)
        # The samples saw less than there is: look closer there; at last ask for what was missing, and a little more.
        # Among places all as near, a climb goes from one to the next: there it is asked once a look helps little.
        room = sharpened(room, end)
        is_last = turn >= _SPARES - 3 or (aim.kind == "nearest" and missing > _HELPED * before)
        spare, before = spare + (missing + _MORE_MM if is_last else 0.0), missing
        again = begun(room, end, aim, spare)
        again = replace(again, trust=max(_NEARLY_PASSES * room.radius * end.scale, 4 * missing))
        end = climbed(room, again, allowed, axes, aim, spare).best
        end = replace(end, missing_mm=max(0.0, end.missing_mm - spare))
    if aim.kind == "largest" and end.missing_mm <= _SHRINKS * room.radius * end.scale:
        return _a_little_smaller(room, end, tolerance)
    return None


def _a_little_smaller(room: Room, end: Place, tolerance: float) -> tuple[Placement, Array, Kept] | None:
    """Return the placement where a climb ended, smaller by as little as makes it pass, or ``None``."""
    bad, good = end.scale, None
    for turn in range(2 * _SPARES):
        placement, planes, missing = verified(room, end)
        if missing <= tolerance:
            good = (end, placement, planes)
            break
        bad = end.scale
        less = 2**turn * (missing + _SHRUNK_MM) / (room.radius * end.scale)
        if less >= 1:
            return None
        end = replace(end, scale=end.scale * (1 - less), near=None)
    if good is None:
        return None
    while bad - good[0].scale > _NARROWED * bad:
        trial = replace(end, scale=(bad + good[0].scale) / 2, near=None)
        placement, planes, missing = verified(room, trial)
        if missing <= tolerance:
            good = (trial, placement, planes)
        else:
            bad = trial.scale
    return good[1], good[2], kept_clear(room, good[0])


def _turned_a_little(rotation: Array, stance: Stance) -> list[Array]:
    random = np.random.default_rng(1)
    turns = [from_quaternions(np.array([1.0, *(0.12 * random.normal(size=3))])) @ rotation for _ in range(8)]
    return [turned for turned in turns if stance.allows(turned)]


def _as_found(room: Room, placement: Placement) -> Place:
    at = placement.apply(room.middle[None])[0]
    return Place(placement.scale, placement.rotation, at, placement.scale * room.radius, 0.0)


def _told(relaxed: Fit, block: Block, best: tuple[Placement, Array, Kept], least: float) -> Fit:
    placement, planes, kept = best
    cover = planes + relaxed.asked_cover_mm
    counted = counted_faces(relaxed.asked_cover_mm)
    outside = [by - float(block.skin_mm.max()) for name, by in kept if name == SURFACE]
    cover_mm = min([float(cover[counted].min()), *outside]) if block.surface is None else outside[0]
    enough = placement.scale >= least
    bound = relaxed.scale_bound
    return replace(
        relaxed,
        block=block,
        placement=placement,
        verdict=Verdict.FITS if enough else Verdict.UNDECIDED,
        scale=placement.scale,
        cover_mm=cover_mm,
        gap=bound / placement.scale - 1 if relaxed.ask.is_scale else 0.0,
        gap_mm=0.0 if relaxed.ask.is_scale else max(0.0, relaxed.cover_bound_mm - cover_mm),
        kept_mm=kept,
        proof="best found",
        flaw_cost=relaxed.scale - placement.scale if relaxed.ask.is_scale else relaxed.cover_mm - cover_mm,
    )

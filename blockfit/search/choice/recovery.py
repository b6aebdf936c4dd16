"""After a loss: where the figure still goes in the stone that is left. A ladder of answers, each checked exactly.

mm and degrees, block frame. (a) straight back by the least distance; (b) back with a small turn and lean; (c) the
largest scale within the limits. Straight back is exact: every smaller distance is forbidden on some straight line
through the figure and what it must not meet, and at it solids find nothing in the way. The others are the best found,
and keep the limits on turn, lean and moving aside."""

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import CLOSE, ROUNDING, TOUCHING
from blockfit.geometry.turns import about, from_quaternions, turn_deg
from blockfit.kinds import above_0, kinds_checked
from blockfit.measure.booleans import refined
from blockfit.measure.distance import SurfaceDistance
from blockfit.search.ask import Seek
from blockfit.search.choice.fit import answer
from blockfit.search.choice.ladder import Recovery, Rung
from blockfit.search.flawed.avoid import Aim
from blockfit.search.flawed.kept import kept_clear, verified
from blockfit.search.flawed.obstacles import Obstacle, stone_obstacle
from blockfit.search.flawed.room import Place, Room, clearances, placement_of, room_of
from blockfit.search.flawed.rough import best_of, plain_of
from blockfit.search.flawed.starts import starts_for
from blockfit.search.flawed.travel import FINE_MM, first_free
from blockfit.search.result import Fit, counted_faces
from blockfit.solids.block import SURFACE, Block
from blockfit.solids.figure import Figure, require_solid
from blockfit.solids.flaw import Flaw
from blockfit.solids.placement import Placement
from blockfit.solids.stage import StageStone, block_of
from blockfit.solids.stance import Stance
from blockfit.units import M2_PER_MM2, Length, length_mm

__all__ = ["lost_flaws", "recover"]

_WORTH_MM = 0.5  # a turned figure that goes back less by no more than this is no better than one straight back
_TOUCH_MM = 0.05  # what a touch of two solids may be measured as
_GROWN = 1e-4  # share by which a larger scale is worth telling
_WIDE_DEG = 20  # turns beyond which starts are spread over all of them
_RECUT_MM = 2.0  # surface that moves less is not counted as lost work


@kinds_checked
def recover(  # noqa: PLR0913
    fit: Fit,
    lost: Any = (),
    *,
    stone: StageStone | Figure | None = None,
    design: Figure | None = None,
    margin: Length = 0,
    turn: float = 5,
    lean: float = 5,
    aside: Length = 30,
    least_scale: float = 0.5,
    most_scale: float = 1.0,
    effort: float = 1.0,
) -> Recovery:
    """Return where the figure still goes after a loss, or for a changed design.

    ``lost`` is one or more of: a `Flaw` (a ball, a half space, any solid), a closed surface as a `Figure`, or checked
    readings (those too deep are lost). ``stone`` is the stone as it stands, a `Stage` or a scan of it. ``margin`` is
    kept clear of what was lost. ``turn``, ``lean`` (degrees) and ``aside`` limit how far the figure may turn, lean and
    move sideways: a turn may be any, up to 180. ``least_scale`` is the least share of its scale that is of any use,
    ``most_scale`` the most that is wanted: above 1 it may grow, if the stone allows. ``effort`` multiplies the number
    of starts. The block's cover is kept. Raises `OpenSurfaceError` for a figure that is no solid.

    A fit that leaves less cover than was asked, or does not fit, is taken as well: the ladder starts from its best
    placement, and each of its placements keeps the cover asked for.

    Of the answers the first is exact, or on the safe side where a margin lies about anything but a ball; the other two
    are the best found, with a scale that is proved out of reach. All are checked by exact solids. The default limits
    are starting values, without a source. Raises `BadValueError` where the fit has no placement, for limits that are
    none, and for a loss of another kind.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> chipped = bf.Flaw.ball((300, 100, 110), 10)  # mm, in the block's frame
    >>> ladder = bf.recover(fit, chipped, turn=0, lean=0, effort=0.1)
    >>> round(ladder.straight_back.back_mm), ladder.straight_back.proof, round(ladder.smaller.scale, 3)
    (60, 'exact', 1.0)
    """
    above_0(effort, "effort")
    figure, now = _checked(fit, design, turn, lean, least_scale, most_scale)
    margin_mm, aside_mm = length_mm(margin, "margin", least=0), length_mm(aside, "aside", least=0)
    block = fit.block.with_flaws(*[replace(flaw, margin_mm=margin_mm + flaw.margin_mm) for flaw in lost_flaws(lost)])
    asked = fit.asked_cover_mm
    spare_mm = figure.margin_mm * fit.scale
    room = room_of(figure, block, asked, counted_faces(asked), also=_as_it_stands(stone), spare_mm=spare_mm)
    start = Place(now.scale, now.rotation, now.apply(room.middle[None])[0], 0.0, 0.0)

    def allow(rotation: Array) -> bool:
        up = float(np.clip(rotation[:, 2] @ now.rotation[:, 2], -1, 1))
        turned = abs(turn_deg(rotation) - turn_deg(now.rotation))
        return bool(np.degrees(np.arccos(up)) <= lean + CLOSE and min(turned, 360 - turned) <= turn + CLOSE)

    back = _straight_back(room, start)
    told_back = _rung("straight back", fit, figure, room, start, back, "exact" if _is_exact(room) else "safe side")
    axes = Stance.fixed() if turn == lean == 0 else Stance.upright() if lean == 0 else Stance.free()
    near = Aim("nearest", start=start.at, aside=aside_mm)
    starts = _around(room, start, back, turn, lean, allow, round(8 * effort))
    # Turning and leaning is worth it only where it saves way back.
    most = np.inf if back is None else _back_of(room, back[0], start) - _WORTH_MM

    def saves(found: Place) -> bool:
        return float(found.at[1] - start.at[1]) <= most

    turned = best_of(room, starts, axes, near, allow, saves)
    if back is not None and (turned is None or _back_of(room, turned[0], start) > most):
        turned = back
    told_turned = _rung("back with a small turn and lean", fit, figure, room, start, turned, "best found")
    smaller = turned or back
    top = now.scale * most_scale
    if smaller is None or most_scale > 1:
        scales = np.linspace(top, now.scale * least_scale, 7)
        spread = [s.rotation for s in starts] + [now.rotation]
        grid = starts_for(room, spread, scales, round(10 * effort))
        grid = [replace(g, at=_kept_near(g.at, start.at, aside_mm)) for g in grid]
        widest = Aim("largest", most=top, start=start.at, aside=aside_mm)
        best = best_of(room, [start, *starts[:4], *grid], axes, widest, allow)
        least = least_scale * now.scale if smaller is None else now.scale * (1 + _GROWN)
        smaller = best if best is not None and best[0].scale >= least else smaller
    told_smaller = _rung("largest scale within the limits", fit, figure, room, start, smaller, "best found")
    wider = Stance(min(180.0, now.tilt_deg + lean), min(180.0, abs(now.turn_deg) + turn))
    bound = _bound(fit, figure, block, stone, wider, top)
    return Recovery(told_back, told_turned, told_smaller, bound, stone is not None)


def _bound(
    fit: Fit, figure: Figure, block: Block, stone: StageStone | Figure | None, wider: Stance, top: float
) -> float:
    """Return a scale up to ``top`` that no placement within a stance exceeds, by the hulls of block and stone."""
    ask = replace(fit.ask, seek=Seek.SCALE, stance=wider, scales=(0.0, top), stands_on="bottom", layers="any")
    bound = min(top, answer(figure, plain_of(block), ask).scale_bound)
    if stone is not None:  # no placement in the stone is larger than one in its hull
        hull = plain_of(block_of(stone if isinstance(stone, StageStone) else StageStone(stone, ())))
        bound = min(bound, answer(figure, hull, replace(ask, cover=0)).scale_bound)
    return bound


def _checked(
    fit: Fit, design: Figure | None, turn: float, lean: float, least_scale: float, most_scale: float
) -> tuple[Figure, Placement]:
    """Return the figure to be placed and where it is now. Raises `BadValueError` for limits that are none."""
    if fit.placement is None:
        raise BadValueError(f"{fit.figure.name} has no placement in {fit.block.name} to recover")
    for name, value, widest_deg in (("turn", turn, 180), ("lean", lean, 90)):
        if not 0 <= value <= widest_deg:
            raise BadValueError(f"{name}={value!r} must be an angle of 0 to {widest_deg} degrees")
    if not (math.isfinite(most_scale) and most_scale >= 1):
        raise BadValueError(f"most_scale={most_scale!r} must be a share of the present scale, 1 or more")
    if not 0 < least_scale <= 1:
        raise BadValueError(f"least_scale={least_scale!r} must be a share of the present scale, such as 0.8")
    return require_solid(design or fit.figure, "recovering"), fit.placement


def _as_it_stands(stone: StageStone | Figure | None) -> tuple[Obstacle, ...]:
    """Return what lies outside the stone as it stands, if that is given."""
    if stone is None:
        return ()
    body = stone.stone if isinstance(stone, StageStone) else require_solid(stone, "the stone as it stands")
    return (stone_obstacle("the stone as it stands", body, 0.0),)


def lost_flaws(lost: Any) -> list[Flaw]:
    """Return what was lost as flaws."""
    if isinstance(lost, Flaw):
        return [lost]
    if isinstance(lost, Figure):
        return [Flaw.solid(lost, name="what was lost")]
    deep = getattr(lost, "too_deep", None)
    if deep is not None:  # readings: the new figure must lie behind each of them
        return [Flaw.ball(reading.at_mm, 0.1, name=reading.name) for reading in deep]
    if isinstance(lost, Iterable) and not isinstance(lost, str):
        return [flaw for item in lost for flaw in lost_flaws(item)]
    raise BadValueError(f"lost={lost!r} must be flaws, closed surfaces or checked readings")


def _kept_near(at: Array, start: Array, aside: float) -> Array:
    """Return a place no further aside than allowed."""
    return np.array([np.clip(at[0], start[0] - aside, start[0] + aside), at[1], at[2]])


def _straight_back(room: Room, start: Place) -> tuple[Placement, Array, tuple[tuple[str, float], ...]] | None:
    """Return the placement straight back by the least distance that does, or ``None``."""
    slack = clearances(room, start)[: len(room.normals)]
    least, most = 0.0, np.inf
    for normal, clear in zip(room.normals, slack, strict=True):
        along, short = float(normal[1]), min(0.0, clear + TOUCHING * max(1.0, room.radius))
        if along > ROUNDING:
            most = min(most, max(0.0, clear) / along if short == 0 else -1.0)
        elif along < -ROUNDING:
            least = max(least, clear / along)
        elif short < 0:
            return None
    if least > most:
        return None
    placed = Figure(placement_of(room, start).apply(room.figure.vertices), room.figure.faces)
    found = first_free(placed, room.obstacles, (0.0, 1.0, 0.0), least, most)
    if found.by_mm is None:
        return None
    back = min(found.by_mm + FINE_MM, most) if found.by_mm > least else found.by_mm
    at = replace(start, at=start.at + np.array([0.0, back, 0.0]), near=None)
    placement, planes, missing = verified(room, at)
    return (placement, planes, kept_clear(room, at)) if missing <= _TOUCH_MM else None


def _is_exact(room: Room) -> bool:
    """Tell whether straight back is exact: margins about anything but balls are taken a little too large."""
    return all(o.is_ball or o.is_flat or o.margin_mm <= 0 for o in room.obstacles)


def _around(
    room: Room, start: Place, back: tuple[Placement, Any, Any] | None, turn: float, lean: float, allow: Any, keep: int
) -> list[Place]:
    """Return starts about the present placement: turned and leaned within the limits, and further back."""
    starts = [start]
    if back is not None:
        starts.append(replace(start, at=back[0].apply(room.middle[None])[0]))
    depth = 0.25 * room.radius * start.scale
    ways = ((0, 0, 1), (0, 0, -1), (1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (1, 0, 1), (1, 0, -1))
    for sideways, forward, round_way in ways:
        half_lean, half_turn = np.radians(0.9 * lean) / 2, np.radians(0.9 * turn * round_way) / 2
        axis = np.sin(half_lean) * np.array([sideways, forward, 0])
        tilt = from_quaternions(np.array([np.cos(half_lean), *axis]))
        spin = from_quaternions(np.array([np.cos(half_turn), 0, 0, np.sin(half_turn)]))
        rotation = (tilt if sideways or forward else np.eye(3)) @ spin @ start.rotation
        if allow(rotation):
            for share in (0.0, 0.5):
                at = start.at + np.array([0.0, share * depth, 0.0])
                starts.append(replace(start, rotation=rotation, at=at))
    spins = np.linspace(-turn, turn, 9) if turn > _WIDE_DEG else np.zeros(0)
    for spin_deg in spins.tolist():
        rotation = about(2, spin_deg) @ start.rotation
        if allow(rotation):
            starts += [
                replace(start, rotation=rotation, at=start.at + np.array([0.0, by * depth, 0.0])) for by in (0, 1)
            ]
    worth = [-min(clearances(room, s)) + 0.05 * float(s.at[1] - start.at[1]) for s in starts]
    order = np.argsort(worth, kind="stable")
    return [starts[k] for k in order[: max(3, keep)]]


def _back_of(room: Room, placement: Placement, start: Place) -> float:
    return float(placement.apply(room.middle[None])[0][1] - start.at[1])


def _rung(
    name: str, fit: Fit, figure: Figure, room: Room, start: Place,
    answer: tuple[Placement, Array, tuple[tuple[str, float], ...]] | None, proof: str,
) -> Rung:  # fmt: skip
    if answer is None:
        short = max(0.0, -min(clearances(room, start)))
        return Rung(name, False, None, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, (), {}, 0.0, short, proof)
    placement, planes, kept = answer
    before = fit.placement
    assert before is not None
    moved = placement.apply(room.middle[None])[0] - start.at
    cover = planes + fit.asked_cover_mm
    skin = float(fit.block.skin_mm.max(initial=0.0))
    outside = [by - skin for about, by in kept if about == SURFACE]
    marks = {}
    for mark, place in figure.landmarks.items():
        point = np.array(place)
        marks[mark] = float(np.linalg.norm(placement.apply(point) - before.apply(point)))
    up = float(np.clip(placement.rotation[:, 2] @ before.rotation[:, 2], -1, 1))
    turned = (turn_deg(placement.rotation) - turn_deg(before.rotation) + 180) % 360 - 180
    return Rung(
        name=name,
        found=True,
        placement=placement,
        scale=placement.scale,
        back_mm=float(moved[1]),
        aside_mm=float(moved[0]),
        up_mm=float(moved[2]),
        turn_deg=turned,
        lean_deg=float(np.degrees(np.arccos(up))),
        cover_mm=min([float(cover[counted_faces(fit.asked_cover_mm)].min()), *outside]),
        kept_mm=kept,
        landmarks_mm=marks,
        recut_m2=_recut(fit, figure, placement),
        short_mm=0.0,
        proof=proof,
    )


def _recut(fit: Fit, figure: Figure, placement: Placement) -> float:
    """Return how much of the figure's old surface lies off its new one."""
    old = fit.solid()
    vertices = placement.apply(figure.vertices)
    spacing = max(old.size_mm) / 60
    surface, faces = refined(vertices, figure.faces, spacing)
    ours, triangles = refined(old.vertices, old.faces, spacing)
    corners = ours[triangles]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    step = max(1, len(corners) // 20_000)
    away, _ = SurfaceDistance(surface, faces).signed(corners[::step].mean(axis=1))
    share = areas[::step][np.abs(away) > _RECUT_MM].sum() / areas[::step].sum()
    return float(share * areas.sum() * M2_PER_MM2)

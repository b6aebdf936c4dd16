"""The second pair of hands at saw cuts, and at figures moved in the stone that is left. mm, block frame."""

from dataclasses import dataclass, field

import manifold3d as m3
import numpy as np
from hands_figures import Case, surface_of
from hands_marks import TOLERANCE_MM, Fault
from hands_solid import apart_by_points, point_gap, thickness

__all__ = ["Hole", "Room", "move_all_ways", "move_back", "saw"]

WAYS = {"back_mm": (0, 1, 0), "left_mm": (-1, 0, 0), "right_mm": (1, 0, 0), "up_mm": (0, 0, 1),
        "front_mm": (0, -1, 0), "down_mm": (0, 0, -1)}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Hole:
    """What a figure must keep clear of, by a margin: a ball, or any solid; a flat disc is a very thin solid."""

    margin: float
    centre: tuple[float, float, float] | None = None
    radius: float = 0.0
    solid: m3.Manifold | None = None

    def lacking(self, figure: m3.Manifold) -> float:
        """How much is lacking of the margin, mm; what lies inside counts by its thickness, and is never 0."""
        if self.centre is not None:
            inside = len(surface_of(figure ^ m3.Manifold.sphere(0.01, 8).translate(self.centre))[0]) > 0
            gap = point_gap(figure, self.centre)
            return self.radius + self.margin + gap if inside else self.radius + self.margin - gap
        met = thickness(figure ^ self.solid)
        if met > 1e-9:
            return self.margin + met
        return self.margin - (figure.min_gap(self.solid, self.margin + 1) if self.margin else 0.0)

    def surely_lacking(self, figure: m3.Manifold) -> bool:
        """Whether a second way agrees: a ball as a solid, and distances from points of one surface to the other."""
        solid = self.solid
        if solid is None:
            solid = m3.Manifold.sphere(self.radius, 128).translate(self.centre)
        met = (figure ^ solid).volume() > 0 or figure.volume() - (figure - solid).volume() > 0
        return met or apart_by_points(figure, solid) < self.margin


@dataclass(frozen=True, eq=False)
class Room:
    """Where the figure may be: within the block's faces less the cover, clear of holes, in the stone that is left."""

    case: Case
    holes: list[Hole] = field(default_factory=list)
    stone: m3.Manifold | None = None

    @property
    def limits(self) -> np.ndarray:
        """Normals and offsets (n, 4) that keep the cover."""
        limits = self.case.planes.copy()
        bottom = limits[:, 2] < -1 + 1e-6
        limits[:, 3] -= np.where(bottom, self.case.cover["bottom"], self.case.cover["other"])
        return limits

    def over_limits(self, moves) -> np.ndarray:
        """How far the figure moved by (n, 3) passes the cover's limits, mm; negative inside."""
        limits = self.limits
        reach = (surface_of(self.case.solid)[0] @ limits[:, :3].T).max(axis=0)
        return (reach + np.asarray(moves, float) @ limits[:, :3].T - limits[:, 3]).max(axis=1)

    def lacking(self, move) -> float:
        """By how much a move does not do, mm; at most 0 where it does."""
        lacking = float(self.over_limits([move])[0])
        moved = self.case.solid.translate(tuple(map(float, move)))
        for hole in self.holes:
            lacking = max(lacking, hole.lacking(moved))
        if self.stone is not None:
            lacking = max(lacking, thickness(moved - self.stone))
        return lacking

    def surely_lacking(self, move) -> bool:
        """Whether a second way agrees that a move does not do."""
        moved = self.case.solid.translate(tuple(map(float, move)))
        if self.over_limits([move])[0] > TOLERANCE_MM:
            reach = max((surface_of(moved)[0] @ wall[:3]).max() - wall[3] for wall in self.limits)
            return bool(reach > TOLERANCE_MM)
        if any(hole.surely_lacking(moved) for hole in self.holes):
            return True
        return self.stone is not None and moved.volume() - (moved ^ self.stone).volume() > 1e-6


def move_all_ways(room: Room, ways: dict[str, float]) -> list[Fault]:
    """Move the figure as far as is said, stopping on the way, and a little further, which must not do."""
    faults = []
    for name, told in ways.items():
        way = np.array(WAYS[name], float)
        if not np.isfinite(told):
            faults.append(Fault("a setback without an end", 0.0, name))
            continue
        far = max(np.floor(told * 10 + 1e-6) / 10, 0.0)
        stops = np.unique([*np.linspace(0, far, 10), max(far - 0.5, 0)])
        worst = max((room.lacking(way * stop), stop) for stop in stops)
        if worst[0] > TOLERANCE_MM:
            where, sure = f"{name} {told:.3f}, at {worst[1]:.2f}", room.surely_lacking(way * worst[1])
            faults.append(Fault("a setback goes too far", worst[0], where, sure))
        elif room.lacking(way * (far + 0.3)) <= 1e-9:
            longer = next((s for s in np.arange(1, 400) if room.lacking(way * (far + s)) > 1e-9), 400)
            faults.append(Fault("a setback could be longer", float(longer), f"{name} {told:.3f}"))
    return faults


def move_back(room: Room, told: float | None, fine: float = 1.0) -> list[Fault]:
    """Move the figure straight back as far as is said; no shorter way may do, nor any where none was found."""
    back = np.array([0.0, 1.0, 0.0])
    faults = []
    if told is not None:
        lacking = room.lacking(back * told)
        if lacking > TOLERANCE_MM:
            sure = room.surely_lacking(back * told)
            faults.append(Fault("straight back as said does not do", lacking, f"{told} mm back", sure))
        if told > 0.2 and room.lacking(back * (told - 0.2)) <= 1e-9:
            faults.append(Fault("straight back is longer than need be", 0.2, f"{told} mm back"))
    steps = np.arange(0, 3000 if told is None else max(told - 0.2, 0), fine)
    steps = steps[room.over_limits(steps[:, None] * back) <= 1e-9] if len(steps) else steps
    for step in steps:
        if max(room.lacking(back * step), room.lacking(back * (step + 0.05))) <= 1e-9:
            what = "straight back was not found" if told is None else "a shorter way straight back does"
            faults.append(Fault(what, 0.0 if told is None else told - step, f"{step} mm back does, said {told}"))
            break
    return faults


def _sawn(stone: m3.Manifold, piece: dict, kerf: bool) -> m3.Manifold:
    """The stone beyond a piece's cuts; of several parts those that the cuts' outlines lie on, the saw goes no further.

    With the ``kerf``, what is lost: parts of that which hold the piece."""
    beyond = stone
    for cut in piece["cuts"]:
        offset = cut["offset_mm"] - (cut["kerf_mm"] if kerf else 0)
        beyond = beyond.trim_by_plane(tuple(map(float, cut["normal"])), float(offset))
    parts = beyond.decompose()
    if len(parts) < 2:
        return beyond
    if kerf:
        solid = _sawn(stone, piece, False)
        return m3.Manifold.batch_boolean([part for part in parts if (part ^ solid).volume() > 0], m3.OpType.Add)
    middles = [np.mean(cut["outline_mm"], axis=0) for cut in piece["cuts"]]
    near = [part for part in parts if min(point_gap(part, middle) for middle in middles) < 0.1]
    return m3.Manifold.batch_boolean(near, m3.OpType.Add) if near else beyond


def saw(case: Case, plan: dict) -> list[Fault]:
    """Saw the pieces off in order, with their kerfs: does the figure keep its clearance, and the reserve that is said?

    ``plan`` is the survey's record: pieces with cuts, volumes, what is left, stage and setback; clearance and reserve.
    """
    faults = []
    stone, clearance = case.block, plan["clearance_mm"]
    for number, piece in enumerate(plan["pieces"], 1):
        where = f"piece {number}, {len(piece['cuts'])} cuts, {piece['stage']}"
        lost, solid = _sawn(stone, piece, True), _sawn(stone, piece, False)
        faults += _clear(case.solid, lost, clearance, "a cut is nearer than the clearance", where)
        if piece["stage"] == "before carving" and plan["reserve_mm"] > 0:
            for share in (0.5, 1.0):
                set_back = case.solid.translate((0, share * plan["reserve_mm"], 0))
                faults += _clear(set_back, lost, 0.0, "a cut takes the reserve", where)
        if abs(solid.volume() * 1e-9 - piece["volume_m3"]) > 1e-4 * piece["volume_m3"]:
            faults.append(Fault("a piece is not as large as is said", 0.0, f"{where}: {solid.volume() * 1e-9}"))
        stone = stone - lost
        if abs(stone.volume() * 1e-9 - piece["left_m3"]) > 2e-3 * piece["left_m3"]:  # kerfs end somewhere
            faults.append(Fault("what is left is not as large as is said", 0.0, f"{where}: {stone.volume() * 1e-9}"))
        back = max(np.floor(piece["setback_mm"] * 10 + 1e-6) / 10, 0.0)
        for part in np.linspace(0, back, 5):
            out = thickness(case.solid.translate((0, float(part), 0)) - stone)
            if out > TOLERANCE_MM / 10:
                faults.append(Fault("the setback after a piece is not there", out, f"{where}, {part:.1f} of {back}"))
                break
        if min(np.dot(cut["normal"], piece["draw_out"]) for cut in piece["cuts"]) < -1e-6:
            faults.append(Fault("a piece cannot be drawn out as is said", 0.0, where))
    return faults


def _clear(solid: m3.Manifold, lost: m3.Manifold, clearance: float, what: str, where: str) -> list[Fault]:
    into = thickness(solid ^ lost)
    if into > 1e-4:
        return [Fault(what, clearance + into, f"{where}: in the figure")]
    if clearance <= 0 or lost.is_empty():
        return []
    gap = solid.min_gap(lost, clearance + 1)
    if gap >= clearance - TOLERANCE_MM:
        return []
    return [Fault(what, clearance - gap, where, apart_by_points(lost, solid) < clearance)]

"""The second pair of hands at points and planes: drills every stop, cuts between them, roughs out plane by plane.

Each check returns faults: what was cut, and by how much (mm, along the way in where there is one)."""

from dataclasses import dataclass

import manifold3d as m3
import numpy as np
from hands_figures import Case, surface_of
from hands_read import Drawing, Row, inward
from hands_solid import Convex, Skewed, apart_by_points, clipped, column, cut_to, point_gap, shadow, thickness, touch

__all__ = ["Fault", "Points", "compare_outline", "cut_between", "cut_planes", "drill", "read_back"]

TOLERANCE_MM = 0.01
PRINTED_MM = 0.05  # readings on the block are printed to a tenth


@dataclass(frozen=True)
class Fault:
    """What went wrong, by how much, and where; ``sure`` when a second way of measuring agrees."""

    what: str
    by_mm: float
    where: str
    sure: bool = True


@dataclass(frozen=True, eq=False)
class Points:
    """A sheet of points as read, with what its reader knows: the tool, the allowance stated, the stone's surface."""

    rows: list[Row]
    between: list
    width: float
    allowance: float
    surface: Convex | Skewed
    origin: np.ndarray  # of the readings

    def place(self, row: Row) -> np.ndarray:
        """Where a row's readings lead on the block; off a block out of square they are taken from its own faces."""
        place = self.origin + row.block
        if isinstance(self.surface, Convex):
            return place
        for _ in range(9):
            faces = [self.surface.entry(face, place[None])[0] for face in ("left", "front", "bottom")]
            place = np.array(faces) + row.block
        return place

    def stop(self, row: Row, places) -> np.ndarray:
        """How far in the tool goes at places, along the way in, by the depth rod."""
        return self.surface.entry(row.face, places) + row.stop


def _displaced(points: Points, row: Row) -> tuple[np.ndarray, float]:
    """Where the tool may be put (n, 3), and half the width of what it then reaches.

    Off a flat face that is one place and a wider tool; elsewhere the depth rod reads something else at each place.
    """
    axis, _ = inward(row.face)
    place, off = points.place(row), max(row.rounding / 2, PRINTED_MM)
    others = [k for k in range(3) if k != axis]
    moved = place + np.array([off * (i * np.eye(3)[others[0]] + j * np.eye(3)[others[1]])
                              for i in (-1, 0, 1) for j in (-1, 0, 1)])  # fmt: skip
    if np.ptp(points.surface.entry(row.face, moved)) < 1e-6:
        return place[None], points.width / 2 + off
    return moved, points.width / 2


def _drilled(case: Case, points: Points, row: Row) -> tuple[float, float]:
    """How far the drilled hole reaches past the allowance, measured two ways."""
    places, half = _displaced(points, row)
    axis, sign = inward(row.face)
    if row.stop <= 0:
        return -np.inf, -np.inf  # nothing is drilled
    deep = points.stop(row, places) + points.allowance
    first = max(d - touch(case.solid, row.face, p, half) for p, d in zip(places, deep, strict=True))
    if first <= TOLERANCE_MM:
        return first, first
    surface = surface_of(case.solid)
    met = [clipped(*surface, column(axis, p, half)) for p in places]
    second = max(float((d - sign * m[:, axis]).max(initial=-np.inf)) for m, d in zip(met, deep, strict=True))
    return first, second


def drill(case: Case, points: Points) -> list[Fault]:
    """Drill to every stop at its worst reading, with the stated allowance beyond it."""
    faults = []
    for row in points.rows:
        if row.face is None or row.stop is None:
            if row.stop is not None or row.kind != "landmark" or (row.face is not None and not row.note):
                faults.append(Fault("a row is neither a stop nor a mark out of reach", 0.0, f"point {row.number}"))
            continue
        first, second = _drilled(case, points, row)
        if first > TOLERANCE_MM:
            into = first - points.allowance
            what = "a stop is in the figure" if into > TOLERANCE_MM else "a stop is nearer than its allowance"
            by = into if into > TOLERANCE_MM else first
            sure = second > TOLERANCE_MM
            faults.append(Fault(what, by, f"point {row.number} from the {row.face}, {row.kind}", sure))
    return faults


def _walls_about(triangle, axis: int) -> np.ndarray:
    """The walls (3, 4) along an axis through a triangle's sides."""
    middle, walls = triangle.mean(axis=0), []
    for k in range(3):
        normal = np.cross(triangle[(k + 1) % 3] - triangle[k], np.eye(3)[axis])
        normal = normal / max(np.linalg.norm(normal), 1e-12)
        normal = normal if normal @ (middle - triangle[k]) < 0 else -normal
        walls.append([*normal, normal @ triangle[k]])
    return np.array(walls)


def _past(points: Points, rows, places, met, level: float | None) -> float:
    """How far a cut between three stops reaches past points of the figure (n, 3), with the allowance."""
    axis, sign = inward(rows[0].face)
    if not len(met):
        return -np.inf
    face = points.surface.entry(rows[0].face, met)
    if level is not None:
        deep = face + level
    else:
        stops = [points.stop(row, place[None])[0] for row, place in zip(rows, places, strict=True)]
        flat = np.delete(places, axis, axis=1)
        plane = np.linalg.solve(np.column_stack([flat, np.ones(3)]), stops)
        deep = np.column_stack([np.delete(met, axis, axis=1), np.ones(len(met))]) @ plane
    cut = deep > face + 1e-6  # elsewhere no stone is taken
    return float((deep + points.allowance - sign * met[:, axis])[cut].max(initial=-np.inf))


def _moves(rows, axis: int) -> np.ndarray:
    """How the places of three stops may be off (n, 3, 3): not, or each by half its rounding, alike or apart."""
    off = np.array([max(row.rounding / 2, PRINTED_MM) for row in rows])
    ways = np.array([[i, j] for i in (-1, 1) for j in (-1, 1)])
    alike = [np.tile(way, (3, 1)) for way in ways]
    apart = [np.roll(ways, k, axis=0)[:3] for k in range(4)]
    signs = np.array([np.zeros((3, 2)), *alike, *apart])
    return np.insert(signs * off[:, None], axis, 0, axis=2)


def _worst_between(solid, surface, points: Points, rows, places, level: float | None) -> tuple[float, float]:
    """How far a cut between three stops reaches past the allowance at its worst reading, measured two ways."""
    axis, _ = inward(rows[0].face)
    moves, fine = _moves(rows, axis), points.surface.fine
    wider = _walls_about(places, axis)
    wider[:, 3] += 1.5 * np.abs(moves).max()  # holds the triangle however its corners are off: usually that settles it
    met = cut_to(solid, wider, axis, fine)
    if max(_past(points, rows, places + move, met, level) for move in moves) <= TOLERANCE_MM:
        return -np.inf, -np.inf
    first, second = -np.inf, -np.inf
    for move in moves:
        walls = _walls_about(places + move, axis)
        past = _past(points, rows, places + move, cut_to(solid, walls, axis, fine), level)
        if past > max(first, TOLERANCE_MM):
            first, second = past, _past(points, rows, places + move, clipped(surface[0], surface[1], walls), level)
    return first, second


def cut_between(case: Case, points: Points) -> list[Fault]:
    """Cut between every three stops that are named together, as deep as is said, at their worst reading."""
    rows = {row.number: row for row in points.rows}
    faults = []
    surface = surface_of(case.solid)
    for face, numbers, level in points.between:
        three = [rows[number] for number in numbers]
        axis, _ = inward(face)
        where = f"{'-'.join(map(str, numbers))} of the {face}, {'straight' if level is None else 'level'}"
        if any(row.face != face or row.stop is None for row in three):
            faults.append(Fault("points named together are not stops of that face", 0.0, where))
            continue
        places = np.array([points.place(row) for row in three])
        if abs(np.linalg.det(np.column_stack([np.delete(places, axis, axis=1), np.ones(3)]))) < 1e-6:
            continue  # three in a line hold no stone between them
        first, second = _worst_between(case.solid, surface, points, three, places, level)
        if first > TOLERANCE_MM:
            into = first - points.allowance
            what = "a cut between stops is in the figure" if into > TOLERANCE_MM else "a cut between is too near"
            by = into if into > TOLERANCE_MM else first
            faults.append(Fault(what, by, where, second > TOLERANCE_MM))
    return faults


def read_back(case: Case, points: Points) -> list[Fault]:
    """Compare the readings with the figure: the model's with the block's, both with the surface, depths with both."""
    faults = []

    def fault(what, by, row):
        faults.append(Fault(what, float(by), f"point {row.number}, {row.kind} from the {row.face}"))

    for row in points.rows:
        place, slack = points.place(row), row.rounding + PRINTED_MM + TOLERANCE_MM
        off = point_gap(case.solid, place)
        if off > 6**0.5 * PRINTED_MM + TOLERANCE_MM:  # two readings to the nearest tenth, one down to it
            fault("a point on the block is not on the figure", off, row)
        differs = row.model * case.factor - row.block
        if np.abs(differs).max() > slack:
            fault("model and block readings differ by more than the rounding", np.abs(differs).max(), row)
        if row.face is None or row.stop is None:
            continue
        axis, sign = inward(row.face)
        if sign * differs[axis] > 2 * PRINTED_MM + TOLERANCE_MM:
            fault("a reading on the model is rounded into the figure", sign * differs[axis], row)
        around = place + PRINTED_MM * np.array([[0, 0, 0], *np.eye(3), *-np.eye(3)])
        entries = points.surface.entry(row.face, around)
        depth = sign * place[axis] - entries[0]
        if abs(depth - row.depth) > 2 * PRINTED_MM + 2 * np.abs(entries - entries[0]).max() + TOLERANCE_MM:
            fault("depth from the face is not what its reading says", abs(depth - row.depth), row)
        if row.stop > 0 and row.allowance < points.allowance - TOLERANCE_MM:
            fault("a row's allowance is below the one stated", points.allowance - row.allowance, row)
        if row.allowance > row.depth - row.stop + PRINTED_MM + TOLERANCE_MM:
            fault("a row's allowance is more than is left", row.allowance - (row.depth - row.stop), row)
    stops = [row for row in points.rows if row.face and row.kind != "landmark"]
    for k, row in enumerate(stops):
        for other in stops[:k]:
            if other.face == row.face:
                apart = np.linalg.norm(np.delete(row.block - other.block, inward(row.face)[0]))
                if apart < points.width - 4 * PRINTED_MM:
                    fault("two points within the tool's width of each other", points.width - apart, row)
    return faults


def _seen_from(face: str, drawing_axes) -> np.ndarray:
    """The turn (3, 4) into a drawing's own axes: right, up, and the way in."""
    axis, sign = inward(face)
    (right, to_right), (up, to_up) = drawing_axes
    turn = np.zeros((3, 4))
    turn[0, right], turn[1, up], turn[2, axis] = to_right, to_up, sign
    return turn


def _gone(drawing: Drawing, start: float, depth: float, less: float = 0) -> m3.Manifold:
    """What a plane takes off: everything of the block's outline that is not to stay, from before the face inwards.

    It is ``less`` wide by so much, so that what it then meets is no rounding of the drawing."""
    whole = m3.CrossSection(drawing.block, m3.FillRule.EvenOdd)
    stays = m3.CrossSection(drawing.rings, m3.FillRule.EvenOdd).offset(less)
    waste = whole - stays
    if waste.is_empty() or depth <= 0:
        return m3.Manifold()
    return m3.Manifold.extrude(waste, depth + 1).translate((0, 0, start - 1))


def compare_outline(case: Case, drawing: Drawing, axes) -> list[Fault]:
    """Compare a face's outline of the whole figure with its shadow: none of it outside, and little of it empty."""
    seen = shadow(case.solid.transform(_seen_from(drawing.face, axes)))
    drawn = m3.CrossSection(drawing.rings, m3.FillRule.EvenOdd)
    faults = []
    for what, over in (
        ("an outline loses part of the figure", seen - drawn.offset(TOLERANCE_MM)),
        ("an outline holds more than the figure", drawn - seen.offset(0.5)),
    ):
        if over.area() > 1e-3:
            faults.append(Fault(what, over.area() ** 0.5, f"seen from the {drawing.face}, {over.area():.3g} mm²"))
    return faults


def cut_planes(case: Case, sheet, drawings: list[Drawing], axes) -> list[Fault]:
    """Rough out plane by plane: is any of the figure gone, is the allowance left, did the waste go that was to go?"""
    face, _, allowance, planes = sheet
    turn = _seen_from(face, axes)
    solid, block = case.solid.transform(turn), case.block.transform(turn)
    start = block.bounding_box()[2]
    faults: list[Fault] = []
    taken = before = 0.0
    if [number for number, _, _ in planes] != [drawing.number for drawing in drawings]:
        faults.append(Fault("planes on the sheet and drawings differ", 0.0, face))
    density = case.fit.block.mass_kg / case.fit.block.volume_m3
    for (number, depth, so_far), drawing in zip(planes, drawings, strict=False):
        where = f"plane {number} of the {face}, {depth} mm in"
        if drawing.named_off > PRINTED_MM + TOLERANCE_MM or abs(drawing.depth - depth) > TOLERANCE_MM:
            faults.append(Fault("a drawing's corner or depth is not where it says", drawing.named_off, where))
        gone = _gone(drawing, start, depth) ^ block
        surely = _gone(drawing, start, depth, TOLERANCE_MM) ^ block  # without what the drawing's own rounding makes
        faults += _plane_faults(solid, surely, allowance, where)
        needed = shadow(solid.trim_by_plane((0, 0, -1), -(start + depth + allowance + 0.1)))
        spare = m3.CrossSection(drawing.rings, m3.FillRule.EvenOdd) - needed.offset(allowance + 1.5)
        spare = spare ^ m3.CrossSection(drawing.block, m3.FillRule.EvenOdd)
        if spare.area() > 4.0:
            faults.append(Fault("a plane keeps more than it need", spare.area() ** 0.5, where))
        taken += gone.trim_by_plane((0, 0, 1), start + before).volume() * 1e-9 * density  # past the plane before
        before = depth
        if so_far is not None and abs(taken - so_far) > 0.1 + 0.01 * so_far:
            what = "the weight that is to go is not what goes"
            faults.append(Fault(what, taken - so_far, f"{where}, {taken:.1f} kg for {so_far}"))
    return faults


def _plane_faults(solid, gone, allowance: float, where: str) -> list[Fault]:
    cut = solid ^ gone
    if thickness(cut) > 0:
        box = cut.bounding_box()
        if box[5] - box[2] > TOLERANCE_MM:
            sure = solid.volume() - (solid - gone).volume() > 0
            return [Fault("a plane cuts into the figure", box[5] - box[2], f"{where}, {cut.volume():.3g} mm³", sure)]
    if allowance <= 0 or gone.is_empty():
        return []
    left = solid.min_gap(gone, allowance + 1)
    if left < allowance - TOLERANCE_MM:
        sure = apart_by_points(gone, solid) < allowance
        return [Fault("a plane leaves less than its allowance", allowance - left, where, sure)]
    return []

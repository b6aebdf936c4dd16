"""Sheets for sawing: one to hold for each piece, and one at full size for each face that its cuts cross. mm."""

import textwrap

import numpy as np

from blockfit.facts.measures import Rounding
from blockfit.facts.systems import UnitSystem, units_of
from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import corners_of
from blockfit.geometry.tolerances import ALMOST_PARALLEL, NOT_ZERO, TOUCHING
from blockfit.kinds import kinds_checked
from blockfit.measure.sections import footprint
from blockfit.sheets.setting_out import piece_words, place_words, way_out_words
from blockfit.sheets.templates.sheet import Label, Line, Sheet
from blockfit.waste.cuts.cut import Cut
from blockfit.waste.cuts.marks import Mark
from blockfit.waste.offcuts.piece import Offcut
from blockfit.waste.offcuts.plan import OffcutPlan

__all__ = ["cut_sheets", "piece_sheets"]

_PAGE_MM = {"metric": (210.0, 297.0), "us": (215.9, 279.4)}  # ISO 216 A4, ANSI/ASME Y14.1 Letter
_MARGIN = 60.0
_VIEWS = (("front", 0, 2, 1.0), ("left side", 1, 2, -1.0), ("top", 0, 1, 1.0))  # to the right, up, which way right is
_ROOM_MM = 78.0  # the longest side of a small view
_SCALES = (1, 2, 2.5, 5, 10, 15, 20, 25, 50, 100, 200)
_LETTERS = 2.6
_LETTER, _RIM = 0.85, 8.0  # how broad a letter is at most in the middle, of its height; what stays free at the rim
_CORNERS = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])

_SLING = (
    "The hook must hang plumb above the centre of gravity (cross), in slings that cannot slip, before the last cut is "
    "finished. An estimate for planning: have gear and slinging checked by a qualified person, and follow local codes."
)


@kinds_checked
def piece_sheets(plan: OffcutPlan, *, units: str = "metric", date: str = "") -> list[Sheet]:
    """Return a page for each piece: its front, side and top, its numbers, its cuts in words, slinging and way out.

    In order of removal; drawn to a scale that is stated, on A4 (``units="metric"``) or Letter (``"us"``). Exact as the
    plan is, what is printed rounded so that stone is left; weights are estimates.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> plan = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1, most_cuts=1)
    >>> [(sheet.title, sheet.width, sheet.height) for sheet in bf.piece_sheets(plan)]
    [('piece 1', 210.0, 297.0)]
    """
    units_of(units)  # also of a plan without pieces
    return [_piece_sheet(plan, number, units, date) for number in range(1, len(plan.pieces) + 1)]


@kinds_checked
def cut_sheets(plan: OffcutPlan, *, units: str = "metric", date: str = "") -> list[tuple[str, Sheet]]:
    """Return a sheet at full size for each face that each piece's cuts cross, with a name for each.

    Heavy is the line to saw along, on the waste side; light the other side of the kerf. The face is seen from outside.

    Lengths are mm on the stone, and exact; ``units``, ``"metric"`` or ``"us"``, are those of the words. Write each with
    `save_template`. A rough block has no flat faces, and so no such sheets.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> plan = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1, most_cuts=1)
    >>> sheets = bf.cut_sheets(plan)
    >>> sheets[0][0], sheets[0][1].title, all(sheet.width > 0 for _, sheet in sheets)
    ('piece-01-front', 'piece 1 on the front, seen from outside', True)
    """
    units_of(units)  # also of a plan without cuts
    named = []
    for number, piece in enumerate(plan.pieces, 1):
        faces = list(dict.fromkeys(mark.face for cut in piece.cuts for mark in cut.marks))
        for face in faces:
            name = f"piece-{number:02d}-{face.replace(' ', '-')}"
            named.append((name, _cut_sheet(plan, number, face, units, date)))
    return named


def _cut_sheet(plan: OffcutPlan, number: int, face: str, units: str, date: str) -> Sheet:
    piece = plan.pieces[number - 1]
    drawn = [(k, cut, mark) for k, cut in enumerate(piece.cuts, 1) for mark in cut.marks if mark.face == face]
    normal = drawn[0][2].normal
    frame = _seen_from(normal)
    rim = _rim(plan, normal, drawn[0][2].start_mm)
    places = np.concatenate([np.stack([mark.start_mm, mark.end_mm]) for _, _, mark in drawn])
    flat = np.concatenate([rim, places]) @ frame.T
    low, high = flat.min(axis=0), flat.max(axis=0)
    shift = _MARGIN - low
    lines = [Line(rim @ frame.T + shift, True, "block")] if len(rim) else []
    labels = []
    for k, cut, mark in drawn:
        ends = np.stack([mark.start_mm, mark.end_mm]) @ frame.T + shift
        lines.append(Line(ends, False, "outline"))
        if cut.kerf_mm > 0:
            lines.append(Line(mark.kept_mm @ frame.T + shift, False, "square"))
        labels += _line_labels(plan, k, cut, mark, ends, frame @ mark.waste, units)
    x, y = _MARGIN, float((high + shift)[1])
    title = f"piece {number} on {'the ' if face in plan.block.names else ''}{face}, seen from outside"
    head = [
        f"{title}, in {plan.block.name}",
        f"heavy: saw along it, on the waste side; light: the kerf's other side  {date}",
    ]
    labels += [Label(x, y + 34 - 10 * k, words, 6 - 1.5 * k) for k, words in enumerate(head)]
    labels.append(Label(x, 14, f"{_up_words(normal)}; full size: print at 100 %, and measure the square of 100 mm", 4))
    square = float((high + shift)[0]) + 20
    lines.append(Line(100.0 * _CORNERS + np.array([square, _MARGIN]), True, "square"))
    width, height = square + 120, max(y + 50, _MARGIN + 120)
    return _widened(Sheet(title, width, height, tuple(lines), tuple(labels)))


def _widened(sheet: Sheet) -> Sheet:
    """Return a sheet as large as its words need: none runs off the paper."""
    ends = np.array([[label.x, label.x + _LETTER * label.size * len(label.text)] for label in sheet.labels])
    tops = np.array([[label.y, label.y + label.size] for label in sheet.labels])
    more = np.maximum(0.0, _RIM - np.array([ends.min(), tops.min()]))
    width, height = np.maximum([sheet.width, sheet.height], np.array([ends.max(), tops.max()]) + _RIM) + more
    lines = [Line(line.points + more, line.closed, line.weight) for line in sheet.lines]
    labels = [Label(one.x + float(more[0]), one.y + float(more[1]), one.text, one.size) for one in sheet.labels]
    return Sheet(sheet.title, float(width), float(height), tuple(lines), tuple(labels))


def _line_labels(plan: OffcutPlan, k: int, cut: Cut, mark: Mark, ends: Array, waste: Array, units: str) -> list[Label]:
    """Return what is written along a line: where it starts and ends, the waste, and the angle of the guide."""
    middle = ends.mean(axis=0) + 14 * waste
    guide = "square" if abs(mark.angle_deg - 90) < 0.05 else f"{mark.angle_deg:.1f}° on this side"
    written = [(middle, f"WASTE  cut {k}, guide {guide}", 5.0)]
    for end in (0, 1):
        written.append((ends[end] + 5 * waste, place_words(mark, end, cut.normal, plan.block, units), 4.0))
    labels = []
    for (x, y), words, size in written:
        left = 0.7 * size * len(words) if waste[0] < -0.3 else 0.0  # or it would run over the line
        labels.append(Label(float(x) - left, float(y), words, size))
    return labels


def _seen_from(normal: Array) -> Array:
    """Return (2, 3) the directions to the right and up of who looks at a face from outside."""
    up = np.array([0.0, 0.0, 1.0]) if abs(normal[2]) < 0.99 else np.array([0.0, np.sign(normal[2]), 0.0])
    up = up - (up @ normal) * normal
    up = up / np.linalg.norm(up)
    return np.stack([np.cross(up, normal), up])


def _up_words(normal: Array) -> str:
    return "up is up" if abs(normal[2]) < 0.99 else f"up is towards the {'back' if normal[2] > 0 else 'front'}"


def _rim(plan: OffcutPlan, normal: Array, at: Array) -> Array:
    """Return the corners (k, 3), in order, of the block's section in the plane of a face."""
    block, offset = plan.block, float(normal @ at)
    thin = TOUCHING * max(block.size_mm)
    try:
        slab, _ = corners_of(
            np.vstack([block.normals, normal, -normal]), np.append(block.offsets_mm, [offset, thin - offset])
        )
    except ValueError:
        return np.zeros((0, 3))
    frame = _seen_from(normal)
    ring = footprint(slab @ frame.T)
    return ring @ frame + offset * normal


def _piece_sheet(plan: OffcutPlan, number: int, units: str, date: str) -> Sheet:
    piece = plan.pieces[number - 1]
    wide, tall = _PAGE_MM[units]
    size = max(piece.size_mm)
    scale = next((s for s in _SCALES if size / s <= _ROOM_MM), size / _ROOM_MM)
    stretch = (tall - 30) / 267  # a Letter page is shorter than an A4
    lines: list[Line] = []
    labels = [
        Label(12, tall - 16, f"Piece {number} of {len(plan.pieces)}: {piece.kind}, {piece.stage}  {date}".rstrip(), 5),
        Label(12, tall - 23, f"in {plan.block.name}; views at 1:{scale:g}, heavy where it is cut", 3),
    ]
    for (name, across, up, sign), (x, y) in zip(_VIEWS, ((14, 190), (112, 190), (14, 106)), strict=True):
        lines += _view(piece, across, up, sign, scale, np.array([x, y * stretch]))
        labels.append(Label(float(x), y * stretch - 6, name, 3))
    low = 106 * stretch + 70
    for words in _numbers(piece, plan, units_of(units)):
        for row in textwrap.wrap(words, 52, subsequent_indent="  "):
            labels.append(Label(112, low, row, _LETTERS))
            low -= 4.4
    low = 92 * stretch
    for words in [*piece_words(piece, plan.block, units=units), f"Drawn out {way_out_words(piece.draw_out)}.", _SLING]:
        for row in textwrap.wrap(words[0].upper() + words[1:], 112, subsequent_indent="  "):
            labels.append(Label(12, low, row, _LETTERS))
            low -= 4.4
        low -= 1.5
    page = Line(np.array([[5.0, 5], [wide - 5, 5], [wide - 5, tall - 5], [5, tall - 5]]), True, "tick")
    drop = max(0.0, 10 - low)  # very many cuts: the page grows
    return Sheet(f"piece {number}", wide, tall + drop, *_raised((page, *lines), labels, drop))


def _raised(lines: tuple[Line, ...], labels: list[Label], by: float) -> tuple[tuple[Line, ...], tuple[Label, ...]]:
    if not by:
        return lines, tuple(labels)
    moved = [Line(line.points + np.array([0, by]), line.closed, line.weight) for line in lines]
    return tuple(moved), tuple(Label(label.x, label.y + by, label.text, label.size) for label in labels)


def _view(piece: Offcut, across: int, up: int, sign: float, scale: float, at: Array) -> list[Line]:
    """Return the edges of a piece along one axis, heavy round its cuts, and a cross at its centre of gravity."""
    vertices = np.asarray(piece.solid.vertices)
    places = np.column_stack([sign * vertices[:, across], vertices[:, up]]) / scale
    move = at - places.min(axis=0)
    lines = []
    for start, end, sawn in _edges(piece):
        weight = "outline" if sawn else "square"
        lines.append(Line(places[[start, end]] + move, False, weight))
    centre = np.array([sign * piece.centre_mm[across], piece.centre_mm[up]]) / scale + move
    for way in ([3.0, 0], [0, 3.0]):
        lines.append(Line(np.array([centre - way, centre + way]), False, "tick"))
    return lines


def _edges(piece: Offcut) -> list[tuple[int, int, bool]]:
    """Return the edges of a convex piece between two faces, and whether each bounds a cut."""
    vertices, faces = np.asarray(piece.solid.vertices), np.asarray(piece.solid.faces)
    corners = vertices[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), NOT_ZERO)
    beside: dict[tuple[int, int], list[int]] = {}
    for k, face in enumerate(faces.tolist()):
        for a, b in zip(face, face[1:] + face[:1], strict=True):
            beside.setdefault((min(a, b), max(a, b)), []).append(k)
    told = []
    for (a, b), sides in beside.items():
        if len(sides) == 2 and normals[sides[0]] @ normals[sides[1]] < ALMOST_PARALLEL:
            ends = vertices[[a, b]]
            sawn = any(np.abs(ends @ cut.normal - cut.offset_mm).max() < 0.05 for cut in piece.cuts)
            told.append((a, b, sawn))
    return told


def _numbers(piece: Offcut, plan: OffcutPlan, units: UnitSystem) -> list[str]:
    stone = plan.block.stone
    weight = units.volume(piece.volume_m3)
    if piece.weight_kg is not None and stone is not None:
        density = stone.density_kg_m3
        ranged = units.mass(piece.weight_kg, stone.low_kg_m3 / density, stone.high_kg_m3 / density)
        weight = f"{ranged}, {weight}"
    size, box = units.sizes(piece.size_mm, Rounding.UP), units.sizes(piece.box_mm, Rounding.DOWN)
    stands = piece.left_stands
    left = "what is left stands" if stands.stands else f"WHAT IS LEFT TIPS over the {stands.weakest}: prop it first"
    cuts = [
        f"Cut {k}: {units.floor_area(cut.area_m2)} by {cut.method}, kerf {units.given(cut.kerf_mm)}, "
        f"{units.missing(cut.depth_mm)} deep"
        for k, cut in enumerate(piece.cuts, 1)
    ]
    return [
        f"Weight {weight}",
        f"Within {size}; holds a box of {box}",
        f"Least thickness {units.length(piece.least_thickness_mm)}",
        f"Centre of gravity {units.point(piece.centre_mm)} (in the block)",
        *cuts,
        f"Afterwards {left}",
    ]

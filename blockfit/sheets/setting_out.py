"""Cuts set out in words: from which place to which a line is snapped, where the waste is, how deep, at what angle.

Places are rounded into the waste, so that a line as printed never lies nearer to the figure: to half a millimetre, or
to 1/32 inch. mm, block frame."""

import math
from collections.abc import Sequence

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import ALMOST_PARALLEL
from blockfit.solids.block import BOX_FACES, Block
from blockfit.units import ON_STEP, feet_and_inches
from blockfit.waste.cuts.cut import Cut
from blockfit.waste.cuts.marks import Edge, Mark
from blockfit.waste.offcuts.piece import Offcut

__all__ = ["cut_words", "length_words", "piece_words", "place_words", "way_out_words"]

_STEP_MM = {"metric": 0.5, "us": 25.4 / 32}
_ORDER = ("left", "right", "front", "back", "bottom", "top")  # "left front edge", "front top edge"
_FROM = {
    "left": "from the left", "right": "from the right", "front": "from the front", "back": "from the back",
    "bottom": "above the bottom", "top": "below the top",
}  # fmt: skip
_WAYS = ((2, "below", "above"), (1, "front", "back"), (0, "left", "right"))
_MEET_MM = 0.01


def piece_words(piece: Offcut, block: Block, *, units: str = "metric") -> list[str]:
    """Return a sentence for each cut of a piece that sets it out."""
    told = [(k, cut_words(cut, block, units=units)) for k, cut in enumerate(piece.cuts, 1)]
    several = len(piece.cuts) > 1
    return [f"line{f' of cut {k}' if several else ''}: {'; '.join(words)}" for k, words in told if words]


def cut_words(cut: Cut, block: Block, *, units: str = "metric") -> list[str]:
    """Return how a cut is set out: its line round the stone, the waste, the kerf, the guide, and where it stops.

    ``units`` is metric or us.
    """
    if units not in _STEP_MM:
        raise BadValueError(f'units={units!r} must be "metric" or "us"')
    if not cut.marks:
        return _frame_words(cut, block, units)
    words = [_line_words(cut, block, units)]
    ways = [_way_words(mark.waste) for mark in cut.marks]
    words.append(f"waste {ways[0] if len(set(ways)) == 1 else _by_face(cut.marks, ways, 'on')}")
    if cut.kerf_mm > 0:
        kerf = length_words(cut.kerf_mm, units) if units == "metric" else _apart(cut.kerf_mm, units)
        wider = [(m, _apart(m.apart_mm, units)) for m in cut.marks if m.apart_mm > cut.kerf_mm * 1.02 + 0.25]
        more = _by_face([m for m, _ in wider], [by for _, by in wider], "on") if wider else ""
        words.append(f"kerf {kerf} on its other side{f' ({more})' if more else ''}")
    words.append(_guide_words(cut.marks))
    stop = _stop(cut.marks)
    if stop is not None and stop.depth_mm is not None:
        words.append(f"from {_the(stop.face)} stop {_depth_words(stop.depth_mm, units)}")
    return words


def _frame_words(cut: Cut, block: Block, units: str) -> list[str]:
    """Return how a cut through rough stone is set out: no line can be snapped, so it is sighted from a frame."""
    if cut.places_mm is None or len(cut.places_mm) == 0:
        return []
    places = [_across_and_up("", at, cut.normal, block, units) for at in np.asarray(cut.places_mm)]
    kerf = length_words(cut.kerf_mm, units) if units == "metric" else _apart(cut.kerf_mm, units)
    return [
        "no face to snap it on: from a frame set up square around the stone, against its outermost points, mark "
        + "; ".join(f"({k}) {place}" for k, place in enumerate(places, 1))
        + ", and sight them into one plane",
        f"waste {_way_words(cut.normal)}",
        *([f"kerf {kerf} on its other side"] if cut.kerf_mm > 0 else []),
    ]


def _guide_words(marks: Sequence[Mark]) -> str:
    """Return the angle of the cut to each face, on the waste side, where it is not square."""
    slant = [mark for mark in marks if abs(mark.angle_deg - 90) >= 0.05]
    if not slant:
        return "guide square"
    told = _by_face(slant, [f"{mark.angle_deg:.1f}°" for mark in slant], "to")
    return f"guide, on the waste side, {told}{', else square' if len(slant) < len(marks) else ''}"


def _stop(marks: Sequence[Mark]) -> Mark | None:
    """Return the line from which the cut goes down most evenly to where it ends in stone."""
    ending = [mark for mark in marks if mark.depth_mm is not None and min(mark.depth_mm) > 0]
    return min(ending, key=lambda mark: abs(np.subtract(*(mark.depth_mm or (0, 0)))), default=None)


def _line_words(cut: Cut, block: Block, units: str) -> str:
    """Return the way of the line from place to place, round the stone."""
    words = ""
    for k, mark in enumerate(cut.marks):
        follows = k > 0 and np.linalg.norm(cut.marks[k - 1].end_mm - mark.start_mm) < _MEET_MM
        if not follows:
            words += ("; " if words else "") + f"from {place_words(mark, 0, cut.normal, block, units)}"
        closes = k > 0 and k == len(cut.marks) - 1 and np.linalg.norm(mark.end_mm - cut.marks[0].start_mm) < _MEET_MM
        end = "the first place" if closes else place_words(mark, 1, cut.normal, block, units)
        words += f", across {_the(mark.face)} to {end}"
    return words


def place_words(mark: Mark, end: int, normal: Array, block: Block, units: str = "metric") -> str:
    """Return how the start (0) or end (1) of a line is measured: along an edge, or across and up."""
    edge = (mark.start_edge, mark.end_edge)[end]
    at = np.asarray((mark.start_mm, mark.end_mm)[end])
    if edge is not None:
        by = _into_waste(edge.mm, float(_way_along(edge, block) @ normal), units)
        return f"{_edge_name(edge)} {length_words(by, units)} {_from_words(edge.corner)}"
    face = _box_face(mark, at, block)
    on = f"on the {face} " if face not in ("", mark.face) else ""
    return on + _across_and_up(face, at, normal, block, units)


def _box_face(mark: Mark, at: Array, block: Block) -> str:
    """Return the face of the block, square to an axis, on which a place is measured; nothing if there is none."""
    touching = [
        name
        for name, face, offset in zip(block.names, block.normals, block.offsets_mm, strict=True)
        if name in BOX_FACES and abs(float(face @ at) - float(offset)) < _MEET_MM
    ]
    return mark.face if mark.face in touching else next(iter(touching), "")


def _way_along(edge: Edge, block: Block) -> Array:
    """Return the unit vector (3,) along an edge away from its corner."""
    first, second, third = (block.normals[block.names.index(name)] for name in (*edge.faces, edge.corner))
    along = np.cross(first, second)
    along = along / np.linalg.norm(along)
    return np.asarray(-along if along @ third > 0 else along)


def _into_waste(value: float, leaning: float, units: str) -> float:
    """Return a length rounded to the step the way that moves the place into the waste."""
    step = _STEP_MM[units]
    steps = value / step
    return (math.ceil(steps - ON_STEP) if leaning > 0 else math.floor(steps + ON_STEP)) * step


def _edge_name(edge: Edge) -> str:
    names = sorted(edge.faces, key=lambda name: _ORDER.index(name) if name in _ORDER else len(_ORDER))
    return f"{' '.join(names)} edge" if all(name in _ORDER for name in names) else f"edge of {' and '.join(names)},"


def _from_words(corner: str) -> str:
    return _FROM.get(corner, f"from {corner}")


def _across_and_up(face: str, at: Array, normal: Array, block: Block, units: str) -> str:
    """Return a place by its measures from the left, the front and the bottom, without the one that the face gives.

    All are rounded, but the one that moves the place most off the cut comes last: it is worked out again for the
    others as rounded, on the face, and rounded into the waste.
    """
    low = block.corners_mm.min(axis=0)
    axes = [k for k in range(3) if not face or abs(float(block.normals[block.names.index(face), k])) < ALMOST_PARALLEL]
    last = max(axes, key=lambda k: abs(float(normal[k])))
    step = _STEP_MM[units]
    places = {k: round(float(at[k] - low[k]) / step) * step for k in axes if k != last}
    moved = sum(float(normal[k]) * (places[k] - float(at[k] - low[k])) for k in places)
    exact = float(at[last] - low[last]) - moved / float(normal[last])
    places[last] = _into_waste(exact, float(normal[last]), units)
    words = ("from the left", "in from the front", "up")
    return f"{', '.join(f'{length_words(places[k], units)} {words[k]}' for k in axes)}"


def length_words(millimetres: float, units: str) -> str:
    """Return a length that is a whole number of steps.

    >>> from blockfit.sheets.setting_out import length_words
    >>> length_words(1201.5, "metric"), length_words(1200, "metric"), length_words(400, "us")
    ('1,201.5 mm', '1,200 mm', '1 ft 3 3/4 in')
    """
    if units == "us":
        return feet_and_inches(millimetres, 32)
    return f"{millimetres:,.1f}".removesuffix(".0") + " mm"


def _way_words(way: Array) -> str:
    """Return which way along a face the waste lies."""
    words = [low if way[k] < 0 else high for k, low, high in _WAYS if abs(float(way[k])) > 0.38]
    side = " ".join(words) or "there"
    return side if words and words[0] in ("below", "above") else f"to the {side}"


def _by_face(marks: Sequence[Mark], words: Sequence[str], on: str) -> str:
    """Return what holds on each face, once where it is the same on several."""
    held: dict[str, list[str]] = {}
    for mark, word in zip(marks, words, strict=True):
        held.setdefault(word, [])
        if _the(mark.face) not in held[word]:
            held[word].append(_the(mark.face))
    return ", ".join(f"{word} {on} {_listed(faces)}" for word, faces in held.items())


def _the(face: str) -> str:
    """Return a face of the block, or one that a cut has left, as it stands in a sentence."""
    return face if face.startswith(("cut ", "a side")) else f"the {face}"


def _apart(apart_mm: float, units: str) -> str:
    step = _STEP_MM[units]
    return length_words(math.floor(apart_mm / step + ON_STEP) * step, units)


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _depth_words(depth: tuple[float, float], units: str) -> str:
    """Return how deep a cut may go, rounded down, at the start and the end of its line where they differ."""
    step = _STEP_MM[units]
    first, last = (math.floor(by / step + ON_STEP) * step for by in depth)
    start = f"{length_words(first, units)} deep"
    return start if abs(first - last) < step / 2 else f"{start} at its start and {length_words(last, units)} at its end"


def way_out_words(direction: Array) -> str:
    """Return which way a piece is drawn out."""
    if direction[2] > 0.5:
        return "upward"
    sides = []
    for k, low, high in ((1, "front", "back"), (0, "left", "right")):
        if abs(direction[k]) > 0.38:
            sides.append(low if direction[k] < 0 else high)
    return f"level to the {' '.join(sides)}"

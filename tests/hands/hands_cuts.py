"""The second pair of hands at setting out: cuts rebuilt from what is printed of their lines, and nothing else.

It reads the survey's text, finds each place by rule on a box of known size, lays the best plane through the places,
saws there, and looks at the figure. mm, block frame."""

import re
from dataclasses import dataclass

import manifold3d as m3
import numpy as np

__all__ = ["Drawn", "drawn_cuts", "drawn_from_record", "off_plane", "outline_gap", "rebuilt"]

_SIDES = {"left": (0, 0), "right": (0, 1), "front": (1, 0), "back": (1, 1), "bottom": (2, 0), "top": (2, 1)}
_WORDS = {"below the top": "top", "above the bottom": "bottom", "from the left": "left", "from the right": "right",
          "from the front": "front", "from the back": "back"}  # fmt: skip
_NUMBER = r"(?:\d[\d,]*(?:\.\d+)?|\d+ )?(?:\d+/\d+)?"
_LENGTH = r"(?:(?:[\d,.]+ mm)|(?:(?:\d+ ft ?)?(?:\d+ \d+/\d+ in|\d+/\d+ in|\d+ in)|\d+ ft))"


@dataclass(frozen=True, eq=False)
class Drawn:
    """One cut as printed: its places (n, 3), the width of its kerf, and the piece's centre of gravity."""

    piece: int
    places: np.ndarray
    kerf: float
    centre: np.ndarray


def _mm(text: str) -> float:
    text = text.replace(",", "").strip()
    if text.endswith(" mm"):
        return float(text[:-3])
    total = 0.0
    feet = re.match(r"(\d+) ft ?", text)
    if feet:
        total, text = 304.8 * int(feet[1]), text[feet.end() :]
    for part in text.removesuffix(" in").split():
        top, _, under = part.partition("/")
        total += 25.4 * int(top) / int(under or 1)
    return total


def _place(words: str, face: str, corners: np.ndarray) -> np.ndarray:
    """A place as printed, on a face whose name is known, of a box with these corners."""
    ends = np.stack([corners.min(axis=0), corners.max(axis=0)])
    edge = re.fullmatch(rf"(\w+) (\w+) edge ({_LENGTH}) ([a-z ]+)", words)
    at = np.full(3, np.nan)
    if edge:
        for side in edge[1], edge[2]:
            axis, end = _SIDES[side]
            at[axis] = ends[end, axis]
        axis, end = _SIDES[_WORDS[edge[4]]]
        at[axis] = ends[end, axis] + (-1 if end else 1) * _mm(edge[3])
        return at
    named = re.match(r"on the (\w+) ", words)
    face = named[1] if named else face
    for axis, word in enumerate((" from the left", " in from the front", " up")):
        told = re.search(rf"({_LENGTH}){word}", words)
        if told:
            at[axis] = ends[0, axis] + _mm(told[1])
    if np.isnan(at).any():
        axis, end = _SIDES[face]
        assert np.isnan(at).tolist() == [k == axis for k in range(3)], (words, face)
        at[axis] = ends[end, axis]
    return at


def _places(line: str, corners: np.ndarray) -> np.ndarray:
    found = []
    for chain in re.split(r"; (?=from )", line):
        parts = re.split(
            r", across ((?:the \w+)|(?:cut \d+ of (?:the chips after )?piece \d+)|(?:a side of [\w ]+)) to ", chain
        )
        faces = [name.removeprefix("the ") for name in parts[1::2]]
        found.append(_place(parts[0].removeprefix("from "), faces[0], corners))
        ends = zip(parts[2::2], faces, strict=True)
        found += [_place(words, face, corners) for words, face in ends if words != "the first place"]
    return np.array(found)


def drawn_cuts(text: str, corners: np.ndarray) -> list[Drawn]:
    """Every cut of the pieces to save that is set out in a survey's text."""
    text = " ".join(text.split())
    pieces = re.split(r" (?=\d+\. (?:through cut|rebate|corner)[, ])", text)[1:]
    told = []
    for number, piece in enumerate(pieces, 1):
        assert piece.startswith(f"{number}. "), piece[:40]
        place = r"centre of gravity (-?[\d,]+) mm from the left, (-?[\d,]+) mm in, (-?[\d,]+) mm up;"
        centre = np.array([float(x.replace(",", "")) for x in re.search(place, piece).groups()])
        for line in re.findall(r"line(?: of cut \d+)?: (from .*?); waste", piece):
            kerf = re.search(rf"{re.escape(line)}; waste [^;]*; kerf ({_LENGTH})", piece)
            told.append(Drawn(number, _places(line, corners), _mm(kerf[1]) if kerf else 0.0, centre))
    return told


def drawn_from_record(record: dict) -> list[Drawn]:
    """The same from a survey's JSON: the ends of every cut's lines, and nothing else of the cut but its kerf."""
    return [
        Drawn(number, np.array([mark[end] for mark in cut["marks"] for end in ("start_mm", "end_mm")]), cut["kerf_mm"],
              np.array(piece["centre_mm"]))
        for number, piece in enumerate(record["pieces"], 1)
        for cut in piece["cuts"]
    ]  # fmt: skip


def rebuilt(drawn: Drawn) -> tuple[np.ndarray, float]:
    """The plane through a cut's places as they are drawn, its normal towards the piece."""
    middle = drawn.places.mean(axis=0)
    normal = np.linalg.svd(drawn.places - middle)[2][2]
    normal = normal if normal @ (drawn.centre - middle) > 0 else -normal
    return normal, float(normal @ middle)


def off_plane(drawn: Drawn, outline: np.ndarray) -> float:
    """How far the corners of the cut as planned lie off the plane as drawn, mm."""
    normal, offset = rebuilt(drawn)
    return float(np.abs(outline @ normal - offset).max())


def into(figure: m3.Manifold, drawn: list[Drawn]) -> float:
    """Volume in mm³ of the figure that is lost when a piece's cuts are made as drawn, with their kerfs."""
    for cut in drawn:
        normal, offset = rebuilt(cut)
        figure = figure.trim_by_plane(tuple(normal), offset - cut.kerf)
    return float(figure.volume())


def outline_gap(stone: m3.Manifold, normal, offset: float, others, marks) -> float:
    """How far the stone's section along a cut and the cut's lines lie apart, mm: each of either's middles.

    ``others`` (normal, offset) are the piece's other cuts: there the section ends in stone, where no line is."""
    for other, at in others:
        stone = stone.trim_by_plane(tuple(map(float, other)), float(at))
    side = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    side /= np.linalg.norm(side)
    turn = np.stack([side, np.cross(normal, side), normal])
    level = stone.transform(np.column_stack([turn, np.zeros(3)]))
    # Stone on both sides is sawn; on one side alone it ends there.
    sawn = level.slice(float(offset) + 1e-3) ^ level.slice(float(offset) - 1e-3)
    rings = [np.array(ring) for ring in sawn.to_polygons()]
    edges = [(turn.T @ [*a, offset], turn.T @ [*b, offset]) for ring in rings
             for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True)]  # fmt: skip
    worst = 0.0
    lines = [(np.asarray(mark.start_mm), np.asarray(mark.end_mm)) for mark in marks]
    for start, end in edges:
        middle = (start + end) / 2
        if min((abs(middle @ other - at) for other, at in others), default=np.inf) > 0.05:
            worst = max(worst, min(_to_line(middle, *line) for line in lines))
    for start, end in lines:
        worst = max(worst, min(_to_line((start + end) / 2, *edge) for edge in edges))
    return worst


def _to_line(point, start, end) -> float:
    way = end - start
    share = np.clip((point - start) @ way / max(way @ way, 1e-12), 0, 1)
    return float(np.linalg.norm(start + share * way - point))

"""What a carver reads off the sheets: points, what may be cut between them, planes, outlines, cuts, distances.

Nothing here knows how the sheets are made: text, CSV, SVG, DXF and JSON, as printed or saved. mm, block frame."""

import csv
import io
import re
from dataclasses import dataclass
from fractions import Fraction
from xml.etree import ElementTree

import ezdxf
import numpy as np

__all__ = [
    "Drawing",
    "RIGHT",
    "Row",
    "UP",
    "between",
    "drawing",
    "inward",
    "length",
    "planes",
    "points",
    "straight_back",
]

_IN = {"front": (1, 1), "back": (1, -1), "left": (0, 1), "right": (0, -1), "bottom": (2, 1), "top": (2, -1)}
# Looking at a face from outside, which way is right and which way is up, as (axis, sign).
RIGHT = {"front": (0, 1), "back": (0, -1), "left": (1, -1), "right": (1, 1), "top": (0, 1), "bottom": (0, 1)}
UP = {"front": (2, 1), "back": (2, 1), "left": (2, 1), "right": (2, 1), "top": (1, 1), "bottom": (1, -1)}


def inward(face: str) -> tuple[int, int]:
    """The axis along which work from a face goes in, and its sign."""
    return _IN[face]


@dataclass(frozen=True, eq=False)
class Row:
    """A row of the table of points; lengths in mm, the model's at the model's size."""

    number: int
    kind: str
    face: str | None
    model: np.ndarray
    block: np.ndarray
    depth: float | None
    stop: float | None
    allowance: float | None
    rounding: float
    note: str


def length(text: str) -> float | None:
    """A number as printed: 12.5, 1,069.0, 9 7/8, -3/16; nothing where nothing is printed."""
    text = text.strip().replace("−", "-").replace(",", "")
    if not text or text in ("-", "–", "none"):
        return None
    sign = -1 if text.startswith("-") else 1
    return sign * float(sum(Fraction(part) for part in text.lstrip("-").split()))


def points(table: str) -> list[Row]:
    """The rows of the CSV of points."""
    rows = []
    for row in csv.DictReader(io.StringIO(table)):
        unit = 25.4 if "model in in" in row else 1.0
        suffix = "in" if unit > 1 else "mm"
        model = np.array([length(row[f"model {way} {suffix}"]) for way in ("across", "in", "up")], float) * unit
        block = np.array([length(row[f"block {way} mm"]) for way in ("across", "in", "up")], float)
        rows.append(
            Row(
                int(row["number"]), row["kind"], None if row["face"] in ("none", "") else row["face"], model, block,
                length(row["depth from face mm"]), length(row["stop at mm"]), length(row["allowance mm"]),
                length(row["rounding mm"]) or 0.0, row.get("note") or "",
            )
        )  # fmt: skip
    return rows


def between(text: str) -> list[tuple[str, tuple[int, int, int], float | None]]:
    """What may be cut between points: (face, three numbers, no deeper than; None is straight from stop to stop)."""
    allowed = []
    for head in re.finditer(r"^BETWEEN THE POINTS of the (\w+).*\n((?:[ \t]+\S.*(?:\n|$))*)", text, re.MULTILINE):
        said = re.split(r"(straight from stop to stop:|no deeper than the depth in mm[^:]*:)", head[2])
        for mode, groups in zip(said[1::2], said[2::2], strict=True):
            straight = mode.startswith("straight")
            form = r"(\d+)-(\d+)-(\d+)" + (r"()(?=\s*(?:,|$))" if straight else r"\s+(-?[\d,]*\.?\d+)(?=\s*(?:,|$))")
            found = re.findall(form, groups.strip())
            assert len(found) == groups.count("-") // 2, groups  # nothing that is said may be passed over
            allowed += [(head[1], (int(a), int(b), int(c)), None if straight else length(z)) for a, b, c, z in found]
    return allowed


def planes(text: str) -> tuple[str, float, float, list[tuple[int, float, float | None]]]:
    """The face, the spacing, the stone left, and of each plane (number, depth, kg so far) of a sheet of roughing."""
    head = re.search(r"from the (\w+), planes ([\d.,]+) mm apart, ([\d.,]+) mm left", text)
    assert head, text[:300]
    rows, names = [], []
    for line in text.splitlines():
        cells = re.split(r"\s{2,}", line.strip())
        if cells[:2] == ["plane", "depth mm"]:
            names = cells
        elif names and re.match(r"\s*\d+\s", line):
            row = dict(zip(names, cells, strict=False))
            so_far = next((length(row[name]) for name in names if name.startswith("so far") and name in row), None)
            rows.append((int(row["plane"]), length(row["depth mm"]), so_far))
    return head[1], length(head[2]), length(head[3]), rows


@dataclass(frozen=True, eq=False)
class Drawing:
    """A sheet at full size: the rings of what must stay and the block's, (n, 2), in block coordinates (right, up)."""

    face: str
    number: int
    depth: float
    rings: list[np.ndarray]
    block: list[np.ndarray]
    named_off: float  # how far the corner is from where the sheet says that it is


def _of_svg(text: str) -> tuple[list[str], dict[str, list[np.ndarray]]]:
    root = ElementTree.fromstring(text)
    height = float(root.get("viewBox").split()[3])
    rings: dict[str, list[np.ndarray]] = {}
    for item in root.iter("{http://www.w3.org/2000/svg}polygon"):
        ring = np.array([pair.split(",") for pair in item.get("points").split()], float)
        rings.setdefault(item.get("class"), []).append(ring * [1, -1] + [0, height])
    kinds = ("{http://www.w3.org/2000/svg}text", "{http://www.w3.org/2000/svg}title")
    return ["".join(item.itertext()) for item in root.iter() if item.tag in kinds], rings


def _of_dxf(path) -> tuple[list[str], dict[str, list[np.ndarray]]]:
    rings: dict[str, list[np.ndarray]] = {}
    words = []
    for item in ezdxf.readfile(path).modelspace():
        if item.dxftype() == "LWPOLYLINE":
            rings.setdefault(item.dxf.layer, []).append(np.array([p[:2] for p in item.get_points()], float))
        elif item.dxftype() in ("TEXT", "MTEXT"):
            words.append(item.dxf.text if item.dxftype() == "TEXT" else item.text)
    return words, rings


def drawing(path, face: str, corners: np.ndarray) -> Drawing:
    """A sheet read from SVG or DXF, its drawn block laid on the block's ``corners`` (n, 3) as seen from the face."""
    words, rings = _of_dxf(path) if str(path).endswith(".dxf") else _of_svg(path.read_text(encoding="utf-8"))
    plane = re.search(r"plane (\d+)\b.*?([\d.,]*\d) mm in", " ".join(words))
    (right, to_right), (up, to_up) = RIGHT[face], UP[face]
    corner = np.array([(to_right * corners[:, right]).min(), (to_up * corners[:, up]).min()])
    named = re.search(r"this corner of the block, ([xyz]) = (-?[\d.,]*\d) and ([xyz]) = (-?[\d.,]*\d)", " ".join(words))
    off = 0.0
    if named:
        assert ("xyz".index(named[1]), "xyz".index(named[3])) == (right, up), (face, named[0])
        off = float(np.abs([to_right * length(named[2]), to_up * length(named[4])] - corner).max())
    drawn = np.concatenate(rings["block"]).min(axis=0)
    moved = {kind: [ring - drawn + corner for ring in rings.get(kind, [])] for kind in ("outline", "block")}
    number, depth = (int(plane[1]), length(plane[2])) if plane else (0, 0.0)
    return Drawing(face, number, depth, moved["outline"], moved["block"], off)


def straight_back(text: str) -> float | None:
    """How far straight back a recovery says, None where nothing was found."""
    line = next(line for line in text.splitlines() if line.strip().startswith("a)"))
    found = re.search(r"straight back: (-?[\d,.]*\d) mm back", line)
    assert found or "nothing found" in line, line
    return length(found[1]) if found else None

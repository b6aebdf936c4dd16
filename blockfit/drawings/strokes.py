"""Lines of drawings: curves of SVG as points, and what lines enclose or cover.

Path data, basic shapes, transforms: W3C, Scalable Vector Graphics 1.1, chapters 7 to 9."""

import math
import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from blockfit.drawings.areas import area_from_rings, combined
from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import CLOSE, NOT_ZERO
from blockfit.measure.nearest import tree_of
from blockfit.measure.patches import linked
from blockfit.measure.sections import only_areas, polygon_area

__all__ = [
    "JOIN",
    "LEFT_OVER",
    "affine",
    "area_of_outlines",
    "chord_of_turn",
    "closed_rings",
    "ellipse",
    "inked",
    "numbers",
    "path_lines",
    "rounded_box",
]

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_TOKEN = re.compile(rf"([MmLlHhVvCcSsQqTtAaZz])|({_NUMBER})|([\s,]+)|(.)")
_FLAGS = re.compile(r"\s*,?\s*([01])")
_CALL = re.compile(r"(matrix|translate|scale|rotate|skewX|skewY)\s*\(([^)]*)\)")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
_ALIKE = 1e-3  # of its area and of its root: outlines so near were drawn twice
_STEPS = 96  # chords for a cubic, or for a quarter of a turn
JOIN = 1e-6  # of the drawing's size: ends of lines so near are one
LEFT_OVER = 1e-3  # of the drawing's size: lines that enclose nothing are reported where they are longer

Line = tuple[Array, bool]
"""Points (n, 2) and whether the line is closed."""


def numbers(text: str) -> list[float]:
    """Return the numbers in a list such as ``"0,0 10,-5"``."""
    return [float(found) for found in re.findall(_NUMBER, text)]


def affine(text: str) -> Array:
    """Return a transform attribute as a matrix (3, 3).

    >>> from blockfit.drawings.strokes import affine
    >>> affine("translate(10, 5) scale(2)").tolist()
    [[2.0, 0.0, 10.0], [0.0, 2.0, 5.0], [0.0, 0.0, 1.0]]
    """
    whole = np.eye(3)
    for kind, inner in _CALL.findall(text):
        whole = whole @ _one(kind, numbers(inner))
    return np.asarray(whole)


def _one(kind: str, given: list[float]) -> Array:
    try:
        if kind == "matrix":
            a, b, c, d, e, f = given
            return np.array([[a, c, e], [b, d, f], [0, 0, 1]])
        if kind == "translate":
            return np.array([[1, 0, given[0]], [0, 1, given[1] if len(given) > 1 else 0], [0, 0, 1]])
        if kind == "scale":
            return np.diag(np.array([given[0], given[1] if len(given) > 1 else given[0], 1.0]))
        angle = math.radians(given[0])
        if kind == "rotate":
            cos, sin = math.cos(angle), math.sin(angle)
            x, y = given[1:3] if len(given) > 2 else (0.0, 0.0)
            turn = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]])
            return np.asarray(_one("translate", [x, y]) @ turn @ _one("translate", [-x, -y]))
        slope = math.tan(angle)
        return np.array([[1, slope if kind == "skewX" else 0, 0], [slope if kind == "skewY" else 0, 1, 0], [0, 0, 1]])
    except (ValueError, IndexError) as error:
        raise BadValueError(f"transform {kind}{tuple(given)} is not one of SVG's") from error


def chord_of_turn(radius: float, angle: float = 0.5 * np.pi / (_STEPS - 1)) -> float:
    """Return how far a chord over ``angle`` of a turn misses a circle, or an ellipse no wider."""
    return radius * (1 - math.cos(angle / 2))


def _chord_of_cubic(*points: complex) -> float:
    """Return how far ``_STEPS`` chords of a cubic may miss it: an eighth of its second derivative by their length².

    The second derivative of a Bézier curve is six times its control points' second differences, in between at most.
    """
    a, b, c, d = points
    return 6 / 8 * max(abs(a - 2 * b + c), abs(b - 2 * c + d)) / _STEPS**2


def ellipse(x: float, y: float, rx: float, ry: float) -> Array:
    """Return points (n, 2) on an ellipse, closed."""
    turn = np.linspace(0, 2 * np.pi, 4 * _STEPS, endpoint=False)
    return np.stack([x + rx * np.cos(turn), y + ry * np.sin(turn)], axis=1)


def rounded_box(x: float, y: float, width: float, height: float, rx: float, ry: float) -> Array:
    """Return the points (n, 2) of a rectangle, its corners rounded where ``rx`` and ``ry`` say so."""
    rx, ry = min(rx, width / 2), min(ry, height / 2)
    if rx <= 0 or ry <= 0:
        return np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
    quarter = np.linspace(0, np.pi / 2, _STEPS)
    middles = [(x + width - rx, y + height - ry), (x + rx, y + height - ry), (x + rx, y + ry), (x + width - rx, y + ry)]
    corners = [
        np.stack([mx + rx * np.cos(quarter + k * np.pi / 2), my + ry * np.sin(quarter + k * np.pi / 2)], axis=1)
        for k, (mx, my) in enumerate(middles)
    ]
    return np.concatenate(corners)


def path_lines(data: str, name: str) -> tuple[list[Line], float]:
    """Return the lines that path data draw, each with whether it is closed, and how far chords may miss its curves.

    >>> from blockfit.drawings.strokes import path_lines
    >>> (line, closed), = path_lines("M0 0h10v5H0z", "a path")[0]
    >>> line.tolist(), closed
    ([[0.0, 0.0], [10.0, 0.0], [10.0, 5.0], [0.0, 5.0]], True)
    """
    lines: list[Line] = []
    points: list[complex] = []
    here = start = 0j
    control: complex | None = None
    was = ""
    chord = 0.0
    for letter, given in _commands(data, name):
        kind = letter.upper()
        base = here if letter.islower() else 0j
        if kind == "M":
            _close_off(lines, points, closed=False)
            here = start = base + complex(*given)
            points = [here]
        elif kind == "Z":
            _close_off(lines, points, closed=True)
            here, points = start, [start]
        elif kind in "LHV":
            here = _straight_end(kind, given, base, here)
            points.append(here)
        else:
            smooth = control if was and (was in "CS" if kind in "CS" else was in "QT") else None
            news, control, missed = _curve(kind, given, base, here, smooth)
            chord = max(chord, missed)
            points += news
            here = points[-1]
        was = kind
    _close_off(lines, points, closed=False)
    return lines, chord


def _close_off(lines: list[Line], points: list[complex], *, closed: bool) -> None:
    """Add what was drawn so far as a line of its own, repeated points left out."""
    kept = [p for k, p in enumerate(points) if k == 0 or p != points[k - 1]]
    if len(kept) > 1 and kept[0] == kept[-1]:
        kept, closed = kept[:-1], True
    if len(kept) > 1:
        lines.append((np.array([[p.real, p.imag] for p in kept]), closed))


def _straight_end(kind: str, given: list[float], base: complex, here: complex) -> complex:
    if kind == "L":
        return base + complex(*given)
    if kind == "H":
        return complex(base.real + given[0], here.imag)
    return complex(here.real, base.imag + given[0])


def _curve(
    kind: str, given: list[float], base: complex, here: complex, control: complex | None
) -> tuple[list[complex], complex | None, float]:
    """Return a curve's points after its start, the control point that a smooth next one reflects, what chords miss."""
    if kind == "A":
        rx, ry, turn, large, sweep, x, y = given
        news, radius = _arc(here, base + complex(x, y), rx, ry, math.radians(turn), large != 0, sweep != 0)
        return news, None, chord_of_turn(radius)
    ends = [base + complex(given[k], given[k + 1]) for k in range(0, len(given), 2)]
    if kind in "ST":
        ends = [here if control is None else 2 * here - control, *ends]
    if kind in "CS":
        first, second, end = ends
    else:
        middle, end = ends
        first, second = here + 2 / 3 * (middle - here), end + 2 / 3 * (middle - end)
    t = np.linspace(0, 1, _STEPS + 1)[1:]
    curve = (1 - t) ** 3 * here + 3 * (1 - t) ** 2 * t * first + 3 * (1 - t) * t**2 * second + t**3 * end
    missed = _chord_of_cubic(here, first, second, end)
    return [*curve[:-1].tolist(), end], second if kind in "CS" else ends[0], missed


def _arc(
    start: complex, end: complex, rx: float, ry: float, turn: float, large: bool, sweep: bool
) -> tuple[list[complex], float]:  # fmt: skip
    """Return points of an elliptical arc and its larger radius (SVG 1.1, appendix F.6.5: from end points to centre)."""
    rx, ry = abs(rx), abs(ry)
    if rx == 0 or ry == 0 or start == end:
        return [end], 0.0
    spin = complex(math.cos(turn), math.sin(turn))
    half = (start - end) / 2 * spin.conjugate()
    over = (half.real / rx) ** 2 + (half.imag / ry) ** 2
    if over > 1:  # radii too small reach just so far
        rx, ry = rx * math.sqrt(over), ry * math.sqrt(over)
    square = max(0.0, 1 / max(over, NOT_ZERO) - 1) if over <= 1 else 0.0
    sign = -1.0 if large == sweep else 1.0
    middle = sign * math.sqrt(square) * complex(rx * half.imag / ry, -ry * half.real / rx)
    first, last = (half - middle), (-half - middle)
    begin = math.atan2(first.imag / ry, first.real / rx)
    by = math.atan2(last.imag / ry, last.real / rx) - begin
    by += 2 * math.pi if sweep and by < 0 else -2 * math.pi if not sweep and by > 0 else 0.0
    centre = middle * spin + (start + end) / 2
    count = max(2, math.ceil(abs(by) / (2 * math.pi) * 4 * _STEPS))
    angles = begin + by * np.arange(1, count) / count
    points = centre + spin * (rx * np.cos(angles) + 1j * ry * np.sin(angles))
    return [*points.tolist(), end], max(rx, ry)


def _commands(data: str, name: str) -> list[tuple[str, list[float]]]:
    """Return the commands of path data with their numbers; what repeats without a letter is written out."""
    found: list[tuple[str, list[float]]] = []
    letter, given, at = "", list[float](), 0
    while at < len(data):
        flag = _FLAGS.match(data, at) if letter in ("A", "a") and len(given) in (3, 4) else None
        token = flag or _TOKEN.match(data, at)
        assert token is not None
        at = token.end()
        if flag is not None:
            given.append(float(flag.group(1)))
        elif token.group(1):
            if given:
                raise BadValueError(f"{name}: path data end {letter!r} too soon, before {token.group(1)!r}")
            letter = token.group(1)
        elif token.group(2):
            given.append(float(token.group(2)))
        elif token.group(4):
            raise BadValueError(f"{name}: {token.group(4)!r} has no meaning in path data")
        blank = flag is None and token.group(3) is not None
        if letter and not blank and len(given) == _TAKES[letter.upper()]:
            found.append((letter, given))
            given = []
            letter = {"M": "L", "m": "l", "Z": "", "z": ""}.get(letter, letter)
        elif given and not letter:
            raise BadValueError(f"{name}: path data must begin with M")
    if given:
        raise BadValueError(f"{name}: path data end too soon, within {letter!r}")
    if found and found[0][0] not in "Mm":
        raise BadValueError(f"{name}: path data must begin with M")
    return found


def area_of_outlines(rings: list[Array]) -> tuple[Any, str]:
    """Return the area of drawn outlines (n, 2), and a note: a ring within a ring is an opening, one within it stone.

    Wherever a drawing may mean either, stone is kept: outlines that cross are united, an outline drawn again counts
    once, the larger, and openings that all but coincide are as small as both.
    """
    import shapely

    levels: list[tuple[Any, int]] = []
    again = 0
    for ring in sorted((ring for ring in rings if len(ring) >= 3), key=lambda ring: -polygon_area(ring)):
        drawn = shapely.Polygon(ring)
        own = only_areas(shapely.make_valid(drawn))
        if not drawn.is_valid:  # it crosses itself: stone wherever either rule says so, even-odd or any winding
            own = combined(own, area_from_rings([ring], even_odd=False), "add")
        if own.is_empty:
            continue
        around = [k for k, (other, _) in enumerate(levels) if _lies_in(own, other)]
        inmost = around[-1] if around else -1
        depth = levels[inmost][1] + 1 if around else 0
        alike = [k for k, (other, _) in enumerate(levels) if _are_alike(own, other)]
        if any(levels[k][1] % 2 == 0 for k in alike):  # stone drawn again
            k = next(k for k in alike if levels[k][1] % 2 == 0)
            levels[k] = (combined(levels[k][0], own, "add"), levels[k][1])
            again += 1
        elif alike and depth % 2 == 1:  # an opening drawn again
            levels[alike[0]] = (only_areas(shapely.intersection(levels[alike[0]][0], own)), levels[alike[0]][1])
            again += 1
        elif alike and _are_the_same(own, levels[alike[0]][0]):
            again += 1
        else:
            levels.append((own, depth))
    area: Any = shapely.Polygon()
    for depth in range(max((d for _, d in levels), default=-1) + 1):
        for own, at in levels:
            area = combined(area, own, "take" if depth % 2 else "add") if at == depth else area
    return area, f"{again} lines drawn more than once were taken once" if again else ""


def _lies_in(inner: Any, outer: Any) -> bool:
    import shapely

    return bool(shapely.difference(inner, outer).area <= CLOSE * inner.area)


def _are_alike(one: Any, other: Any) -> bool:
    import shapely

    near = np.abs(np.subtract(one.bounds, other.bounds)).max(initial=0.0) <= _ALIKE * np.sqrt(other.area)
    return bool(near and shapely.symmetric_difference(one, other).area <= _ALIKE * other.area)


def _are_the_same(one: Any, other: Any) -> bool:
    import shapely

    return bool(shapely.symmetric_difference(one, other).area <= CLOSE * other.area)


def inked(rings: Sequence[Array], lines: Sequence[Array], width: float, cap: str, mitre: float = 4.0) -> Any:
    """Return what lines of a ``width`` cover: closed ``rings``, and ``lines`` that end butt, round or square.

    Corners are drawn out to ``mitre`` times the width at most.
    """
    import shapely

    ends = {"round": "round", "square": "square"}.get(cap, "flat")
    covered = [shapely.LinearRing(ring).buffer(width / 2, join_style="mitre", mitre_limit=mitre) for ring in rings]
    covered += [
        shapely.LineString(line).buffer(width / 2, quad_segs=64, cap_style=ends, join_style="mitre", mitre_limit=mitre)
        for line in lines
    ]  # fmt: skip
    return only_areas(shapely.union_all(covered)) if covered else shapely.Polygon()


def closed_rings(lines: list[Array], join: float) -> tuple[list[Array], float]:
    """Return the rings that open lines (n, 2) close together, ends within ``join`` joined, and the length left over."""
    import shapely

    if not lines:
        return [], 0.0
    whole = shapely.union_all([shapely.LineString(line) for line in lines if len(line) >= 2])
    whole = shapely.union_all(shapely.snap(whole, shapely.MultiPoint(_ends(lines, join)), join))
    cells = list(shapely.polygonize([whole]).geoms)
    rings = [np.array(cell.exterior.coords)[:-1] for cell in cells]
    used = float(shapely.union_all([cell.exterior for cell in cells]).length) if cells else 0.0  # shared sides once
    return rings, max(0.0, float(whole.length) - used)


def _ends(lines: list[Array], join: float) -> Array:
    """Return the ends of lines, those within ``join`` of one another as one."""
    ends = np.concatenate([line[[0, -1]] for line in lines])
    pairs = np.array(sorted(tree_of(ends).query_pairs(join)), np.int64).reshape(-1, 2)
    _, first = np.unique(linked(len(ends), pairs[:, 0], pairs[:, 1]), return_index=True)
    return ends[np.sort(first)]

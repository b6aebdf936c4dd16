"""Outlines in SVG files: what is painted dark, in the order in which it is painted; lxml is read here only.

Read: paths, rectangles, circles, ellipses, polygons, polylines, groups, transforms, ``use``, plain style rules.
Not read: text, pictures, clips, masks, patterns. Curves are drawn as chords, and what chords cost is stated."""

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.drawings.areas import area_from_rings, combined, linear
from blockfit.drawings.paint import ink_of
from blockfit.drawings.strokes import (
    JOIN,
    LEFT_OVER,
    affine,
    area_of_outlines,
    chord_of_turn,
    closed_rings,
    ellipse,
    inked,
    numbers,
    path_lines,
    rounded_box,
)
from blockfit.errors import BadValueError, UnreadableFileError, shown_name
from blockfit.geometry.arrays import Array
from blockfit.intake.guard import bytes_of
from blockfit.units import MM_PER_UNIT

__all__ = ["svg_area"]

_MOST_BYTES = 64 << 20
_MOST_SHAPES = 200_000
_DEEPEST = 60
_SKIPPED = {"defs", "clipPath", "mask", "pattern", "marker", "symbol", "linearGradient", "radialGradient", "style",
            "metadata", "title", "desc", "script", "filter", "text", "image", "foreignObject", "switch"}  # fmt: skip
_LOST = {"text": "text", "image": "pictures", "foreignObject": "foreign objects", "switch": "switched parts"}
_LENGTH = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(mm|cm|in|pt|pc|m|px|%)?\s*$")
_ABSOLUTE = {**MM_PER_UNIT, "pt": 25.4 / 72, "pc": 25.4 / 6}  # CSS: a point is a 72nd of an inch, a pica a 6th
_SAID = ("fill", "stroke", "fill-rule", "display", "visibility", "fill-opacity", "stroke-opacity", "opacity",
         "stroke-width", "stroke-linecap", "stroke-miterlimit")  # fmt: skip
_GEOMETRY = ("transform", "x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "d", "points")
_CALLS = re.compile(r"(?:matrix|translate|scale|rotate|skewX|skewY)\s*\([^)a-zA-Z%]*\)")
_RELATIVE = re.compile(r"[\d.]\s*(%|em|rem|ex|ch|vw|vh)\s*$")
_SIZES = ("x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "x1", "y1", "x2", "y2", "stroke-width")
_FARTHEST = 1e9  # user units
_BROAD = 5e-3  # of the drawing's size: broader lines that enclose nothing are limbs, thinner ones notes
_BEYOND = 0.01  # of what is filled: closed lines that enclose so much more are the outline
_SAME_SCALE = 1e-6  # scales across and up that differ by less are one: written with few digits


@dataclass(frozen=True, slots=True)
class _Style:
    fill: str = "black"
    stroke: str = "none"
    rule: str = "nonzero"
    shown: bool = True
    visible: bool = True
    fill_share: float = 1.0  # how much of what lies below each paint hides, groups' opacity included
    stroke_share: float = 1.0
    opacity: float = 1.0
    width: float = 1.0  # of a line, in user units
    cap: str = "butt"
    mitre: float = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class _Shape:
    rings: tuple[Array, ...]  # (n, 2) each, in the root's user units, y downwards
    open: tuple[Array, ...]
    style: _Style
    chord: float  # how far its chords may miss its curves
    width: float  # of its lines


def svg_area(path: Path) -> tuple[Any, float | None, float, list[str]]:
    """Return the dark area of an SVG (v upwards), mm per user unit if it says so, what chords cost, and notes.

    Opaque white paint takes away what it covers; dark lines on a filled shape belong to it. A drawing of lines only,
    without any fill, is taken for what they enclose, to the middle of thin lines.
    """
    name = shown_name(path)
    root = _root(bytes_of(path, _MOST_BYTES), name)
    reader = _Reader(root, name)
    reader.walk(root, np.eye(3), _Style(), 0)
    area, notes = _painted(reader.shapes, name)
    chord = max(shape.chord for shape in reader.shapes)
    if reader.lost:
        notes.append(f"{', '.join(sorted(reader.lost))} in it were left out")
    flipped = linear(area, np.diag([1.0, -1.0]), np.zeros(2))
    return flipped, _mm_per_unit(root, name), chord, notes


def _root(data: bytes, name: str) -> Any:
    from lxml import etree

    # No entities, no files, no network: a drawing needs none of them.
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False)
    try:
        root = etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise UnreadableFileError(f"{name}: no SVG that can be read ({error})") from error
    if _tag(root) != "svg":
        raise UnreadableFileError(f"{name}: the root of an SVG is svg, and this is {_tag(root) or 'none'}")
    return root


def _tag(element: Any) -> str:
    return str(element.tag).rpartition("}")[2] if isinstance(element.tag, str) else ""


def _mm_per_unit(root: Any, name: str) -> float | None:
    """Return mm per user unit, where width or height are absolute lengths; a px is no length on paper."""
    box = numbers(root.get("viewBox", ""))
    scales = []
    for attribute, k in (("width", 2), ("height", 3)):
        found = _LENGTH.match(root.get(attribute, ""))
        if found is None or found.group(2) not in _ABSOLUTE:
            continue
        millimetres = float(found.group(1)) * _ABSOLUTE[found.group(2)]
        if len(box) != 4 or box[k] <= 0:
            return 25.4 / 96  # CSS: without a view box a user unit is a 96th of an inch
        scales.append(millimetres / box[k])
    if len(scales) < 2:
        return scales[0] if scales else None
    fitted = root.get("preserveAspectRatio", "").split()
    if "none" in fitted and abs(scales[0] - scales[1]) > _SAME_SCALE * max(scales):
        raise BadValueError(
            f"{name} is stretched: a unit of it is {scales[0]:.4g} mm across and {scales[1]:.4g} mm up; "
            "save it unstretched"
        )
    return max(scales) if "slice" in fitted else min(scales)  # SVG 1.1, 7.8: the whole view box is shown, unless sliced


class _Reader:
    """Walks through a drawing and gathers its shapes in the order in which they are painted."""

    def __init__(self, root: Any, name: str) -> None:
        self.name = name
        self.shapes: list[_Shape] = []
        self.lost: set[str] = set()
        self._by_id = {e.get("id"): e for e in root.iter() if isinstance(e.tag, str) and e.get("id")}
        sheets = " ".join(e.text or "" for e in root.iter() if _tag(e) == "style")
        sheets = re.sub(r"/\*.*?\*/", "", sheets, flags=re.DOTALL)
        plain = re.sub(r"@[^{]*\{(?:[^{}]*\{[^{}]*\})*[^{}]*\}", "", sheets)  # for print, for screens: not for us
        if any(re.search(r"[\s>+~:\[]", name.strip()) for name in re.findall(r"([^{},]+)[{,]", plain)):
            self.lost.add("style rules for more than a name or a class")
        sheets = plain
        self._rules = [
            (selector.strip(), body)
            for selectors, body in re.findall(r"([^{}]+)\{([^{}]*)\}", sheets)
            for selector in selectors.split(",")
        ]  # fmt: skip

        if any(key in _GEOMETRY for _, body in self._rules for key in _declared(body)):
            self.lost.add("places, sizes and transforms in style rules")

    def walk(self, element: Any, matrix: Array, style: _Style, depth: int) -> None:
        """Add an element's shapes, and those of all within it."""
        tag = _tag(element)
        if depth > _DEEPEST or len(self.shapes) > _MOST_SHAPES:
            raise BadValueError(
                f"{self.name} nests deeper than {_DEEPEST} groups or has too many shapes to be a drawing"
            )
        if tag in _LOST:
            self.lost.add(_LOST[tag])
        if not tag or tag in _SKIPPED:
            return
        self._note_what_is_lost(element, tag, depth)
        style = self._styled(element, style)
        if not style.shown:
            return
        matrix = matrix @ affine(self._transform(element))
        if tag == "svg" and depth:
            matrix = matrix @ affine(f"translate({_number(element, 'x')} {_number(element, 'y')})")
        if tag == "use":
            target = self._by_id.get(_link(element))
            if target is not None:
                by = affine(f"translate({_number(element, 'x')} {_number(element, 'y')})")
                for one in target if _tag(target) == "symbol" else [target]:
                    self.walk(one, matrix @ by, style, depth + 1)
            return
        if tag in ("svg", "g", "a"):
            for child in element:
                self.walk(child, matrix, style, depth + 1)
            return
        if style.visible:
            self._add(element, tag, matrix, style)

    def _note_what_is_lost(self, element: Any, tag: str, depth: int) -> None:
        """Note lengths and frames that are not understood."""
        if any(_RELATIVE.search(element.get(key) or "") for key in _SIZES) and depth:
            self.lost.add("lengths in % or em")
        if tag in ("svg", "symbol") and depth and element.get("viewBox"):
            self.lost.add("the view box of a drawing within it")

    def _transform(self, element: Any) -> str:
        """Return an element's transform: its style's, where it has one, or its attribute."""
        own = _declared(element.get("style") or "").get("transform")
        if own is None or own == "none":
            return str(element.get("transform", "") if own is None else "")
        plain = re.sub(r"(?<=[\d.])(?:px|deg)", "", own)
        if _CALLS.sub("", plain).strip(" ,"):
            raise BadValueError(f"{self.name}: the transform {own!r} in a style is not read; save the drawing plain")
        return plain

    def _add(self, element: Any, tag: str, matrix: Array, style: _Style) -> None:
        lines, chord = self._lines(element, tag)
        if not all(np.isfinite(points).all() and np.abs(points).max(initial=0.0) < _FARTHEST for points, _ in lines):
            raise BadValueError(f"{self.name}: a {tag} has a place that no drawing has")
        moved = [(points @ matrix[:2, :2].T + matrix[:2, 2], closed) for points, closed in lines if len(points)]
        rings = tuple(points for points, closed in moved if closed and len(points) > 2)
        loose = tuple(points for points, closed in moved if len(points) > 1 and not (closed and len(points) > 2))
        if rings or loose:
            size = float(np.linalg.norm(matrix[:2, :2], 2))
            self.shapes.append(_Shape(rings, loose, style, chord * size, style.width * size))

    def _lines(self, element: Any, tag: str) -> tuple[list[tuple[Array, bool]], float]:
        """Return an element's lines, each with whether it is closed, and how far chords may miss its curves."""

        def of(attribute: str) -> float:
            return _number(element, attribute)

        if tag == "path":
            return path_lines(element.get("d", ""), self.name)
        if tag == "rect" and of("width") > 0 and of("height") > 0:
            rx, ry = of("rx"), of("ry")
            box = rounded_box(of("x"), of("y"), of("width"), of("height"), rx or ry, ry or rx)
            return [(box, True)], chord_of_turn(max(rx, ry)) if len(box) > 4 else 0.0
        if tag in ("circle", "ellipse"):
            rx, ry = (of("r"), of("r")) if tag == "circle" else (of("rx"), of("ry"))
            whole = [(ellipse(of("cx"), of("cy"), rx, ry), True)] if rx > 0 and ry > 0 else []
            return whole, chord_of_turn(max(rx, ry, 0.0))
        if tag in ("polygon", "polyline"):
            given = numbers(element.get("points", ""))
            points = np.array(given[: len(given) // 2 * 2]).reshape(-1, 2)
            return [(points, tag == "polygon")], 0.0
        if tag == "line":
            return [(np.array([[of("x1"), of("y1")], [of("x2"), of("y2")]]), False)], 0.0
        return [], 0.0

    def _styled(self, element: Any, style: _Style) -> _Style:
        """Return the style that holds for an element: what it inherits, its attributes, rules, its own style."""
        said = {key: element.get(key) for key in _SAID}
        classes = (element.get("class") or "").split()
        names = {_tag(element), "*", f"#{element.get('id')}", *(f".{c}" for c in classes)}
        names |= {f"{_tag(element)}.{c}" for c in classes}
        for selector, body in self._rules:
            if selector in names:
                said |= _declared(body)
        said |= _declared(element.get("style") or "")
        fill, stroke = (_paint(said, key, getattr(style, key)) for key in ("fill", "stroke"))
        seen = said.get("visibility")
        visible = style.visible if seen in (None, "inherit") else seen == "visible"
        shown = style.shown and said.get("display") != "none"
        opacity = style.opacity * _share(said.get("opacity"), 1.0)
        rule, cap, width = (
            said.get("fill-rule"),
            said.get("stroke-linecap"),
            _LENGTH.match(said.get("stroke-width") or ""),
        )
        return replace(
            style,
            fill=fill,
            stroke=stroke,
            shown=shown and opacity > 0,
            visible=visible,
            rule=style.rule if rule is None else rule,
            opacity=opacity,
            fill_share=_share(said.get("fill-opacity"), style.fill_share),
            stroke_share=_share(said.get("stroke-opacity"), style.stroke_share),
            width=style.width if width is None else _user_units(width),
            cap=style.cap if cap is None else cap,
            mitre=_limit(said.get("stroke-miterlimit"), style.mitre),
        )


def _limit(value: Any, inherited: float) -> float:
    found = _LENGTH.match(value or "")
    return max(1.0, float(found.group(1))) if found else inherited


def _declared(body: str) -> dict[str, str]:
    pairs = [line.partition(":") for line in body.split(";")]
    return {key.strip(): value.replace("!important", "").strip() for key, colon, value in pairs if colon}


def _paint(said: dict[str, Any], key: str, inherited: str) -> str:
    value = said.get(key)
    return inherited if value is None or value == "inherit" else str(value).strip().lower()


def _share(value: Any, otherwise: float) -> float:
    found = _LENGTH.match(value or "")
    if found is None:
        return otherwise
    return min(1.0, max(0.0, float(found.group(1)) / (100 if found.group(2) == "%" else 1)))


def _link(element: Any) -> str:
    link = element.get("href") or element.get("{http://www.w3.org/1999/xlink}href") or ""
    return str(link)[1:] if str(link).startswith("#") else ""


def _number(element: Any, attribute: str) -> float:
    own = _declared(element.get("style") or "").get(attribute)  # a style outdoes an attribute
    found = _LENGTH.match(element.get(attribute, "") if own is None else own)
    if found is None or found.group(2) == "%":
        return 0.0
    return _user_units(found)


def _user_units(found: re.Match[str]) -> float:
    unit = found.group(2)
    if unit == "%":
        return 0.0
    # CSS: 96 user units are an inch.
    return float(found.group(1)) * (1.0 if unit in (None, "px") else _ABSOLUTE[unit] * 96 / 25.4)


def _painted(shapes: list[_Shape], name: str) -> tuple[Any, list[str]]:
    """Return what is dark once all shapes are painted in order, or what lines enclose where nothing is filled."""
    inks = [
        ink_of(shape.style.fill, shape.style.fill_share * shape.style.opacity) if _can_be_filled(shape) else ""
        for shape in shapes
    ]
    if "add" not in inks:
        return _enclosed([shape for shape in shapes if _is_drawn(shape)], name)
    size = _size(shapes)
    area, thin = area_from_rings([]), list[_Shape]()
    for shape, ink in zip(shapes, inks, strict=True):
        if ink:
            rings = [*shape.rings, *(line for line in shape.open if len(line) > 2)]  # filling closes an open line
            area = combined(area, area_from_rings(rings, even_odd=shape.style.rule == "evenodd"), ink)
        if _is_drawn(shape) and (ink == "add" or shape.width >= _BROAD * size):
            area = combined(area, _inked(shape), "add")
        elif _is_drawn(shape):
            thin.append(shape)
    if area.is_empty:
        raise BadValueError(f"{name}: white paint covers all that is dark; there is no outline in it")
    notes = [f"{len(thin)} thin lines that fill nothing were left out"] if thin else []
    around, _ = area_of_outlines([ring for shape in thin for ring in shape.rings])
    if float(around.difference(area.convex_hull).area) > _BEYOND * area.area:
        area = combined(area, around, "add")
        notes = ["closed lines reach beyond all that is filled: what they enclose was taken as well"]
    return area, notes


def _inked(shape: _Shape) -> Any:
    return inked(shape.rings, shape.open, shape.width, shape.style.cap, shape.style.mitre)


def _can_be_filled(shape: _Shape) -> bool:
    """Whether a shape encloses anything: a line is black inside by default, and has no inside."""
    return bool(shape.rings) or any(len(line) > 2 for line in shape.open)


def _is_drawn(shape: _Shape) -> bool:
    return shape.width > 0 and ink_of(shape.style.stroke, shape.style.stroke_share * shape.style.opacity) == "add"


def _size(shapes: list[_Shape]) -> float:
    places = np.concatenate([line for shape in shapes for line in (*shape.rings, *shape.open)])
    return float(np.ptp(places, axis=0).max())


def _enclosed(shapes: list[_Shape], name: str) -> tuple[Any, list[str]]:
    """Return what dark lines enclose, to the middle of thin ones; broad ones are stone themselves."""
    none = BadValueError(f"{name} has neither dark areas nor closed lines; close and fill the outline")
    if not shapes or not (size := _size(shapes)) > 0:
        raise none
    thin = [line for shape in shapes if shape.width < _BROAD * size for line in shape.open]
    broad = [shape for shape in shapes if shape.width >= _BROAD * size]
    joined, left_over = closed_rings([*thin, *(line for shape in broad for line in shape.open)], JOIN * size)
    area, twice = area_of_outlines([*(ring for shape in shapes for ring in shape.rings), *joined])
    for shape in broad:
        area = combined(area, _inked(shape), "add")
    if area.is_empty:
        raise none
    notes = ["nothing in it is filled: what its closed lines enclose was taken; lines within lines are openings"]
    if left_over > LEFT_OVER * size and thin:
        notes.append(f"lines of {left_over:.3g} units in all close nothing; thin ones among them were left out")
    return area, [*notes, *([twice] if twice else [])]

"""The table of points: which to carry over from the model to the stone, in what order, and how deep to go at each.

mm, block frame. Everything printed is rounded so that stone is left, and the table says what the rounding costs and
between which points something may be cut: nothing else may."""

import csv
import io
import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.facts.systems import US, UnitSystem, units_of
from blockfit.kinds import counted, kinds_checked
from blockfit.marking.datum import Datum
from blockfit.marking.depths import Facets
from blockfit.marking.point_table import Point, Task, face_points, landmark_points, taken_points
from blockfit.marking.rounding import Grain, grain_of
from blockfit.marking.table import in_columns
from blockfit.marking.ways_in import AXIS, WayIn, way_in
from blockfit.measure.views import FACE_DIRECTIONS
from blockfit.search.result import Fit
from blockfit.units import LEAST_MM, Length, inches_of, length_mm, rounded_down

__all__ = ["Between", "Point", "Pointing", "pointing"]

_COLUMNS = (
    "number", "name", "kind", "face", "model across", "model in", "model up", "block across mm", "block in mm",
    "block up mm", "depth from face mm", "stop at mm", "allowance mm", "rounding mm", "note",
)  # fmt: skip
_WIDE = 100
_TIED = "\0"  # stands for a space at which no line is broken


@dataclass(frozen=True, slots=True, repr=False)
class Between(Result):
    """Three neighbouring points of a face, by number, between which stone may be cut.

    Straight from stop to stop where ``no_deeper_mm`` is ``None``; else to that depth by the rod, anywhere between them.
    """

    face: str = field(metadata=fact("face", Sure.EXACT))
    points: tuple[int, int, int] = field(metadata=fact("points", Sure.EXACT, measure=Measure.COUNT))
    no_deeper_mm: float | None = field(metadata=fact("no deeper than", Sure.EXACT, Rounding.DOWN))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Pointing(Result):
    """The points in order, what readings are taken from, and how the model's are rounded (``grain_mm``).

    ``factor`` takes model lengths to block lengths. ``width_mm`` is the tool's, a flat point. ``inches``: model
    readings are shown in inches and fractions. ``facets`` are, for each face, how to cut between its points,
    ``between`` the same as printed. ``from_words`` say for each face what a depth is measured from,
    ``lacking`` what is not known.

    Lengths are mm. What is printed is rounded so that stone is left. ``print`` it, ask for its `text`, or its `csv`.

    >>> import blockfit as bf
    >>> taken = bf.Figure.from_points([[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 400)])
    >>> fit = bf.safest(taken, bf.Block.box(300, 300, 800), stance=bf.Stance.fixed())
    >>> table = bf.pointing(fit, allowance=5)
    >>> len(table.points), table.factor, table.grain_mm, table.allowance_mm
    (8, 1.0, 1.0, 5.0)
    >>> table.csv().splitlines()[1].split(",")[:4]
    ['1', 'front 1', 'taken', 'front']
    """

    points: tuple[Point, ...] = field(metadata=fact("points", Sure.EXACT))
    datum: Datum
    factor: float = field(metadata=fact("model to block", Sure.EXACT))
    grain: Grain
    allowance_mm: float = field(metadata=fact("allowance", Sure.GIVEN))
    width_mm: float = field(metadata=fact("tool", Sure.GIVEN))
    facets: Mapping[str, Facets]
    between: tuple[Between, ...] = field(metadata=fact("between points", Sure.EXACT, shown=False))
    from_words: Mapping[str, str]
    lacking: str = field(metadata=fact("lacking", Sure.EXACT))

    @property
    def grain_mm(self) -> float:
        """What readings on the model are rounded to."""
        return self.grain.mm

    @property
    def inches(self) -> bool:
        """Whether readings on the model are in inches."""
        return self.grain.parts > 0

    def model_words(self, millimetres: float) -> str:
        """Return a rounded reading on the model as the carver's rule shows it."""
        return self.grain.written(round(millimetres / self.grain.mm))

    @kinds_checked
    def rows(self, units: str = "metric") -> list[tuple[str, ...]]:
        """Return the table as text, a heading first; what is on the block in ``units``, rounded to leave stone."""
        shown = units_of(units)
        unit, block_unit = "in" if self.inches else "mm", "in" if shown is US else "mm"
        table = [tuple(_headed(name, unit, block_unit) for name in _COLUMNS)]
        for p in self.points:
            model = (self.model_words(float(value)) for value in p.model_mm)
            depths = [_written(value, shown, Rounding.DOWN) for value in (p.depth_mm, p.stop_mm, p.allowance_mm)]
            rounding = _written(p.rounding_mm, shown, Rounding.UP)
            why, place = p.why(shown), _block_words(p, shown)
            table.append((str(p.number), p.name, p.kind, p.face, *model, *place, *depths, rounding, why))
        return table

    @kinds_checked
    def text(self, units: str = "metric") -> str:
        """Return the table with what it is read from, what rounding costs, and what may be cut between points."""
        shown = units_of(units)
        ticks = shown.fine(self.grain.mm * self.factor, Rounding.UP)
        lines = [
            f"POINTS   read from {self.datum.name}; 1 mm on the model is {self.factor:.4g} mm on the block",
            f"Model readings are rounded to {self.grain.words}, towards the face along the way in: up to {ticks} "
            "on the block.",
            f"Go in straight, with a tool of {shown.given(self.width_mm)} or less, to the stop and no deeper: "
            f"{shown.given(self.allowance_mm)} or more then stay",
            "before the figure; at a stop of 0 nothing is cut. Depths and stops are read by a depth rod at the place:",
            *(f"  {words}" for words in dict.fromkeys(self.from_words.values())),
        ]
        lines += [self.lacking[:1].upper() + self.lacking[1:] + "."] if self.lacking else []
        return "\n".join([*lines, "", in_columns(self.rows(units)), *self._between_lines(shown)]) + "\n"

    def _between_lines(self, units: UnitSystem) -> list[str]:
        lines: list[str] = []
        for face in self.facets:
            ours = [b for b in self.between if b.face == face]
            lines += ["", f"BETWEEN THE POINTS of the {face}: cut only between three that are named here together"]
            straight = ["-".join(map(str, b.points)) for b in ours if b.no_deeper_mm is None]
            level = [
                "-".join(map(str, b.points))
                + f"{_TIED}{_written(b.no_deeper_mm, units, Rounding.DOWN).replace(' ', _TIED)}"
                for b in ours
                if b.no_deeper_mm is not None
            ]
            lines += _listed("straight from stop to stop", straight)
            lines += _listed(
                f"no deeper than the depth in {'in' if units is US else 'mm'}, by the depth rod anywhere between them",
                level,
            )
            lines += [] if ours else ["  nothing: go in at the points alone"]
        return lines

    @kinds_checked
    def csv(self, units: str = "metric") -> str:
        """Return the table as CSV; names that a spreadsheet would take for a formula begin with an apostrophe."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        for number, row in enumerate(self.rows(units)):
            writer.writerow(row if number == 0 else [row[0], _plain(row[1]), *row[2:]])
        return out.getvalue()


@kinds_checked
def pointing(  # noqa: PLR0913
    fit: Fit,
    *,
    datum: Datum | None = None,
    count: int = 120,
    spacing: Length | None = None,
    faces: Sequence[str] = ("front", "left", "right", "back", "top"),
    high: int = 5,
    allowance: Length = 5,
    width: Length = 5,
    landmarks: bool = True,
    grain: Length | None = None,
    inches: bool = False,
) -> Pointing:
    """Return the points to carry over: high points from each working face, fill-in points, then landmarks.

    ``count`` is how many in all, landmarks apart; ``spacing`` how far apart they lie at least (default: by their
    number, and never within a tool's width), ``high`` how many high points a face has. ``width`` is the tool's, a flat
    point. ``grain`` is what the model's readings are rounded to, at the model's size (default 1 mm, or 1/16 in with
    ``inches``; in inches one over a power of two). A stop leaves at least ``allowance`` before the figure along the way
    in, wherever the tool touches it, at the worst that rounding makes of its place. A landmark that no face reaches
    straight has coordinates and no stop.

    Lengths are mm or text, on the block except ``grain``. Of a figure known by points alone the table holds just those.
    Stops are exact for the figure's surface, at the worst of the rounding. The allowance and the tool's width are
    starting values, without a source. Raises `BadValueError` for a fit without a placement, an unknown face, or numbers
    and lengths out of range.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> table = bf.pointing(fit, count=3, high=1, faces=("front",), allowance=5)
    >>> len(table.points) <= 3, all(point.stop_mm <= point.depth_mm - 4.999 for point in table.points)
    (True, True)
    """
    if fit.placement is None:
        raise BadValueError(f"{fit.figure.name} has no placement in {fit.block.name}: there is nothing to point")
    unknown = [face for face in faces if face not in FACE_DIRECTIONS]
    if unknown or not faces:
        raise BadValueError(f"faces names {unknown[0] if unknown else 'none'!r}; they are {', '.join(FACE_DIRECTIONS)}")
    counted(count, "count", least=1)
    counted(high, "high")
    task = Task(
        fit=fit,
        figure=fit.solid(),
        datum=datum or Datum.edges(fit.block),
        faces=tuple(dict.fromkeys(faces)),
        factor=fit.placement.scale * fit.figure.ratio,
        grain=grain_of(grain, inches=inches),
        allowance_mm=length_mm(allowance, "allowance", least=0) + fit.solid().margin_mm,
        width_mm=length_mm(width, "width", least=0),
    )
    marks = landmark_points(task) if landmarks else []
    facets: dict[str, Facets] = {}
    which: dict[str, list[int]] = {}
    if fit.figure.is_solid:
        apart = None if spacing is None else length_mm(spacing, "spacing", least=LEAST_MM)
        points, facets, which = face_points(task, count, high, apart, marks)
        lacking = ""
    else:
        points = taken_points(task)
        lacking = "only the points taken are known: no fill-in points, and nothing is known of the stone between them"
    named = [replace(p, number=k, name=p.name or f"{p.face} {k}") for k, p in enumerate([*points, *marks], 1)]
    ways = {face: way_in(fit.block, task.datum, face) for face in task.faces}
    return Pointing(
        points=tuple(named),
        datum=task.datum,
        factor=task.factor,
        grain=task.grain,
        allowance_mm=task.allowance_mm,
        width_mm=task.width_mm,
        facets=facets,
        between=tuple(b for face in facets for b in _between(ways[face], facets[face], which[face], task.aside_mm)),
        from_words={face: way.words for face, way in ways.items()},
        lacking=lacking,
    )


def _between(way: WayIn, facets: Facets, which: list[int], aside_mm: float) -> list[Between]:
    """Return what may be cut between the points of a face, depths rounded so that stone is left.

    A depth holds wherever the rod is set between them, the three places being up to ``aside_mm`` off.
    """
    found = []
    view_points = facets.places
    for corners, straight, level in zip(facets.triangles, facets.straight, facets.level_mm, strict=True):
        a, b, c = sorted(which[k] + 1 for k in corners.tolist())
        if straight:
            found.append(Between(way.face, (a, b, c), None))
        elif way.block.surface is None:  # on a rough surface no one depth would be level
            low, high = view_points[corners].min(axis=0), view_points[corners].max(axis=0)
            spots = np.array([[x, y] for x in (low[0], high[0]) for y in (low[1], high[1])])
            start = float(np.nanmax(way.entry_at(spots, aside_mm)))
            depth = rounded_down(level - start)
            if np.isfinite(start) and depth > 0:
                found.append(Between(way.face, (a, b, c), depth))
    return found


def _listed(words: str, items: Sequence[str]) -> list[str]:
    """Return items in wrapped lines after a word; none if there are none."""
    if not items:
        return []
    lines = textwrap.wrap(
        f"{words}: {', '.join(items)}", _WIDE, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
    )
    return [line.replace(_TIED, " ") for line in lines]


def _headed(name: str, model_unit: str, block_unit: str) -> str:
    """Return a column's heading with the unit of what stands below it."""
    if name.startswith("model"):
        return f"{name} {model_unit}"
    return re.sub(r"\bmm\b", block_unit, name)


def _block_words(point: Point, units: UnitSystem) -> tuple[str, str, str]:
    """Return the readings on the block, along the way in rounded towards the face."""
    leans = [Rounding.NEAREST] * 3
    if point.face in AXIS:
        axis = AXIS[point.face]
        leans[axis] = Rounding.DOWN if FACE_DIRECTIONS[point.face][axis] > 0 else Rounding.UP
    x, y, z = (_written(float(v), units, lean) for v, lean in zip(point.block_mm, leans, strict=True))
    return x, y, z


def _written(value: float | None, units: UnitSystem, rounded: Rounding) -> str:
    """Return a length without its unit, for a column; inches with sixteenths are not divided into feet."""
    if value is None:
        return ""
    return (
        inches_of(value, rounded.value)
        if units is US
        else units.fine(value, rounded).removesuffix(" mm").replace(",", "")
    )


def _plain(text: str) -> str:
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text

"""The table of points: which to carry over from the model to the stone, in what order, and how deep to go at each.

mm, block frame. Readings on the model are rounded so that stone is left, and the table says what the rounding costs."""

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from blockfit.errors import BadValueError
from blockfit.marking.datum import Datum
from blockfit.marking.depths import DepthPicture, Facets, chosen_spots, facets_over, high_spots, picture_of
from blockfit.marking.table import in_columns
from blockfit.measure.views import FACE_DIRECTIONS, face_view
from blockfit.search.result import Fit
from blockfit.solids.arrays import Array
from blockfit.solids.figure import Figure
from blockfit.units import Length, length_mm

__all__ = ["Point", "Pointing", "pointing"]

_AXIS = {"left": 0, "right": 0, "front": 1, "back": 1, "bottom": 2, "top": 2}
_COLUMNS = (
    "number", "name", "kind", "face", "model across", "model in", "model up", "block across mm", "block in mm",
    "block up mm", "depth from face mm", "stop at mm", "allowance mm", "rounding mm",
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """One point: ``at_mm`` (3,) on the figure's surface, in the block frame; readings from the datum.

    ``model_mm`` (3,) is the reading on the model, rounded; ``block_mm`` (3,) the exact reading on the block;
    ``depth_mm`` how deep it lies behind its face, ``stop_mm`` how deep to cut there, ``allowance_mm`` the stone then
    still on it, and ``rounding_mm`` the most that the rounding of the model's reading makes on the block.
    """

    number: int
    name: str
    kind: Literal["high", "fill", "landmark", "taken"]
    face: str
    at_mm: Array
    model_mm: Array
    block_mm: Array
    depth_mm: float
    stop_mm: float
    allowance_mm: float
    rounding_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Pointing:
    """The points in order, what readings are taken from, and how the model's are rounded (``grain_mm``).

    ``factor`` takes model lengths to block lengths. ``inches``: model readings are shown in inches and sixteenths.
    ``facets`` are, for each face, how to cut between its points. ``lacking`` says what could not be told.
    """

    points: tuple[Point, ...]
    datum: Datum
    factor: float
    grain_mm: float
    inches: bool
    allowance_mm: float
    facets: Mapping[str, Facets]
    lacking: str

    def model_words(self, millimetres: float) -> str:
        """Return a reading on the model as the carver's rule shows it."""
        if not self.inches:
            return f"{millimetres:.{0 if self.grain_mm >= 1 else 1}f}"
        ticks = round(abs(millimetres) / 25.4 * 16)
        whole, part = divmod(ticks, 16)
        divisor = math.gcd(part, 16) or 1
        fraction = f"{part // divisor}/{16 // divisor}" if part else ""
        sign = "-" if millimetres < 0 and ticks else ""
        return sign + (f"{whole} {fraction}".strip() if whole or not fraction else fraction)

    def rows(self) -> list[tuple[str, ...]]:
        """Return the table as text, a heading first."""
        unit = "in" if self.inches else "mm"
        table = [tuple(f"{name} {unit}" if name.startswith("model") else name for name in _COLUMNS)]
        for p in self.points:
            block = (f"{value:.1f}" for value in p.block_mm)
            depth = (p.depth_mm, p.stop_mm, p.allowance_mm, p.rounding_mm)
            model = (self.model_words(float(value)) for value in p.model_mm)
            table.append((str(p.number), p.name, p.kind, p.face, *model, *block, *(f"{value:.1f}" for value in depth)))
        return table

    def __str__(self) -> str:
        """Return the table with what it is read from and what rounding costs."""
        unit = "1/16 in" if self.inches else f"{self.grain_mm:g} mm"
        lines = [
            f"POINTS   read from {self.datum.name}; 1 mm on the model is {self.factor:.4g} mm on the block",
            f"Model readings are rounded to {unit}, towards the face along the way in, so that stone is left: up to "
            f"{self.grain_mm * self.factor:.1f} mm on the block.",
            f"Stop where it says, {self.allowance_mm:g} mm or more before the figure. Between neighbouring points of a "
            "face cut straight only",
            "where the model does so too; over an edge or a gap stay at the higher of them.",
        ]
        lines += [self.lacking[:1].upper() + self.lacking[1:] + "."] if self.lacking else []
        return "\n".join([*lines, "", in_columns(self.rows())]) + "\n"

    def csv(self) -> str:
        """Return the table as CSV; names that a spreadsheet would take for a formula begin with an apostrophe."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        for number, row in enumerate(self.rows()):
            writer.writerow(row if number == 0 else [row[0], _plain(row[1]), *row[2:]])
        return out.getvalue()


def pointing(
    fit: Fit,
    *,
    datum: Datum | None = None,
    count: int = 120,
    spacing: Length | None = None,
    faces: Sequence[str] = ("front", "left", "right", "back", "top"),
    high: int = 5,
    allowance: Length = 5,
    landmarks: bool = True,
    grain: Length | None = None,
    inches: bool = False,
) -> Pointing:
    """Return the points to carry over: high points from each working face, fill-in points, then landmarks.

    ``count`` is how many in all but landmarks, ``spacing`` how far apart they lie at least (default: by their
    number), ``high`` how many high points a face has. ``grain`` is what the model's readings are rounded to, at the
    model's size (default 1 mm, or 1/16 in with ``inches``). Cutting to the stops, straight between the points of a
    face, leaves at least ``allowance`` before the figure, along the way in.
    """
    if fit.placement is None:
        raise BadValueError(f"{fit.figure.name} has no placement in {fit.block.name}: there is nothing to point")
    unknown = [face for face in faces if face not in FACE_DIRECTIONS]
    if unknown or not faces:
        raise BadValueError(f"faces names {unknown[0] if unknown else 'none'!r}; they are {', '.join(FACE_DIRECTIONS)}")
    if count < 1 or high < 0:
        raise BadValueError(f"count={count!r} must be at least 1, and high={high!r} at least 0")
    allow = length_mm(allowance, "allowance", least=0)
    factor = fit.placement.scale * fit.figure.ratio
    grain_mm = (25.4 / 16 if inches else 1.0) if grain is None else length_mm(grain, "grain")
    if grain_mm <= 0:
        raise BadValueError(f"grain={grain!r} must be more than 0")
    facets: dict[str, Facets] = {}
    table = _Table(fit, datum or Datum.edges(fit.block), factor, grain_mm, allow)
    figure = fit.solid()
    if not fit.figure.is_solid:
        for place in figure.vertices:
            table.add("", "taken", _nearest_face(fit, place, faces), place, None)
        lacking = "only the points taken are known: no fill-in points, and nothing is known of the stone between them"
    else:
        facets = _from_faces(table, figure, faces, count, high, spacing, allow, grain_mm * factor)
        lacking = ""
    if landmarks:
        for name, place in figure.landmarks.items():
            at = np.array(place)
            table.add(name, "landmark", _nearest_face(fit, at, faces), at, None)
    return Pointing(tuple(table.points), table.datum, factor, grain_mm, inches, allow, facets, lacking)


class _Table:
    """Collects points and numbers them."""

    def __init__(self, fit: Fit, datum: Datum, factor: float, grain_mm: float, allowance_mm: float) -> None:
        self.fit, self.datum, self.factor, self.grain, self.allowance = fit, datum, factor, grain_mm, allowance_mm
        self.points: list[Point] = []

    def add(self, name: str, kind: Literal["high", "fill", "landmark", "taken"], face: str, at: Array,
            stop: float | None) -> None:  # fmt: skip
        """Add a point; without a ``stop`` it keeps the allowance and what rounding may cost."""
        into = np.array(FACE_DIRECTIONS[face])
        start = float((self.fit.block.corners_mm @ into).min())
        depth = float(at @ into) - start
        block = self.datum.readings(at[None])[0]
        axis, inward = _AXIS[face], float(into[_AXIS[face]])
        ticks = block / self.factor / self.grain
        rounded = np.rint(ticks)
        # Along the way in the reading is rounded towards the face: stone is left.
        rounded[axis] = math.floor(ticks[axis] + 1e-9) if inward > 0 else math.ceil(ticks[axis] - 1e-9)
        cut = depth - self.allowance if stop is None else stop
        cut = math.floor(cut / self.factor / self.grain + 1e-9) * self.grain * self.factor
        self.points.append(
            Point(
                number=len(self.points) + 1,
                name=name or f"{face} {len(self.points) + 1}",
                kind=kind,
                face=face,
                at_mm=at.copy(),
                model_mm=rounded * self.grain,
                block_mm=block,
                depth_mm=depth,
                stop_mm=max(0.0, cut),
                allowance_mm=depth - max(0.0, cut),
                rounding_mm=self.grain * self.factor,
            )
        )


def _from_faces(
    table: _Table, figure: Figure, faces: Sequence[str], count: int, high: int, spacing: Length | None, allow: float,
    rounding: float,
) -> dict[str, Facets]:  # fmt: skip
    """Add the high points of every face, then the fill-in points of every face; return how to cut between them."""
    pictures = {face: picture_of(figure, face_view(face), allow, rounding / 2) for face in faces}
    matter = {face: _matters(picture) for face, picture in pictures.items()}
    total = sum(float(weight.sum()) * pictures[face].lattice.pitch ** 2 for face, weight in matter.items())
    apart = math.sqrt(total / count) / 3 if spacing is None else length_mm(spacing, "spacing", least=0)
    given, cells = 0, {}
    for number, face in enumerate(faces):
        picture = pictures[face]
        own = float(matter[face].sum()) * picture.lattice.pitch**2
        share = count - given if number == len(faces) - 1 else round(count * own / total)
        given += share
        first = high_spots(picture, min(high, share))
        chosen = chosen_spots(picture, first, share, apart, matter[face])
        cells[face] = (len(first), chosen, facets_over(picture, chosen))
    for kind in ("high", "fill"):
        for face in faces:
            picture, (firsts, chosen, facets) = pictures[face], cells[face]
            start = float((table.fit.block.corners_mm @ picture.view.into).min())
            places, depth = picture.places.reshape(-1, 2), picture.depth.ravel()
            for k, cell in enumerate(chosen):
                if (k < firsts) == (kind == "high"):
                    right, up = places[cell]
                    at = right * picture.view.right + up * picture.view.up + depth[cell] * picture.view.into
                    table.add("", "high" if kind == "high" else "fill", face, at, float(facets.depth_mm[k]) - start)
    return {face: facets for face, (_, _, facets) in cells.items()}


def _matters(picture: DepthPicture) -> Array:
    """Return how much each cell matters to a face: its surface's part that looks that way rather than another."""
    return np.where(np.isfinite(picture.depth), np.clip((picture.cosine - 0.35) / 0.45, 0.05, 1.0), 0.0)


def _nearest_face(fit: Fit, place: Array, faces: Sequence[str]) -> str:
    """Return the face behind which a place lies least deep."""
    depths = {}
    for face in faces:
        into = np.array(FACE_DIRECTIONS[face])
        depths[face] = float(place @ into - (fit.block.corners_mm @ into).min())
    return min(depths, key=lambda face: depths[face])


def _plain(text: str) -> str:
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text

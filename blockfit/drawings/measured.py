"""A live model measured by tape and callipers: points about a frame and limbs between joints, each with its error."""

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, frozen
from blockfit.geometry.polytope import corners_of
from blockfit.geometry.turns import spread_directions
from blockfit.kinds import kinds_checked
from blockfit.solids.figure import Figure, Repair
from blockfit.units import Length, length_mm, rounded_up, unit_mm

__all__ = ["figure_from_measures"]

_FACETS = 300  # planes about a ball: it is held, and a fiftieth of its radius more at the corners
_PRECISION = 1e-16  # the means have met to the last digit


@kinds_checked
def figure_from_measures(
    *,
    points: Mapping[str, Sequence[Any]] | Any,
    lengths: Mapping[Any, Any] | None = None,
    unit: str = "mm",
    error: Length = 5,
    length_error: Length = 5,
    roundness: float = 0.8,
    name: str = "figure from measures",
) -> Figure:
    """Return the hull that a model's measured points and limbs fill at most: good for fitting only.

    ``points`` are places (x, y, z) in ``unit`` by name, or an array (n, 3); z up, the model looks towards −y. A fourth
    value is the place's own error; others have ``error`` (mm, or text): the true place lies within so much of it.
    ``lengths`` are girths of limbs by tape, between two points: ``{("elbow", "wrist"): "24 cm"}``, or about one (a
    head): ``{"crown": "57 cm"}``; numbers are in ``unit``; ``(girth, error)`` gives one its own error, others have
    ``length_error``. A limb's section is taken for round no less than ``roundness``, its narrowest width over its
    widest: of all ovals with a girth the flattest allowed reaches furthest, and that reach is kept about the whole line
    between the joints.

    The least error is the figure's ``margin_mm``; what is more stands about each point as a ball. Fit and cover then
    hold for every model within the errors: the hull of balls is the hull of points grown by what all have in common,
    exactly for points with one error and no limbs, and a fiftieth of the rest too large otherwise. That it does not
    fit is not sure.

    The error and the roundness are starting values, without a source. Raises `BadValueError` for points, girths or
    options that are none, and for a girth about a point that is not given.

    >>> import blockfit as bf
    >>> points = {"crown": (0, 0, 1700), "heel": (0, 60, 0), "toe": (0, -190, 0, 8), "hand": (420, -50, 800)}
    >>> figure = bf.figure_from_measures(points=points, lengths={("crown", "heel"): "90 cm"})
    >>> figure.margin_mm, figure.is_envelope, figure.is_solid
    (5.0, True, False)
    """
    unit_mm(unit)
    names, places, errors = _places(points, unit, length_mm(error, "error", least=0))
    if not 0.2 <= roundness <= 1:
        raise BadValueError(f"roundness={roundness!r} must be from 0.2 (flat) to 1 (round)")
    spare = length_mm(length_error, "length_error", least=0)
    radii = errors.copy()
    limbs = list((lengths or {}).items())
    for ends, given in limbs:
        reach = _reach(given, str(ends), unit, spare, roundness)
        for end in (ends,) if isinstance(ends, str) else tuple(ends):
            if end not in names:
                raise BadValueError(f"lengths: {end!r} is no point; points are {', '.join(names)[:200]}")
            k = names.index(end)
            radii[k] = max(radii[k], errors[k] + reach)
    margin = float(radii.min())
    corners = [places]
    for place, radius in zip(places, radii, strict=True):
        if radius > margin:
            corners.append(place + _around(radius - margin))
    text = f"{len(places)} points and {len(limbs)} girths; the least error, {rounded_up(margin):g} mm, is its margin"
    if limbs:
        text += f"; limbs taken for no flatter than {roundness:g}"
    marks = {label: tuple(place.tolist()) for label, place in zip(names, places, strict=True)}
    none = np.zeros((0, 3), np.int64)
    return Figure(
        np.concatenate(corners), none, repairs=(Repair("measures", text, (("margin_mm", margin),)),),
        landmarks=marks, name=name, margin_mm=margin, is_envelope=True,
    )  # fmt: skip


def _places(points: Any, unit: str, error_mm: float) -> tuple[list[str], Array, Array]:
    """Return names, places (n, 3) and errors (n,) in mm."""
    if not isinstance(points, Iterable) or isinstance(points, str | bytes):
        raise BadValueError(f"points={points!r} must be named places, or a list of them: x, y, z, and an error")
    rows = list(points.items()) if isinstance(points, Mapping) else [(str(k + 1), row) for k, row in enumerate(points)]
    if not rows:
        raise BadValueError("points is empty: there is no figure")
    names, places, errors = [], [], []
    for label, row in rows:
        try:
            values = list(row)
        except TypeError as wrong:
            raise BadValueError(f"points: {label}={row!r} must be x, y, z, and an error if it has its own") from wrong
        if len(values) not in (3, 4):
            raise BadValueError(f"points: {label}={row!r} must be x, y, z, and an error if it has its own")
        names.append(str(label))
        places.append([length_mm(v, f"points: {label}", unit=unit) for v in values[:3]])
        own = len(values) == 4
        errors.append(length_mm(values[3], f"points: {label}", least=0, unit=unit) if own else error_mm)
    return names, frozen(places, (None, 3), "points"), np.array(errors)


def _reach(given: Any, ends: str, unit: str, spare_mm: float, roundness: float) -> float:
    """Return how far a limb of a girth may reach from the line between its joints, in mm.

    Of ellipses of one perimeter and axes a > b = roundness · a, a is the greatest half width: the perimeter is
    4 a E(1 − (b/a)²), E the complete elliptic integral of the second kind (Abramowitz & Stegun 17.3.3).
    """
    own = isinstance(given, Sequence) and not isinstance(given, str)
    name = f"lengths: {ends}"
    girth = length_mm(given[0] if own else given, name, least=0, unit=unit)
    spare = length_mm(given[1], name, least=0, unit=unit) if own and len(given) > 1 else spare_mm
    if not girth > 0:
        raise BadValueError(f"lengths: {ends} has a girth of {girth:g} mm; it must be more than 0")
    return (girth + spare) / (4 * _elliptic(1 - roundness**2))


def _elliptic(m: float) -> float:
    """Return the complete elliptic integral E(m), by arithmetic and geometric means (Abramowitz & Stegun 17.6)."""
    a, b, c = 1.0, math.sqrt(1 - m), math.sqrt(m)
    total, weight = c * c / 2, 1.0
    while c > _PRECISION and weight < 1 << 20:
        a, b, c = (a + b) / 2, math.sqrt(a * b), (a - b) / 2
        total += weight * c * c
        weight *= 2
    return math.pi / (2 * a) * (1 - total)


def _around(radius: float) -> Array:
    """Return the corners (n, 3) of a polytope around a ball, touching it along the axes too."""
    normals = np.unique(np.round(np.concatenate([np.eye(3), -np.eye(3), spread_directions(_FACETS)]), 9), axis=0)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    return corners_of(normals, np.full(len(normals), radius))[0]

"""From where an outline is seen, and what corrects a photograph.

mm, figure frame: z up, the figure looks towards −y."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.units import LEAST_MM, Length, length_mm

__all__ = ["Photo", "DrawnView", "turned_view", "view_of"]

Place = tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class DrawnView:
    """A viewer's ``right`` and ``up`` (3,) in the figure's frame; ``axes`` names them where they lie along x, y or z.

    An axis is 0, 1 or 2 with the sign that its outline's coordinate has along it; ``None`` for a view between faces.
    """

    name: str
    right: Array
    up: Array
    axes: tuple[tuple[int, int] | None, tuple[int, int]]


def view_of(name: str) -> DrawnView:
    """Return the view of a face from outside: ``front``, ``back``, ``side`` (from the left) or ``top``.

    >>> from blockfit.drawings.views import view_of
    >>> view_of("side").right.tolist()    # the front is to the viewer's right
    [0.0, -1.0, 0.0]
    """
    axes: dict[str, tuple[tuple[int, int], tuple[int, int]]] = {
        "front": ((0, 1), (2, 1)),
        "back": ((0, -1), (2, 1)),
        "side": ((1, -1), (2, 1)),
        "top": ((0, 1), (1, 1)),
    }
    (right, sign), (up, _) = axes[name]
    return DrawnView(name, sign * np.eye(3)[right] + 0.0, np.eye(3)[up], axes[name])


def turned_view(angle: float) -> DrawnView:
    """Return the view of one who has walked round by ``angle`` degrees: 0 the front, 90 the right, -90 the left."""
    if not (isinstance(angle, int | float) and math.isfinite(angle)):
        raise BadValueError(f"three_quarter: the angle {angle!r} must be degrees from the front, such as 45 or -45")
    quarters = angle / 90
    if quarters == round(quarters):
        cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarters) % 4]
    else:
        cos, sin = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    return DrawnView(f"view at {angle:g}°", np.array([cos, sin, 0.0]), np.array([0.0, 0.0, 1.0]), (None, (2, 1)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photo:
    """A photograph, and what is known of how it was taken; given in place of an outline.

    ``picture`` is a path or an array (h, w) of booleans. Places in it are pixels from its left and from its top.
    ``distance`` is from the lens to the figure's middle, level. ``bar`` is a length seen square on beside the figure's
    middle: ``(place, place, length)``. ``plumb`` is two places on an upright line, by which it is turned upright.
    ``mark`` is where the spot under the figure's middle is seen on the ground: give it in every photograph and they
    share one origin there. ``centre`` is where the lens points (default: the middle of the picture, if it was not
    cropped). The camera must look level.

    With distance, bar and mark the photograph is exact: what it shows is a cone to the lens. With less, what is
    missing is taken from the height and from the other outlines, and the error is stated and kept as a margin.

    Lengths are mm or text. Raises `BadValueError` for places or lengths that are none.

    >>> import numpy as np
    >>> import blockfit as bf
    >>> picture = np.ones((100, 40), bool)  # where the figure is seen
    >>> photo = bf.Photo(picture=picture, distance="4 m", bar=((5, 10), (5, 90), "80 cm"), mark=(20, 99))
    >>> photo.distance, photo.is_exact, bf.Photo(picture=picture).is_exact
    (4000.0, True, False)
    """

    picture: Any
    distance: Length | None = None
    bar: tuple[Place, Place, Length] | None = None
    plumb: tuple[Place, Place] | None = None
    mark: Place | None = None
    centre: Place | None = None

    def __post_init__(self) -> None:
        """Check what was given."""
        if self.distance is not None:
            object.__setattr__(self, "distance", length_mm(self.distance, "distance", least=1.0))
        if self.bar is not None:
            try:
                first, second, long = self.bar
                object.__setattr__(
                    self, "bar", (_place(first, "bar"), _place(second, "bar"), length_mm(long, "bar", least=LEAST_MM))
                )
            except (TypeError, ValueError) as error:
                if isinstance(error, BadValueError):
                    raise
                raise BadValueError(f"bar={self.bar!r} must be two places in pixels and the length between") from error
            if math.dist(self.bar[0], self.bar[1]) < 1:
                raise BadValueError(f"bar={self.bar!r}: its two places are less than a pixel apart")
        for name in ("mark", "centre"):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, _place(getattr(self, name), name))
        if self.plumb is not None:
            try:
                first, second = (_place(place, "plumb") for place in self.plumb)
            except (TypeError, ValueError) as error:
                raise BadValueError(f"plumb={self.plumb!r} must be two places in pixels on an upright line") from error
            if math.dist(first, second) < 1:
                raise BadValueError(f"plumb={self.plumb!r}: its two places are less than a pixel apart")
            object.__setattr__(self, "plumb", (first, second))

    @property
    def is_exact(self) -> bool:
        """Whether nothing but what it shows is needed to place it."""
        return self.distance is not None and self.bar is not None and self.mark is not None

    def upright(self) -> Array:
        """Return the turn (2, 2) of u to the right and v up that makes its plumb line upright."""
        if self.plumb is None:
            return np.eye(2)
        (x0, y0), (x1, y1) = self.plumb
        across, up = x1 - x0, y0 - y1
        if up < 0:
            across, up = -across, -up
        long = math.hypot(across, up)
        cos, sin = up / long, across / long
        return np.array([[cos, -sin], [sin, cos]])


def _place(given: Any, name: str) -> Place:
    try:
        x, y = (float(value) for value in given)
    except (TypeError, ValueError) as error:
        raise BadValueError(f"{name}={given!r} must be a place: pixels from the left, pixels from the top") from error
    if not (math.isfinite(x) and math.isfinite(y)):
        raise BadValueError(f"{name}={given!r} must be a place: pixels from the left, pixels from the top")
    return x, y

"""What must stay out of the figure: cracks, cavities, veins, zones of bad stone. mm, block frame."""

from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, frozen
from blockfit.geometry.polytope import hull_planes, polytope_volume
from blockfit.kinds import kinds_checked
from blockfit.solids.figure import Figure, require_solid
from blockfit.units import Length, length_mm

__all__ = ["Flaw"]

_THIN_MM = 0.02  # a crack is kept as a plate this thick
_LINE = 1e-6  # of its length: a crack no wider is a line, and has no plane


@dataclass(frozen=True, eq=False)
class Flaw:
    """A place that the figure keeps clear of by ``margin_mm``. Build it with one of the class methods.

    A ball has a ``centre`` and ``radius_mm``; a zone lies where ``normal · x > offset_mm``; anything else, a crack
    or a cavity of any shape, is the solid ``surface``, or the convex hull of its vertices if it has no faces.

    >>> from blockfit import Flaw
    >>> Flaw.ball((450, 300, 800), "4 cm", margin=10).radius_mm
    40.0
    """

    name: str
    kind: Literal["ball", "solid", "beyond"]
    margin_mm: float = 0.0
    centre: Array = field(default_factory=lambda: np.zeros(3))
    radius_mm: float = 0.0
    normal: Array = field(default_factory=lambda: np.zeros(3))
    offset_mm: float = 0.0
    surface: Figure | None = None

    @classmethod
    @kinds_checked
    def ball(cls, centre: Any, radius: Length, *, margin: Length = 0, name: str = "cavity") -> "Flaw":
        """Return a round cavity, or a ball of stone that is lost."""
        size = length_mm(radius, "radius", least=0)
        return cls(name, "ball", _margin(margin), frozen(centre, (3,), "centre"), size)

    @classmethod
    @kinds_checked
    def box(cls, low: Any, high: Any, *, margin: Length = 0, name: str = "cavity") -> "Flaw":
        """Return a box between two corners."""
        a, b = frozen(low, (3,), "low"), frozen(high, (3,), "high")
        if (b <= a).any():
            raise BadValueError(f"low={a.tolist()} must be below high={b.tolist()} along every axis")
        corners = np.array([[x, y, z] for x in (a[0], b[0]) for y in (a[1], b[1]) for z in (a[2], b[2])])
        return cls(name, "solid", _margin(margin), surface=_points(corners))

    @classmethod
    @kinds_checked
    def solid(cls, figure: Figure, *, margin: Length = 0, name: str = "cavity") -> "Flaw":
        """Return any closed surface, in the block frame."""
        return cls(name, "solid", _margin(margin), surface=require_solid(figure, "a flaw"))

    @classmethod
    @kinds_checked
    def crack(cls, outline: Any, *, margin: Length = 0, name: str = "crack") -> "Flaw":
        """Return a flat crack within a convex outline (n, 3), three corners or more in a plane."""
        rim = frozen(outline, (None, 3), "outline")
        if len(rim) < 3:
            raise BadValueError("a crack's outline needs three corners or more")
        middle = rim.mean(axis=0)
        _, size, axes = np.linalg.svd(rim - middle, full_matrices=False)
        if size[1] < _LINE * size[0] or size[2] > 0.02 * size[0]:
            raise BadValueError("a crack's outline must lie in one plane, and not in a line")
        plate = np.concatenate([rim + _THIN_MM / 2 * axes[2], rim - _THIN_MM / 2 * axes[2]])
        return cls(name, "solid", _margin(margin), normal=axes[2], surface=_points(plate))

    @classmethod
    @kinds_checked
    def disc(cls, centre: Any, normal: Any, radius: Length, *, margin: Length = 0, name: str = "crack") -> "Flaw":
        """Return a round flat crack."""
        middle, up = frozen(centre, (3,), "centre"), frozen(normal, (3,), "normal")
        length = float(np.linalg.norm(up))
        size = length_mm(radius, "radius", least=0)
        if length == 0 or size == 0:
            raise BadValueError("a disc needs a normal and a radius above 0")
        up = up / length
        across = np.cross(up, np.eye(3)[int(np.abs(up).argmin())])
        across /= np.linalg.norm(across)
        angles = np.radians(np.arange(0, 360, 7.5))
        # Drawn outside the circle, so that nothing of the crack is missed.
        rim = np.outer(np.cos(angles), across) + np.outer(np.sin(angles), np.cross(up, across))
        return cls.crack(middle + size / np.cos(np.radians(3.75)) * rim, margin=margin, name=name)

    @classmethod
    @kinds_checked
    def beyond(cls, normal: Any, offset: float, *, margin: Length = 0, name: str = "bad stone") -> "Flaw":
        """Return all beyond a plane: where ``normal · x > offset``."""
        outward = frozen(normal, (3,), "normal")
        length = float(np.linalg.norm(outward))
        if length == 0 or not np.isfinite(offset):
            raise BadValueError("a zone needs a normal that is not 0 and a finite offset")
        return cls(name, "beyond", _margin(margin), normal=outward / length, offset_mm=float(offset) / length)

    def holds(self, points: Array) -> bool:
        """Tell whether all of (n, 3) points surely lie in it, or within its margin of a ball or a zone.

        A cavity given by faces is never said to: what lies between the points may be outside.

        >>> import numpy as np
        >>> from blockfit import Flaw
        >>> cube = np.array([[x, y, z] for x in (0, 9) for y in (0, 9) for z in (0, 9)], float)
        >>> Flaw.ball((4, 4, 4), 20).holds(cube), Flaw.box((-1, -1, -1), (10, 10, 8)).holds(cube)
        (True, False)
        """
        if self.kind == "ball":
            return bool(np.linalg.norm(points - self.centre, axis=1).max() <= self.radius_mm + self.margin_mm)
        if self.kind == "beyond":
            return bool((points @ self.normal).min() > self.offset_mm - self.margin_mm)
        if self.surface is None or len(self.surface.faces):
            return False
        if polytope_volume(self.surface.vertices) <= 0:
            return False
        normals, offsets = hull_planes(self.surface.vertices)
        return bool((points @ normals.T <= offsets).all())

    def moved(self, rotation: Array, shift: Array) -> "Flaw":
        """Return the same flaw after a turn (3, 3) and a shift (3,): the block was stood on another face."""
        body = self.surface
        turned = None if body is None else Figure(body.vertices @ rotation.T + shift, body.faces, name=body.name)
        normal = rotation @ self.normal
        return replace(
            self,
            centre=rotation @ self.centre + shift,
            normal=normal,
            offset_mm=self.offset_mm + float(normal @ shift),
            surface=turned,
        )


def _margin(margin: Length) -> float:
    return length_mm(margin, "margin", least=0)


def _points(corners: Array) -> Figure:
    return Figure(corners, np.zeros((0, 3), np.int64), name="flaw")

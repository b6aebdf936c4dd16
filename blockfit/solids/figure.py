"""The figure at full size: a surface in mm, what was repaired in it, and its named landmarks.

Figure frame: z up, the figure looks towards −y. Vertices are never recentred.
Not checked here: that the surface does not cut itself (see intake)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from blockfit.errors import BadValueError, OpenSurfaceError
from blockfit.facts.mappings import FrozenMapping
from blockfit.geometry.arrays import Array, Ints, frozen
from blockfit.geometry.surface import centroid, is_closed, signed_volume, surface_area
from blockfit.kinds import kinds_checked, take_fields
from blockfit.solids.placement import Placement
from blockfit.units import M2_PER_MM2, M3_PER_MM3, Length, length_mm, ratio_value

__all__ = ["Figure", "Repair"]


@dataclass(frozen=True, slots=True)
class Repair:
    r"""One thing that was repaired on reading a scan: which step, in words, and its measures.

    Lengths among the measures are mm, at full size. A figure's ``repairs`` are in the order in which they were done.

    >>> import pathlib, tempfile
    >>> import blockfit as bf
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder) / "open.obj"  # a corner of stone, without its sloping face
    ...     text = file.write_text("v 0 0 0\nv 4 0 0\nv 0 3 0\nv 0 0 6\nf 1 3 2\nf 1 2 4\nf 1 4 3\n")
    ...     figure = bf.read_figure(file, unit="cm")
    >>> [(repair.step, repair.text) for repair in figure.repairs]
    [('open base', 'closed 1 flat opening, the widest 78 mm across')]
    """

    step: str
    text: str
    measures: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, eq=False, repr=False)
class Figure:
    """A figure in mm: ``vertices`` (n, 3), ``faces`` (m, 3); both are copied and frozen.

    ``is_solid`` tells whether the surface closes and faces outward; where it does not, ``volume_m3`` is
    ``None`` and the figure is good for fitting only. ``source`` is the file that it was read from, with its digest,
    if it was. Raises `BadValueError` for values that are not finite,
    faces that name a missing vertex, or fewer than one vertex.

    ``margin_mm`` is how far the true figure may reach beyond this one (a drawing's resolution, a tape's error, a
    scan's noise), at scale 1: cover, scale and clearance are reported for the figure grown by it. ``is_envelope`` tells
    that only an outside is known, and the true figure lies within: that it fits is then sure, that it does not is not.

    >>> from blockfit import Figure
    >>> corners = [[0, 0, 0], [60, 0, 0], [0, 100, 0], [0, 0, 1000]]
    >>> Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).volume_m3
    0.001
    """

    vertices: Array
    faces: Ints
    repairs: tuple[Repair, ...] = ()
    landmarks: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    name: str = "figure"
    ratio: float = 1.0
    margin_mm: float = 0.0
    is_envelope: bool = False
    source: str = ""
    source_sha256: str = ""

    def __post_init__(self) -> None:
        """Copy, check and freeze."""
        take_fields(self, but=("margin_mm", "ratio"))
        object.__setattr__(self, "ratio", ratio_value(self.ratio))
        vertices = frozen(self.vertices, (None, 3), "vertices")
        if len(vertices) == 0:
            raise BadValueError("vertices is empty: there is no figure")
        if np.abs(vertices).max() > 1e9:
            raise BadValueError(f"a vertex lies {np.abs(vertices).max() / 1e6:.3g} km from the origin; check the unit")
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(self, "faces", _frozen_faces(self.faces, len(vertices)))
        object.__setattr__(self, "repairs", tuple(self.repairs))
        object.__setattr__(self, "margin_mm", length_mm(self.margin_mm, "margin_mm", least=0))
        marks = {str(name): tuple(frozen(p, (3,), f"landmark {name}").tolist()) for name, p in self.landmarks.items()}
        object.__setattr__(self, "landmarks", FrozenMapping(marks))

    @classmethod
    @kinds_checked
    def from_points(
        cls, points: Any, tolerance: Length = 0, *, landmarks: Mapping[str, Sequence[float]] | None = None
    ) -> "Figure":
        """Return a figure known only by ``points`` (n, 3) taken by hand, each good to ``tolerance`` (mm or text).

        Only its hull is known: good for fitting, not for volumes. ``tolerance`` becomes the figure's margin.

        >>> from blockfit import Figure
        >>> Figure.from_points([[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 1200]], tolerance=3).is_solid
        False
        """
        vertices = frozen(points, (None, 3), "points")
        slack_mm = length_mm(tolerance, "tolerance", least=0)
        marks = {name: tuple(map(float, p)) for name, p in (landmarks or {}).items()}
        return cls(vertices, np.zeros((0, 3), np.int64), landmarks=marks, margin_mm=slack_mm)  # type: ignore[arg-type]

    def placed(self, placement: Placement) -> "Figure":
        """Return the figure as it stands in the block."""
        marks = {name: tuple(placement.apply(np.array(p)).tolist()) for name, p in self.landmarks.items()}
        placed = Figure(
            placement.apply(self.vertices), self.faces, landmarks=marks, name=self.name,
            margin_mm=self.margin_mm * placement.scale, is_envelope=self.is_envelope,
        )  # fmt: skip
        placed.__dict__["is_solid"] = (
            self.is_solid
        )  # no placement changes that, and it takes long for millions of faces
        return placed

    def __repr__(self) -> str:
        """Return name, faces and size."""
        size = " x ".join(f"{side:.0f}" for side in self.size_mm)
        return f"Figure({self.name!r}, {len(self.faces):,} faces, {size} mm)"

    @cached_property
    def is_solid(self) -> bool:
        """Whether the surface is closed, consistent and faces outward."""
        return is_closed(self.faces) and self._inside_mm3 > 0

    @cached_property
    def _inside_mm3(self) -> float:
        return signed_volume(self.vertices, self.faces)

    @cached_property
    def volume_m3(self) -> float | None:
        """Volume in m³, exact for the surface given; ``None`` if it is no solid."""
        return self._inside_mm3 * M3_PER_MM3 if self.is_solid else None

    @cached_property
    def area_m2(self) -> float:
        """Area of the surface in m²."""
        return surface_area(self.vertices, self.faces) * M2_PER_MM2

    @cached_property
    def centroid_mm(self) -> Array:
        """Centre of gravity (3,) in mm. Raises `OpenSurfaceError` if the figure is no solid."""
        return centroid(self.vertices, require_solid(self, "the centre of gravity").faces)

    @cached_property
    def size_mm(self) -> tuple[float, float, float]:
        """Width, depth and height as it stands."""
        width, depth, height = (self.vertices.max(axis=0) - self.vertices.min(axis=0)).tolist()
        return width, depth, height


def require_solid(figure: Figure, what: str) -> Figure:
    """Return ``figure``, or raise `OpenSurfaceError` saying that ``what`` needs a solid."""
    if not figure.is_solid:
        raise OpenSurfaceError(
            f"{figure.name}: {what} needs a closed solid, and this figure is good for fitting only "
            "(points or an open surface); read it with read_figure, which closes what can be closed"
        )
    return figure


def _frozen_faces(faces: Any, count: int) -> Ints:
    try:
        given = np.array(faces)
        if given.dtype.kind not in "iu" and given.size and not np.array_equal(given, np.floor(given)):
            raise BadValueError("faces must be whole numbers, three per face")
        with np.errstate(invalid="ignore"):  # what no whole number holds names no vertex, and is reported below
            ours = given.astype(np.int64).reshape(-1, 3) if given.size == 0 else given.astype(np.int64)
    except (TypeError, ValueError, OverflowError) as error:
        raise BadValueError(f"faces must be whole numbers, three per face: {error}") from error
    if ours.ndim != 2 or ours.shape[1] != 3:
        raise BadValueError(f"faces has shape {ours.shape}; n x 3 is needed (split larger faces into triangles)")
    if ours.size and (ours.min() < 0 or ours.max() >= count):
        raise BadValueError(f"faces name vertex {int(ours.max())} or below 0, but there are only {count} vertices")
    ours.flags.writeable = False
    return ours

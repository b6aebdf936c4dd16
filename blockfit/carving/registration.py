"""A scan of the stone laid into the block's frame: by marked places, by whatever of the last surface is left, by both.

mm. What it says of itself: how far each mark lies off, how far the scan scatters about the old surface, and how well
every place of the block is known through it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import permutations
from typing import Any

import numpy as np

from blockfit.carving.alignment import Asked, Laid, Sample, laid_onto, sample_of
from blockfit.carving.motion import Certainty, Marks, Motion, by_marks, marks_from
from blockfit.carving.scan_stone import stone_of_scan
from blockfit.carving.stages import Stage, stage_from
from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding
from blockfit.facts.systems import units_of
from blockfit.geometry.arrays import Array
from blockfit.geometry.surface import area_vectors
from blockfit.geometry.tolerances import NOT_ZERO, NOTHING_MM, ROUNDING
from blockfit.kinds import kinds_checked
from blockfit.measure.booleans import arrays_of
from blockfit.measure.distance import SurfaceDistance
from blockfit.search.flawed.obstacles import stone_of
from blockfit.search.result import Fit
from blockfit.solids.figure import Figure
from blockfit.solids.stage import StageStone
from blockfit.units import Length, length_mm

__all__ = ["Registration", "register"]

_NEAR = 0.05  # of the block's size: how far off a scan without marks may lie
_NEAR_BY_MARKS = 0.015
_UNKNOWN = 0.02  # of the figure's size: a place known no better than that is not known
_LEAST_SHARE = 0.02  # of the scan's places must lie on the old surface where there are no marks
_FEW_MARKS, _MORE_SHARE = 6, 0.25  # marks whose names are tried exchanged, and what must speak for it
_FREE = 3.0  # standard errors by which marks must ask for another scale before it is theirs


@dataclass(frozen=True, eq=False, repr=False)
class Registration:
    """A scan laid into the block: ``transform`` (4, 4) takes its places, in mm as read, to the block's frame.

    ``scale`` is 1 except for a scan that had none of its own. ``marks_mm`` is how far each mark lies from its place,
    ``rms_mm`` how far the scan scatters about the old surface where it still lies on it (a ``share`` of the scan), and
    ``noise_mm`` how far its places scatter by themselves. ``known`` says how well places of the block are known.

    ``figure_error_mm`` (n,) and ``most_mm`` hold 19 times in 20; they are estimates, from marks and scatter. ``stage``
    is the stone that the scan shows.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(100, 260, 150), stance=bf.Stance.fixed())
    >>> block = bf.stage_of(fit).stone
    >>> scan = bf.Figure(block.vertices + [7, 0, 0], block.faces)
    >>> laid = bf.register(scan, fit, marks={n: (scan.vertices[n], block.vertices[n]) for n in range(4)})
    >>> round(laid.scale, 6), max(laid.marks_mm.values()) < 0.01, laid.rms_mm < 0.01, laid.most_mm < 3
    (1.0, True, True, True)
    >>> (laid.apply([[7, 0, 0]]).round(3) + 0).tolist()
    [[0.0, 0.0, 0.0]]
    """

    transform: Array
    scale: float
    marks_mm: Mapping[str, float]
    rms_mm: float
    noise_mm: float
    share: float
    known: Certainty
    fit: Fit
    scan: Figure
    before: Figure

    def apply(self, points: Any) -> Array:
        """Return places (n, 3) of the scan in the block's frame."""
        places = np.asarray(points, np.float64)
        return np.asarray(places @ self.transform[:3, :3].T + self.transform[:3, 3])

    @cached_property
    def figure_error_mm(self) -> Array:
        """How far each vertex (n,) of the placed figure may be off through the registration, 19 times in 20."""
        return self.known.error_mm(self.fit.solid().vertices)

    @cached_property
    def stage(self) -> Stage:
        """The stone as scanned: closed, without table and clutter. Raises `OpenSurfaceError` if it cannot be closed."""
        spare = 3 * self.noise_mm + float(self.known.error_mm(self.fit.block.corners_mm).max()) + 1.0
        found = stone_of_scan(self.apply(self.scan.vertices), self.scan.faces, self.before, spare, self.noise_mm)
        return stage_from(
            self.fit, found.solid, ("as scanned",), self.known, found.seen, (*self.scan.repairs, *found.repairs)
        )

    def __repr__(self) -> str:
        """Return how well it lies."""
        return f"Registration({self.scan.name!r}, {len(self.marks_mm)} marks, rms {self.rms_mm:.2f} mm)"

    @kinds_checked
    def text(self, units: str = "metric") -> str:
        """Return the registration in words."""
        shown = units_of(units)
        marks = ", ".join(f"{name} {shown.close(by, Rounding.NEAREST)}" for name, by in self.marks_mm.items())
        lines = ["THE SCAN IN THE BLOCK"]
        lines += [f"  Marks lie off by: {marks}"] if marks else ["  No marks were given"]
        if abs(self.scale - 1) > ROUNDING:
            lines.append(f"  Its scale comes from the marks: 1 of the scan is {self.scale:.6g} mm")
        scattered, noise = (shown.close(by, Rounding.UP) for by in (self.rms_mm, self.noise_mm))
        lines.append(
            f"  On the old surface: {100 * self.share:.0f} % of the scan, scattered by {scattered}; noise of the scan "
            f"about {noise}"
        )
        usual, worst = (shown.close(float(by), Rounding.UP) for by in (np.median(self.figure_error_mm), self.most_mm))
        lines.append(f"  The figure's surface is known to {usual}, at worst {worst} (19 times in 20)")
        return "\n".join(lines) + "\n"

    @property
    def most_mm(self) -> float:
        """How far off the registration may put the figure's surface at its worst place."""
        return float(self.figure_error_mm.max())

    def __str__(self) -> str:
        """Return the registration in words."""
        return self.text()


@kinds_checked
def register(
    scan: Figure,
    fit: Fit,
    *,
    marks: Mapping[str, Sequence[Any]] | None = None,
    stage: StageStone | None = None,
    rough: Any = None,
    scale: float | None = None,
    mark_error: Length = 2,
) -> Registration:
    """Return how a scan of the stone lies in the block's frame.

    ``marks`` map a name to a pair: the place on the scan as read, and its place in the block in mm; three or more, not
    in a line, each known to about ``mark_error`` along every axis. With them, or from a ``rough`` transform (4, 4), or
    from where the scan lies as read, it is laid onto what is left of the last surface: that of ``stage``, or of the
    block. What has been carved since, holes, a table and clutter do not count. A scan without a scale takes it from the
    marks, if they ask for another than 1 by more than they can be wrong by; ``scale`` sets it. Raises `BadValueError`
    where marks disagree or lie in a line, or where nothing tells how the scan lies.

    >>> import numpy as np
    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(100, 260, 150), stance=bf.Stance.fixed())
    >>> block = bf.stage_of(fit).stone
    >>> scan = bf.Figure(block.vertices + [7, 0, 0], block.faces)
    >>> laid = bf.register(scan, fit, marks={n: (scan.vertices[n], block.vertices[n]) for n in range(4)})
    >>> laid.transform[:3, 3].round(6).tolist()
    [-7.0, 0.0, 0.0]
    """
    error_mm = length_mm(mark_error, "mark_error", least=NOTHING_MM)
    pinned = None if marks is None else marks_from(marks)
    before = _surface_before(fit, stage)
    size = max(before.size_mm)
    start, free, mark_mm = _start(pinned, rough, scale, error_mm)
    outward = area_vectors(before.vertices, before.faces)
    normals = outward / np.maximum(np.linalg.norm(outward, axis=1), NOT_ZERO)[:, None]
    asked = Asked(SurfaceDistance(before.vertices, before.faces), normals, pinned, mark_mm, free)
    sample = sample_of(scan.vertices, scan.faces)
    near = (_NEAR if pinned is None else _NEAR_BY_MARKS) * size + 5 * sample.noise * start.scale
    laid = laid_onto(sample, asked, start, near)
    noise = sample.noise * laid.motion.scale if sample.patch == 0 else laid.noise_mm
    known = Certainty(laid.middle, laid.covariance, noise)
    _check(fit, laid, known, pinned, error_mm)
    if pinned is not None:
        _check_names(pinned, laid, sample, asked.target, 3 * (error_mm + noise))
    return Registration(
        transform=laid.motion.matrix,
        scale=laid.motion.scale,
        marks_mm={} if pinned is None else _off(pinned, laid.motion),
        rms_mm=laid.rms_mm,
        noise_mm=known.noise_mm,
        share=laid.share,
        known=known,
        fit=fit,
        scan=scan,
        before=before,
    )


def _surface_before(fit: Fit, stage: StageStone | None) -> Figure:
    """Return the surface that a scan is laid onto: the last stage's, or the block's."""
    if stage is not None:
        return stage.stone
    return fit.block.surface or Figure(*arrays_of(stone_of(fit.block)), name=fit.block.name)


def _start(marks: Marks | None, rough: Any, scale: float | None, error_mm: float) -> tuple[Motion, bool, float]:
    """Return the motion to start from, whether its scale is open, and how well a mark is known along each axis."""
    if scale is not None and not (np.isfinite(scale) and scale > 0):
        raise BadValueError(f"scale={scale!r} must be how many mm one mm of the scan is, more than 0")
    if marks is None:
        start = Motion(1.0, np.eye(3), np.zeros(3)) if rough is None else Motion.from_matrix(rough)
        if scale is not None:
            start = Motion(scale, start.rotation, start.shift)
        return start, False, error_mm
    if scale is not None:
        motion, scatter = by_marks(marks, scale, error_mm)
        return motion, False, float(np.clip(scatter, error_mm / 4, error_mm))
    spread = marks.block - marks.block.mean(axis=0)
    motion, scatter = by_marks(marks, None, np.inf)
    free = abs(np.log(max(motion.scale, NOT_ZERO))) > _FREE * error_mm / float(np.sqrt((spread**2).sum()))
    motion, scatter = by_marks(marks, None if free else 1.0, error_mm)
    return motion, bool(free), float(np.clip(scatter, error_mm / 4, error_mm))


def _check_names(marks: Marks, laid: Laid, sample: Sample, field: SurfaceDistance, spare_mm: float) -> None:
    """Refuse marks that lie as well with their names exchanged, if far more of the scan then lies on the old surface.

    Four marks on one face, left and right taken for each other, are as far apart as they were.
    """
    if len(marks) > _FEW_MARKS:
        return

    def on_it(motion: Motion) -> float:
        return float((np.abs(field.signed(motion.apply(sample.places))[0]) <= spare_mm).mean())

    own = on_it(laid.motion)
    for order in permutations(range(len(marks))):
        other = replace(marks, block=marks.block[list(order)])
        motion, scatter = by_marks(other, laid.motion.scale, np.inf)
        if scatter <= spare_mm and order != tuple(range(len(marks))) and on_it(motion) > own + _MORE_SHARE:
            named = ", ".join(f"{marks.names[k]} is {marks.names[at]}" for k, at in enumerate(order) if k != at)
            raise BadValueError(
                f"only {own:.0%} of the scan lies on the old surface; with names of marks exchanged ({named}) it "
                f"would be {on_it(motion):.0%}: check which is which"
            )


def _off(marks: Marks, motion: Motion) -> dict[str, float]:
    away = np.linalg.norm(marks.miss(motion), axis=1)
    return {name: float(by) for name, by in zip(marks.names, away, strict=True)}


def _check(fit: Fit, laid: Laid, known: Certainty, marks: Marks | None, error_mm: float) -> None:
    """Refuse a motion that marks and surface do not share, or that nothing holds."""
    if marks is None and laid.share < _LEAST_SHARE:
        raise BadValueError(
            f"only {100 * laid.share:.1f} % of the scan lies on the old surface: give three marks or more, or rough= "
            "a transform that lays it there to within a twentieth of the block"
        )
    if marks is not None:
        off = _off(marks, laid.motion)
        scatter = float(np.sqrt((marks.miss(laid.motion) ** 2).mean()))
        if scatter > 2 * error_mm:
            worst = max(off, key=lambda name: off[name])
            raise BadValueError(
                f"the marks and the stone's old surface disagree: {worst!r} lies {off[worst]:.1f} mm off where the "
                "scan lies on it; check the marks, give the last stage, or mark_error= how well marks are known"
            )
    figure = fit.solid()
    error = float(known.error_mm(figure.vertices[:: max(1, len(figure.vertices) // 5000)]).max())
    if error > _UNKNOWN * max(figure.size_mm):
        raise BadValueError(
            f"the scan's place is known no better than {error:.0f} mm: too little of the old surface is left to "
            "hold it every way; give three marks or more, far apart and not in a line"
        )

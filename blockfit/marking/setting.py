"""Setting the maquette in a frame so that it sits there as the figure will sit in the block.

mm at the maquette's size unless said otherwise. Either the model stands level on its table and the frame is turned
and leaned about it, or the frame stands level and the model is wedged up in it."""

import math
from dataclasses import dataclass, field

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Rounding, Sure, fact
from blockfit.facts.results import Result
from blockfit.facts.systems import US, units_of
from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import box_corners
from blockfit.kinds import kinds_checked
from blockfit.marking.table import in_columns
from blockfit.measure.sections import footprint
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.units import inches_of, rounded_up

_WANTED_MM = 0.5  # on the block: what printed digits may be worth at most
_FINEST = 3  # digits behind the point of a mm
_BASE_MM = (
    0.02,
    0.1,
    0.5,
)  # at the model's size: how near the table the points of its base are sought, the least first
_LEFTMOST = 1e-3  # of places equally far back the one further to the left, as anyone would take

__all__ = ["CheckDistance", "FrameCorner", "Setting", "Wedge", "setting"]


@dataclass(frozen=True, slots=True, repr=False)
class FrameCorner(Result):
    """An inside corner of the frame, by plain measurements from the model: right of its left end, behind its front
    end, above its table; below 0 on the other side."""

    name: str = field(metadata=fact("corner", Sure.EXACT))
    right_mm: float = field(metadata=fact("right", Sure.EXACT))
    behind_mm: float = field(metadata=fact("behind", Sure.EXACT))
    above_mm: float = field(metadata=fact("above", Sure.EXACT))


@dataclass(frozen=True, slots=True, repr=False)
class Wedge(Result):
    """How high a point of the model's base stands above the frame's floor; the point as for a frame corner.

    ``above_mm`` is how high the point lies above the table while the model stands level.
    """

    at: str = field(metadata=fact("point", Sure.EXACT))
    right_mm: float = field(metadata=fact("right", Sure.EXACT))
    behind_mm: float = field(metadata=fact("behind", Sure.EXACT))
    above_mm: float = field(metadata=fact("above", Sure.EXACT))
    height_mm: float = field(metadata=fact("stands at", Sure.EXACT))


@dataclass(frozen=True, slots=True, repr=False)
class CheckDistance(Result):
    """A far distance that must come out right, from an inside corner of the frame to a point of the model.

    ``at_mm`` is that point: right of the model's left end, behind its front end, above its table.
    """

    corner: str = field(metadata=fact("from the frame's corner", Sure.EXACT))
    point: str = field(metadata=fact("to", Sure.EXACT))
    at_mm: tuple[float, float, float] = field(metadata=fact("that lies", Sure.EXACT))
    distance_mm: float = field(metadata=fact("distance", Sure.EXACT))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Setting(Result):
    """The frame about the model.

    ``factor`` takes lengths on the model to lengths on the block. ``turn_deg`` and ``tilt_deg`` are the figure's in
    the block: the frame is turned and leaned the other way about a level model. ``inside_mm`` is the frame's inside
    size. ``digits`` are those behind the point with which corners, wedges and far distances are printed, and
    ``errors_mm`` what half of the last one is worth on the block, at the figure's worst place. ``rotation`` (3, 3) and
    ``shift_mm`` take model points (figure frame, mm at the maquette's size) to places in the frame.

    Lengths are mm, angles degrees; exact, but for the digits that are printed. ``corners``, ``wedges`` and ``checks``
    are measured on the model, at its own size. ``print`` it, or ask for its `text` in ``"us"`` units.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 400)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(300, 300, 800), stance=bf.Stance.upright(0))
    >>> frame = bf.setting(fit)
    >>> round(frame.factor, 6), [round(side, 3) for side in frame.inside_mm], len(frame.corners)
    (2.0, [150.0, 150.0, 400.0], 8)
    >>> (frame.in_frame([[0, 0, 0]]).round(3) + 0).tolist(), len(frame.checks)  # its left front corner
    ([[25.0, 0.0, 0.0]], 3)
    """

    factor: float = field(metadata=fact("model to block", Sure.EXACT))
    inside_mm: tuple[float, float, float] = field(metadata=fact("frame inside", Sure.EXACT))
    turn_deg: float = field(metadata=fact("turned", Sure.EXACT))
    tilt_deg: float = field(metadata=fact("leaned", Sure.EXACT))
    corners: tuple[FrameCorner, ...] = field(metadata=fact("corners", Sure.EXACT))
    wedges: tuple[Wedge, ...] = field(metadata=fact("wedges", Sure.EXACT))
    checks: tuple[CheckDistance, ...] = field(metadata=fact("far distances", Sure.EXACT))
    digits: tuple[int, int, int]
    errors_mm: tuple[float, float, float] = field(metadata=fact("last digit is worth", Sure.EXACT, Rounding.UP))
    rotation: Array = field(metadata=fact("rotation", Sure.EXACT, shown=False))
    shift_mm: Array = field(metadata=fact("shift", Sure.EXACT, shown=False))

    def in_frame(self, points: Array) -> Array:
        """Return where (n, 3) points of the model lie in the frame, from its left front bottom corner."""
        return np.asarray(points @ self.rotation.T + self.shift_mm)

    @kinds_checked
    def text(self, units: str = "metric") -> str:
        """Return the sheet for setting the model up; with ``"us"`` in inches and as fine parts of one as are needed."""
        rules = [_Rule.of(units, digits) for digits in self.digits]
        at_corners, at_wedges, at_checks = rules
        unit = at_corners.unit
        wide, deep, high = (f"{at_corners.written(side)} {unit}" for side in self.inside_mm)
        lines = [
            f"SETTING THE MODEL   1 mm on the model is {self.factor:.4g} mm on the block",
            f"Frame, inside: {wide} wide, {deep} deep, {high} high",
            "",
        ]
        level = self.tilt_deg < 0.05 and abs(self.turn_deg) < 0.05
        if level:
            lines.append("Model and frame both stand level and square to each other.")
        else:
            lines.append(
                "Either: the model level on its table, the frame turned and leaned about it. The frame's inside"
            )
            lines.append("corners lie, from the model's left end, front end and table (below 0: on the other side):")
        heading = ("corner", f"right {unit}", f"behind {unit}", f"above {unit}")
        rows = [(c.name, *map(at_corners.written, (c.right_mm, c.behind_mm, c.above_mm))) for c in self.corners]
        lines += [in_columns([heading, *rows]), ""]
        if self.wedges and not level:
            lines += self._wedge_lines(at_wedges)
        lines.append("Then these far distances must come out right:")
        for c in self.checks:
            right, behind, above = map(at_checks.rough, c.at_mm)
            where = f"({right} right, {behind} behind, {above} above)"
            lines.append(f"  frame's {c.corner} corner to {c.point} {where}: {at_checks.written(c.distance_mm)} {unit}")
        lines += ["", "What half of the last digit printed here is worth on the block, at the figure's worst place:"]
        kinds = ("frame's corners", "wedges", "far distances")
        worth = [
            (kind, rule.worth(error, digits))
            for kind, error, digits, rule in zip(kinds, self.errors_mm, self.digits, rules, strict=True)
        ]
        heads = ("set by", f"{unit} on the block")
        lines.append(in_columns([heads, *(worth if self.wedges else [worth[0], worth[2]])]))
        return "\n".join(lines) + "\n"

    def _wedge_lines(self, rule: "_Rule") -> list[str]:
        unit = rule.unit
        head = (
            "point",
            f"right {unit}",
            f"behind {unit}",
            f"above table {unit}",
            f"then above the frame's floor {unit}",
        )
        places = [(w.at, *map(rule.written, (w.right_mm, w.behind_mm, w.above_mm, w.height_mm))) for w in self.wedges]
        first = "Or: the frame level, the model wedged up in it until these points of its base stand so high:"
        return [first, in_columns([head, *places]), ""]


@dataclass(frozen=True, slots=True)
class _Rule:
    """How lengths are written here: mm with ``digits`` behind the point, or ``parts`` of an inch at least as fine."""

    digits: int
    parts: int

    @classmethod
    def of(cls, units: str, digits: int) -> "_Rule":
        finest = 10.0**-digits
        parts = next((p for p in (16, 32, 64, 128, 256, 512, 1024) if 25.4 / p <= finest), 2048)
        return cls(digits, parts if units_of(units) is US else 0)

    @property
    def unit(self) -> str:
        return "in" if self.parts else "mm"

    def written(self, millimetres: float) -> str:
        if self.parts:
            return inches_of(millimetres, parts=self.parts)
        return f"{round(millimetres, self.digits) + 0.0:.{self.digits}f}"

    def rough(self, millimetres: float) -> str:
        """Return a length that only says which place is meant."""
        return inches_of(millimetres) if self.parts else f"{millimetres:.0f}"

    def worth(self, error_mm: float, digits: int) -> str:
        """Return what half of the last digit, or part, is worth, where ``error_mm`` is for half a digit of mm."""
        if not self.parts:
            return f"{rounded_up(error_mm, 2):.2f}"
        return f"{rounded_up(error_mm * 10.0**digits * 25.4 / self.parts / 25.4, 3):.3f}"


@kinds_checked
def setting(fit: Fit) -> Setting:
    """Return how to set the maquette for a fit. The figure's ``ratio`` is that of the maquette it was read from.

    Lengths are mm on the model; exact, rounded only as it is printed. Raises `BadValueError` for a fit without a
    placement.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 400)]
    >>> fit = bf.largest(bf.Figure.from_points(corners), bf.Block.box(300, 300, 800), stance=bf.Stance.upright(0))
    >>> bf.setting(fit).factor, bf.setting(fit).inside_mm
    (2.0, (150.0, 150.0, 400.0))
    """
    if fit.placement is None:
        raise BadValueError(f"{fit.figure.name} has no placement in {fit.block.name}: there is nothing to set")
    ratio = fit.figure.ratio
    placement, block = fit.placement, fit.block
    factor = placement.scale * ratio
    low = block.corners_mm.min(axis=0)
    model = fit.figure.vertices / ratio
    shift = (placement.shift_mm - low) / factor
    rotation = placement.rotation
    width, depth, height = (side / factor for side in block.size_mm)
    zero = model.min(axis=0)  # left end, front end, table
    corners = _frame_corners(block)
    on_model = np.round(((corners - low) / factor - shift) @ rotation - zero, 9) + 0.0
    named = tuple(
        FrameCorner(_corner_name(corner, low, corners.max(axis=0)), *place)
        for corner, place in zip(corners, on_model.tolist(), strict=True)
    )
    wedges = _wedges(model, zero, rotation, shift)
    errors = (math.sqrt(3) / 2, _wedge_error(wedges, model, zero), 0.5)
    digits = [_digits(error * factor) for error in errors]
    return Setting(
        factor=factor,
        inside_mm=(width, depth, height),
        turn_deg=placement.turn_deg,
        tilt_deg=placement.tilt_deg,
        corners=named,
        wedges=wedges,
        checks=_checks(model, zero, (corners - low) / factor, named, rotation, shift),
        digits=(digits[0], digits[1], digits[2]),
        errors_mm=(
            errors[0] * factor * 10.0 ** -digits[0],
            errors[1] * factor * 10.0 ** -digits[1],
            errors[2] * factor * 10.0 ** -digits[2],
        ),
        rotation=rotation,
        shift_mm=shift,
    )


def _digits(error_mm: float) -> int:
    """Return how many digits behind the point keep what an error of one mm makes on the block small enough."""
    return next((d for d in range(1, _FINEST) if error_mm * 10.0**-d <= _WANTED_MM), _FINEST)


def _wedge_error(wedges: tuple[Wedge, ...], model: Array, zero: Array) -> float:
    """Return how far the model's worst place moves, in mm, if each wedge's height is wrong by half a mm either way."""
    if len(wedges) < 3:
        return 0.0
    places = np.array([[w.right_mm, w.behind_mm, 1.0] for w in wedges])
    low, high = np.zeros(3), model.max(axis=0) - zero
    ends = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    worst = 0.0
    for signs in ((1, 1, 1), (-1, 1, 1), (1, -1, 1), (1, 1, -1)):  # and their opposites, which move as far
        slope_x, slope_y, rise = np.linalg.solve(places, 0.5 * np.array(signs)).tolist()
        up = rise + ends[:, 0] * slope_x + ends[:, 1] * slope_y
        moved = np.stack([-slope_x * ends[:, 2], -slope_y * ends[:, 2], up], axis=1)
        worst = max(worst, float(np.linalg.norm(moved, axis=1).max()))
    return worst


def _frame_corners(block: Block) -> Array:
    """Return the corners (n, 3) of the frame: the block's own, or of a box that stands around a rough one."""
    if block.surface is None:
        return np.asarray(block.corners_mm)
    return box_corners(block.corners_mm.min(axis=0), block.corners_mm.max(axis=0))


def _corner_name(corner: Array, low: Array, high: Array) -> str:
    """Return a corner's name by the sides it is nearest to."""
    middle = (low + high) / 2
    x, y, z = (corner > middle).tolist()
    return f"{'back' if y else 'front'} {'right' if x else 'left'} {'top' if z else 'bottom'}"


def _wedges(model: Array, zero: Array, rotation: Array, shift: Array) -> tuple[Wedge, ...]:
    """Return the heights of three points of the base, far apart, in a level frame: of the very points named."""
    for within in (*_BASE_MM, 0.01 * float(np.ptp(model[:, 2]))):
        base = model[model[:, 2] <= zero[2] + within]
        ring = footprint(base[:, :2])
        if len(ring) < 3:
            continue
        far = {
            "back": ring[int((ring[:, 1] - _LEFTMOST * ring[:, 0]).argmax())],
            "front left": ring[int((-ring[:, 0] - ring[:, 1]).argmax())],
            "front right": ring[int((ring[:, 0] - ring[:, 1]).argmax())],
        }
        spread = np.linalg.svd(np.stack(list(far.values())) - np.mean(list(far.values()), axis=0), compute_uv=False)
        if spread[1] > 0.1 * float(np.ptp(model[:, :2], axis=0).min()):
            return tuple(_wedge(f"{name} of the base", base, at, zero, rotation, shift) for name, at in far.items())
    return ()  # it stands on a point or an edge: nothing to wedge


def _wedge(name: str, base: Array, place: Array, zero: Array, rotation: Array, shift: Array) -> Wedge:
    point = base[int(np.abs(base[:, :2] - place).sum(axis=1).argmin())]
    right, behind, above = (point - zero).tolist()
    return Wedge(name, right, behind, above, round(float((rotation @ point + shift)[2]), 9) + 0.0)


def _checks(
    model: Array, zero: Array, inside: Array, named: tuple[FrameCorner, ...], rotation: Array, shift: Array
) -> tuple[CheckDistance, ...]:
    """Return three long distances between the model's ends and the frame's corners, in three different directions."""
    ends = {
        "the top of the model": model[int(model[:, 2].argmax())],
        "its left end": model[int(model[:, 0].argmin())],
        "its right end": model[int(model[:, 0].argmax())],
    }
    told = []
    used: set[int] = set()
    for name, point in ends.items():
        away = np.linalg.norm(inside - (rotation @ point + shift), axis=1)
        away[list(used)] = -1
        far = int(away.argmax())
        used.add(far)
        right, behind, above = (point - zero).tolist()
        told.append(CheckDistance(named[far].name, name, (right, behind, above), float(away[far])))
    return tuple(told)

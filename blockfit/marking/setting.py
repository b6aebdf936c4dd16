"""Setting the maquette in a frame so that it sits there as the figure will sit in the block.

mm at the maquette's size unless said otherwise. Either the model stands level on its table and the frame is turned
and leaned about it, or the frame stands level and the model is wedged up in it."""

from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.marking.table import in_columns
from blockfit.measure.sections import footprint
from blockfit.search.result import Fit
from blockfit.solids.arrays import Array

__all__ = ["CheckDistance", "FrameCorner", "Setting", "Wedge", "setting"]


@dataclass(frozen=True, slots=True)
class FrameCorner:
    """An inside corner of the frame, by plain measurements from the model: right of its left end, behind its front
    end, above its table; below 0 on the other side."""

    name: str
    right_mm: float
    behind_mm: float
    above_mm: float


@dataclass(frozen=True, slots=True)
class Wedge:
    """How high a point of the model's base stands above the frame's floor; the point as for a frame corner."""

    at: str
    right_mm: float
    behind_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class CheckDistance:
    """A far distance that must come out right, from an inside corner of the frame to a point of the model."""

    corner: str
    point: str
    distance_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """The frame about the model.

    ``factor`` takes lengths on the model to lengths on the block. ``turn_deg`` and ``tilt_deg`` are the figure's in
    the block: the frame is turned and leaned the other way about a level model. ``inside_mm`` is the frame's inside
    size. ``rotation`` (3, 3) and ``shift_mm`` take model points (figure frame, mm at the maquette's size) to places
    in the frame.
    """

    factor: float
    inside_mm: tuple[float, float, float]
    turn_deg: float
    tilt_deg: float
    corners: tuple[FrameCorner, ...]
    wedges: tuple[Wedge, ...]
    checks: tuple[CheckDistance, ...]
    rotation: Array
    shift_mm: Array

    def in_frame(self, points: Array) -> Array:
        """Return where (n, 3) points of the model lie in the frame, from its left front bottom corner."""
        return np.asarray(points @ self.rotation.T + self.shift_mm)

    def __str__(self) -> str:
        """Return the sheet for setting the model up."""
        width, depth, height = self.inside_mm
        lines = [
            f"SETTING THE MODEL   1 mm on the model is {self.factor:.4g} mm on the block",
            f"Frame, inside: {width:.1f} mm wide, {depth:.1f} mm deep, {height:.1f} mm high",
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
        heading = ("corner", "right mm", "behind mm", "above mm")
        rows = [(c.name, f"{c.right_mm:.1f}", f"{c.behind_mm:.1f}", f"{c.above_mm:.1f}") for c in self.corners]
        lines += [in_columns([heading, *rows]), ""]
        if self.wedges and not level:
            lines.append("Or: the frame level, the model wedged up in it until these points of its base stand so high:")
            head = ("point", "right mm", "behind mm", "above the frame's floor mm")
            places = [(w.at, f"{w.right_mm:.1f}", f"{w.behind_mm:.1f}", f"{w.height_mm:.1f}") for w in self.wedges]
            lines += [in_columns([head, *places]), ""]
        lines.append("Then these far distances must come out right:")
        lines += [f"  frame's {c.corner} corner to {c.point}: {c.distance_mm:.1f} mm" for c in self.checks]
        return "\n".join(lines) + "\n"


def setting(fit: Fit) -> Setting:
    """Return how to set the maquette for a fit. The figure's ``ratio`` is that of the maquette it was read from.

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
    corners = block.corners_mm
    on_model = np.round(((corners - low) / factor - shift) @ rotation - zero, 9) + 0.0
    named = tuple(
        FrameCorner(_corner_name(corner, low, corners.max(axis=0)), *place)
        for corner, place in zip(corners, on_model.tolist(), strict=True)
    )
    return Setting(
        factor=factor,
        inside_mm=(width, depth, height),
        turn_deg=placement.turn_deg,
        tilt_deg=placement.tilt_deg,
        corners=named,
        wedges=_wedges(model, zero, rotation, shift),
        checks=_checks(model, zero, (corners - low) / factor, named, rotation, shift),
        rotation=rotation,
        shift_mm=shift,
    )


def _corner_name(corner: Array, low: Array, high: Array) -> str:
    """Return a corner's name by the sides it is nearest to."""
    middle = (low + high) / 2
    x, y, z = (corner > middle).tolist()
    return f"{'back' if y else 'front'} {'right' if x else 'left'} {'top' if z else 'bottom'}"


def _wedges(model: Array, zero: Array, rotation: Array, shift: Array) -> tuple[Wedge, ...]:
    """Return the heights of three points of the base, far apart, in a level frame."""
    base = model[model[:, 2] <= zero[2] + max(1e-6, 0.01 * float(np.ptp(model[:, 2])))]
    ring = footprint(base[:, :2])
    if len(ring) < 3:  # it stands on a point or an edge: nothing to wedge
        return ()
    first = ring[int((ring[:, 1] - 1e-3 * ring[:, 0]).argmax())]
    second = ring[int((-ring[:, 0] - ring[:, 1]).argmax())]
    third = ring[int((ring[:, 0] - ring[:, 1]).argmax())]
    told = []
    for name, place in (("back", first), ("front left", second), ("front right", third)):
        point = np.array([*place, zero[2]])
        height = float((rotation @ point + shift)[2])
        told.append(Wedge(f"{name} of the base", float(place[0] - zero[0]), float(place[1] - zero[1]), height))
    return tuple(told)


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
        where = f"{name} ({right:.0f} right, {behind:.0f} behind, {above:.0f} above)"
        told.append(CheckDistance(named[far].name, where, float(away[far])))
    return tuple(told)

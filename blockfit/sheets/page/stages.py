"""The stone at every stage as a solid to look at: block, pieces gone, planes of roughing out, the figure. mm."""

from dataclasses import dataclass

import numpy as np

from blockfit.facts.measures import Measure
from blockfit.facts.phrases import Phrase, down
from blockfit.facts.systems import METRIC, US, UnitSystem
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.surface import signed_volume
from blockfit.marking.roughing import Roughing, roughing
from blockfit.measure.booleans import Solid, arrays_of, hull_solid, prism, solid_from
from blockfit.measure.sections import rings_of
from blockfit.search.result import Fit
from blockfit.solids.stone import Stone
from blockfit.units import M3_PER_MM3
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.statics import standing

__all__ = ["StoneStage", "stages_of"]

_PLANES = 5  # of roughing out, at most


@dataclass(frozen=True, slots=True, eq=False)
class StoneStage:
    """What is left at one stage, as a closed surface, and whether it stands by itself; ``pieces_gone`` of the plan."""

    name: Phrase
    vertices: Array
    faces: Ints
    pieces_gone: int
    volume_m3: float
    stands: str

    def words(self, units: UnitSystem, stone: Stone | None) -> str:
        """Return what is left and whether it stands."""
        return f"{self.name.text(units)}: {self.left(units, stone)} left; {self.stands}"

    def left(self, units: UnitSystem, stone: Stone | None) -> str:
        """Return the weight that is left, or the volume without a stone."""
        return units.volume(self.volume_m3) if stone is None else units.mass(self.volume_m3 * stone.density_kg_m3)

    def record(self, stone: Stone | None) -> dict[str, object]:
        """Return what the page's slider says."""
        return {
            "name_metric": self.name.text(METRIC),
            "name_us": self.name.text(US),
            "left_metric": self.left(METRIC, stone),
            "left_us": self.left(US, stone),
            "metric": self.words(METRIC, stone),
            "us": self.words(US, stone),
            "stands": self.stands,
        }


def stages_of(fit: Fit, plan: OffcutPlan | None) -> list[StoneStage]:
    """Return the stages in order. Roughing out is from the front, with its usual allowance, in a few planes."""
    stages = [_stage(Phrase("The block"), *_whole(fit), 0)]
    pieces = plan.pieces if plan is not None else ()
    for number, piece in enumerate(pieces, 1):
        stages.append(_stage(Phrase(f"After piece {number}"), piece.left.vertices, piece.left.faces, number))
    if fit.figure.is_solid:
        left = solid_from(stages[-1].vertices, stages[-1].faces)
        stages += _roughed(fit, left, len(pieces))
    figure = fit.solid()
    return [*stages, _stage(Phrase("The finished figure"), figure.vertices, figure.faces, len(pieces))]


def _whole(fit: Fit) -> tuple[Array, Ints]:
    if fit.block.surface is not None:
        return fit.block.surface.vertices, fit.block.surface.faces
    return arrays_of(hull_solid(fit.block.corners_mm))


def _roughed(fit: Fit, left: Solid, gone: int) -> list[StoneStage]:
    """Return the stone after each of a few planes of roughing out from the front."""
    low = float(fit.block.corners_mm[:, 1].min())
    end = roughing(fit, step=max(fit.block.size_mm)).end_mm
    planes: Roughing = roughing(fit, step=max(20.0, end / _PLANES))
    stages, start = [], -1.0
    for plane in planes.planes:
        rings = rings_of(plane.go)
        if rings:
            left = left - prism(rings, planes.axes, low + start, low + plane.depth_mm)
        start = plane.depth_mm
        vertices, faces = arrays_of(left)
        if len(faces):
            name = Phrase.of("Roughed out from the front, {depth} in", depth=down(plane.depth_mm, Measure.LENGTH))
            stages.append(_stage(name, vertices, faces, gone))
    return stages


def _stage(name: Phrase, vertices: Array, faces: Ints, gone: int) -> StoneStage:
    volume = signed_volume(vertices, faces)
    stands = "not known to stand: its surface is open"
    if volume > 0:
        held = standing(vertices, faces)
        tips = f"it stands, and tips over the {held.weakest} at {np.floor(held.weakest_deg):.0f}°"
        stands = tips if held.stands else f"IT DOES NOT STAND BY ITSELF: {held.falls}"
    return StoneStage(name, vertices, faces, gone, max(volume, 0.0) * M3_PER_MM3, stands)

"""One piece of waste that comes off whole: its cuts, what it holds, and how the rest stands without it. mm."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Fact, Rounding, Sure, fact
from blockfit.facts.results import Result, record_of
from blockfit.geometry.arrays import Array
from blockfit.geometry.polytope import inner_box, least_width
from blockfit.geometry.surface import signed_volume
from blockfit.geometry.tolerances import PARALLEL
from blockfit.measure.booleans import arrays_of
from blockfit.measure.sections import band, polygon_area
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.solids.sawn import sawn_block
from blockfit.units import M2_PER_MM2, M3_PER_MM3, Length, length_mm
from blockfit.waste.cuts.cut import Cut, cuts_of
from blockfit.waste.cuts.division import frame_of
from blockfit.waste.cuts.marks import Hollow
from blockfit.waste.offcuts.parts import Part
from blockfit.waste.statics import Balance, standing

__all__ = ["Offcut", "Web", "piece_of"]

_KINDS = {1: "through cut", 2: "rebate", 3: "corner"}


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Web(Result):
    """Stone that opposed cuts may leave between them until the piece is slung: its outline (k, 3) and area."""

    outline: Array = field(metadata=fact("outline", Sure.EXACT, key="outline_mm", shown=False))
    area_m2: float = field(metadata=fact("area", Sure.EXACT))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Offcut(Result):
    """One piece taken off whole: its cuts, size along the block's axes, centre of gravity and way out (3,).

    ``weight_kg`` is at the stone's typical density, ``weight_range_kg`` at the ends of its range; ``None``
    without a stone. ``kind`` is through cut, rebate, corner, or part of one that was divided to be lifted.
    ``box_mm`` is the largest box that could be sawn from it. ``stage`` is when it may leave, ``setback_mm`` how far
    the figure can still go back afterwards, ``left``, ``left_m3``, ``left_kg`` and ``left_stands`` what stays on the
    banker; ``origin`` is the block that it was cut from. ``sound_mm`` (n, 3) are the corners of a convex body of sound
    stone within the piece: all of it, unless the block was rough. Lengths are mm, in the block's frame. Volumes, sizes
    and distances are exact (of a rough block's piece resolved; what is left, to a ten-thousandth of a millimetre along
    every cut); weights are estimates, for planning.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> piece = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1, most_cuts=1).pieces[0]
    >>> piece.kind, piece.stage, len(piece.cuts), piece.least_thickness_mm >= 80
    ('through cut', 'before carving', 1, True)
    >>> piece.weight_range_kg[0] < piece.weight_kg < piece.weight_range_kg[1], piece.left_stands.stands
    (True, True)
    """

    kind: str = field(metadata=fact("kind", Sure.EXACT))
    volume_m3: float = field(metadata=fact("volume", Sure.EXACT))
    weight_kg: float | None = field(metadata=fact("weight", Sure.ESTIMATE, Rounding.UP))
    weight_range_kg: tuple[float, float] | None = field(metadata=fact("weight range", Sure.ESTIMATE, Rounding.UP))
    size_mm: tuple[float, float, float] = field(metadata=fact("within", Sure.EXACT, Rounding.UP))
    box_mm: tuple[float, float, float] = field(metadata=fact("holds a box of", Sure.EXACT, Rounding.DOWN))
    least_thickness_mm: float = field(metadata=fact("least width", Sure.EXACT, Rounding.DOWN))
    centre_mm: Array = field(metadata=fact("centre of gravity", Sure.EXACT))
    cuts: tuple[Cut, ...] = field(metadata=fact("cuts", Sure.EXACT))
    web: Web | None = field(metadata=fact("web", Sure.EXACT, shown=False))
    draw_out: Array = field(metadata=fact("drawn out, as a vector", Sure.EXACT, shown=False))
    solid: Figure
    stage: str = field(metadata=fact("leaves", Sure.GIVEN))
    setback_mm: float = field(metadata=fact("setback left", Sure.EXACT, Rounding.DOWN))
    left_m3: float = field(metadata=fact("left standing", Sure.RESOLVED))
    left_kg: float | None = field(metadata=fact("left standing, weight", Sure.ESTIMATE, Rounding.UP))
    left_stands: Balance
    left: Figure
    origin: Block | None = None
    sound_mm: Array | None = None

    def block(self, margin: Length = 0) -> Block:
        """Return the piece as a block to be carved, in the first block's frame: stone, bed, skin and flaws go with it.

        Of a rough block's piece it is the convex body of sound stone that surely lies in it.

        Its sawn faces lose ``margin`` of bruised stone; see `blockfit.solids.sawn`.
        """
        if self.origin is None:
            raise BadValueError(f"{self.solid.name} was kept without its block; plan the offcuts anew")
        corners = self.convex_mm
        name = f"{self.solid.name} of {self.origin.name}"
        return sawn_block(corners, self.origin, margin_mm=length_mm(margin, "margin", least=0), name=name)

    def _sure(self, name: str, fact: Fact) -> Sure:
        """Return how sure a fact is: of a rough block's piece what is exact elsewhere is resolved."""
        rough = self.origin is not None and self.origin.surface is not None
        return Sure.RESOLVED if rough and fact.sure is Sure.EXACT else fact.sure

    @property
    def convex_mm(self) -> Array:
        """Corners (n, 3) of the convex body of sound stone in the piece."""
        return np.asarray(self.solid.vertices if self.sound_mm is None else self.sound_mm)

    def record(self) -> dict[str, Any]:
        """Return the piece as plain data, how the rest stands beside it."""
        rest = self.left_stands
        return {**record_of(self), "left_stands": rest.stands, "left_margin_mm": rest.margin_mm}


def piece_of(
    part: Part, block: Block, gone: Sequence[Hollow], number: int, stage: str, back_mm: float, web_mm: float
) -> Offcut:
    """Return a part of a plan as a numbered piece: after what is ``gone``, with the setback ``back_mm`` then left."""
    stone = block.stone
    vertices, faces = arrays_of(part.solid)
    solid = Figure(vertices, faces, name=f"offcut {number}")
    volume = solid.volume_m3 or 0.0
    kind = _KINDS[min(3, max(1, len(part.normals)))]
    width, depth, height = np.ptp(vertices, axis=0).tolist()
    cuts = cuts_of(block, gone, part.normals, part.offsets, part.methods, part.outlines, part.areas_m2)
    left, left_faces = arrays_of(part.left)
    left_m3 = signed_volume(left, left_faces) * M3_PER_MM3
    frames = [np.eye(3), *[frame_of(normal) for normal in part.normals if np.abs(normal).max() < PARALLEL]]
    a, b, c = inner_box(part.sound, frames).tolist()
    return Offcut(
        kind=f"{kind}, divided" if part.divided else kind,
        volume_m3=volume,
        weight_kg=None if stone is None else volume * stone.density_kg_m3,
        weight_range_kg=None if stone is None else (volume * stone.low_kg_m3, volume * stone.high_kg_m3),
        size_mm=(width, depth, height),
        box_mm=(a, b, c),
        least_thickness_mm=least_width(part.sound),
        centre_mm=solid.centroid_mm,
        cuts=cuts,
        web=_web(cuts[-1], web_mm) if cuts else None,
        draw_out=part.draw_out,
        solid=solid,
        stage=stage,
        setback_mm=back_mm,
        left_m3=left_m3,
        left_kg=None if stone is None else left_m3 * stone.density_kg_m3,
        left_stands=standing(left, left_faces),
        left=Figure(left, left_faces, name=f"stone left after offcut {number}"),
        origin=block,
        sound_mm=part.sound,
    )


def _web(cut: Cut, width_mm: float) -> Web | None:
    """Return the strip of stone that opposed cuts leave along the middle of the last cut, its longer way."""
    if not cut.opposed or len(cut.outline) < 3 or width_mm <= 0:
        return None
    middle = cut.outline.mean(axis=0)
    _, _, axes = np.linalg.svd(cut.outline - middle, full_matrices=False)
    strip = band(cut.outline, middle, axes[0], axes[1], width_mm)
    area = polygon_area((strip - middle) @ axes[:2].T) * M2_PER_MM2
    return Web(strip, area)

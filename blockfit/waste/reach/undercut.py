"""What is undercut from one side: the stone before, beside, between and behind the figure, and the surface that
must be reached from elsewhere.

mm and m³, block frame. Volumes and regions are resolved to the columns' pitch; the residual to the exact volume
is reported. "Closed" means closed to straight tools, or to the tool given."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Sure, fact
from blockfit.facts.results import Result, record_of
from blockfit.geometry.arrays import Flags, Ints
from blockfit.kinds import counted, kinds_checked
from blockfit.measure.columns import Columns, columns_of
from blockfit.measure.views import FACE_DIRECTIONS, View, lattice_over, view_along
from blockfit.search.result import Fit
from blockfit.solids.block import Block
from blockfit.units import LEAST_MM, M3_PER_MM3, Length, length_mm
from blockfit.waste.placed import default_pitch_mm, light_solid, placed_solid
from blockfit.waste.reach.chords import block_chords, divided
from blockfit.waste.reach.directions import seen_along
from blockfit.waste.reach.regions import FrontView, Region, classes, joined_patches, regions_of
from blockfit.waste.reach.sight import Elements, elements_of, reached, skimmed
from blockfit.waste.reach.tools import Tool

__all__ = ["Front", "Undercuts", "between_volume", "standing_base", "undercuts", "view_of"]

Front = str | Sequence[float]
"""A face's name, or the direction in which the carver looks, into the stone."""

_FROM_FACE = 1e-3  # of the block: what lies no higher above the lowest point is the base


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Undercuts(Result):
    """Four volumes of stone and what the pitch misses, the reach of each face, and the regions left for later.

    ``view`` is how the carver looks; ``skims_mm2`` is the surface seen from there at less than the least angle, or
    edge on: a tool only glances off it. ``region_of`` (m,) gives each element of ``elements`` its region's number, 0
    where it is reached from the front, stands on the bottom, or is scattered (``scattered_mm2``).

    Volumes are m³, areas mm² and shares of the whole surface; all are resolved to ``pitch_mm``. The four volumes and
    ``residual_m3`` sum to the block less the figure.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> cut = bf.undercuts(fit, pitch=20)
    >>> [round(volume, 3) + 0 for volume in (cut.front_m3, cut.beside_m3, cut.trapped_m3, cut.rear_m3)]
    [0.0, 0.126, 0.0, 0.024]
    >>> abs(cut.residual_m3) < 1e-4, round(cut.reach_by_face["front"], 3), len(cut.regions)
    (True, 0.278, 1)
    """

    front: str = field(metadata=fact("seen from the", Sure.GIVEN))
    view: View
    pitch_mm: float = field(metadata=fact("pitch", Sure.GIVEN))
    front_m3: float = field(metadata=fact("before the figure", Sure.RESOLVED))
    beside_m3: float = field(metadata=fact("beside it", Sure.RESOLVED))
    trapped_m3: float = field(metadata=fact("between its surfaces", Sure.RESOLVED))
    rear_m3: float = field(metadata=fact("behind it", Sure.RESOLVED))
    residual_m3: float = field(metadata=fact("missed by the pitch", Sure.RESOLVED))
    reach_by_face: dict[str, float] = field(metadata=fact("reached from", Sure.RESOLVED, measure=Measure.SHARE))
    regions: tuple[Region, ...] = field(metadata=fact("regions", Sure.RESOLVED))
    scattered_mm2: float = field(metadata=fact("scattered spots", Sure.RESOLVED))
    skims_mm2: float = field(metadata=fact("met nearly edge on", Sure.RESOLVED))
    least_angle_deg: float = field(metadata=fact("least angle", Sure.GIVEN))
    elements: Elements
    region_of: Ints

    def record(self) -> dict[str, Any]:
        """Return everything as plain data, what must wait beside it."""
        return {**record_of(self), "later_mm2": self.later_mm2}

    @property
    def later_mm2(self) -> float:
        """Surface that the front does not reach, the base it stands on left out."""
        return sum(region.area_mm2 for region in self.regions) + self.scattered_mm2


@kinds_checked
def undercuts(
    fit: Fit,
    *,
    front: Front = "front",
    tool: Tool | None = None,
    least_angle: float = 15,
    least_region: float = 5e-4,
    slants: int = 160,
    pitch: Length | None = None,
) -> Undercuts:
    """Return what is undercut from ``front``, by columns ``pitch`` apart (default: a 400th of the block).

    A base that stands on the bottom is no undercut: it stays. ``tool`` is what must reach (default: a straight
    infinitely thin tool); ``least_angle`` the degrees below which it only glances off; ``least_region`` the share of
    the surface below which regions are joined to a neighbour or reported as scattered; ``slants`` how many slanting
    directions are tried for what no face reaches.

    ``front`` is a face's name or the way in which the carver looks, (3,), into the stone. Everything is resolved to the
    pitch. The least angle and the least region are starting values, without a source. Raises `OpenSurfaceError` for a
    figure that is no solid, and `BadValueError` for one that does not fit, an unknown face, options out of range or a
    pitch so coarse that no column meets the figure.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> cut = bf.undercuts(fit, front="left", pitch=20)
    >>> cut.front, [(region.reach, region.approach) for region in cut.regions]
    ('left', [('back', 'from the right')])
    """
    solid = placed_solid(fit, "undercuts")
    if not 0 <= least_angle < 90:
        raise BadValueError(f"least_angle={least_angle!r} must be 0 to 90 degrees")
    if not 0 <= least_region < 1:
        raise BadValueError(f"least_region={least_region!r} must be a share of the surface, from 0 up")
    counted(slants, "slants")
    block = fit.block
    step = default_pitch_mm(fit) if pitch is None else length_mm(pitch, "pitch", least=LEAST_MM)
    view, name = view_of(block, front)
    light, _ = light_solid(solid, step)
    elements = elements_of(light.vertices, light.faces, step)
    columns = columns_of(elements.vertices, elements.faces, view, lattice_over(view, elements.vertices, step))
    if len(columns.cell) == 0:
        raise BadValueError(f"pitch={pitch!r} is too coarse: no column meets the figure; take a finer one")
    volumes = _volumes(block, elements, columns)
    residual = block.volume_m3 - (solid.volume_m3 or 0.0) - sum(volumes)
    faces = block.names if block.surface is None else tuple(FACE_DIRECTIONS)  # a rough block has no faces of its own
    bare = {face: reached(elements, view_of(block, face)[0], step) for face in faces}
    total = float(elements.areas.sum())
    shares = {face: float(elements.areas[hit].sum()) / total for face, hit in bare.items()}
    ahead = seen_along(elements, view.into, block, step, tool)
    base = standing_base(elements, block)
    edge_on = ~ahead & ~base & skimmed(elements, view, step)
    later = ~ahead & ~edge_on & ~base
    square = -(elements.normals @ view.into)
    skims = edge_on | (ahead & (square < np.sin(np.radians(least_angle))))
    setting = FrontView(fit, elements, columns, step, tool, least_angle, least_region * total)
    labels, ways = classes(setting, bare, later, slants)
    patch = joined_patches(setting, labels, later)
    regions, region_of = regions_of(setting, labels, ways, patch, later)
    scattered = float(elements.areas[later & (region_of == 0)].sum())
    skims_mm2 = float(elements.areas[skims].sum())
    return Undercuts(
        name, view, step, *volumes, residual, shares, regions, scattered, skims_mm2, least_angle, elements, region_of
    )


def view_of(block: Block, front: Front, name: str = "front") -> tuple[View, str]:
    """Return the view of a face from outside, or along a direction, and its name."""
    if not isinstance(front, str):
        return view_along(front, name), "direction given"
    if front in FACE_DIRECTIONS:
        return view_along(FACE_DIRECTIONS[front]), front
    if front in block.names:
        return view_along(-block.normals[block.names.index(front)]), front
    raise BadValueError(f"{name}={front!r} must be a direction or one of {', '.join(block.names)}")


def _volumes(block: Block, elements: Elements, columns: Columns) -> tuple[float, float, float, float]:
    """Return the stone before, beside, between and behind the figure, in m³."""
    if block.surface is not None:
        surface = block.surface
        before, beside, between, behind = divided(
            columns.view, columns.lattice.pitch, elements, surface.vertices, surface.faces
        )[0].tolist()
        return before, beside, between, behind
    start, end = block_chords(block.normals, block.offsets_mm, columns.view, columns.places())
    cell = columns.lattice.pitch**2 * M3_PER_MM3
    first, last = columns.is_first, columns.is_last
    before = float((columns.enter - start)[first].sum()) * cell
    behind = float((end - columns.leave)[last].sum()) * cell
    whole = float((end - start)[first].sum()) * cell
    return before, block.volume_m3 - whole, between_volume(columns), behind


def between_volume(columns: Columns) -> float:
    """Return the stone in m³ between the figure's surfaces: the gaps within columns."""
    gaps = np.where(columns.is_last[:-1], 0.0, columns.enter[1:] - columns.leave[:-1])
    return float(gaps.sum()) * columns.lattice.pitch**2 * M3_PER_MM3


def standing_base(elements: Elements, block: Block) -> Flags:
    """Return the elements that stand on the lowest level of the figure and face straight down."""
    low = float(elements.vertices[:, 2].min())
    spare = _FROM_FACE * max(block.size_mm)
    return np.asarray((elements.normals[:, 2] < -0.99) & (elements.points[:, 2] < low + spare))

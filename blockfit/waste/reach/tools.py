"""A straight tool: how thick, how long, how slim at its tip, and how much room a hand needs behind it.

mm. Reach is judged in a depth picture along the tool, against the figure itself: the waste before it is gone."""

from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, Flags
from blockfit.measure.pictures import closed_picture, least_around
from blockfit.measure.views import Lattice, View, lattice_over
from blockfit.units import Length, length_mm
from blockfit.waste.reach.sight import Elements, first_seen, front_depths

__all__ = ["Tool", "tool_reached"]


@dataclass(frozen=True)
class Tool:
    """A straight tool of a ``diameter`` and ``length``; ``tip`` and ``tip_length`` if it is slimmer before.

    ``hand`` is the diameter of the room that hand and hammer need behind it.

    >>> from blockfit import Tool
    >>> Tool("12 mm", "250 mm", hand=90).diameter
    '12 mm'
    """

    diameter: Length
    length: Length = 1e6
    tip: Length | None = None
    tip_length: Length = 0
    hand: Length = 0

    def __post_init__(self) -> None:
        """Check every length."""
        diameter, length, tip, tip_length, _ = self.sizes_mm
        if length <= 0:
            raise BadValueError(f"length={self.length!r} must be more than 0")
        if tip > diameter or tip_length > length:
            raise BadValueError(
                f"a tool {diameter:g} mm thick and {length:g} mm long cannot have a tip of {tip:g} x {tip_length:g} mm"
            )

    @property
    def sizes_mm(self) -> tuple[float, float, float, float, float]:
        """Diameter, length, the tip's diameter and length, and the room for a hand."""
        diameter = length_mm(self.diameter, "diameter", least=0)
        tip = diameter if self.tip is None else length_mm(self.tip, "tip", least=0)
        return (
            diameter,
            length_mm(self.length, "length", least=0),
            tip,
            length_mm(self.tip_length, "tip_length", least=0),
            length_mm(self.hand, "hand", least=0),
        )


def tool_reached(elements: Elements, view: View, pitch_mm: float, tool: Tool, among: Flags) -> Flags:
    """Return (m,) which of the elements ``among`` a tool moving along ``view.into`` touches with its tip."""
    hit = np.zeros(len(among), bool)
    asked = np.flatnonzero(among)
    if len(asked) == 0:
        return hit
    _, _, tip, _, _ = tool.sizes_mm
    lattice = lattice_over(view, elements.vertices, pitch_mm, plain=True)
    picture = depth_picture(elements, view, lattice)
    deepest = closed_picture(picture, stops(picture, tool, pitch_mm), tip / 2 / pitch_mm)
    plane, cell, slack = first_seen(elements, view, lattice, asked)
    hit[asked] = deepest.ravel()[cell] >= plane - slack
    return hit


def depth_picture(elements: Elements, view: View, lattice: Lattice) -> Array:
    """Return the depths (rows, columns) of the first surface, with an empty margin that tools can stand in."""
    depth, _ = front_depths(elements, view, lattice)
    return depth.reshape(lattice.rows, lattice.columns)


def stops(picture: Array, tool: Tool, pitch_mm: float) -> Array:
    """Return how deep the tip may go with the tool's axis on each cell: shank and hand must stay before the surface."""
    diameter, length, tip, tip_length, hand = tool.sizes_mm
    stop = np.full(picture.shape, np.inf)
    if tip < diameter:
        stop = np.minimum(stop, tip_length + least_around(picture, diameter / 2 / pitch_mm))
    if hand > 0:
        stop = np.minimum(stop, length + least_around(picture, hand / 2 / pitch_mm))
    return stop

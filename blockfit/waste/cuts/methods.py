"""What makes a cut, how wide it is, how far it wanders, and where it can be used.

mm. The widths and allowances of the methods listed here are starting values (common practice, no source, except
the wire: 10-11 mm over its beads, after a maker's instructions): take those of your own tools.

`METHODS` are tried in this order:

>>> import blockfit as bf
>>> [(method.name, method.kerf_mm) for method in bf.METHODS]
[('through saw', 12), ('disc from both sides', 6), ('drilled line with wedges', 30), ('hand channel', 60)]
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import CLOSE
from blockfit.kinds import take_fields
from blockfit.units import Length, length_mm
from blockfit.waste.cuts.division import outline

__all__ = ["METHODS", "Method", "any_method", "capable", "depth_needed", "still_made", "ways_of"]


@dataclass(frozen=True, slots=True)
class Method:
    """A way to make a flat cut.

    ``kerf_mm`` is the width it takes out, ``drift_mm`` how far it may wander towards the figure, ``overrun_mm`` how
    far it runs on past an inner corner, ``depth_mm`` how deep it reaches from one side. ``makes`` is 1 for through
    cuts only, 2 for rebates too (it can stop at a line), 3 for corners too (it can work blind). ``opposed``: a
    through cut is made from both sides, so that it reaches twice as deep.

    >>> from blockfit import Method
    >>> Method("wire saw", kerf_mm=11, drift_mm=5).allowance_mm(1)
    16
    """

    name: str
    kerf_mm: float = 12
    drift_mm: float = 0
    overrun_mm: float = 0
    depth_mm: float = math.inf
    makes: int = 1
    opposed: bool = False

    def __post_init__(self) -> None:
        """Check that lengths are lengths and that it makes something."""
        take_fields(self)
        for name in ("kerf_mm", "drift_mm", "overrun_mm"):
            value = getattr(self, name)
            if not (isinstance(value, int | float) and 0 <= value < math.inf):
                raise BadValueError(f"{self.name}: {name}={value!r} must be a number of mm, 0 or more")
        if not (isinstance(self.depth_mm, int | float) and self.depth_mm > 0):
            raise BadValueError(f"{self.name}: depth_mm={self.depth_mm!r} must be a number of mm above 0")
        if self.makes not in (1, 2, 3):
            raise BadValueError(f"{self.name}: makes={self.makes!r} must be 1 (through), 2 (rebates) or 3 (corners)")

    def allowance_mm(self, cuts: int) -> float:
        """Return what it needs between the piece and the clearance, for one of so many cuts."""
        return self.kerf_mm + self.drift_mm + (self.overrun_mm if cuts > 1 else 0)

    def reaches_mm(self, cuts: int) -> float:
        """Return how deep a cut it makes, for one of so many cuts."""
        return self.depth_mm * (2 if self.opposed and cuts == 1 else 1)


METHODS = (
    Method("through saw", kerf_mm=12, drift_mm=5),
    Method("disc from both sides", kerf_mm=6, drift_mm=3, overrun_mm=20, depth_mm=150, makes=2, opposed=True),
    Method("drilled line with wedges", kerf_mm=30, drift_mm=20, depth_mm=3000, makes=2),
    Method("hand channel", kerf_mm=60, drift_mm=5, depth_mm=500, makes=3),
)
"""The usual ways, in the order in which they are tried: starting values, as said above. Give `offcuts` your own."""


def any_method(kerf_mm: float) -> tuple[Method, ...]:
    """Return one method that makes every cut, ``kerf_mm`` wide, with nothing added for drift."""
    return (Method("any", kerf_mm=kerf_mm, makes=3),)


def ways_of(methods: Sequence[Method] | None, kerf: Length | None) -> tuple[Method, ...]:
    """Return what can make the cuts: ``methods``, or any tool as wide as ``kerf``, or the usual ways."""
    if methods is not None and kerf is not None:
        raise BadValueError("give kerf, or methods with a kerf each, not both")
    if kerf is not None:
        return any_method(length_mm(kerf, "kerf", least=0))
    ways = METHODS if methods is None else tuple(methods)
    if not ways or not all(isinstance(way, Method) for way in ways):
        raise BadValueError("methods must be one or more Method, such as Method('wire saw', kerf_mm=11)")
    return ways


def capable(methods: Sequence[Method], cuts: int, depth_mm: float = 0.0) -> Method | None:
    """Return the first method that makes one of so many cuts so deep; ``None`` if none does.

    >>> from blockfit.waste.cuts.methods import METHODS, capable
    >>> capable(METHODS, 2, 100).name, capable(METHODS, 3).name
    ('disc from both sides', 'hand channel')
    """
    for method in methods:
        if method.makes >= min(cuts, 3) and method.reaches_mm(cuts) >= depth_mm:
            return method
    return None


def depth_needed(outline: Array, normal: Array, others: Sequence[tuple[Array, float]]) -> float:
    """Return how deep a tool must reach to make a cut whose outline (n, 3) lies in the plane square to ``normal``.

    ``others`` are the piece's other cuts, at which this one must stop: it is then entered from the side away from
    one of them. A cut that stops nowhere is entered across its least width.
    """
    if len(outline) < 3:
        return 0.0
    depths = []
    for other, offset in others:
        inward = other - (other @ normal) * normal
        length = float((inward @ inward) ** 0.5)
        if length > CLOSE:
            depths.append(float((outline @ other - offset).max()) / length)
    if depths:
        return min(depths)
    widths = []
    for k in range(len(outline)):
        side = outline[k] - outline[k - 1]
        across = side[[1, 2, 0]] * normal[[2, 0, 1]] - side[[2, 0, 1]] * normal[[1, 2, 0]]
        length = float((across @ across) ** 0.5)
        if length > CLOSE:
            heights = outline @ (across / length)
            widths.append(float(heights.max() - heights.min()))
    return min(widths, default=0.0)


def still_made(normals: Array, offsets: Array, corners: Array, methods: Sequence[Method], sawn: Sequence[int]) -> bool:
    """Return whether each method still reaches deep enough for its cut after a piece's planes have moved.

    ``corners`` (n, 3) are the piece's, ``sawn`` which of its planes are cuts; one that cuts nothing any more fails too.
    """
    for k in sawn:
        rim = outline(corners, normals[k], float(offsets[k]))
        others = [(normals[j], float(offsets[j])) for j in sawn if j != k]
        if len(rim) < 3 or methods[k].reaches_mm(len(sawn)) < depth_needed(rim, normals[k], others):
            return False
    return True

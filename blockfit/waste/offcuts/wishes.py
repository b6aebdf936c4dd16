"""What pieces are wanted for: their weight, their shape, what they must hold, and by what kind of cuts.

mm, kg, m³. Every wish is kept by every piece (a weight by the first alone, if that is asked), or the piece is not
taken; the plan says which could be kept."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from weakref import WeakKeyDictionary

import numpy as np

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Sure, fact
from blockfit.geometry.arrays import Array, Flags
from blockfit.geometry.polytope import hull_corners, least_width, polytope_volume
from blockfit.geometry.tolerances import CLOSE, NOTHING_M3
from blockfit.search.choice.fit import largest
from blockfit.search.proof.widths import least_and_longest
from blockfit.search.result import Verdict
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.units import Length, length_mm
from blockfit.waste.cuts.methods import Method
from blockfit.waste.offcuts.parts import Part
from blockfit.waste.offcuts.prices import Prices

__all__ = ["CUTS", "Kind", "Limits", "Wish", "Wishes", "moved_out", "wishes_of"]

CUTS = ("any", "slant", "square")
"""Kinds of cuts: any at all, square to one face of the block, or parallel to its faces."""

_SHAPES = ("any", "lump", "slab")
_FINE_MM = 0.01  # how finely a cut is moved out for a lighter piece
_LUMP = 1 / 3  # least width to greatest length, from which on a piece counts as a lump
_ROUGH_GAP = 1e-2  # whether a body fits in a piece is answered so closely
_sizes: "WeakKeyDictionary[Figure, tuple[float, float, float]]" = WeakKeyDictionary()


@dataclass(frozen=True, slots=True)
class Wish:
    """One thing that was asked of the pieces, whether it was kept, and in words how.

    That it is kept is exact: the finished pieces are looked at, not the search for them.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> plan = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1, most_cuts=1, weight_kg=(100, 250))
    >>> [(wish.about, wish.kept, wish.text) for wish in plan.wishes]
    [('weight', True, 'every piece weighs 100 to 250 kg')]
    """

    about: str = field(metadata=fact("wish", Sure.GIVEN))
    kept: bool = field(metadata=fact("kept", Sure.EXACT))
    text: str = field(metadata=fact("how", Sure.EXACT))


@dataclass(frozen=True, slots=True)
class Kind:
    """What a plan with only one kind of cuts, any, slant or square, recovers (share of the waste), and its sawing.

    ``pieces`` is how many, ``sawn_m2`` the area of all their cuts. Exact for the pieces that were found; others might
    save more.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> plan = bf.offcuts(fit, kerf=10, reserve=0, most_pieces=1, most_cuts=1, cuts="any")
    >>> [kind.cuts for kind in plan.by_cuts], plan.by_cuts[0].pieces
    (['any', 'slant', 'square'], 1)
    >>> plan.by_cuts[0].recovered >= plan.by_cuts[2].recovered  # any cuts, or only those parallel to the block's faces
    True
    """

    cuts: str = field(metadata=fact("cuts", Sure.GIVEN))
    pieces: int = field(metadata=fact("pieces", Sure.EXACT, measure=Measure.COUNT))
    recovered: float = field(metadata=fact("of the waste", Sure.EXACT, measure=Measure.SHARE))
    sawn_m2: float = field(metadata=fact("sawn", Sure.EXACT))


@dataclass(frozen=True, slots=True, eq=False)
class Wishes:
    """What every piece must keep: its volume between ``least_m3`` and ``most_m3``, its ``shape``, what it ``holds``.

    ``weight_kg`` is what the volumes stand for, at the stone's typical density; with ``first_only`` it is asked of the
    first piece alone.
    """

    weight_kg: tuple[float, float] | None = None
    least_m3: float = 0.0
    most_m3: float = np.inf
    first_only: bool = False
    shape: str = "any"
    holds: Figure | None = None
    cuts: str = "any"

    @property
    def of_each_piece(self) -> bool:
        """Whether anything is asked of a piece by itself."""
        return self.weight_kg is not None or self.shape != "any" or self.holds is not None

    def for_more(self) -> "Wishes":
        """Return what is asked of the pieces after the first."""
        return replace(self, least_m3=0.0, most_m3=np.inf) if self.first_only else self

    def met_by(self, corners: Array) -> bool:
        """Whether a piece with these corners (n, 3) has the shape and holds what it must; its volume is not looked at.

        >>> import numpy as np
        >>> from blockfit.waste.offcuts.wishes import Wishes
        >>> slab = np.array([[x, y, z] for x in (0.0, 900) for y in (0.0, 700) for z in (0.0, 120)])
        >>> Wishes(shape="slab").met_by(slab), Wishes(shape="lump").met_by(slab)
        (True, False)
        """
        is_lump = self.shape != "any" and least_width(corners) >= _LUMP * _longest(corners)
        if self.shape != "any" and is_lump != (self.shape == "lump"):
            return False
        if self.holds is None:
            return True
        if _cannot_hold(corners, self.holds):
            return False
        fit = largest(self.holds, Block.convex(corners), gap=_ROUGH_GAP, scales=(1.0, 1.0), max_cells=20_000)
        return fit.verdict is Verdict.FITS

    def told(self, pieces: Sequence[tuple[float, Array]]) -> tuple[Wish, ...]:
        """Return what was asked, and whether the finished pieces keep it: each given by its volume and its corners."""
        wishes: list[Wish] = []
        if self.weight_kg is not None:
            low, high = self.weight_kg
            whose = "the first piece" if self.first_only else "every piece"
            looked_at = pieces[:1] if self.first_only else pieces
            met = [self.least_m3 - NOTHING_M3 <= m3 <= self.most_m3 + NOTHING_M3 for m3, _ in looked_at]
            asked = f"{low:g} to {high:g} kg"
            wishes.append(_wish("weight", met, f"{whose} weighs {asked}", f"no piece of {asked} can be had"))
        if self.shape != "any":
            met = [replace(self, holds=None).met_by(corners) for _, corners in pieces]
            wishes.append(_wish("shape", met, f"every piece is a {self.shape}", f"no {self.shape} can be had"))
        if self.holds is not None:
            met = [replace(self, shape="any").met_by(corners) for _, corners in pieces]
            held = self.holds.name
            wishes.append(_wish("holds", met, f"every piece holds {held}", f"no piece holds {held}"))
        return tuple(wishes)


def _cannot_hold(corners: Array, body: Figure) -> bool:
    """Whether a piece is narrower than a body, shorter, or smaller, which no rotation changes: quickly seen."""
    if body not in _sizes:
        hull = body.vertices[hull_corners(body.vertices)]
        _sizes[body] = (*least_and_longest(hull), polytope_volume(hull))
    narrow, long, volume = (size * (1 - CLOSE) for size in _sizes[body])
    return _longest(corners) < long or least_width(corners) < narrow or polytope_volume(corners) < volume


def _longest(corners: Array) -> float:
    """Return how far the two of (n, 3) corners lie apart that are furthest from each other."""
    return float(np.linalg.norm(corners[:, None] - corners[None], axis=2).max())


def _wish(about: str, met: Sequence[bool], kept: str, none: str) -> Wish:
    """Return a wish that each piece looked at ``met`` or not."""
    if met and not all(met):
        return Wish(about, False, f"asked: {kept}; {sum(met)} of {len(met)} do")
    return Wish(about, bool(met), kept if met else none)


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """What a piece must keep: clear of the figure, thick, large and light enough; and what can make its cuts.

    ``wishes`` are what the pieces are wanted for.
    """

    clearance_mm: float
    methods: tuple[Method, ...]
    least_thickness_mm: float
    least_volume_m3: float
    most_volume_m3: float
    wishes: Wishes = field(default_factory=Wishes)
    prices: Prices | None = None

    @property
    def least_clear_mm(self) -> float:
        """The least that lies between a piece and the figure, whatever makes its cuts."""
        return self.clearance_mm + min(method.allowance_mm(1) for method in self.methods)

    def value_of(self, parts: Sequence[Part]) -> float:
        """Return what is valued in parts: their stone in m³, or by prices what they bring less what they cost."""
        if self.prices is None:
            return sum(part.volume_m3 for part in parts)
        return sum(self.prices.net(part.volume_m3, sum(part.areas_m2)) for part in parts)


def wishes_of(
    weight_kg: tuple[float, float] | None,
    first_only: bool,
    shape: str,
    holds: Figure | Sequence[Length] | None,
    cuts: str | None,
    density_kg_m3: float,
    most_kg: float,
) -> Wishes:
    """Return wishes, checked; ``most_kg`` is the heaviest piece, at the typical density, that may be lifted."""
    if shape not in _SHAPES:
        raise BadValueError(f"shape={shape!r} must be one of {', '.join(_SHAPES)}")
    cuts = "any" if cuts is None else cuts
    if cuts not in CUTS:
        raise BadValueError(f"cuts={cuts!r} must be one of {', '.join(CUTS)}")
    asked = Wishes(first_only=first_only, shape=shape, holds=_held(holds), cuts=cuts)
    if weight_kg is None:
        return asked
    try:
        low, high = (float(kg) for kg in weight_kg)
    except (TypeError, ValueError) as error:
        raise BadValueError(f"weight_kg={weight_kg!r} must be two numbers of kg, such as (250, 300)") from error
    if not 0 <= low < high < np.inf:
        raise BadValueError(f"weight_kg={weight_kg!r} must be the least and the most in kg, such as (250, 300)")
    if high > most_kg:
        raise BadValueError(
            f"weight_kg allows {high:g} kg, but at the stone's heaviest the lift limit allows {most_kg:.0f} kg; "
            "ask for lighter pieces or lift more"
        )
    return replace(asked, weight_kg=(low, high), least_m3=low / density_kg_m3, most_m3=high / density_kg_m3)


def moved_out(
    normals: Array, offsets: Array, moving: Flags, volume_m3: Callable[[Array, Array], float], most_m3: float
) -> Array:
    """Return offsets (k,) at which a piece holds no more than ``most_m3``: the ``moving`` planes shifted out alike.

    ``volume_m3`` gives the piece's stone for planes.
    """
    low, high = 0.0, float(np.abs(offsets).max()) + 1e5
    while high - low > _FINE_MM:
        middle = (low + high) / 2
        if volume_m3(normals, offsets + middle * moving) > most_m3:
            low = middle
        else:
            high = middle
    return np.asarray(offsets + high * moving)


def _held(holds: Figure | Sequence[Length] | None) -> Figure | None:
    """Return what a piece must hold as a figure; a box is given by its three sides."""
    if holds is None or isinstance(holds, Figure):
        return holds
    if isinstance(holds, str | bytes) or len(holds) != 3:
        raise BadValueError(f"holds={holds!r} must be a Figure or the three sides of a box, such as (300, 200, 500)")
    a, b, c = (length_mm(side, "holds", least=1) for side in holds)
    corners = np.array([[x, y, z] for x in (0, a) for y in (0, b) for z in (0, c)], np.float64)
    return Figure(corners, np.zeros((0, 3), np.int64), name=f"a box of {a:g} x {b:g} x {c:g} mm")

"""The ladder of answers after a loss: what each rung costs, and how it is said. mm and degrees, block frame."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result, plain, record_of
from blockfit.facts.systems import UnitSystem, units_of
from blockfit.kinds import kinds_checked
from blockfit.search.flawed.travel import FINE_MM
from blockfit.solids.placement import Placement
from blockfit.units import ON_STEP

__all__ = ["Recovery", "Rung", "moved_words"]

_KNOWN_MM = 2 * FINE_MM  # how well movements are known: so much is not rounded up to a tenth


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Rung(Result):
    """One answer: whether there is one, the placement, and what it costs.

    ``back_mm``, ``aside_mm`` and ``up_mm`` are how far the figure's middle moves, ``turn_deg`` and ``lean_deg`` how it
    turns. ``cover_mm`` is the least cover, ``kept_mm`` the exact distance from what was lost. ``landmarks_mm`` is how
    far every landmark moves; ``recut_m2`` the surface that ends up elsewhere: finished work there is lost.
    ``short_mm`` is what is missing where no placement was found. ``proof`` is ``exact``, ``safe side`` (margins about
    anything but a ball are taken up to a twentieth too large) or ``best found``.

    Lengths are mm and angles degrees, in the block's frame. The placement is checked by exact solids. ``recut_m2`` is
    an estimate, from places spread over the surface.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> chipped = bf.Flaw.ball((300, 100, 110), 10)  # mm, in the block's frame
    >>> ladder = bf.recover(fit, chipped, turn=0, lean=0, effort=0.1)
    >>> rung = ladder.straight_back
    >>> rung.found, rung.proof, round(rung.back_mm), round(rung.aside_mm), round(rung.cover_mm)
    (True, 'exact', 60, 0, 50)
    >>> [(name, round(by)) for name, by in rung.kept_mm]
    [('cavity', 0)]
    """

    name: str = field(metadata=fact("rung", Sure.EXACT))
    found: bool = field(metadata=fact("found", Sure.EXACT))
    placement: Placement | None
    scale: float = field(metadata=fact("scale", Sure.EXACT, Rounding.DOWN))
    back_mm: float = field(metadata=fact("back", Sure.EXACT, Rounding.UP))
    aside_mm: float = field(metadata=fact("aside", Sure.EXACT))
    up_mm: float = field(metadata=fact("up", Sure.EXACT))
    turn_deg: float = field(metadata=fact("turned", Sure.EXACT))
    lean_deg: float = field(metadata=fact("leaned", Sure.EXACT))
    cover_mm: float = field(metadata=fact("cover", Sure.EXACT, Rounding.DOWN))
    kept_mm: tuple[tuple[str, float], ...] = field(metadata=fact("kept clear", Sure.EXACT, Rounding.DOWN, shown=False))
    landmarks_mm: Mapping[str, float] = field(
        metadata=fact("landmarks move", Sure.EXACT, Rounding.UP, measure=Measure.LENGTH, shown=False)
    )
    recut_m2: float = field(metadata=fact("surface elsewhere", Sure.ESTIMATE))
    short_mm: float = field(metadata=fact("missing", Sure.EXACT, Rounding.UP))
    proof: str = field(metadata=fact("how sure", Sure.EXACT))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Recovery(Result):
    """The ladder; ``scale_bound`` is proved: no placement within the limits exceeds it.

    ``stone_given`` says whether the stone as it stands was given: without it, what has been cut away already is not
    counted.

    ``straight_back`` is the least distance that does, ``turned`` and ``smaller`` are the best found: each `Rung` says
    how sure it is. ``print`` it, or ask for its `text` in ``"us"`` units.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> chipped = bf.Flaw.ball((300, 100, 110), 10)  # mm, in the block's frame
    >>> ladder = bf.recover(fit, chipped, turn=0, lean=0, effort=0.1)
    >>> [(rung.name, round(rung.back_mm)) for rung in ladder.rungs]
    [('straight back', 60), ('back with a small turn and lean', 60), ('largest scale within the limits', 60)]
    >>> round(ladder.scale_bound, 3), ladder.stone_given
    (1.0, False)
    """

    straight_back: Rung
    turned: Rung
    smaller: Rung
    scale_bound: float = field(metadata=fact("no placement exceeds", Sure.PROVED, Rounding.UP))
    stone_given: bool = field(metadata=fact("stone as it stands given", Sure.GIVEN))

    @property
    def rungs(self) -> tuple[Rung, Rung, Rung]:
        """The three answers in order."""
        return self.straight_back, self.turned, self.smaller

    @kinds_checked
    def text(self, units: str = "metric") -> str:
        """Return the ladder in words; a rung that is the same placement as the one before it is not repeated."""
        shown = units_of(units)
        lines = ["WHERE THE FIGURE STILL GOES"]
        if not self.stone_given:
            lines.append("  Stone that is already gone is not counted here: give stone= (the stone as it stands).")
        before: Rung | None = None
        for letter, rung in zip("abc", self.rungs, strict=True):
            same = before is not None and rung.found and rung.placement is before.placement
            if not same:
                lines += [f"  {letter}) {rung.name}: {_words(rung, shown)}"]
            before = rung
        bound = math.ceil(self.scale_bound * 1e4 - ON_STEP) / 1e4
        where = "proved, for the hull of the stone" if self.stone_given else "proved"
        lines.append(f"  No placement within these limits exceeds {bound:.4f} of full size ({where}).")
        return "\n".join(lines) + "\n"

    def record(self) -> dict[str, Any]:
        """Return the ladder as plain data."""
        return {**record_of(self), "rungs": plain(self.rungs)}


def moved_words(rung: Rung, units: UnitSystem) -> str:
    """Return how a rung moves the figure, and its scale; what a movement is known to only is not rounded up."""
    parts = []
    if rung.up_mm >= 0.05:
        parts.append(f"FEET OFF THE BOTTOM: {units.fine(rung.up_mm - _KNOWN_MM, Rounding.UP)} up")
    elif rung.up_mm <= -0.05:
        parts.append(f"{units.fine(-rung.up_mm - _KNOWN_MM, Rounding.UP)} down")
    parts.append(f"{units.fine(max(0.0, rung.back_mm - _KNOWN_MM), Rounding.UP)} back")
    if abs(rung.aside_mm) >= 0.05:
        parts.append(f"{units.fine(abs(rung.aside_mm))} to the {'right' if rung.aside_mm > 0 else 'left'}")
    if abs(rung.turn_deg) >= 0.05:
        parts.append(f"turned {abs(rung.turn_deg):.1f}°")
    if rung.lean_deg >= 0.05:
        parts.append(f"leaned {rung.lean_deg:.1f}°")
    return f"{', '.join(parts)}, at scale {math.floor(rung.scale * 1e4 + ON_STEP) / 1e4:.4f}"


def _words(rung: Rung, units: UnitSystem) -> str:
    """Return a rung in words."""
    if not rung.found:
        return f"nothing found; {units.missing(rung.short_mm)} would be missing where it is now"
    kept = ", ".join(f"{name} {units.fine(max(0.0, by + _KNOWN_MM), Rounding.DOWN)}" for name, by in rung.kept_mm)
    marks = ", ".join(f"{name} {units.length(by, Rounding.NEAREST)}" for name, by in rung.landmarks_mm.items())
    words = moved_words(rung, units)
    words += f"; cover {units.fine(rung.cover_mm + _KNOWN_MM, Rounding.DOWN)}"
    words += f"; clear of {kept}" if kept else ""
    words += f"; landmarks move: {marks}" if marks else ""
    known = {"exact": "the least distance that does", "safe side": "the least distance, by margins taken in full"}
    sure = known.get(rung.proof, "the best found")
    area = units.floor_area(rung.recut_m2)
    return f"{words}; {area} of surface comes to lie elsewhere ({sure}; checked by exact solids)"

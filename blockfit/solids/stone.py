"""What stones weigh: a typical value with its range, and where both come from.

Densities in kg/m³, dry. A block's own measured density is always better than any table."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches

from blockfit.errors import BadValueError, UnknownStoneError
from blockfit.facts.mappings import FrozenMapping
from blockfit.kinds import take_fields

__all__ = ["STONES", "Stone", "find_stone"]


@dataclass(frozen=True, slots=True)
class Stone:
    """A kind of stone: typical density and its range in kg/m³, with their source.

    >>> from blockfit import Stone
    >>> Stone("our limestone", 2310, 2290, 2330, source="weighed").density_kg_m3
    2310
    """

    name: str
    density_kg_m3: float
    low_kg_m3: float
    high_kg_m3: float
    source: str = "given by the user"
    caution: str = ""
    water_absorption: float | None = None  # share of its dry weight that it absorbs; measured, never assumed
    rupture_mpa: tuple[float, float] | None = None  # range of the modulus of rupture
    rupture_source: str = "given by the user"

    def __post_init__(self) -> None:
        """Check that the range is one, and that it is stone."""
        take_fields(self)
        if self.water_absorption is not None and not 0 <= self.water_absorption < 1:
            told = f"water_absorption={self.water_absorption!r} must be a share of the dry weight, such as 0.02"
            raise BadValueError(f"{self.name}: {told}")
        if self.rupture_mpa is not None and not 0 < self.rupture_mpa[0] <= self.rupture_mpa[1] < math.inf:
            raise BadValueError(
                f"{self.name}: rupture_mpa={self.rupture_mpa!r} must be a range in MPa, such as (7, 12)"
            )
        if not 0 < self.low_kg_m3 <= self.density_kg_m3 <= self.high_kg_m3 < 30_000:
            raise BadValueError(
                f"{self.name}: density {self.density_kg_m3:g} kg/m³ must be above 0 and lie in its range "
                f"{self.low_kg_m3:g}–{self.high_kg_m3:g} (low_kg_m3, density_kg_m3, high_kg_m3)"
            )


def _strong(stone: Stone, low_mpa: float, high_mpa: float, source: str) -> Stone:
    return replace(stone, rupture_mpa=(low_mpa, high_mpa), rupture_source=source)


_BOLZ = "Bolz & Tuve, Handbook of Tables for Applied Engineering Science, 2nd ed. 1973, pp. 177-178"
_MARKS = "Marks' Standard Handbook for Mechanical Engineers, 7th ed. 1967, p. 6-7"
_COATES = "typical: P. Coates, Carving Stone (2.7 t/m³)"
_MIDDLE = "typical: the middle of the range"
_FIBRES = "some soapstones and serpentines hold asbestos: have the stone tested before any dry work"
_LEAST = "least values for acceptance"
_C503, _C615 = f"ASTM C503 ({_LEAST})", f"ASTM C615 ({_LEAST})"
_C568, _C616 = f"ASTM C568 ({_LEAST}, classes I to III)", f"ASTM C616 ({_LEAST}, sandstone to quartzite)"
# Strengths read in a secondary copy of the standards.
# Ranges span both handbooks where both list the stone (read in secondary copies).
STONES: Mapping[str, Stone] = FrozenMapping(
    {
        stone.name: stone
        for stone in (
            _strong(Stone("marble", 2700, 2600, 2860, f"{_BOLZ}; {_MARKS}; {_COATES}"), 6.89, 6.89, _C503),
            _strong(Stone("granite", 2700, 2600, 2760, f"{_BOLZ}; {_MARKS}; {_COATES}"), 10.34, 10.34, _C615),
            _strong(
                Stone("limestone", 2700, 2100, 2860, f"{_BOLZ}; {_MARKS}; {_COATES}; soft limestones are far lighter"),
                2.76,
                6.89,
                _C568,
            ),
            _strong(Stone("sandstone", 2250, 2000, 2500, f"{_BOLZ}; {_MARKS}; {_MIDDLE}"), 2.41, 13.79, _C616),
            Stone("gypsum alabaster", 2290, 2260, 2320, f"{_BOLZ}; {_MIDDLE}"),
            Stone("calcite alabaster", 2735, 2690, 2780, f"{_BOLZ}; {_MIDDLE}"),
            Stone("soapstone", 2700, 2600, 2800, f"{_BOLZ}; {_MARKS}; {_MIDDLE}", _FIBRES),
            Stone("serpentine", 2575, 2500, 2650, f"{_BOLZ}; {_MIDDLE}", _FIBRES),
            Stone("slate", 2950, 2600, 3300, f"{_BOLZ}; {_MARKS}; {_MIDDLE}"),
            Stone("basalt", 2800, 2400, 3200, f"{_BOLZ}; {_MARKS}; {_MIDDLE}"),
        )
    }
)


def find_stone(stone: Stone | str | None) -> Stone | None:
    """Return the stone named, or the one given; ``None`` stays ``None`` (weights are then unknown).

    Raises `UnknownStoneError` with the nearest names.

    >>> from blockfit.solids.stone import find_stone
    >>> find_stone("Marble").density_kg_m3
    2700
    """
    if stone is None or isinstance(stone, Stone):
        return stone
    key = str(stone).strip().lower()
    if key in STONES:
        return STONES[key]
    if key == "alabaster":
        raise UnknownStoneError(
            "two stones are called alabaster and differ by a fifth in weight: "
            "say gypsum alabaster (soft, scratched by a fingernail) or calcite alabaster"
        )
    near = get_close_matches(key, STONES, n=2, cutoff=0.5)
    meant = f"did you mean {' or '.join(near)}? " if near else ""
    raise UnknownStoneError(
        f"stone={stone!r} is not in the table; {meant}known: {', '.join(STONES)}; "
        "or give your own: Stone(name, density, low, high)"
    )

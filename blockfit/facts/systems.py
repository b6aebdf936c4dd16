"""Quantities as people read them, in metric or in US units. Stored values stay mm, m³, kg, degrees and MPa.

US lengths are feet, inches and sixteenths, weights pounds (exact by the international inch and pound of 1959), areas
square inches and feet, stresses psi. Roundings leave stone in both."""

import math
from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence

from blockfit.errors import BadValueError
from blockfit.facts.measures import Measure, Rounding
from blockfit.units import KG_PER_LB, ON_STEP, feet_and_inches, rounded_down, rounded_up

__all__ = ["METRIC", "SYSTEMS", "US", "UnitSystem", "units_of"]

_MM_PER_IN, _MM_PER_FT = 25.4, 304.8
_PSI_PER_MPA = 1e6 * (_MM_PER_IN / 1000) ** 2 / (KG_PER_LB * 9.80665)  # standard gravity, by definition
_ON_POWER = 1e-9  # a logarithm so near a whole number is one


def _round(value: float, digits: int, rounded: Rounding) -> float:
    if rounded is Rounding.DOWN:
        return rounded_down(value, digits)
    return rounded_up(value, digits) if rounded is Rounding.UP else round(value, digits) + 0.0


def _places(value: float, digits: int) -> int:
    """Return how many decimal places show so many significant digits; below 0 where that is left of the point."""
    return digits - 1 - math.floor(math.log10(abs(value)) + _ON_POWER) if value else 0


def _significant(value: float, digits: int, rounded: Rounding) -> float:
    return _round(value, _places(value, digits), rounded)


class UnitSystem(ABC):
    """How quantities are written. The values given are always mm, mm², m³, kg, degrees and MPa."""

    name: str

    @abstractmethod
    def length(self, millimetres: float, rounded: Rounding = Rounding.DOWN) -> str:
        """Return a length: to the millimetre, or the sixteenth; by default never more than there is."""

    @abstractmethod
    def fine(self, millimetres: float, rounded: Rounding = Rounding.NEAREST) -> str:
        """Return a length to a tenth of a millimetre, or the sixteenth."""

    @abstractmethod
    def close(self, millimetres: float, rounded: Rounding) -> str:
        """Return a length as an instrument reads it: to a tenth of a millimetre, or a hundredth of an inch."""

    @abstractmethod
    def given(self, millimetres: float) -> str:
        """Return a length that somebody gave, as given."""

    @abstractmethod
    def area(self, square_mm: float, rounded: Rounding = Rounding.NEAREST) -> str:
        """Return a small area, of a section or a patch of surface."""

    @abstractmethod
    def floor_area(self, square_m: float, rounded: Rounding = Rounding.NEAREST) -> str:
        """Return a large area, of a cut or a surface."""

    @abstractmethod
    def volume(self, cubic_m: float, rounded: Rounding = Rounding.NEAREST) -> str:
        """Return a volume."""

    @abstractmethod
    def density(self, kg_m3: float) -> str:
        """Return the density of a stone."""

    @abstractmethod
    def floor_load(self, kg_m2: float, rounded: Rounding = Rounding.UP) -> str:
        """Return what a floor carries or is pressed by."""

    @abstractmethod
    def stress(self, mpa: float, digits: int = 2, rounded: Rounding = Rounding.NEAREST) -> str:
        """Return a stress to so many significant digits."""

    @abstractmethod
    def _mass(self, kilograms: float, rounded: Rounding) -> tuple[str, str]:
        """Return a weight's number and its unit."""

    @abstractmethod
    def sizes(self, sides_mm: Sequence[float], rounded: Rounding = Rounding.NEAREST) -> str:
        """Return two or three sides, ``900 x 700 x 1,600 mm``."""

    def missing(self, millimetres: float) -> str:
        """Return how much is missing, rounded up."""
        return self.length(millimetres, Rounding.UP)

    def mass(
        self, kilograms: float | None, low: float = 1.0, high: float = 1.0, rounded: Rounding = Rounding.UP
    ) -> str:
        """Return a weight with its range (shares of it), rounded up: ``1,000 kg (960–1,060)``."""
        if kilograms is None:
            return "unknown (no stone given)"
        value = 0.0 if abs(kilograms) < 0.005 else kilograms
        shown, unit = self._mass(value, rounded)
        if low == high == 1.0:
            return f"{shown} {unit}"
        return f"{shown} {unit} ({self._mass(value * low, rounded)[0]}–{self._mass(value * high, rounded)[0]})"

    def point(self, at: Iterable[float]) -> str:
        """Return a place in the block as a carver measures it."""
        x, y, z = (self.length(float(value), Rounding.NEAREST) for value in at)
        return f"{x} from the left, {y} in, {z} up"

    def angle(self, degrees: float) -> str:
        """Return an angle."""
        return f"{degrees:.1f}°"

    def show(self, value: float, measure: Measure, rounded: Rounding = Rounding.NEAREST) -> str:
        """Return any quantity, by its measure."""
        if not math.isfinite(value):
            return "no limit" if value > 0 else "none"
        writers = {
            Measure.LENGTH: lambda: self.fine(value, rounded),
            Measure.AREA: lambda: self.area(value, rounded),
            Measure.FLOOR_AREA: lambda: self.floor_area(value, rounded),
            Measure.VOLUME: lambda: self.volume(value, rounded),
            Measure.MASS: lambda: self.mass(value, rounded=rounded),
            Measure.FLOOR_LOAD: lambda: self.floor_load(value, rounded),
            Measure.ANGLE: lambda: self.angle(_round(value, 1, rounded)),
            Measure.STRESS: lambda: self.stress(value, 3, rounded),
            Measure.SHARE: lambda: f"{_round(100 * value, 1, rounded):g} %",
        }
        return writers[measure]() if measure in writers else f"{_round(value, 4, rounded):,.6g}"


class _Metric(UnitSystem):
    name = "metric"

    def length(self, millimetres: float, rounded: Rounding = Rounding.DOWN) -> str:
        if not math.isfinite(millimetres):
            return "no limit" if millimetres > 0 else "none"
        return f"{_round(millimetres, 0, rounded):,.0f} mm"

    def fine(self, millimetres: float, rounded: Rounding = Rounding.NEAREST) -> str:
        return f"{_round(millimetres, 1, rounded):,.1f} mm"

    def close(self, millimetres: float, rounded: Rounding) -> str:
        return self.fine(millimetres, rounded)

    def given(self, millimetres: float) -> str:
        return f"{millimetres:,.2f}".rstrip("0").rstrip(".") + " mm"

    def area(self, square_mm: float, rounded: Rounding = Rounding.NEAREST) -> str:
        digits = 0 if square_mm >= 1e4 else 1
        return f"{_round(square_mm / 100, digits, rounded):,.{digits}f} cm²"

    def floor_area(self, square_m: float, rounded: Rounding = Rounding.NEAREST) -> str:
        return f"{_round(square_m, 2, rounded):.2f} m²"

    def volume(self, cubic_m: float, rounded: Rounding = Rounding.NEAREST) -> str:
        if abs(cubic_m) >= 1:
            return f"{_round(cubic_m, 3, rounded):.3f} m³"
        litres = cubic_m * 1000
        digits = 0 if abs(litres) >= 100 else 1 if abs(litres) >= 1 else 2
        return f"{_round(litres, digits, rounded):,.{digits}f} l"

    def density(self, kg_m3: float) -> str:
        return f"{kg_m3:,.0f} kg/m³"

    def floor_load(self, kg_m2: float, rounded: Rounding = Rounding.UP) -> str:
        return f"{_round(kg_m2, 0, rounded):,.0f} kg/m²"

    def stress(self, mpa: float, digits: int = 2, rounded: Rounding = Rounding.NEAREST) -> str:
        return f"{_significant(mpa, digits, rounded):.{digits}g} MPa"

    def _mass(self, kilograms: float, rounded: Rounding) -> tuple[str, str]:
        digits = 0 if abs(kilograms) >= 10 or kilograms == 0 else 2
        return f"{_round(kilograms, digits, rounded):,.{digits}f}", "kg"

    def sizes(self, sides_mm: Sequence[float], rounded: Rounding = Rounding.NEAREST) -> str:
        return " x ".join(f"{_round(side, 0, rounded):,.0f}" for side in sides_mm) + " mm"


class _Us(UnitSystem):
    name = "us"

    def length(self, millimetres: float, rounded: Rounding = Rounding.DOWN) -> str:
        if not math.isfinite(millimetres):
            return "no limit" if millimetres > 0 else "none"
        return feet_and_inches(millimetres, rounded=rounded.value)

    def fine(self, millimetres: float, rounded: Rounding = Rounding.NEAREST) -> str:
        return self.length(millimetres, rounded)

    def close(self, millimetres: float, rounded: Rounding) -> str:
        return f"{_round(millimetres / _MM_PER_IN, 2, rounded):,.2f} in"

    def given(self, millimetres: float) -> str:
        sixteenths = millimetres / _MM_PER_IN * 16
        if abs(sixteenths - round(sixteenths)) < ON_STEP * max(1.0, sixteenths):
            return feet_and_inches(millimetres)
        return f"{millimetres / _MM_PER_IN:,.2f} in"

    def area(self, square_mm: float, rounded: Rounding = Rounding.NEAREST) -> str:
        inches = square_mm / _MM_PER_IN**2
        digits = 0 if inches >= 10 else 1
        return f"{_round(inches, digits, rounded):,.{digits}f} sq in"

    def floor_area(self, square_m: float, rounded: Rounding = Rounding.NEAREST) -> str:
        return f"{_round(square_m * 1e6 / _MM_PER_FT**2, 1, rounded):,.1f} sq ft"

    def volume(self, cubic_m: float, rounded: Rounding = Rounding.NEAREST) -> str:
        feet = cubic_m * 1e9 / _MM_PER_FT**3
        if abs(feet) >= 0.1:
            digits = 1 if abs(feet) >= 10 else 2
            return f"{_round(feet, digits, rounded):,.{digits}f} cu ft"
        return f"{_round(cubic_m * 1e9 / _MM_PER_IN**3, 1, rounded):,.1f} cu in"

    def density(self, kg_m3: float) -> str:
        return f"{kg_m3 / KG_PER_LB * (_MM_PER_FT / 1000) ** 3:,.1f} lb/cu ft"

    def floor_load(self, kg_m2: float, rounded: Rounding = Rounding.UP) -> str:
        return f"{_round(kg_m2 / KG_PER_LB * (_MM_PER_FT / 1000) ** 2, 0, rounded):,.0f} lb/sq ft"

    def stress(self, mpa: float, digits: int = 2, rounded: Rounding = Rounding.NEAREST) -> str:
        psi = mpa * _PSI_PER_MPA
        places = min(3, max(0, _places(psi, digits)))
        return f"{_round(psi, places, rounded):,.{places}f} psi"

    def _mass(self, kilograms: float, rounded: Rounding) -> tuple[str, str]:
        pounds = kilograms / KG_PER_LB
        digits = 0 if abs(pounds) >= 10 or pounds == 0 else 1
        return f"{_round(pounds, digits, rounded):,.{digits}f}", "lb"

    def sizes(self, sides_mm: Sequence[float], rounded: Rounding = Rounding.NEAREST) -> str:
        return " x ".join(feet_and_inches(side, rounded=rounded.value) for side in sides_mm)


METRIC: UnitSystem = _Metric()
US: UnitSystem = _Us()
SYSTEMS = {"metric": METRIC, "us": US}


def units_of(units: str | UnitSystem) -> UnitSystem:
    """Return the unit system of that name. Raises `BadValueError` for another.

    >>> from blockfit.facts.systems import units_of
    >>> units_of("us").length(1000), units_of("us").mass(1000), units_of("metric").length(1234.9)
    ('3 ft 3 5/16 in', '2,205 lb', '1,234 mm')
    >>> units_of("metric").mass(1000, 0.96, 1.06), units_of("metric").mass(3.2), units_of("us").stress(10)
    ('1,000 kg (960–1,060)', '3.20 kg', '1,450 psi')
    """
    if isinstance(units, UnitSystem):
        return units
    if not isinstance(units, str) or units not in SYSTEMS:
        raise BadValueError(f'units={units!r} must be "metric" or "us"')
    return SYSTEMS[units]

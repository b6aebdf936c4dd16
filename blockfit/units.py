"""Lengths and ratios as people write them, turned into millimetres and numbers.

Not checked here: whether a length makes sense for a block or a figure."""

import math
import re
from fractions import Fraction

from blockfit.errors import BadValueError, UnitNeededError

__all__ = [
    "KG_PER_LB",
    "LEAST_MM",
    "L_PER_MM3",
    "M2_PER_MM2",
    "M3_PER_CU_FT",
    "M3_PER_MM3",
    "MM_PER_UNIT",
    "M_PER_MM",
    "ON_STEP",
    "Length",
    "Mass",
    "Ratio",
    "ambiguous",
    "feet_and_inches",
    "inches_of",
    "floor_load_kg_m2",
    "length_mm",
    "mass_kg",
    "number_of",
    "ratio_value",
    "rounded_down",
    "rounded_up",
    "sizes_mm",
    "unit_mm",
]

Length = float | int | str
"""A number of millimetres, or text with a unit."""

Ratio = float | int | str
"""A number, or text such as ``"1:4"``."""

Mass = float | int | str
"""A number of kilograms, or text with a unit."""

# The international inch, foot, yard and pound (1959): exact by definition.
MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "dm": 100.0,
    "m": 1000.0,
    "in": 25.4,
    "ft": 304.8,
    "yd": 914.4,
}
KG_PER_LB = 0.45359237
M3_PER_CU_FT = 0.3048**3
M_PER_MM, M2_PER_MM2, M3_PER_MM3, L_PER_MM3 = 1e-3, 1e-6, 1e-9, 1e-6  # what lengths in mm make

LEAST_MM = 1e-3
"""The least length that an option takes where 0 would mean nothing: a thousandth of a millimetre."""

ON_STEP = 1e-6
"""Of a step of what is printed: a value so near a step is on it, and is not rounded to the next."""

_ALIASES = {
    '"': "in", "″": "in", "inch": "in", "inches": "in",
    "'": "ft", "′": "ft", "foot": "ft", "feet": "ft",
    "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "metre": "m", "metres": "m", "meter": "m", "meters": "m", "yard": "yd", "yards": "yd",
}  # fmt: skip
# At most twelve digits and no exponent: exact fractions of anything longer could grow without limit.
_NUMBER = r"(?:\d{1,12}\s+\d{1,6}/\d{1,6}|\d{1,6}/\d{1,6}|\d{1,12}\.\d{0,12}|\.\d{1,12}|\d{1,12})"
_PLAIN = re.compile(r"[+-]?(?:\d{1,12}\.\d{0,12}|\.\d{1,12}|\d{1,12})(?:e[+-]?\d{1,3})?", re.IGNORECASE)
_MIXED = re.compile(r"(\d{1,12})?\s*\b(\d{1,6})/(\d{1,6})")
_GROUPS = r"\d{1,3}(?:%s\d{3})+"
_COMMAS = r"\d{1,3}(?:,\d{3})+\.\d{1,12}|\d{1,12}(?:,\d{1,12})+"
# An apostrophe before three digits groups thousands: nobody writes feet and hundreds of something so.
_GROUPED = r"\d{1,3}(?:['’]\d{3})+(?:\.\d{1,12})?|\d{1,3}(?:\.\d{3})+,\d{1,12}|\d{1,3}(?:\.\d{3}){2,}"
_SPACED = r"\d{1,3}(?: \d{3})+(?:[.,]\d{1,12})?(?!\d|\s*/)"
_TERM = re.compile(rf"\s*((?:{_GROUPED})(?!\d)|{_SPACED}|{_COMMAS}|{_NUMBER})\s*([a-zA-Z]+|[\"'″′])?")
_GROUPING = re.compile(r"(?<=\d)['’](?=\d{3}(?!\d))")
_THOUSANDTHS = re.compile(r"[1-9]\d?\.\d{3}")
_BLANKS = str.maketrans({"\N{NO-BREAK SPACE}": " ", "\N{NARROW NO-BREAK SPACE}": " "})
_FRACTIONS = _BLANKS | str.maketrans(
    {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
)
_MOST_MM = 100_000.0  # sizes beyond that, by the one unit at their end, are no block's
_EXAMPLES = 'write for instance "900 mm", "0.9 m", "36 in" or "2 ft 6 in"'


def unit_mm(unit: str, name: str = "unit") -> float:
    """Return how many millimetres one ``unit`` is.

    >>> from blockfit.units import unit_mm
    >>> unit_mm("in")
    25.4
    """
    text = str(unit).strip()
    key = _ALIASES.get(text.lower(), text.lower())
    if key not in MM_PER_UNIT:
        raise BadValueError(f"{name}={unit!r} is not a unit of length; use one of {', '.join(MM_PER_UNIT)}")
    return MM_PER_UNIT[key]


def number_of(text: str, name: str = "number") -> float:
    """Return a plain number as people write it: ``1500``, ``1500.5``, ``12,5``, ``1,500.0``, ``1 500``, ``30 1/2``.

    Raises `BadValueError` for what is none, or could be read in two ways, and shows both.

    >>> from blockfit.units import number_of
    >>> number_of("12,5"), number_of("30 1/2"), number_of("1,500.0"), number_of("1 500")
    (12.5, 30.5, 1500.0, 1500.0)
    """
    plain = text.strip().translate(_BLANKS)
    if _PLAIN.fullmatch(plain):
        return float(plain)
    mixed = _MIXED.fullmatch(plain)
    if mixed and int(mixed.group(3)):
        return float(int(mixed.group(1) or 0) + Fraction(int(mixed.group(2)), int(mixed.group(3))))
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", plain):
        raise ambiguous(plain, name)
    if re.fullmatch(r"\d{1,12},\d{1,12}", plain):  # a decimal comma: no thousands are grouped so
        return float(plain.replace(",", "."))
    for group, point in ((",", "."), ("'", "."), ("’", "."), (" ", "."), (r"\.", ","), (" ", ",")):
        if re.fullmatch(_GROUPS % group + rf"(?:{re.escape(point)}\d{{1,12}})?", plain):
            return float(re.sub(group, "", plain).replace(point, "."))
    raise BadValueError(f"{name}={text!r} is not a number; write for instance 1500 or 1500.5")


def ambiguous(text: str, name: str) -> BadValueError:
    """Return the error that shows both readings of a number such as ``1,500`` or ``1.500``."""
    small, large = text.replace(",", "."), text.replace(",", "").replace(".", "")
    return BadValueError(f"{name}={text!r} can be read as {float(small):g} or as {large}; write the one that is meant")


def length_mm(value: Length, name: str = "length", *, least: float = -math.inf, unit: str = "mm") -> float:
    """Return a length in mm, given as a number of ``unit`` or as text with a unit of its own.

    Raises `BadValueError` for text that is no length and for anything infinite, not a number, or below
    ``least`` (in mm).

    >>> from blockfit.units import length_mm
    >>> length_mm("2 ft 6 in"), length_mm("36 1/2 in"), length_mm(20)
    (762.0, 927.1, 20.0)
    """
    if isinstance(value, str):
        millimetres = _parse(value, name)
    else:
        try:
            millimetres = _bare(value) * unit_mm(unit)
        except (TypeError, ValueError, OverflowError) as error:
            raise BadValueError(f"{name}={value!r} is not a length; {_EXAMPLES}") from error
    if not math.isfinite(millimetres):
        raise BadValueError(f"{name}={value!r} is not a finite length; {_EXAMPLES}")
    if millimetres < least:
        bound = "must not be negative" if least == 0 else f"must be at least {least:g} mm"
        raise BadValueError(f"{name}={value!r} {bound}")
    return millimetres


_ORDER = {
    2: "width x height, such as 800x2000 (mm)",
    3: "width x depth x height, such as 900x750x1500 (mm)",
}


# The metric ones and the pound are exact by definition.
_KG_PER_UNIT = {"kg": 1.0, "g": 1e-3, "t": 1000.0, "lb": KG_PER_LB, "lbs": KG_PER_LB, "oz": KG_PER_LB / 16}
_FLOOR = {"kg/m2": 1.0, "kg/m²": 1.0, "t/m2": 1000.0, "t/m²": 1000.0, "kn/m2": 1000 / 9.80665, "kn/m²": 1000 / 9.80665}
_PSF = KG_PER_LB / 0.3048**2
_FLOOR |= {"lb/sq ft": _PSF, "lb/ft2": _PSF, "lb/ft²": _PSF, "psf": _PSF}


def mass_kg(value: Mass, name: str = "weight", *, least: float = 0.0) -> float:
    """Return a weight in kg, given as a number of kg or as text with a unit: kg, g, t, lb or oz.

    Raises `BadValueError` for text that is no weight, for anything infinite, and below ``least``.

    >>> from blockfit.units import mass_kg
    >>> mass_kg(300), mass_kg("0.5 t"), round(mass_kg("600 lb"), 2)
    (300.0, 500.0, 272.16)
    """
    return _in_units(value, name, _KG_PER_UNIT, "kg", '"300 kg" or "600 lb"', least)


def floor_load_kg_m2(value: Mass, name: str = "floor load") -> float:
    """Return a load on a floor in kg/m², given as a number of them or as text: ``"5 kN/m2"``, ``"100 psf"``.

    >>> from blockfit.units import floor_load_kg_m2
    >>> floor_load_kg_m2(500), round(floor_load_kg_m2("100 psf")), round(floor_load_kg_m2("5 kN/m2"))
    (500.0, 488, 510)
    """
    return _in_units(value, name, _FLOOR, "kg/m2", '"500 kg/m2" or "100 psf"', 0.0)


def _in_units(value: Mass, name: str, factors: dict[str, float], bare: str, example: str, least: float) -> float:
    """Return a number times its unit's factor."""
    try:
        if isinstance(value, str):
            split = _AMOUNT.fullmatch(value.strip())
            unit = " ".join(split[2].lower().split()) if split and split[2] else bare
            if split is None or unit not in factors:
                raise BadValueError(f"{name}={value!r} is not understood; write for instance {example}")
            if re.fullmatch(r"[1-9]\d{0,2}\.\d{3}", split[1].strip()) and unit in ("kg", "lb", "lbs"):
                raise ambiguous(split[1].strip(), name)  # thousandths of a kilogram, or thousands of them
            amount = number_of(split[1], name) * factors[unit]
        else:
            amount = _bare(value)
    except (TypeError, OverflowError) as error:
        raise BadValueError(f"{name}={value!r} is not a number; write for instance {example}") from error
    if not (math.isfinite(amount) and amount >= least):
        bound = "0 or more" if least <= 0 else f"at least {least:g} {bare}"
        raise BadValueError(f"{name}={value!r} must be a number of {bare}, {bound}")
    return amount


_AMOUNT = re.compile(r"([+-]?[\d.,'’\s/]*\d[\d.,'’]*)\s*([a-zA-Z²/\s\d]*?)")


def _bare(value: float) -> float:
    """Return what is given as a number: yes, no and bytes are none, though Python takes them."""
    if isinstance(value, bool | bytes):
        raise TypeError
    return float(value)


def sizes_mm(text: str, count: int = 3, name: str = "sizes") -> tuple[float, ...]:
    """Return sizes written ``900x750x1500`` (mm) or ``36in x 30in x 60in``.

    >>> from blockfit.units import sizes_mm
    >>> sizes_mm("900x750x1500"), sizes_mm("36x30x60 in")
    ((900.0, 750.0, 1500.0), (914.4, 762.0, 1524.0))
    """
    parts = [part.strip() for part in re.split(r"[x×*]", text.strip(), flags=re.IGNORECASE)]
    if len(parts) != count or not all(parts):
        raise BadValueError(f"{name}={text!r} should be {count} lengths, {_ORDER.get(count, '')}")
    plain = [_GROUPING.sub("", part) for part in parts]  # an apostrophe that groups thousands is no foot
    with_unit = [bool(re.search(r"[a-zA-Z\"'″′]", part)) for part in plain]
    if any(with_unit[:-1]) and not all(with_unit):
        raise UnitNeededError(
            f"{name}={text!r} gives a unit for some lengths only; give one for each, or one at the end"
        )
    last = re.search(r"[a-zA-Z\"'″′]+\s*$", plain[-1])
    suffix = last.group(0) if last and not any(with_unit[:-1]) else ""
    units = ["" if has else suffix or "mm" for has in with_unit]
    found = tuple(length_mm(part + unit, name) for part, unit in zip(parts, units, strict=True))
    if suffix and max(found) > _MOST_MM:
        most = f"{max(found) / 1000:,.0f} m"
        raise UnitNeededError(f"{name}={text!r} makes one of them {most}, by the unit at the end; give each its unit")
    return found


def ratio_value(value: Ratio, name: str = "ratio") -> float:
    """Return the factor from the maquette to the figure: ``"1:4"`` and ``4`` both make it four times larger.

    >>> from blockfit.units import ratio_value
    >>> ratio_value("1:4"), ratio_value("2:1"), ratio_value(1.5)
    (4.0, 0.5, 1.5)
    """
    try:
        if isinstance(value, str):
            parts = [number_of(part, name) for part in value.split(":", 2)]
            factor = parts[1] / parts[0] if len(parts) == 2 else float(*parts)
        else:
            factor = _bare(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError) as error:
        raise BadValueError(f'{name}={value!r} is not a ratio; write for instance "1:4" or 4') from error
    if not (math.isfinite(factor) and factor > 0):
        raise BadValueError(f'{name}={value!r} must be more than 0; write for instance "1:4" or 4')
    return factor


def rounded_down(value: float, digits: int = 1) -> float:
    """Return ``value`` rounded towards −∞ at ``digits`` decimals, except for rounding errors of its last bits.

    >>> from blockfit.units import rounded_down, rounded_up
    >>> rounded_down(34.58), rounded_up(34.51), rounded_down(0.1 * 3)
    (34.5, 34.6, 0.3)
    """
    step = 10.0**digits
    return math.floor(value * step + ON_STEP) / step + 0.0


def rounded_up(value: float, digits: int = 1) -> float:
    """Return ``value`` rounded towards +∞ at ``digits`` decimals, except for rounding errors of its last bits."""
    return -rounded_down(-value, digits) + 0.0


def feet_and_inches(millimetres: float, parts: int = 16, rounded: str = "nearest") -> str:
    """Return a length in feet, inches and sixteenths, rounded to the nearest, ``"down"`` or ``"up"``.

    >>> from blockfit.units import feet_and_inches
    >>> feet_and_inches(914.4), feet_and_inches(1000), feet_and_inches(20), feet_and_inches(20, rounded="down")
    ('3 ft', '3 ft 3 3/8 in', '13/16 in', '3/4 in')
    """
    exact = millimetres / 25.4 * parts
    ticks = {"down": rounded_down, "up": rounded_up}.get(rounded, round)(exact, 0)
    feet, rest = divmod(round(abs(ticks)), 12 * parts)
    inches, fraction = divmod(rest, parts)
    words = [f"{feet} ft"] if feet else []
    if fraction:
        words.append(f"{f'{inches} ' if inches else ''}{Fraction(fraction, parts)} in")
    elif inches or not feet:
        words.append(f"{inches} in")
    return ("-" if ticks < 0 else "") + " ".join(words)


def inches_of(millimetres: float, rounded: str = "nearest", parts: int = 16) -> str:
    """Return a length in inches and sixteenths, a bare number: for columns, and rules that know no feet.

    >>> from blockfit.units import inches_of
    >>> inches_of(1000, "down"), inches_of(20, "up"), inches_of(-3.2)
    ('39 5/16', '13/16', '-1/8')
    """
    ticks = {"down": rounded_down, "up": rounded_up}.get(rounded, round)(millimetres / 25.4 * parts, 0)
    whole, part = divmod(round(abs(ticks)), parts)
    fraction = str(Fraction(part, parts)) if part else ""
    return ("-" if ticks < 0 else "") + (f"{whole} {fraction}".strip() if whole or not fraction else fraction)


def _parse(text: str, name: str) -> float:
    """Return the sum of the terms of ``text``, each a number with its unit."""
    body = text.translate(_FRACTIONS).strip()
    sign = -1.0 if body.startswith("-") else 1.0
    body = body[1:] if body[:1] in ("-", "+") else body
    total, position = Fraction(0), 0
    while position < len(body):
        term = _TERM.match(body, position)
        if term is None:
            raise BadValueError(f"{name}={text!r} is not a length; {_EXAMPLES}")
        if term.group(2) is None:
            raise UnitNeededError(f"{name}={text!r} has no unit; {_EXAMPLES}")
        if _ALIASES.get(term.group(2).lower(), term.group(2).lower()) not in MM_PER_UNIT:
            units = ", ".join(MM_PER_UNIT)
            raise BadValueError(f"{name}={text!r}: {term.group(2)!r} is not a unit of length; use one of {units}")
        if _THOUSANDTHS.fullmatch(term.group(1)) and unit_mm(term.group(2)) == 1.0:
            raise ambiguous(term.group(1), name)  # thousandths of a millimetre, or thousands of them
        try:
            number = _exact(term.group(1), name)
        except ZeroDivisionError as error:
            raise BadValueError(f"{name}={text!r} is not a length; {_EXAMPLES}") from error
        total += number * Fraction(str(unit_mm(term.group(2), name)))
        position = term.end()
    if position == 0:
        raise BadValueError(f"{name}={text!r} is not a length; {_EXAMPLES}")
    return sign * float(total)


def _exact(text: str, name: str) -> Fraction:
    """Return a number, or a whole and a fraction, without rounding."""
    if re.search(r"[,'’]|\..*\.|^\d{1,3} \d{3}(?!\d|/)", text):
        return Fraction(str(number_of(text, name)))
    return sum((Fraction(part) for part in text.split()), Fraction(0))

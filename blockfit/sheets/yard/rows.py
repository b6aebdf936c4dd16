"""One row of a yard's table: what is known of one figure in one block, its plain data and its line of CSV."""

import math
from dataclasses import dataclass, field, fields
from types import NoneType, UnionType
from typing import Any, get_args, get_type_hints

from blockfit.errors import plain_text
from blockfit.facts.measures import Measure, Rounding, Sure, fact
from blockfit.facts.results import Result, facts_of
from blockfit.facts.systems import UnitSystem
from blockfit.solids.block import Block

__all__ = ["RANKS", "Row", "alike", "csv_heading", "csv_line", "csv_stopped", "name_words", "rank_key", "why_words"]

RANKS = ("largest", "cheapest", "least waste", "lightest")


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Row(Result):
    """One figure in one block.

    ``scale`` is the largest in that block, also where it is less than was wanted, ``scale_bound`` proved out of reach,
    ``tall_mm`` how tall the figure stands at the size wanted, or the largest; ``cover_mm`` and ``reserve_mm`` are at
    that size. ``verdict`` is FITS, CANNOT_FIT, UNDECIDED or FAILED, about the size wanted; ``short_mm`` on
    ``short_faces`` is what is missing where it does not fit; ``note`` says what else there is to say. Weights are at
    typical density; ``waste_share`` and ``removed_kg`` are at the size wanted, or the largest. ``price_per_m3`` is the
    price by the figure's volume, ``stone_price_per_m3`` by the block's.
    """

    order: int = field(metadata=fact("order", Sure.GIVEN, measure=Measure.COUNT, shown=False))
    figure: str = field(metadata=fact("figure", Sure.GIVEN))
    block: Block
    verdict: str = field(metadata=fact("verdict", Sure.PROVED))
    scale: float = field(metadata=fact("scale", Sure.EXACT, Rounding.DOWN))
    scale_bound: float = field(metadata=fact("bound", Sure.PROVED, Rounding.UP))
    cover_mm: float | None = field(metadata=fact("cover", Sure.EXACT, Rounding.DOWN))
    turn_deg: float | None = field(metadata=fact("turn", Sure.EXACT, shown=False))
    tilt_deg: float | None = field(metadata=fact("lean", Sure.EXACT, shown=False))
    stands_on: str | None = field(metadata=fact("stands on", Sure.EXACT))
    block_kg: float | None = field(metadata=fact("block weighs", Sure.ESTIMATE, Rounding.UP))
    removed_kg: float | None = field(metadata=fact("out", Sure.ESTIMATE, Rounding.UP))
    waste_share: float | None = field(metadata=fact("waste", Sure.EXACT, measure=Measure.SHARE))
    price: float | None = field(metadata=fact("price", Sure.GIVEN, measure=Measure.PLAIN))
    price_per_m3: float | None = field(metadata=fact("price by figure", Sure.EXACT, measure=Measure.PLAIN))
    recovered: float | None = field(metadata=fact("saved", Sure.EXACT, measure=Measure.SHARE, shown=False))
    note: str = field(metadata=fact("note", Sure.GIVEN, shown=False))
    tall_mm: float | None = field(default=None, metadata=fact("tall", Sure.EXACT, Rounding.DOWN))
    reserve_mm: float | None = field(default=None, metadata=fact("reserve", Sure.EXACT, Rounding.DOWN))
    short_mm: float | None = field(default=None, metadata=fact("missing", Sure.PROVED, Rounding.UP, shown=False))
    short_faces: str = field(default="", metadata=fact("missing on", Sure.PROVED, shown=False))

    @property
    def stone_price_per_m3(self) -> float | None:
        """The block's price by its own volume."""
        return None if self.price is None else self.price / self.block.volume_m3

    def record(self) -> dict[str, Any]:
        """Return the row as plain data."""
        width, depth, height = self.block.size_mm
        return {
            "block": self.block.name,
            "width_mm": width,
            "depth_mm": depth,
            "height_mm": height,
            "stone": None if self.block.stone is None else self.block.stone.name,
            "bed": self.block.bed,
            "stone_price_per_m3": self.stone_price_per_m3,
            **{name: getattr(self, name) for name, _ in facts_of(type(self))},
        }

    @classmethod
    def restored(cls, data: dict[str, Any], block: Block) -> "Row | None":
        """Return a row from its plain data and its block; ``None`` where the data are not what a row holds."""
        hints = get_type_hints(cls)
        values: dict[str, Any] = {}
        for one in fields(cls):
            if one.name == "block":
                continue
            value = data.get(one.name, _MISSING)
            if isinstance(value, bool) or not isinstance(value, _kinds(hints[one.name])):
                return None
            values[one.name] = value
        if values["verdict"] not in _ORDER or math.isnan(values["scale"]) or math.isnan(values["scale_bound"]):
            return None
        return cls(block=block, **values)


_MISSING = object()
_ORDER = {"FITS": 0, "UNDECIDED": 1, "CANNOT_FIT": 2, "FAILED": 3}
_LONGEST = 48  # letters of a name in a table
_COMPUTED = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
_COLUMNS = (  # of CSV: the order that earlier tables had, new ones last
    "block", "figure", "verdict", "scale", "scale_bound", "cover_mm", "turn_deg", "tilt_deg", "stands_on", "width_mm",
    "depth_mm", "height_mm", "stone", "block_kg", "removed_kg", "waste_share", "recovered", "price", "price_per_m3",
    "note", "tall_mm", "reserve_mm", "short_mm", "short_faces", "bed", "stone_price_per_m3",
)  # fmt: skip


def _kinds(hint: Any) -> tuple[type, ...]:
    """Return the types that a value annotated so may have; whole numbers are numbers."""
    kinds = get_args(hint) if isinstance(hint, UnionType) else (hint,)
    return tuple(
        {kind for one in kinds for kind in ((int, float) if one is float else (one,))}
        | ({NoneType} if NoneType in kinds else set())
    )


def rank_key(row: Row, rank: str) -> tuple[float, ...]:
    """Return what rows are sorted by: those that fit first, then by rank, then in the order given.

    By ``largest`` only rows that failed come after the others. What differs by rounding alone counts as equal.
    """
    order = _ORDER[row.verdict]
    first = {
        "largest": -row.scale,
        "cheapest": _or_last(row.price),
        "least waste": _or_last(row.waste_share),
        "lightest": _or_last(row.block_kg),
    }[rank]
    return (0.0 if rank == "largest" and order < 3 else float(order), alike(first), float(row.order))


def alike(value: float) -> float:
    """Return a value to ten digits, so that ties are ties whatever rounding did to them.

    >>> from blockfit.sheets.yard.rows import alike
    >>> alike(0.1 + 0.2) == alike(0.3)
    True
    """
    return float(f"{value:.10g}")


def _or_last(value: float | None) -> float:
    return math.inf if value is None else value


def why_words(row: Row, units: UnitSystem) -> str:
    """Return why a block fails, by how much and on which faces, and what else there is to say; nothing if nothing."""
    told = []
    if row.short_mm:
        told.append(f"{units.missing(row.short_mm)} is missing on each of {row.short_faces}")
    return "; ".join([*told, *([plain_text(row.note)] if row.note else [])])


def name_words(text: str) -> str:
    """Return a name that keeps the table whole: one line, and of a length that leaves room for the rest."""
    plain = plain_text(text[: 4 * _LONGEST])
    return plain if len(plain) <= _LONGEST else plain[: _LONGEST - 1] + "…"


def csv_heading() -> str:
    """Return the first line of the CSV."""
    return ",".join(_COLUMNS) + "\n"


def csv_line(row: Row) -> str:
    """Return a row as a line of CSV in which no cell starts a formula."""
    data = row.record()
    return _line([data[name] for name in _COLUMNS])


def csv_stopped() -> str:
    """Return the last line of a table that was stopped before all rows were there."""
    words = {"block": "(stopped)", "verdict": "STOPPED", "note": "stopped before all blocks were done"}
    return _line([words.get(name) for name in _COLUMNS])


def _line(values: list[Any]) -> str:
    return ",".join(map(_cell, values)) + "\n"


def _cell(value: Any) -> str:
    """Return a cell: one line, and quoted wherever a comma, a semicolon or a tab might end it.

    A spreadsheet computes what begins with one of a few signs, wide ones too, also after spaces: those stay text.
    """
    if value is None:
        return ""
    if not isinstance(value, str):
        return repr(value) if isinstance(value, float) else str(value)
    text = plain_text(value)
    if text[:1] in _COMPUTED:
        text = "'" + text
    doubled = text.replace('"', '""')
    return f'"{doubled}"' if any(sign in text for sign in ',;\t"|') else text

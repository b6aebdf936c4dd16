"""What every result can do: say its facts in words, as plain data, as rows of a table and in a notebook."""

import html
import importlib
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

import numpy as np

from blockfit.errors import MissingExtraError
from blockfit.facts.mappings import FrozenMapping
from blockfit.facts.measures import Fact, Sure, measure_of
from blockfit.facts.phrases import Phrase
from blockfit.facts.systems import METRIC, UnitSystem, units_of

__all__ = ["Result", "facts_of", "freeze_fields", "plain", "record_of", "shown_value"]

_REPR = 220  # letters of a repr: three lines of a terminal
_LISTED = 12  # rows of a nested table that words list; the data have them all


def freeze_fields(value: Any) -> None:
    """Make the mappings of a frozen dataclass refuse changes, and its arrays read-only views of what was given."""
    for one in fields(value):
        held = getattr(value, one.name)
        if isinstance(held, dict) and not isinstance(held, FrozenMapping):
            object.__setattr__(value, one.name, FrozenMapping(held))
        elif isinstance(held, np.ndarray) and held.flags.writeable:
            seen = held.view()
            seen.flags.writeable = False
            object.__setattr__(value, one.name, seen)


def facts_of(kind: Any) -> list[tuple[str, Fact]]:
    """Return the (name, fact) of every field of a dataclass, or of its instance, that states one."""
    return [(f.name, f.metadata["fact"]) for f in fields(kind) if "fact" in f.metadata]


def plain(value: Any) -> Any:
    """Return a value as JSON can hold it: arrays as lists, phrases and enums as text, nothing infinite."""
    if isinstance(value, Result):
        return value.record()
    if is_dataclass(value) and facts_of(value):
        return record_of(value)
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, Phrase):
        return str(value)
    if isinstance(value, Enum):
        return value.name
    if isinstance(value, np.bool_ | np.integer):
        return value.item()
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return value


def record_of(result: Any) -> dict[str, Any]:
    """Return the facts of a dataclass as plain data; keys say their units, values stay SI."""
    return {fact.key or name: plain(getattr(result, name)) for name, fact in facts_of(result)}


def shown_value(name: str, fact: Fact, value: Any, units: UnitSystem) -> str:
    """Return one fact's value as read."""
    measure = measure_of(fact.key or name, fact.measure)
    if value is None:
        return "–"
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | float | np.floating | np.integer):
        return units.show(float(value), measure, fact.rounded)
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {shown_value(name, fact, item, units)}" for key, item in value.items())
    if isinstance(value, np.ndarray | tuple | list):
        return ", ".join(shown_value(name, fact, item, units) for item in value)
    if isinstance(value, Phrase):
        return value.text(units)
    if is_dataclass(value) and (known := facts_of(value)):
        shown = [(one, part, getattr(value, one)) for one, part in known if part.shown]
        return "; ".join(f"{part.label} {shown_value(one, part, item, units)}" for one, part, item in shown)
    return value.name if isinstance(value, Enum) else str(value)


class Result:
    """A frozen dataclass whose fields state facts (`blockfit.facts.measures.fact`)."""

    __slots__ = ()

    def __post_init__(self) -> None:
        """Freeze what the result holds: mappings refuse changes, arrays can be read only."""
        freeze_fields(self)

    def record(self) -> dict[str, Any]:
        """Return the facts as plain data for JSON: SI values, units in the keys."""
        return record_of(self)

    def text(self, units: str = "metric") -> str:
        """Return the facts in words, a line each, in ``"metric"`` or ``"us"`` units."""
        system = units_of(units)
        return "".join(line + "\n" for line in self._lines(system))

    def frame(self) -> Any:
        """Return the facts as a pandas DataFrame: a row, or a row for each entry of the table that the result holds.

        Raises `MissingExtraError` where pandas is not installed.
        """
        try:
            pandas = importlib.import_module("pandas")
        except ImportError as error:
            raise MissingExtraError("a DataFrame needs pandas: pip install pandas") from error
        rows = self._rows()
        return pandas.DataFrame([row.record() for row in rows] if rows else [self.record()])

    def __str__(self) -> str:
        """Return the words, in metric units."""
        return self.text()

    def __repr__(self) -> str:
        """Return the first facts, within three lines."""
        said: list[str] = []
        for label, value, _ in self._shown(METRIC):
            if sum(map(len, said)) + len(label) + len(value) + 2 * len(said) > _REPR - 40 or "\n" in value:
                break
            said.append(f"{label} {value}")
        return f"{type(self).__name__}({', '.join(said)})"

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><th scope='row' style='text-align:left'>{html.escape(label)}</th><td style='text-align:left'>"
            f"{html.escape(value)}</td><td style='text-align:left'>{html.escape(sure)}</td></tr>"
            for label, value, sure in self._shown(METRIC)
        )
        return f"<table><caption>{html.escape(type(self).__name__)}</caption>{rows}</table>"

    def _shown(self, units: UnitSystem) -> list[tuple[str, str, str]]:
        """Return (label, value, how sure) of the facts that are shown; tables of further results are counted."""
        shown = []
        for name, fact in facts_of(self):
            value = getattr(self, name)
            if not fact.shown:
                continue
            rows = _as_rows(value)
            written = str(len(rows)) if rows is not None else shown_value(name, fact, value, units)
            shown.append((fact.label, written, self._sure(name, fact).value))
        return shown

    def _sure(self, name: str, fact: Fact) -> Sure:
        """Return how sure a fact is; results in which that depends on what was asked say so here."""
        return fact.sure

    def _lines(self, units: UnitSystem) -> list[str]:
        lines = [f"{label}: {value} ({sure})" for label, value, sure in self._shown(units)]
        for row in self._rows()[:_LISTED]:
            lines.append("  " + "; ".join(f"{label} {value}" for label, value, _ in row._shown(units)))
        more = len(self._rows()) - _LISTED
        return lines + ([f"  and {more} more"] if more > 0 else [])

    def _rows(self) -> "list[Result]":
        """Return the entries of the first table that the result holds."""
        tables = (_as_rows(getattr(self, name)) for name, _ in facts_of(self))
        return next((rows for rows in tables if rows), [])


def _as_rows(value: Any) -> list[Result] | None:
    if isinstance(value, tuple | list) and value and all(isinstance(item, Result) for item in value):
        return list(value)
    return [] if isinstance(value, tuple) and not value else None

"""Frozen values as plain JSON, exact to the last bit, and back.

Numbers keep all their digits (the shortest decimals that give the same double again). A dataclass is its class's name
and its fields; one that is met again is named by number. Surfaces go into PLY files beside. What is read back is made
only from classes that are listed by name, each field compared with its annotation: a file can say nothing else."""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from enum import Enum
from typing import Any

import numpy as np

from blockfit.errors import BadValueError, BlockfitError
from blockfit.facts.mappings import FrozenMapping
from blockfit.filing.hints import hints_of, holds
from blockfit.filing.surfaces import ply_bytes, ply_name, ply_surface
from blockfit.measure.sections import area_from_parts, parts_of_area

__all__ = ["Known", "Reader", "Writer"]

_DTYPES = ("float64", "int64", "bool")
_MOST_CELLS = 50_000_000  # of one array
_MANY = 1000  # places (n, 3) of an array; more are kept as a PLY file
_SURFACE = ("vertices", "faces")  # a class that has these two is kept as a PLY file

Upgrade = Callable[[dict[str, Any], int], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Known:
    """What may be made from a file: classes and enums by name.

    ``upgrades`` take an older file's fields, still as JSON, with its schema, and return today's; ``added`` are the
    values of fields that older files do not have, by class and name, where the class has no default.
    """

    classes: Mapping[str, type]
    upgrades: Mapping[str, Upgrade] = field(default_factory=FrozenMapping)
    added: Mapping[str, Mapping[str, Any]] = field(default_factory=FrozenMapping)


@dataclass(slots=True)
class Writer:
    """Turns values into JSON; all that one writer is given share their numbers.

    ``surfaces`` (name -> PLY) and ``classes`` are those met so far.
    """

    surfaces: dict[str, bytes] = field(default_factory=dict)
    classes: set[str] = field(default_factory=set)
    _numbers: dict[int, int] = field(default_factory=dict)
    _kept: list[Any] = field(default_factory=list)  # what is numbered must not be forgotten, or its id is given again
    _names: dict[int, str] = field(default_factory=dict)

    def plain(self, value: Any) -> Any:
        """Return a value as JSON can hold it. Raises `BadValueError` for a type that is not kept."""
        if value is None or isinstance(value, bool | str):
            return value
        if isinstance(value, np.generic):
            return self.plain(value.item())
        if isinstance(value, Enum):
            return {"enum": type(value).__name__, "name": value.name}
        if isinstance(value, int):
            return value
        if isinstance(value, float):
            return value if math.isfinite(value) else {"float": repr(value)}
        if isinstance(value, tuple):
            return [self.plain(one) for one in value]
        if isinstance(value, Mapping):
            return {"mapping": [[self.plain(key), self.plain(one)] for key, one in value.items()]}
        if isinstance(value, np.ndarray):
            return self._array(value)
        if is_dataclass(value) and not isinstance(value, type):
            return self._fields(value)
        if hasattr(value, "geom_type"):
            kind, parts = parts_of_area(value)
            return {"area": kind, "coordinates": [[ring.tolist() for ring in part] for part in parts]}
        raise BadValueError(f"{type(value).__name__} cannot be kept in a job file")

    def _fields(self, value: Any) -> dict[str, Any]:
        known = self._numbers.get(id(value))
        if known is not None:
            return {"same": known}
        number = self._numbers[id(value)] = len(self._numbers)
        self._kept.append(value)
        names = [one.name for one in fields(value) if one.init]
        self.classes.add(type(value).__name__)
        told: dict[str, Any] = {"class": type(value).__name__, "number": number}
        if set(_SURFACE) <= set(names):
            told["ply"] = self._surface(value)
            names = [name for name in names if name not in _SURFACE]
        return told | {"fields": {name: self.plain(getattr(value, name)) for name in names}}

    def _surface(self, value: Any) -> str:
        return self._filed(str(getattr(value, "name", "surface")), ply_bytes(value.vertices, value.faces))

    def _filed(self, name: str, body: bytes) -> str:
        name = ply_name(name, body)
        self.surfaces[name] = body
        return name

    def _array(self, value: Any) -> dict[str, Any]:
        if value.dtype.name not in _DTYPES:
            raise BadValueError(f"an array of {value.dtype.name} cannot be kept in a job file")
        told: dict[str, Any] = {"array": value.dtype.name, "shape": list(value.shape)}
        if _in_ply(value):
            return told | {"ply": self._filed("places", ply_bytes(value, np.zeros((0, 3), np.int64)))}
        flat = value.ravel().tolist()
        if value.dtype.kind == "f" and not np.isfinite(value).all():
            flat = [one if math.isfinite(one) else repr(one) for one in flat]
        return told | {"values": flat}


def _in_ply(value: Any) -> bool:
    """Tell whether an array is many places: they are kept as a PLY file without faces."""
    return value.dtype == np.float64 and value.ndim == 2 and value.shape[1] == 3 and len(value) > _MANY


@dataclass(slots=True)
class Reader:
    """Turns JSON back into values, as one writer wrote it, part by part in the same order.

    ``surfaces`` returns a PLY file's bytes by its name. Raises `BadValueError` for anything that no writer writes.
    """

    known: Known
    schema: int
    surfaces: Callable[[str], bytes]
    _numbered: dict[int, Any] = field(default_factory=dict)
    _read: dict[str, tuple[Any, Any]] = field(default_factory=dict)

    def value(self, plain: Any) -> Any:
        """Return the value that was written."""
        if plain is None or isinstance(plain, bool | int | float | str):
            return plain
        if isinstance(plain, list):
            return tuple(self.value(one) for one in plain)
        if isinstance(plain, dict):
            for key, read in self._forms().items():
                if key in plain:
                    return read(plain)
        raise BadValueError(f"an entry is none that blockfit writes: {str(plain)[:60]}")

    def _forms(self) -> dict[str, Callable[[dict[str, Any]], Any]]:
        return {
            "class": self._object,
            "same": self._same,
            "array": self._array,
            "mapping": self._mapping,
            "enum": self._enum,
            "float": _float_from,
            "area": _area_from,
        }

    def _array(self, plain: dict[str, Any]) -> Any:
        if "ply" not in plain:
            return _array_from(plain)
        places, _ = self._surface(plain["ply"])
        if [plain["array"], plain.get("shape")] != ["float64", list(places.shape)]:
            raise BadValueError("an array's file holds something else")
        return places

    def _mapping(self, plain: dict[str, Any]) -> FrozenMapping[Any, Any]:
        pairs = plain["mapping"]
        if not isinstance(pairs, list) or any(not isinstance(pair, list) or len(pair) != 2 for pair in pairs):
            raise BadValueError("a mapping is no list of pairs")
        try:
            return FrozenMapping({self.value(key): self.value(one) for key, one in pairs})
        except TypeError as error:
            raise BadValueError("a mapping has a key that cannot be one") from error

    def _same(self, plain: dict[str, Any]) -> Any:
        number = plain["same"]
        if type(number) is not int or number not in self._numbered:
            raise BadValueError(f"entry {str(number)[:40]} is named before it is there")
        return self._numbered[number]

    def _enum(self, plain: dict[str, Any]) -> Enum:
        made = self._class(plain["enum"])
        name = str(plain.get("name"))
        if not issubclass(made, Enum) or name not in made.__members__:
            raise BadValueError(f"{plain['enum']} has no {name[:40]!r}")
        found: Enum = made.__members__[name]
        return found

    def _class(self, name: Any) -> type:
        found = self.known.classes.get(name) if isinstance(name, str) else None
        if found is None:
            raise BadValueError(f"{str(name)[:60]!r} is nothing that a job file holds")
        return found

    def _object(self, plain: dict[str, Any]) -> Any:
        made, given = self._class(plain["class"]), plain.get("fields")
        if not isinstance(given, dict) or not is_dataclass(made):
            raise BadValueError(f"{plain['class']} has no fields")
        upgrade = self.known.upgrades.get(plain["class"])
        told = upgrade(dict(given), self.schema) if upgrade is not None else given
        named = dict(self.known.added.get(plain["class"], {}))
        named |= {str(name): self.value(one) for name, one in told.items()}
        if "ply" in plain:
            named |= dict(zip(_SURFACE, self._surface(plain["ply"]), strict=True))
        value = self._made(made, named)
        if type(plain.get("number")) is not int or plain["number"] in self._numbered:
            raise BadValueError(f"{plain['class']} has no number of its own")
        self._numbered[plain["number"]] = value
        return value

    def _made(self, made: Any, named: dict[str, Any]) -> Any:
        hints = hints_of(made)
        for name, value in named.items():
            if name not in hints:
                raise BadValueError(
                    f"{made.__name__} has no {name[:40]!r} in this version; if a later version of blockfit wrote it, "
                    "install that one"
                )
            if not holds(value, hints[name]):
                raise BadValueError(f"{made.__name__}: {name} is no {_hint_words(hints[name])}")
        try:
            return made(**named)
        except BlockfitError:
            raise
        except (TypeError, ValueError, KeyError, ArithmeticError) as error:
            raise BadValueError(f"{made.__name__} cannot be made: {error}") from error

    def _surface(self, name: Any) -> tuple[Any, Any]:
        if not isinstance(name, str):
            raise BadValueError("a surface has no name")
        if name not in self._read:
            self._read[name] = ply_surface(self.surfaces(name), name)
        return self._read[name]


def _hint_words(hint: Any) -> str:
    return re.sub(r"\b[\w.]+\.", "", str(getattr(hint, "__name__", hint)))[:60]


def _float_from(plain: dict[str, Any]) -> float:
    if plain["float"] not in ("inf", "-inf", "nan"):
        raise BadValueError(f"{str(plain['float'])[:40]!r} is no number")
    return float(plain["float"])


def _array_from(plain: dict[str, Any]) -> Any:
    kind, shape, values = plain["array"], plain.get("shape"), plain.get("values")
    if not isinstance(kind, str) or kind not in _DTYPES or not isinstance(shape, list) or not isinstance(values, list):
        raise BadValueError("an array is none that blockfit writes")
    if any(type(side) is not int or side < 0 for side in shape) or math.prod(shape) != len(values):
        raise BadValueError(f"an array of shape {shape!r} has {len(values)} values")
    if len(values) > _MOST_CELLS:
        raise BadValueError(f"an array has {len(values):,} values; at most {_MOST_CELLS:,} are read")
    allowed: tuple[type, ...] = {"float64": (float,), "int64": (int,), "bool": (bool,)}[kind]
    if kind == "float64":
        values = [_float_from({"float": one}) if type(one) is str else one for one in values]
    if any(type(one) not in allowed for one in values):
        raise BadValueError(f"an array of {kind} holds something else")
    try:
        made = np.array(values, dtype=kind).reshape(shape)
    except (ValueError, OverflowError) as error:
        raise BadValueError(f"an array cannot be made: {error}") from error
    made.flags.writeable = False
    return made


def _area_from(plain: dict[str, Any]) -> Any:
    parts = plain.get("coordinates")
    try:
        rings = [[np.array(ring, np.float64).reshape(-1, 2) for ring in part] for part in parts]  # type: ignore[union-attr]
        if any(not np.isfinite(ring).all() for part in rings for ring in part):
            raise BadValueError("an outline has a corner that is not finite")
        return area_from_parts(str(plain["area"]), rings)
    except (TypeError, ValueError) as error:
        if isinstance(error, BlockfitError):
            raise
        raise BadValueError(f"an outline is none: {error}") from error

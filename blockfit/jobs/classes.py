"""What a job file may hold, by name, and how older files' fields become today's.

A class is kept by its name and its fields. A new field needs a default, in the class or in `_ADDED`: older files are
opened with it, and older versions refuse the newer file in a sentence. What has gone, has another name or another
meaning needs an entry in `_UPGRADES`, a higher `blockfit.filing.package.SCHEMA`, and a file of the new schema in the
tests' corpus (``python tests/jobs/corpus.py``): the files there are opened for good."""

from typing import Any

from blockfit.carving.motion import Certainty
from blockfit.carving.stages import Stage
from blockfit.certificates.certificate import Certificate
from blockfit.filing.log import Entry
from blockfit.filing.values import Known, Upgrade
from blockfit.marking.check import Check, Reading
from blockfit.marking.datum import Datum
from blockfit.marking.depths import Facets
from blockfit.marking.point_table import Point
from blockfit.marking.pointing import Between, Pointing
from blockfit.marking.roughing import Plane, Roughing
from blockfit.marking.rounding import Grain
from blockfit.search.ask import Ask, Seek
from blockfit.search.choice.ladder import Recovery, Rung
from blockfit.search.result import Fit, Verdict
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure, Repair
from blockfit.solids.flaw import Flaw
from blockfit.solids.placement import Placement
from blockfit.solids.stance import Stance
from blockfit.solids.stone import Stone
from blockfit.waste.cuts.cut import Cut
from blockfit.waste.cuts.marks import Edge, Hollow, Mark
from blockfit.waste.cuts.methods import Method
from blockfit.waste.offcuts.piece import Offcut, Web
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.offcuts.prices import Prices
from blockfit.waste.offcuts.wishes import Kind, Wish
from blockfit.waste.reach.tools import Tool
from blockfit.waste.statics import Balance, LooseBody

__all__ = ["KNOWN"]

_CLASSES: tuple[type, ...] = (
    Ask,
    Balance,
    Between,
    Block,
    Certainty,
    Certificate,
    Check,
    Cut,
    Datum,
    Edge,
    Entry,
    Facets,
    Figure,
    Fit,
    Flaw,
    Grain,
    Hollow,
    Kind,
    LooseBody,
    Mark,
    Method,
    Offcut,
    OffcutPlan,
    Placement,
    Plane,
    Point,
    Pointing,
    Prices,
    Reading,
    Recovery,
    Repair,
    Roughing,
    Rung,
    Seek,
    Stage,
    Stance,
    Stone,
    Tool,
    Verdict,
    Web,
    Wish,
)


def _with_margin(fields: dict[str, Any], schema: int) -> dict[str, Any]:
    """Return a figure's fields with its margin by today's name (schema 1: ``tolerance_mm``)."""
    if schema < 2 and "tolerance_mm" in fields:
        fields["margin_mm"] = fields.pop("tolerance_mm")
    return fields


_UPGRADES: dict[str, Upgrade] = {"Figure": _with_margin}
_ADDED: dict[str, dict[str, Any]] = {"Hollow": {"names": ()}}

KNOWN = Known({made.__name__: made for made in _CLASSES}, _UPGRADES, _ADDED)

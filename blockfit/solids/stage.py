"""The stone as it stands, as far as a search needs it: the block less all that is gone. mm, block frame."""

from dataclasses import dataclass

from blockfit.solids.figure import Figure
from blockfit.solids.flaw import Flaw

__all__ = ["StageStone"]


@dataclass(frozen=True, eq=False)
class StageStone:
    """A closed surface of stone, in words what has gone from the block, and the flaws that are still in it."""

    stone: Figure
    gone: tuple[str, ...]
    flaws: tuple[Flaw, ...] = ()

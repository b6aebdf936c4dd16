"""The stone as it stands: the block less all that is gone. mm, block frame."""

from dataclasses import dataclass

from blockfit.solids.figure import Figure
from blockfit.solids.flaw import Flaw

__all__ = ["Stage"]


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """A closed surface of stone, in words what has gone from the block, and the flaws that are still in it."""

    stone: Figure
    gone: tuple[str, ...]
    flaws: tuple[Flaw, ...] = ()

"""The stone as it stands: the block less all that is gone. mm, block frame."""

from dataclasses import dataclass

from blockfit.solids.figure import Figure

__all__ = ["Stage"]


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """A closed surface of stone, and in words what has gone from the block."""

    stone: Figure
    gone: tuple[str, ...]

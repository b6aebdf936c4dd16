"""How the figure may be turned and leaned in the block."""

from dataclasses import dataclass

from blockfit.errors import BadValueError
from blockfit.solids.arrays import Array
from blockfit.solids.turns import tilt_deg, turn_deg

__all__ = ["Stance"]


@dataclass(frozen=True, slots=True)
class Stance:
    """Limits in degrees: ``tilt`` of the figure's up from the block's, ``turn`` about it either way.

    >>> from blockfit import Stance
    >>> Stance.upright(turn=30)
    Stance(tilt=0, turn=30)
    """

    tilt: float
    turn: float

    def __post_init__(self) -> None:
        """Check both limits."""
        for name, value in (("tilt", self.tilt), ("turn", self.turn)):
            if not (isinstance(value, int | float) and 0 <= value <= 180):
                raise BadValueError(f"{name}={value!r} must be an angle of 0 to 180 degrees")

    @classmethod
    def free(cls) -> "Stance":
        """Any rotation at all."""
        return cls(180, 180)

    @classmethod
    def upright(cls, turn: float = 180) -> "Stance":
        """Standing as read, turned about the vertical by up to ``turn`` degrees either way."""
        return cls(0, turn)

    @classmethod
    def leaning(cls, tilt: float, turn: float = 180) -> "Stance":
        """Leaned any way by up to ``tilt`` degrees, and turned by up to ``turn``."""
        return cls(tilt, turn)

    @classmethod
    def fixed(cls) -> "Stance":
        """As read, neither turned nor leaned."""
        return cls(0, 0)

    @property
    def is_free(self) -> bool:
        """Whether every rotation is allowed."""
        return self.tilt >= 180 and self.turn >= 180

    @property
    def is_upright(self) -> bool:
        """Whether the figure may only turn about the vertical."""
        return self.tilt == 0

    def allows(self, rotation: Array, slack: float = 1e-9) -> bool:
        """Tell whether a (3, 3) rotation keeps to the limits, within ``slack`` degrees."""
        return tilt_deg(rotation) <= self.tilt + slack and abs(turn_deg(rotation)) <= self.turn + slack

    def words(self) -> str:
        """Return the stance in plain words."""
        if self.is_free:
            return "any turn and lean"
        turned = "facing as read" if self.turn == 0 else f"turned up to {self.turn:g}° either way"
        turned = "any turn about the vertical" if self.turn >= 180 else turned
        return f"upright, {turned}" if self.is_upright else f"leaned up to {self.tilt:g}°, {turned}"

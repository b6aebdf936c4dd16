"""How the figure may be turned and leaned in the block."""

import math
from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array
from blockfit.geometry.turns import tilt_deg, turn_deg
from blockfit.kinds import take_fields

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
        take_fields(self)
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
        if self.is_free:
            return True
        return tilt_deg(rotation) <= self.tilt + slack and abs(turn_deg(rotation)) <= self.turn + slack

    def forms(self) -> list[tuple[Array, float]]:
        """Return (X, c) with ``tr(R X) + c >= 0`` for every rotation R allowed; not all of the limits, past 90°.

        Tilt: R22 >= cos(tilt). Turn ψ: R10 − R01 and R00 + R11 are a common factor times sin ψ and cos ψ, so
        ``sin(limit ∓ ψ) >= 0``, which holds for all |ψ| <= limit as long as the limit is at most 90°.
        """
        forms: list[tuple[Array, float]] = []
        if 0 < self.tilt < 180:
            forms.append((np.diag([0.0, 0.0, 1.0]), -math.cos(math.radians(self.tilt))))
        if self.turn <= 90:
            cos, sin = math.cos(math.radians(self.turn)), math.sin(math.radians(self.turn))
            for side in (1.0, -1.0):
                form = np.diag([sin, sin, 0.0])
                form[0, 1], form[1, 0] = -side * cos, side * cos
                forms.append((form, 0.0))
        return forms

    def words(self) -> str:
        """Return the stance in plain words."""
        if self.is_free:
            return "any turn and lean"
        turned = "facing as read" if self.turn == 0 else f"turned up to {self.turn:g}° either way"
        turned = "any turn about the vertical" if self.turn >= 180 else turned
        return f"upright, {turned}" if self.is_upright else f"leaned up to {self.tilt:g}°, {turned}"

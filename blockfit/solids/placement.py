"""Where the figure sits: block point = scale · rotation · figure point + shift."""

from dataclasses import dataclass

import numpy as np

from blockfit.errors import BadValueError
from blockfit.geometry.arrays import Array, frozen
from blockfit.geometry.tolerances import CLOSE
from blockfit.geometry.turns import tilt_deg, turn_deg
from blockfit.kinds import above_0

__all__ = ["Placement"]


@dataclass(frozen=True, eq=False)
class Placement:
    """A scale, a rotation (3, 3) and a shift (3,) in mm.

    Raises `BadValueError` if the matrix is not a rotation or the scale not above zero.

    >>> import numpy as np
    >>> from blockfit import Placement
    >>> Placement(2, np.eye(3), [10, 0, 0]).apply([[1, 1, 1]]).tolist()
    [[12.0, 2.0, 2.0]]
    """

    scale: float
    rotation: Array
    shift_mm: Array

    def __post_init__(self) -> None:
        """Copy, check and freeze."""
        rotation = frozen(self.rotation, (3, 3), "rotation")
        if (
            np.abs(rotation).max() > 2
            or np.abs(rotation @ rotation.T - np.eye(3)).max() > CLOSE
            or np.linalg.det(rotation) < 0
        ):
            raise BadValueError("rotation is not a rotation: its rows must be of length 1, square, right-handed")
        object.__setattr__(self, "scale", above_0(self.scale, "scale"))
        object.__setattr__(self, "rotation", rotation)
        object.__setattr__(self, "shift_mm", frozen(self.shift_mm, (3,), "shift_mm"))

    def apply(self, points: Array) -> Array:
        """Return figure points (..., 3) in the block frame, in mm."""
        return np.asarray(self.scale * (np.asarray(points, np.float64) @ self.rotation.T) + self.shift_mm)

    @property
    def tilt_deg(self) -> float:
        """Angle between the figure's up and the block's."""
        return tilt_deg(self.rotation)

    @property
    def turn_deg(self) -> float:
        """Twist about the vertical, positive to the left seen from above (counter-clockwise)."""
        return turn_deg(self.rotation)

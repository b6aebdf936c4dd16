"""Where something lies and from where it is reached, in a carver's words. Left and right are the carver's."""

import math
from collections.abc import Mapping

import numpy as np

from blockfit.facts.measures import Measure, Rounding
from blockfit.facts.phrases import Phrase, Quantity
from blockfit.geometry.arrays import Array
from blockfit.geometry.tolerances import LEAST_SIZE

__all__ = ["approach_words", "place_words"]


def approach_words(into: Array) -> str:
    """Return from where a tool that moves along ``into`` (3,) comes.

    >>> import numpy as np
    >>> from blockfit.waste.reach.places import approach_words
    >>> approach_words(np.array([0.8, 0.0, -0.6]))
    'from the left, 37° down'
    """
    level = math.hypot(into[0], into[1])
    slant = math.degrees(math.atan2(-into[2], level))
    if slant > 75:
        return "from the top" if slant > 89.5 else f"from the top, {90 - slant:.0f}° off plumb"
    if slant < -75:
        return "from below"
    azimuth = math.degrees(math.atan2(-into[0], -into[1])) % 360  # where the tool comes from; 180 is the front
    sides = ["back", "back right", "right", "front right", "front", "front left", "left", "back left"]
    # Coming from +y is from the back; from −x (moving to +x) is from the left.
    side = sides[int(((azimuth % 360) + 22.5) // 45) % 8]
    lean = f", {abs(slant):.0f}° {'down' if slant > 0 else 'up'}" if abs(slant) >= 2.5 else ""
    return f"from the {side}{lean}"


def place_words(
    point: Array, low: Array, high: Array, landmarks: Mapping[str, tuple[float, float, float]] | None = None
) -> Phrase:
    """Return where a point (3,) lies on a figure from ``low`` to ``high``: height and side, and a landmark near it."""
    near = ""
    if landmarks:
        name, mark = min(landmarks.items(), key=lambda item: math.dist(item[1], point))
        if math.dist(mark, point) < 0.2 * float(np.linalg.norm(high - low)):
            near = f"near {name}, "
    share = (point - low) / np.maximum(high - low, LEAST_SIZE)
    sides = [
        "left" if share[0] < 0.35 else "right" if share[0] > 0.65 else "middle",
        "front" if share[1] < 0.35 else "back" if share[1] > 0.65 else "",
    ]
    side = " ".join(word for word in reversed(sides) if word)
    height = Quantity(float(point[2]), Measure.LENGTH, Rounding.NEAREST)
    return Phrase.of("{near}{height} up, {side}", near=near, height=height, side=side)

"""Rotations drawn at random within a stance, for climbs that need no proof."""

import math

import numpy as np

from blockfit.geometry.arrays import Array
from blockfit.geometry.turns import from_quaternions
from blockfit.solids.stance import Stance

__all__ = ["drawn_rotations", "rotations_near"]

_LIMIT = 1e-15  # radians: upright and turned by nothing is allowed in spite of rounding


def drawn_rotations(stance: Stance, count: int, random: np.random.Generator) -> Array:
    """Return rotations (count, 3, 3) drawn among those that a stance allows."""
    if stance.is_free:
        return from_quaternions(random.normal(size=(count, 4)))
    turns = np.radians(random.uniform(-stance.turn, stance.turn, count)) / 2
    tilts = np.radians(stance.tilt) * np.sqrt(random.uniform(0, 1, count)) / 2
    ways, zero = random.uniform(-np.pi, np.pi, count), np.zeros(count)
    spin = np.stack([np.cos(turns), zero, zero, np.sin(turns)], axis=1)
    lean = np.stack([np.cos(tilts), np.sin(tilts) * np.cos(ways), np.sin(tilts) * np.sin(ways), zero], axis=1)
    return np.asarray(from_quaternions(lean) @ from_quaternions(spin))


def rotations_near(rotation: Array, stance: Stance, spread: float, count: int, random: np.random.Generator) -> Array:
    """Return rotations (count, 3, 3) within about ``spread`` radians of one, that a stance allows."""
    vectors = spread / 2 * random.normal(size=(count, 3)) * random.random((count, 1))
    if stance.is_upright:
        vectors = vectors * ([0.0, 0, 1] if stance.turn else [0.0, 0, 0])
    near = from_quaternions(np.column_stack([np.ones(count), vectors])) @ rotation
    if stance.is_free:
        return np.asarray(near)
    tilt = np.arctan2(np.hypot(near[:, 0, 2], near[:, 1, 2]), near[:, 2, 2])
    turn = np.abs(np.arctan2(near[:, 1, 0] - near[:, 0, 1], near[:, 0, 0] + near[:, 1, 1]))
    allowed = (tilt <= math.radians(stance.tilt) + _LIMIT) & (turn <= math.radians(stance.turn))
    return np.asarray(np.where(allowed[:, None, None], near, rotation))

"""How small is nothing: the tolerances that several rooms share. One that a single file needs stands at its top.

Lengths are in mm, and blocks up to 100 m and down to a millimetre are worked in doubles (about 16 digits)."""

__all__ = [
    "ALMOST_PARALLEL",
    "CLOSE",
    "LEAST_SIZE",
    "LESS",
    "LEVEL",
    "MEETING",
    "NOTHING_M3",
    "NOTHING_MM",
    "NOT_ZERO",
    "PARALLEL",
    "ROUNDING",
    "TOUCHING",
    "UNDER_MM",
]

NOT_ZERO = 1e-300
"""Stands for 0 where that cannot be divided by, or has no logarithm: what comes of it is then 0 too, or not used."""

ROUNDING = 1e-12
"""Of a value, or of what is of size 1: thousands of last digits, more than a few dozen operations lose."""

CLOSE = 1e-9
"""Of a value, of a step, of a degree or of a unit vector: more than a long computation loses, less than anyone sees."""

TOUCHING = 1e-6
"""Of a body's size: what lies so near a plane or a surface lies on it, be it made by booleans or by a climb."""

PARALLEL = 1 - 1e-9
"""The cosine of directions that are one: within 0.003 degrees, some 0.1 mm over a block of 2 m."""

ALMOST_PARALLEL = 1 - 1e-6
"""The cosine of directions that look alike and are told apart by nobody: within 0.08 degrees."""

LEVEL = 1e-6
"""The sine of no angle: a direction with less to any side is straight down, a cut and a face with less parallel."""

LESS = 1 - 1e-6
"""What is sought to be small is taken as smaller only below this share of the least before."""

MEETING = 1e-6
"""The determinant of three unit normals above which their planes meet in a place that can be computed."""

NOTHING_MM = 1e-6
"""A millionth of a millimetre: the least that counts as a length, and more than rounding makes of a block."""

UNDER_MM = 1e-3
"""So far within a solid a section has the outline of the face itself, clear of what a cut along the face may leave."""

NOTHING_M3 = 1e-9
"""A cubic millimetre: what rounding leaves of a volume."""

LEAST_SIZE = 1e-9
"""What a size that may be 0 is taken for where it is divided into parts: mm, or mm²."""

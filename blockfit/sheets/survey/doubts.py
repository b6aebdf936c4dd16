"""What looks implausible about a figure and its block, in plain sentences: said, never refused."""

import numpy as np

from blockfit.search.result import Fit
from blockfit.units import M3_PER_MM3

__all__ = ["doubts_of", "unit_doubts"]

_SMALL_MM, _TALL_MM = 20.0, 20_000.0
_TRUCK_KG = 25_000.0  # quarry blocks of 25 short tons are ordinary (common practice, no source)
_COARSE = 0.02  # of the figure's height: a mesh whose sides are longer shows no detail there
_HOLLOW = 1e-3  # of its box: a figure of so little stone was read inside out or is a shell


def doubts_of(fit: Fit) -> list[str]:
    """Return the sentences; none where nothing looks odd."""
    told = unit_doubts(fit)
    block = fit.block
    if fit.placement is not None and fit.placement.tilt_deg > 0.05 and fit.figure.is_solid:
        told.append(
            "Leaned, the figure's base is not level: it stands so only on wedges, or once its base is cut level."
        )
    mass = block.mass_kg
    if mass is not None and mass > _TRUCK_KG:
        told.append(f"The block weighs some {mass / 1000:,.0f} t: more than a truck usually carries on one bed.")
    if fit.figure.is_solid:
        told += _about_the_solid(fit)
    return told


def unit_doubts(fit: Fit) -> list[str]:
    """Return what looks as if a unit or a ratio were wrong: it decides all else."""
    told = []
    if fit.placement is not None and not 0.02 <= fit.scale <= 50:
        told.append("The scale is far from full size: check the unit of the file and of the block.")
    size = fit.figure.size_mm
    if max(size) < _SMALL_MM or max(size) > _TALL_MM:
        told.append(f"At full size the figure is {max(size):,.4g} mm long as read: is the unit, or the ratio, right?")
    return told


def _about_the_solid(fit: Fit) -> list[str]:
    told = []
    figure = fit.figure
    box = float(np.prod(figure.size_mm)) * M3_PER_MM3
    if figure.volume_m3 is not None and box > 0 and figure.volume_m3 < _HOLLOW * box:
        told.append(
            "The figure's solid fills less than a thousandth of its own box: the surface may be a shell scanned from "
            "both sides, or an open one that was closed; weights then mean little."
        )
    if fit.placement is not None:
        corners = figure.vertices[figure.faces[:: max(1, len(figure.faces) // 100_000)]]
        sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
        side = float(np.median(sides)) * fit.scale
        tall = max(fit.solid().size_mm)
        if side > _COARSE * tall and len(figure.faces) > 200:
            told.append(
                f"At this size the sides of the maquette's faces are {side:.0f} mm long: it has no detail finer than "
                "that for this scale."
            )
    return told

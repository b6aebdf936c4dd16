"""blockfit: does the figure fit in the block, how must it stand, and what happens to the stone."""

from blockfit.errors import (
    BadValueError,
    BlockfitError,
    OpenSurfaceError,
    UnitNeededError,
    UnknownStoneError,
    UnreadableFileError,
)
from blockfit.intake.scan import read_figure
from blockfit.overview import Survey, survey
from blockfit.search.fit import largest, safest
from blockfit.search.least_box import BlockSize, smallest_block
from blockfit.search.result import Fit, Verdict
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure, Repair
from blockfit.solids.placement import Placement
from blockfit.solids.stance import Stance
from blockfit.solids.stone import STONES, Stone
from blockfit.waste.cover import Cover, stone_cover
from blockfit.waste.directions import Directions, directions
from blockfit.waste.fronts import Front, best_front
from blockfit.waste.handling import Handling, handling
from blockfit.waste.methods import METHODS, Method
from blockfit.waste.offcut import Cut, Offcut, OffcutPlan, offcuts
from blockfit.waste.regions import Region
from blockfit.waste.setback import Setback, setback
from blockfit.waste.thin import ThinStone, thin_stone
from blockfit.waste.tools import Tool
from blockfit.waste.undercut import Undercuts, undercuts
from blockfit.waste.weight import Stage, Weights, hours, weights

__all__ = [
    "BadValueError",
    "Block",
    "BlockSize",
    "BlockfitError",
    "Cover",
    "Cut",
    "Directions",
    "Figure",
    "Fit",
    "Front",
    "Handling",
    "METHODS",
    "Method",
    "Offcut",
    "OffcutPlan",
    "OpenSurfaceError",
    "Placement",
    "Region",
    "Repair",
    "STONES",
    "Setback",
    "Stage",
    "Stance",
    "Stone",
    "Survey",
    "ThinStone",
    "Tool",
    "Undercuts",
    "UnitNeededError",
    "UnknownStoneError",
    "UnreadableFileError",
    "Verdict",
    "Weights",
    "best_front",
    "directions",
    "handling",
    "hours",
    "largest",
    "offcuts",
    "read_figure",
    "safest",
    "setback",
    "smallest_block",
    "stone_cover",
    "survey",
    "thin_stone",
    "undercuts",
    "weights",
]

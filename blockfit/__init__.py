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
from blockfit.search.fit import largest, safest
from blockfit.search.result import Fit, Verdict
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure, Repair
from blockfit.solids.placement import Placement
from blockfit.solids.stance import Stance
from blockfit.solids.stone import STONES, Stone
from blockfit.waste.cover import Cover, stone_cover
from blockfit.waste.undercut import Region, Undercuts, undercuts

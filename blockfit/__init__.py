"""blockfit: does the figure fit in the block, how must it stand, and what happens to the stone.

A name is imported when it is first used: who asks for a fit need not wait for sheets, pictures and jobs."""

from typing import TYPE_CHECKING

import blockfit.interrupts  # first: it answers Ctrl-C while the rest is imported
from blockfit.lazily import attached

if TYPE_CHECKING:  # read by type checkers, and by `attached`
    from blockfit import jobs
    from blockfit.carving.checking import Pace, check, pace
    from blockfit.carving.left import StoneLeft, stone_left
    from blockfit.carving.next import Next, what_next
    from blockfit.carving.registration import Registration, register
    from blockfit.carving.stages import Stage, stage_of
    from blockfit.certificates.certificate import Certificate, Verified, read_certificate
    from blockfit.certificates.checker import verify
    from blockfit.drawings.measured import figure_from_measures
    from blockfit.drawings.outlines import figure_from_outlines
    from blockfit.drawings.views import Photo
    from blockfit.errors import (
        BadValueError,
        BlockfitError,
        Contradiction,
        MissingExtraError,
        OpenSurfaceError,
        OutlinesDisagreeError,
        UnitNeededError,
        UnknownStoneError,
        UnreadableFileError,
    )
    from blockfit.intake.demo import demo_blocks, demo_figure
    from blockfit.intake.scan import read_figure, read_scan
    from blockfit.intake.yard_file import iter_blocks, read_blocks
    from blockfit.jobs.job import Job, open_job
    from blockfit.marking.check import Check
    from blockfit.marking.datum import Datum
    from blockfit.marking.movement import Movement, model_moved
    from blockfit.marking.pointing import Point, Pointing, pointing
    from blockfit.marking.roughing import Plane, Roughing, roughing
    from blockfit.marking.setting import Setting, setting
    from blockfit.overview import Survey, survey
    from blockfit.search.ask import Ask, Seek
    from blockfit.search.choice.fit import answer, largest, safest
    from blockfit.search.choice.ladder import Recovery, Rung
    from blockfit.search.choice.least_box import BlockSize, smallest_block
    from blockfit.search.choice.recovery import recover
    from blockfit.search.result import Fit, Verdict
    from blockfit.sheets.page.left import save_left
    from blockfit.sheets.pictures import drawings as pictures
    from blockfit.sheets.survey.last_look import before_the_back
    from blockfit.sheets.templates.cut_sheets import cut_sheets, piece_sheets
    from blockfit.sheets.templates.files import save_template
    from blockfit.sheets.templates.sheet import Sheet, face_sheet, plane_sheets, ruler_sheet
    from blockfit.sheets.yard.concepts import Concept, Concepts, concepts
    from blockfit.sheets.yard.ranking import Comparison
    from blockfit.solids.block import Block
    from blockfit.solids.figure import Figure, Repair
    from blockfit.solids.flaw import Flaw
    from blockfit.solids.placement import Placement
    from blockfit.solids.stance import Stance
    from blockfit.solids.stone import STONES, Stone
    from blockfit.waste.cuts.cut import Cut
    from blockfit.waste.cuts.marks import Edge, Hollow, Mark
    from blockfit.waste.cuts.methods import METHODS, Method
    from blockfit.waste.offcuts.piece import Offcut
    from blockfit.waste.offcuts.plan import OffcutPlan, offcuts
    from blockfit.waste.offcuts.prices import Prices
    from blockfit.waste.offcuts.wishes import Kind, Wish
    from blockfit.waste.reach.directions import Directions, directions
    from blockfit.waste.reach.fronts import Front, best_front
    from blockfit.waste.reach.regions import Region
    from blockfit.waste.reach.tools import Tool
    from blockfit.waste.reach.undercut import Undercuts, undercuts
    from blockfit.waste.rescued.first_cut import FirstCut, best_first_cut
    from blockfit.waste.rescued.second import SecondFigure, largest_from_waste
    from blockfit.waste.rescued.shared import Shared, share_block
    from blockfit.waste.rescued.worth import PieceWorth, Worth, worth
    from blockfit.waste.reserve.cover import Cover, stone_cover
    from blockfit.waste.reserve.setback import Setback, setback
    from blockfit.waste.reserve.squaring import Squaring, TrueFace, squaring
    from blockfit.waste.standing.handling import Handling, handling
    from blockfit.waste.standing.weight import Weights, WeightStage, hours, weights
    from blockfit.waste.strength.thin import ThinStone, thin_stone
    from blockfit.yard import compare

__all__ = [
    "Ask",
    "BadValueError",
    "Block",
    "BlockSize",
    "BlockfitError",
    "Certificate",
    "Check",
    "Comparison",
    "Concept",
    "Concepts",
    "Contradiction",
    "Cover",
    "Cut",
    "Datum",
    "Directions",
    "Edge",
    "Figure",
    "FirstCut",
    "Fit",
    "Flaw",
    "Front",
    "Handling",
    "Hollow",
    "Job",
    "Kind",
    "METHODS",
    "Mark",
    "Method",
    "MissingExtraError",
    "Movement",
    "Next",
    "Offcut",
    "OffcutPlan",
    "OpenSurfaceError",
    "OutlinesDisagreeError",
    "Pace",
    "Photo",
    "PieceWorth",
    "Placement",
    "Plane",
    "Point",
    "Pointing",
    "Prices",
    "Recovery",
    "Region",
    "Registration",
    "Repair",
    "Roughing",
    "Rung",
    "STONES",
    "SecondFigure",
    "Seek",
    "Setback",
    "Setting",
    "Shared",
    "Sheet",
    "Squaring",
    "Stage",
    "Stance",
    "Stone",
    "StoneLeft",
    "Survey",
    "ThinStone",
    "Tool",
    "TrueFace",
    "Undercuts",
    "UnitNeededError",
    "UnknownStoneError",
    "UnreadableFileError",
    "Verdict",
    "Verified",
    "WeightStage",
    "Weights",
    "Wish",
    "Worth",
    "answer",
    "before_the_back",
    "best_first_cut",
    "best_front",
    "check",
    "compare",
    "concepts",
    "cut_sheets",
    "demo_blocks",
    "demo_figure",
    "directions",
    "face_sheet",
    "figure_from_measures",
    "figure_from_outlines",
    "handling",
    "hours",
    "iter_blocks",
    "jobs",
    "largest",
    "largest_from_waste",
    "model_moved",
    "offcuts",
    "open_job",
    "pace",
    "pictures",
    "piece_sheets",
    "plane_sheets",
    "pointing",
    "read_blocks",
    "read_certificate",
    "read_figure",
    "read_scan",
    "recover",
    "register",
    "roughing",
    "ruler_sheet",
    "safest",
    "save_left",
    "save_template",
    "setback",
    "setting",
    "share_block",
    "smallest_block",
    "squaring",
    "stage_of",
    "stone_cover",
    "stone_left",
    "survey",
    "thin_stone",
    "undercuts",
    "verify",
    "weights",
    "what_next",
    "worth",
]

__getattr__, __dir__ = attached(__name__, __all__)

"""The cautions that stand on every survey, and what a weight rests on."""

from collections.abc import Sequence

from blockfit.sheets.words import Layout
from blockfit.solids.stone import Stone

__all__ = ["CAUTIONS", "cautions_section", "density_lines"]

CAUTIONS = (
    "Lifting, tipping, propping: everything here is an estimate for planning. Have lifting gear, supports and the "
    "order of cuts checked by a qualified person, and follow local codes. A block can tip while a piece leaves it.",
    "Dust: cutting stone frees crystalline silica. The limit in US general industry is 50 µg/m³ over 8 hours "
    "(29 CFR 1910.1053); wet cutting, extraction and a respirator are usual. Follow the rules where you work.",
)


def cautions_section(extra: Sequence[str], layout: Layout) -> list[str]:
    """Return the cautions, each once."""
    return [line for words in (*CAUTIONS, *extra) for line in layout.point_of(words)]


def density_lines(stone: Stone, layout: Layout) -> list[str]:
    """Return what the weights count, and where it comes from."""
    density = layout.units.density(stone.density_kg_m3)
    return layout.paragraph(f"Density of {stone.name}: {density}; {stone.source}.", "")

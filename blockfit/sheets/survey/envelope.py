"""What is sure about a figure that is known from outside only, or to a margin, in plain words.

Such a figure is the largest that agrees with its outlines: the true one lies within it. That it fits is then sure, that
it does not is not; its weight is an upper end, the waste's a lower end; its hollows and thin parts are not seen."""

from blockfit.facts.systems import UnitSystem
from blockfit.sheets.words import Layout
from blockfit.solids.figure import Figure

__all__ = ["bound_words", "doubts_about", "fits_words", "known_lines", "proved_words", "weighed_as"]


def fits_words(figure: Figure) -> str:
    """Return the verdict that it fits, and how sure that is."""
    return "FITS; sure: whatever is carved within its outlines does too" if figure.is_envelope else "FITS"


def proved_words(figure: Figure, units: UnitSystem) -> str:
    """Return of what figure it is proved that it does not fit."""
    grown = f" grown by its margin of {units.fine(figure.margin_mm)}" if figure.margin_mm else ""
    if figure.is_envelope:
        return (
            f" as the largest solid within its outlines{grown} (proved of that one only, NOT SURE of the figure: it "
            "may be smaller)"
        )
    return f", {grown.strip()} (proved)" if grown else " (proved)"


def bound_words(figure: Figure) -> str:
    """Return what a proved bound is worth: how it was proved, and for what."""
    if figure.is_envelope:
        return "(proved for the largest solid within its outlines; the figure itself may fit larger)"
    return "(proved, its margin kept)" if figure.margin_mm else "(proved)"


def known_lines(figure: Figure, layout: Layout) -> list[str]:
    """Return lines on what such a figure's numbers are worth; none for others."""
    lines = []
    if figure.is_envelope:
        sure = "outside only: that it fits is sure, that it does not fit or no larger is not"
        lines += layout.item("Known from", sure)
    if figure.margin_mm:
        margin = layout.units.fine(figure.margin_mm)
        lines += layout.item("Margin", f"{margin} at full size; cover, scale and clearance keep it besides")
    return lines


def weighed_as(figure: Figure) -> tuple[str, str]:
    """Return the words before the weight of the figure and of the waste."""
    return ("at most ", "at least ") if figure.is_envelope else ("", "")


def doubts_about(figure: Figure) -> list[str]:
    """Return what must not be concluded from such a figure, in sentences; none for others."""
    if not figure.is_envelope:
        return []
    return [
        "The figure is known from outside only, as the largest solid within its outlines. The weights of the figure "
        "and of what is left are upper ends, those of the waste are lower ends; hollows that no outline shows are not "
        "in it, so there is more undercut, and less is reached, than shown.",
        "The figure as carved is thinner than its outlines: that it stands, carries itself or is thick enough here "
        "does not say that it will. Ask again with a maquette, or a scan of the work, before anything depends on it.",
    ]

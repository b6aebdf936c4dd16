"""The survey's sections on the fit, the stone over the figure, flaws, and the figure as read."""

from collections.abc import Sequence

from blockfit.facts.measures import Rounding
from blockfit.facts.systems import METRIC, UnitSystem
from blockfit.search.ask import Seek
from blockfit.search.flawed.rough import NO_STONE
from blockfit.search.result import Fit, Verdict
from blockfit.sheets.survey.envelope import bound_words, fits_words, known_lines, proved_words
from blockfit.sheets.words import Layout, rounded_down, rounded_up, standing_words
from blockfit.solids.block import BOX_FACES
from blockfit.solids.figure import Figure
from blockfit.units import feet_and_inches
from blockfit.waste.reserve.cover import Cover
from blockfit.waste.reserve.setback import Setback
from blockfit.waste.reserve.squaring import Squaring

__all__ = [
    "cover_section",
    "fit_section",
    "flaws_section",
    "gains_words",
    "height_words",
    "reading_section",
    "reserve_sure",
    "scale_words",
    "verdict_words",
]

_GAINS = 5e-4  # of the scale: shown as 0.1 %
_NONE_MM, _OTHER_MM = 1e-6, 1e-5  # a skin is none below the first; faces have one skin within the second


def verdict_words(fit: Fit, units: UnitSystem) -> str:
    """Return the verdict with how sure it is and what is missing."""
    if fit.verdict is Verdict.FITS:
        return fits_words(fit.figure)
    if fit.proof == NO_STONE:
        return "CANNOT FIT (proved): one of the flaws named takes all of the stone"
    if fit.placement is None and fit.verdict is Verdict.CANNOT_FIT:
        cover = "The cover with the figure's margin" if fit.figure.margin_mm else "The cover"
        return (
            f"CANNOT FIT (proved). {cover} alone is more than the block holds: "
            f"{units.missing(fit.short_mm)} too much on each of {', '.join(fit.short_faces)}. Ask for less cover or "
            "take a larger block."
        )
    short = f"{units.missing(fit.short_mm)} is missing on each of {', '.join(fit.short_faces)}"
    if fit.verdict is Verdict.CANNOT_FIT:
        proved = proved_words(fit.figure, units)
        return f"CANNOT FIT{proved}: at best {short}" if fit.short_mm else f"CANNOT FIT{proved}"
    if fit.proof != "proved":
        return "UNDECIDED: no place was found for it; that there is none is not proved"
    return "UNDECIDED: the budget of cells is spent; allow more with max_cells"


def scale_words(fit: Fit) -> str:
    """Return the scale, with the bound that none exceeds where it was sought."""
    if not fit.ask.is_scale:
        return f"{fit.scale:g} of full size, as asked"
    found = "" if fit.proof == "proved" else ", the best found"
    return (
        f"{rounded_down(fit.scale, 4):.4f} of full size{found}; no placement of this stance exceeds "
        f"{rounded_up(fit.scale_bound, 4):.4f} {bound_words(fit.figure)}"
    )


def height_words(fit: Fit, units: UnitSystem) -> str:
    """Return how tall the figure stands in the block, in both systems."""
    tall = float(fit.solid().vertices[:, 2].max() - fit.solid().vertices[:, 2].min())
    other = feet_and_inches(tall) if units is METRIC else METRIC.length(tall)
    return f"{units.length(tall)} ({other})"


def fit_section(fit: Fit, gains: Sequence[tuple[str, Fit]], would_fit: Fit | None, layout: Layout) -> list[str]:
    """Return the block, what was asked, the verdict, the scale with its bound, and how the figure stands."""
    units, block = layout.units, fit.block
    width, depth, height = block.size_mm
    size = f"{units.given(width)} wide, {units.given(depth)} deep, {units.given(height)} high{_skin(fit, units)}"
    stone = "" if block.stone is None else f", {block.stone.name}"
    lines = layout.item("Block", f"{size}{stone}; cover asked {_by_face(fit, fit.asked_cover_mm.tolist(), units)}")
    if fit.stands_on != "bottom":
        lines += layout.item("Block stands on", f"its {fit.stands_on}; sizes and sides here are as it then stands")
    lines += layout.item("Stance asked", fit.stance.words())
    lines += layout.item("Verdict", verdict_words(fit, units))
    if fit.placement is None:
        return lines
    lines += layout.item("Largest scale" if fit.ask.is_scale else "Scale", scale_words(fit))
    lines += layout.item("Finished height", f"{height_words(fit, units)}, as it stands in the block")
    lines += layout.item("How it stands", standing_words(fit.placement))
    lines += known_lines(fit.figure, layout)
    if gains:
        lines += layout.item("Other stances", gains_words(gains, fit, units))
    if would_fit is not None:
        scale = f"{rounded_down(would_fit.scale, 4):.4f}"
        lines += layout.item(
            "What would fit", f"at {scale} of full size it would fit (largest found, this stance and cover)"
        )
    return lines


def gains_words(gains: Sequence[tuple[str, Fit]], fit: Fit, units: UnitSystem) -> str:
    """Return what leaning, any turn, or any rotation at all would gain."""
    told = [_gain(name, other, fit, units) for name, other in gains if other.placement is not None]
    return "; ".join(told) + " (best found)" if told else "none was found that helps"


def _gain(name: str, other: Fit, fit: Fit, units: UnitSystem) -> str:
    if fit.ask.is_scale:
        more = other.scale / fit.scale - 1 if fit.scale > 0 else 0.0
        gained = f"{more:.1%} ({rounded_down(other.scale, 4):.4f})" if more > _GAINS else "nothing"
        return f"{name} gains {gained}"
    if fit.verdict is not Verdict.FITS:
        fits = f"FITS, with {units.length(other.cover_mm)} of cover"
        says = {Verdict.FITS: fits, Verdict.CANNOT_FIT: "does not fit either", Verdict.UNDECIDED: "is not decided"}
        return f"with {name} it {says[other.verdict]}"
    if fit.ask.seek is Seek.SETBACK:
        more, what = (other.setback_mm or 0.0) - (fit.setback_mm or 0.0), "setback"
    else:
        more, what = other.cover_mm - fit.cover_mm, "cover"
    return f"{name} gains {units.length(more)} of {what}" if more >= 1 else f"{name} gains nothing"


def reserve_sure(fit: Fit, reserve: Setback, units: UnitSystem, *, in_stage: bool) -> str:
    """Return how sure the reserve is, and in which stone it is answered."""
    if reserve.scan_error_mm:
        off = units.length(reserve.scan_error_mm, Rounding.UP)
        return f"estimate, in the stone as scanned; {off} is taken off for the scan"
    if in_stage:
        return "never more than there is, in the stone as it stands"
    return f"{'exact' if fit.block.is_plain else 'never more than there is'}, in the block as bought"


def cover_section(fit: Fit, cover: Cover, reserve: Setback, layout: Layout, *, in_stage: bool) -> list[str]:
    """Return the stone on every face, where it is thinnest, and the reserve behind: ``in_stage``, as it stands."""
    units = layout.units
    lines = layout.paragraph("Square and saw no face nearer to the figure than this; all of it is sound stone.")
    lines += layout.item(
        "Least cover",
        f"{units.length(cover.least_mm)} towards the {cover.least_face}, at {units.point(cover.at)} (exact"
        f"{', in the block as bought' if in_stage else ''})",
    )
    rough = fit.block.surface is not None
    by_face = {name: by for name, by in cover.by_face.items() if not rough or name in BOX_FACES}
    told = ", ".join(f"{name} {units.length(by)}" for name, by in by_face.items())
    lines += layout.item("Box around it" if rough else "On each face", told)
    if cover.margin_mm:
        lines += layout.item("", f"{units.fine(cover.margin_mm)} is taken off for the figure's margin")
    limit = reserve.limit_face if reserve.limit_face.startswith("the ") else f"the {reserve.limit_face}"
    lines += layout.item(
        "Reserve",
        f"the whole figure can be set back {units.length(reserve.back_mm)} with its cover kept; {limit} ends it; or "
        f"moved {units.length(reserve.left_mm)} to the left, {units.length(reserve.right_mm)} to the right, "
        f"{units.length(reserve.up_mm)} up ({reserve_sure(fit, reserve, units, in_stage=in_stage)})",
    )
    return lines


def flaws_section(fit: Fit, squared: Squaring | None, layout: Layout) -> list[str]:
    """Return the distance kept from every flaw, what they cost, and what squaring a rough block takes."""
    units = layout.units
    lines = layout.paragraph("Mark each flaw on the stone; wet it and look again before the first cut.")
    for name, by in fit.kept_mm:
        lines += layout.item("Kept clear", f"{name}: {units.length(by)} (exact)")
    if fit.flaw_cost is not None:
        cost = f"{fit.flaw_cost:.4f} of scale" if fit.ask.is_scale else f"{units.length(fit.flaw_cost)} of cover"
        lines += layout.item("They cost", f"{cost}, against the same block without them (best found, not proved best)")
    return lines if squared is None else [*lines, *_squaring_lines(squared, layout)]


def _squaring_lines(squared: Squaring, layout: Layout) -> list[str]:
    """Return what must be sawn for a true base and two faces to measure from."""
    units = layout.units
    lost = units.volume(squared.loss_m3, Rounding.UP)
    lost += "" if squared.loss_kg is None else f", {units.mass(squared.loss_kg)}"
    stands = "it then stands by itself" if squared.stands else "IT DOES NOT THEN STAND BY ITSELF"
    cost = f"a true base and two faces to measure from cost {lost} in all (resolved to a hundredth of the block)"
    lines = layout.item("Least squaring", f"{cost}; {stands}:")
    for face in squared.faces:
        small = "" if face.is_large else ", no larger for the figure's sake"
        lines += layout.item(
            "",
            f"{face.face}: {units.fine(face.inset_mm, Rounding.UP)} in from its outermost place, "
            f"{units.floor_area(face.area_m2, Rounding.DOWN)} true{small}; "
            f"{units.length(face.cover_mm)} stay over the figure there",
        )
    return lines


def reading_section(fit: Fit, layout: Layout) -> list[str]:
    """Return what was repaired on reading, and what the figure is good for."""
    figure, units = fit.figure, layout.units
    facts = f"{len(figure.faces):,} faces, {units.floor_area(figure.area_m2)} at full size"
    facts += f", {units.volume(figure.volume_m3)}" if figure.volume_m3 is not None else ""
    maquette = f"; a maquette at 1:{figure.ratio:g}" if figure.ratio != 1 else ""
    lines = layout.item("Figure read", f"{figure.name}: {facts}{maquette}")
    if figure.landmarks:
        lines += layout.item("Landmarks", f"{len(figure.landmarks)} read{_far_landmarks(figure)}")
    if not figure.repairs:
        return lines + layout.item("Repaired", "nothing needed repair")
    for k, repair in enumerate(figure.repairs):
        lines += layout.item("" if k else "Outlines" if figure.is_envelope else "Repaired", repair.text)
    return lines


def _far_landmarks(figure: Figure) -> str:
    """Return a caution about landmarks that lie off the figure by a tenth of its size: often a wrong unit."""
    low, high = figure.vertices.min(axis=0), figure.vertices.max(axis=0)
    slack = 0.1 * float((high - low).max())
    far = [name for name, at in figure.landmarks.items() if ((at < low - slack) | (at > high + slack)).any()]
    return f"; {', '.join(far)} lie off the figure: is their unit the file's?" if far else ""


def _skin(fit: Fit, units: UnitSystem) -> str:
    if not fit.block.skin_mm.any():
        return ""
    return f", less a skin of {_by_face(fit, fit.block.skin_mm.tolist(), units)} (cover is sound stone inside it)"


def _by_face(fit: Fit, lengths: list[float], units: UnitSystem) -> str:
    common = max(set(lengths), key=lengths.count)
    shown = "none" if common <= _NONE_MM else units.given(common)
    other = [
        f"{name} {units.given(by)}"
        for name, by in zip(fit.block.names, lengths, strict=True)
        if abs(by - common) > _OTHER_MM
    ]
    return ", ".join([shown, *other])

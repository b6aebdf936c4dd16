"""Every answer for one fit, as text and as JSON."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from inspect import signature
from pathlib import Path
from types import MappingProxyType
from typing import Any

from blockfit.errors import BadValueError, safe_lines
from blockfit.facts.results import plain
from blockfit.facts.systems import METRIC, US, UnitSystem, units_of
from blockfit.kinds import counted, kinds_checked
from blockfit.search.ask import Ask, Seek
from blockfit.search.choice.fit import answer
from blockfit.search.result import Fit, Verdict
from blockfit.sheets.page.cards import CARDS
from blockfit.sheets.page.document import PageWords, page_of
from blockfit.sheets.page.markup import PageLayout, starts_with
from blockfit.sheets.saving import as_json, write_as
from blockfit.sheets.survey.alarms import alarms_of
from blockfit.sheets.survey.brief import brief_lines
from blockfit.sheets.survey.cautions import CAUTIONS, cautions_section, density_lines
from blockfit.sheets.survey.cutting import offcuts_section, pieces_together, undercuts_section, weights_section
from blockfit.sheets.survey.doubts import doubts_of
from blockfit.sheets.survey.envelope import doubts_about, weighed_as
from blockfit.sheets.survey.fitting import cover_section, fit_section, flaws_section, reading_section, verdict_words
from blockfit.sheets.survey.moving import handling_section, thin_section
from blockfit.sheets.survey.record import figure_record, fit_record
from blockfit.sheets.words import Layout, layout_of
from blockfit.solids.stage import StageStone
from blockfit.solids.stance import Stance
from blockfit.units import LEAST_MM, Length, Mass, length_mm, mass_kg
from blockfit.waste.offcuts.plan import OffcutPlan, offcuts
from blockfit.waste.reach.tools import Tool
from blockfit.waste.reach.undercut import Undercuts, undercuts
from blockfit.waste.rescued.worth import worth
from blockfit.waste.reserve.cover import Cover, stone_cover
from blockfit.waste.reserve.setback import Setback, setback
from blockfit.waste.reserve.squaring import Squaring, squaring
from blockfit.waste.standing.handling import Handling, handling
from blockfit.waste.standing.weight import Weights, weights
from blockfit.waste.strength.thin import ThinStone, thin_stone
from blockfit.workers import Helper

__all__ = ["Survey", "survey"]

_LEAN = 15.0  # degrees offered as leaning, where less was asked


@dataclass(frozen=True, eq=False)
class Survey:
    """What is known about one figure in one block; ``print`` it, or `save` it.

    Parts that need a figure that fits, or a solid one, are ``None`` where it is not; ``lacking`` says why.
    ``in_stage``: the reserve is that in the stone as it stands.

    Every part says itself how sure it is: see its class. ``gains`` are the fits of wider stances by name, ``would_fit``
    the largest that fits where the scale asked does not.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> fit = bf.safest(cube, bf.Block.box(160, 200, 250), cover=20, stance=bf.Stance.fixed())
    >>> known = bf.survey(fit, alternatives=False)
    >>> round(known.cover.least_mm), round(known.reserve.back_mm), known.weights is None
    (30, 50, True)
    >>> known.lacking.split(";")[0]
    'undercuts, offcuts and weights need a closed solid'
    >>> known.text(detail="brief").splitlines()[2].split()
    ['Verdict', 'FITS']
    """

    fit: Fit
    gains: tuple[tuple[str, Fit], ...] = ()
    cover: Cover | None = None
    reserve: Setback | None = None
    undercuts: Undercuts | None = None
    offcuts: OffcutPlan | None = None
    weights: Weights | None = None
    handling: Handling | None = None
    thin: ThinStone | None = None
    squaring: Squaring | None = None
    would_fit: Fit | None = None
    lacking: str = ""
    in_stage: bool = False

    def __str__(self) -> str:
        """Return the survey as a carver reads it, in metric units."""
        return self.text()

    @kinds_checked
    def text(self, units: str = "metric", detail: str = "usual", *, width: int | None = None) -> str:
        """Return the survey as a carver reads it: first the ten lines that decide, then the details.

        ``units`` is ``"metric"`` or ``"us"``; ``detail`` is ``"brief"`` (the ten lines), ``"usual"``, or ``"all"``,
        which lists everything. ``width`` is in columns: by default what ``COLUMNS`` says, or 80.
        """
        if width is not None:
            counted(width, "width", least=1)
        layout = layout_of(units, detail, width)
        return "\n".join(safe_lines(line).replace("\n", " ").rstrip() for line in self._lines(layout)) + "\n"

    def _lines(self, layout: Layout) -> list[str]:
        alarms = self._alarms(layout.units)
        lines = [f"{self.fit.figure.name} in {self.fit.block.name}", ""]
        lines += [line for words in alarms for line in layout.item("READ FIRST", words)]
        lines += self._brief(layout, alarms)
        if layout.detail == "brief":
            return [*lines, *layout.point_of(CAUTIONS[0])]
        for title, body in self._sections(layout):
            lines += ["", title.upper(), *body]
        stone = self.fit.block.stone
        return lines if stone is None else [*lines, "", *density_lines(stone, layout)]

    def _brief(self, layout: Layout, alarms: Sequence[str]) -> list[str]:
        """Return the ten lines that decide."""
        return brief_lines(
            self.fit,
            self.cover,
            self.reserve,
            self.undercuts,
            self.offcuts,
            self.weights,
            self.gains,
            self.would_fit,
            alarms,
            layout,
            in_stage=self.in_stage,
        )

    def _sections(self, layout: Layout) -> Iterator[tuple[str, list[str]]]:
        """Yield the details, in the order in which they are decided."""
        fit = self.fit
        yield "The fit", fit_section(fit, self.gains, self.would_fit, layout)
        if self.cover is not None and self.reserve is not None:
            yield "Stone over the figure", cover_section(fit, self.cover, self.reserve, layout, in_stage=self.in_stage)
        if fit.kept_mm:
            yield "Flaws and rough sides", flaws_section(fit, self.squaring, layout)
        if self.undercuts is not None:
            yield f"Working inward from the {self.undercuts.front}", undercuts_section(self.undercuts, layout)
        if self.offcuts is not None and self.weights is not None:
            yield "Pieces to save", offcuts_section(self.offcuts, self.weights, layout)
        if self.weights is not None:
            yield "Weight", weights_section(self.weights, layout, ends=weighed_as(fit.figure))
        if self.handling is not None:
            yield "Standing and moving", handling_section(self.handling, layout)
        if self.thin is not None:
            yield "Thin stone", thin_section(self.thin, layout)
        yield "The figure as read", reading_section(fit, layout)
        if self.lacking:
            yield "Not answered", layout.paragraph(self.lacking)
        yield "Cautions", cautions_section(self._extra_cautions(layout.units), layout)

    def _alarms(self, units: UnitSystem) -> list[str]:
        """Return what must be read before anything else."""
        return alarms_of(self.handling, self.thin, units=units)

    def _extra_cautions(self, units: UnitSystem) -> list[str]:
        stone = self.fit.block.stone
        extra = [stone.caution] if stone is not None and stone.caution else []
        return self._alarms(units) + extra + doubts_about(self.fit.figure) + doubts_of(self.fit)

    def record(self) -> dict[str, Any]:
        """Return everything as plain data; keys say their units."""
        parts: dict[str, Any] = {
            "figure": figure_record(self.fit),
            "fit": fit_record(self.fit),
            "cover": None if self.cover is None else self.cover.record(),
            "setback": None if self.reserve is None else self.reserve.record(),
            "squaring": None if self.squaring is None else self.squaring.record(),
            "undercuts": None if self.undercuts is None else self.undercuts.record(),
            "offcuts": None if self.offcuts is None else self.offcuts.record(),
            "worth": None if self.offcuts is None or self.offcuts.prices is None else worth(self.offcuts).record(),
            "weights": None if self.weights is None else self.weights.record(),
            "handling": None if self.handling is None else self.handling.record(),
            "thin_stone": None if self.thin is None else self.thin.record(),
            "other_stances": [
                {
                    "stance": name,
                    "scale": fit.scale,
                    "cover_mm": fit.cover_mm,
                    "setback_mm": fit.setback_mm,
                    "verdict": fit.verdict.name,
                }
                for name, fit in self.gains
            ],
            "would_fit_at_scale": None if self.would_fit is None else self.would_fit.scale,
            "lacking": self.lacking,
            "setback_in": "the stone as it stands" if self.in_stage else "the block as bought",
            "cautions": [*CAUTIONS, *self._extra_cautions(METRIC)],
        }
        data: dict[str, Any] = plain(parts)
        return data

    @kinds_checked
    def page(self, units: str = "metric") -> str:
        """Return the survey as one self-contained page, in both systems of units; it opens with ``units``."""
        shown = units_of(units)
        return page_of(
            self.fit,
            {one.name: self._page_words(PageLayout(one)) for one in (METRIC, US)},
            self.record(),
            verdict_words(self.fit, shown),
            [*CAUTIONS, *self._extra_cautions(shown)],
            plan=self.offcuts,
            cut=self.undercuts,
            weight=self.weights,
            thin=self.thin,
            units=shown,
        )

    def _page_words(self, layout: Layout) -> PageWords:
        """Return what the page says beside its cards and pictures."""
        alarms = self._alarms(layout.units)
        drawn = {"Pieces to save", "Cautions"}  # cards and a list of their own
        shown = {name: body for name, body in self._sections(layout) if name not in drawn}
        if self.offcuts is not None and (together := pieces_together(self.offcuts, layout)):
            shown["The pieces together"] = together
        inward = next((name for name in shown if name.startswith("Working inward")), "")
        if inward and self.undercuts is not None:  # the places have cards
            numbers = {region.number for region in self.undercuts.regions[:CARDS]}
            shown[inward] = [line for line in shown[inward] if not starts_with(line, numbers)]
        return PageWords(alarms, self._brief(layout, alarms), tuple(shown.items()))

    @kinds_checked
    def save(self, path: str | Path, *, units: str = "metric") -> None:
        """Write the survey: ``.html`` one page that opens offline, ``.txt`` as printed, ``.json`` as data.

        The file appears whole or not at all, and only in the place of an earlier output of ours. The page needs the
        extra ``page``.
        """
        bodies = {
            ".html": lambda: self.page(units),
            ".txt": lambda: self.text(units),
            ".json": lambda: as_json(self.record()),
        }
        write_as(path, "a survey", bodies)


@kinds_checked
def survey(  # noqa: PLR0913
    fit: Fit,
    *,
    lift_limit_kg: Mass | None = None,
    least_weight_kg: Mass = 20,
    clearance: Length = 20,
    kerf: Length | None = None,
    reserve: Length = "all",
    sawing: Mapping[str, Any] = MappingProxyType({}),
    pitch: Length | None = None,
    limits: Mapping[str, Any] = MappingProxyType({}),
    alternatives: bool = True,
    tool: Tool | None = None,
    plan: OffcutPlan | None = None,
    stage: StageStone | None = None,
    jobs: int = 1,
    progress: Callable[[str], None] = lambda step: None,
) -> Survey:
    """Return every answer for a fit. ``progress`` is called with the name of each step as it begins.

    ``limits`` are the options of `handling`: openings, hook height, what floor, table, hoist and slings carry.
    ``alternatives`` adds what leaning, any turn, or any rotation at all would gain. ``plan`` is one of `offcuts` that
    was made before, to be kept. With a ``stage``, the stone as it stands, the reserve is that in it, and what is
    answered in the block as bought (pieces, undercuts, weights) is left out: it is no more. The other options are those
    of `offcuts` and `undercuts`; ``sawing`` takes more of `offcuts`: cuts, weights, shapes, methods. With ``jobs`` of 2
    another process looks for undercuts, thin stone and gains meanwhile: the answers are the same to the last digit.

    Lengths are mm or text, masses kg or text. Raises `BadValueError` for names among ``limits`` and ``sawing`` that are
    not known, and what the questions asked raise for their own options.

    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(900, 300, 600, stone="marble"), stance=bf.Stance.fixed())
    >>> asked = {"most_pieces": 0}  # no pieces to save
    >>> known = bf.survey(fit, pitch=20, alternatives=False, sawing=asked, limits={"hoist_kg": 500})
    >>> known.undercuts.pitch_mm, len(known.offcuts.pieces), all(check.kept for check in known.handling.checks)
    (20.0, 0, True)
    >>> known.text(detail="brief").splitlines()[0]
    'figure in 900 x 300 x 600 mm'
    """
    _check_names(limits, sawing)
    if lift_limit_kg is not None:
        mass_kg(lift_limit_kg, "lift_limit_kg")
    mass_kg(least_weight_kg, "least_weight_kg")
    for name, value in (("clearance", clearance), ("kerf", kerf), ("reserve", reserve), ("pitch", pitch)):
        if (name, value) != ("reserve", "all") and not (value is None and name in ("kerf", "pitch")):
            length_mm(value, name, least=LEAST_MM if name == "pitch" else 0)  # type: ignore[arg-type]
    found = Survey(fit, in_stage=stage is not None)
    is_whole = fit.verdict is Verdict.FITS and fit.figure.is_solid and stage is None
    if alternatives and not is_whole:
        progress("trying other stances")
        found = replace(found, gains=_gains(fit))
    if fit.verdict is not Verdict.FITS:
        return replace(found, would_fit=_would_fit(fit), lacking=_NO_FIT)
    progress("measuring the cover")
    found = replace(found, cover=stone_cover(fit), reserve=setback(fit, stage))
    if not fit.figure.is_solid:
        return replace(found, lacking=_NO_SOLID)
    if stage is not None:
        return replace(found, thin=thin_stone(fit), lacking=_NO_BLOCK)
    if fit.block.surface is not None:
        found = replace(found, squaring=squaring(fit))
    with Helper(jobs) as helper:
        undercut = helper.hand(undercuts, fit, pitch=pitch, tool=tool)
        thin = helper.hand(thin_stone, fit)
        wider = helper.hand(_gains, fit) if alternatives else lambda: ()
        if plan is None:
            progress("planning offcuts")
            plan = offcuts(
                fit,
                lift_limit_kg=lift_limit_kg,
                least_weight_kg=least_weight_kg,
                clearance=clearance,
                kerf=kerf,
                reserve=reserve,
                **sawing,
            )
        progress("finding undercuts")
        cut = undercut()
        progress("weighing")
        weighed = weights(fit, plan, cut)
        progress("standing and moving")
        moved = handling(fit, plan, cut, **limits)
        progress("thin stone")
        found = replace(found, undercuts=cut, offcuts=plan, weights=weighed, handling=moved, thin=thin())
        if alternatives:
            progress("trying other stances")
        # One figure for all, also where another process sent a copy.
        return replace(found, gains=tuple((name, replace(other, figure=fit.figure)) for name, other in wider()))


def _check_names(limits: Mapping[str, Any], sawing: Mapping[str, Any]) -> None:
    """Raise `BadValueError` for options that `handling` and `offcuts` do not have, and for those that survey has."""
    known, of_offcuts, own = _options(handling), _options(offcuts), _options(survey)
    if unknown := [str(name) for name in limits if name not in known]:
        raise BadValueError(f"limits: {unknown[0]!r} is not known; known are {', '.join(known)}")
    if twice := [str(name) for name in sawing if name in own and name in of_offcuts]:
        raise BadValueError(f"sawing: {twice[0]!r} is an option of survey itself; give survey(fit, {twice[0]}=...)")
    of_offcuts = [name for name in of_offcuts if name not in own]
    if unknown := [str(name) for name in sawing if name not in of_offcuts]:
        raise BadValueError(f"sawing: {unknown[0]!r} is not known; known are {', '.join(of_offcuts)}")


def _options(question: Callable[..., Any]) -> list[str]:
    return [name for name, option in signature(question).parameters.items() if option.kind is option.KEYWORD_ONLY]


_NO_FIT = "cover, undercuts, offcuts and weights are reported for a figure that fits"
_NO_SOLID = "undercuts, offcuts and weights need a closed solid; this figure is good for fitting only"
_NO_BLOCK = (
    "pieces to save, undercuts and weights are answered in the block as bought, which is no more: stone_left says what "
    "is left, and where"
)


def _would_fit(fit: Fit) -> Fit | None:
    """Return the largest that would fit where the scale asked does not; ``None`` if nothing does."""
    if fit.ask.is_scale or fit.placement is None:
        return None
    again = answer(fit.figure, fit.block, replace(_here(fit), seek=Seek.SCALE))
    return again if again.placement is not None else None


def _gains(fit: Fit) -> tuple[tuple[str, Fit], ...]:
    """Return the best of wider stances: any turn, leaning, anything."""
    wider = []
    if fit.stance.turn < 180:
        wider.append(("any turn", Stance(fit.stance.tilt, 180)))
    if fit.stance.tilt < _LEAN:
        wider.append((f"leaning up to {_LEAN:g}°", Stance(_LEAN, fit.stance.turn)))
    if not fit.stance.is_free:
        wider.append(("any rotation at all", Stance.free()))
    return tuple((name, answer(fit.figure, fit.block, replace(_here(fit), stance=stance))) for name, stance in wider)


def _here(fit: Fit) -> Ask:
    """Return what was asked, of the block as the fit stands it."""
    return replace(fit.ask, stands_on="bottom", layers="any")

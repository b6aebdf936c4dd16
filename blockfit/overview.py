"""Every answer for one fit, as text and as JSON."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from inspect import signature
from pathlib import Path
from types import MappingProxyType
from typing import Any

from blockfit.errors import BadValueError, safe_lines, shown_name
from blockfit.search.ask import Ask, Seek
from blockfit.search.choice.fit import answer
from blockfit.search.result import Fit, Verdict
from blockfit.sheets.page.document import page_of
from blockfit.sheets.saving import MADE_BY, check_free, write_whole
from blockfit.sheets.survey import moving, record, text
from blockfit.sheets.survey.alarms import alarms_of
from blockfit.sheets.survey.doubts import doubts_of
from blockfit.sheets.words import item, length, rounded_down, wrapped
from blockfit.solids.stance import Stance
from blockfit.units import Length
from blockfit.waste.offcuts.plan import OffcutPlan, offcuts
from blockfit.waste.reach.tools import Tool
from blockfit.waste.reach.undercut import Undercuts, undercuts
from blockfit.waste.reserve.cover import Cover, stone_cover
from blockfit.waste.reserve.setback import Setback, setback
from blockfit.waste.standing.handling import Handling, handling
from blockfit.waste.standing.weight import Weights, weights
from blockfit.waste.strength.thin import ThinStone, thin_stone

__all__ = ["Survey", "survey"]

_LEAN = 15.0  # degrees offered as leaning, where less was asked


@dataclass(frozen=True, eq=False)
class Survey:
    """What is known about one figure in one block; ``print`` it, or `save` it.

    Parts that need a figure that fits, or a solid one, are ``None`` where it is not; ``lacking`` says why.
    """

    fit: Fit
    cover: Cover | None
    reserve: Setback | None
    undercuts: Undercuts | None
    offcuts: OffcutPlan | None
    weights: Weights | None
    handling: Handling | None
    thin: ThinStone | None
    gains: tuple[tuple[str, Fit], ...]
    would_fit: Fit | None
    lacking: str
    pounds: bool = False

    def __str__(self) -> str:
        """Return the survey as a carver reads it."""
        return "\n".join(safe_lines(line).replace("\n", " ").rstrip() for line in self._lines()) + "\n"

    def _lines(self) -> list[str]:
        fit = self.fit
        title, blank, *rest = text.fit_section(fit)
        alarms = [line for words in self._alarms() for line in item("READ FIRST", words)]
        sections: list[tuple[str, list[str]]] = [
            ("", [title, blank, *alarms, *rest, *_gains_section(self.gains, fit)]),
        ]
        if self.would_fit is not None:
            largest_scale = f"{rounded_down(self.would_fit.scale, 4):.4f}"
            wording = f"at {largest_scale} of full size it would fit (largest found, this stance and cover)"
            sections[0][1].append(f"  {'What would fit':<16}{wording}")
        if self.cover is not None and self.reserve is not None:
            sections.append(
                ("Stone over the figure", text.cover_section(self.cover, self.reserve, plain=fit.block.is_plain))
            )
        if fit.kept_mm:
            sections.append(("Flaws and rough sides", text.flaws_section(fit)))
        if self.undercuts is not None:
            sections.append((f"Working inward from the {self.undercuts.front}", text.undercuts_section(self.undercuts)))
        if self.offcuts is not None and self.weights is not None:
            sections.append(("Pieces to save", text.offcuts_section(self.offcuts, self.weights)))
        if self.weights is not None:
            sections.append(("Weight", text.weights_section(self.weights, pounds=self.pounds)))
        if self.handling is not None:
            sections.append(("Standing and moving", moving.handling_section(self.handling)))
        if self.thin is not None:
            sections.append(("Thin stone", moving.thin_section(self.thin)))
        sections.append(("The figure as read", text.scan_section(fit)))
        if self.lacking:
            sections.append(("Not answered", [f"  {self.lacking}"]))
        stone = fit.block.stone
        sections.append(("Cautions", text.cautions_section(self._extra_cautions())))
        lines: list[str] = []
        for title, body in sections:
            lines += ([title.upper()] if title else []) + body + [""]
        if stone is not None:
            lines += wrapped(f"Density of {stone.name}: {stone.density_kg_m3:,.0f} kg/m³; {stone.source}.", "")
        return lines

    def _alarms(self) -> list[str]:
        """Return what must be read before anything else."""
        return alarms_of(self.handling, self.thin)

    def _extra_cautions(self) -> list[str]:
        stone = self.fit.block.stone
        extra = [stone.caution] if stone is not None and stone.caution else []
        return self._alarms() + extra + doubts_of(self.fit)

    def record(self) -> dict[str, Any]:
        """Return everything as plain data; keys say their units."""
        parts: dict[str, Any] = {
            "figure": record.figure_record(self.fit),
            "fit": record.fit_record(self.fit),
            "cover": None if self.cover is None else record.cover_record(self.cover),
            "setback": None if self.reserve is None else record.setback_record(self.reserve),
            "undercuts": None if self.undercuts is None else record.undercuts_record(self.undercuts),
            "offcuts": None if self.offcuts is None else record.offcuts_record(self.offcuts),
            "weights": None if self.weights is None else record.weights_record(self.weights),
            "handling": None if self.handling is None else record.handling_record(self.handling),
            "thin_stone": None if self.thin is None else record.thin_record(self.thin),
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
            "cautions": [*text.CAUTIONS, *self._extra_cautions()],
        }
        plain: dict[str, Any] = record.plain(parts)
        return plain

    def page(self) -> str:
        """Return the survey as one self-contained page."""
        title = f"{self.fit.figure.name} in {self.fit.block.name}"
        cautions = [*text.CAUTIONS, *self._extra_cautions()]
        return page_of(title, str(self), self.record(), self.fit, self.offcuts, self.undercuts, self.weights, cautions)

    def save(self, path: str | Path) -> None:
        """Write the survey: ``.html`` one page that opens offline, ``.txt`` as printed, ``.json`` as data.

        The file appears whole or not at all, and only in the place of an earlier output of ours. The page needs the
        extra ``page``.
        """
        file = Path(path)
        kind = file.suffix.lower()
        if kind == ".html":
            body = self.page()
        elif kind == ".txt":
            body = str(self)
        elif kind == ".json":
            body = "{\n " + MADE_BY + "," + json.dumps(self.record(), indent=1, ensure_ascii=False)[1:] + "\n"
        else:
            raise BadValueError(f"{shown_name(file)}: a survey is saved as .html, .txt or .json")
        check_free(file)
        write_whole(file, body)


def survey(
    fit: Fit,
    *,
    lift_limit_kg: float | None = None,
    least_weight_kg: float = 20,
    clearance: Length = 20,
    kerf: Length | None = None,
    reserve: Length = "all",
    sawing: Mapping[str, Any] = MappingProxyType({}),
    pounds: bool = False,
    pitch: Length | None = None,
    limits: Mapping[str, Any] = MappingProxyType({}),
    alternatives: bool = True,
    tool: Tool | None = None,
    plan: OffcutPlan | None = None,
    progress: Callable[[str], None] = lambda step: None,
) -> Survey:
    """Return every answer for a fit. ``progress`` is called with the name of each step as it begins.

    ``limits`` are the options of `handling`: openings, hook height, what floor, table, hoist and slings carry.
    ``pounds`` adds them beside kilograms. ``alternatives`` adds what leaning, any turn, or any rotation at all
    would gain. ``plan`` is one of `offcuts` that was made before, to be kept. The other options are those of `offcuts`
    and `undercuts`; ``sawing`` takes more of `offcuts`: cuts, weights, shapes, methods.
    """
    known = [name for name, option in signature(handling).parameters.items() if option.kind is option.KEYWORD_ONLY]
    if unknown := [str(name) for name in limits if name not in known]:
        raise BadValueError(f"limits: {unknown[0]!r} is not known; known are {', '.join(known)}")
    of_offcuts = [name for name, option in signature(offcuts).parameters.items() if option.kind is option.KEYWORD_ONLY]
    if unknown := [str(name) for name in sawing if name not in of_offcuts]:
        raise BadValueError(f"sawing: {unknown[0]!r} is not known; known are {', '.join(of_offcuts)}")
    gains: list[tuple[str, Fit]] = []
    would_fit = None
    if alternatives:
        progress("trying other stances")
        gains = _gains(fit)
    if fit.verdict is not Verdict.FITS:
        if not fit.ask.is_scale and fit.placement is not None:
            again = answer(fit.figure, fit.block, replace(_here(fit), seek=Seek.SCALE))
            would_fit = again if again.placement is not None else None
        lacking = "cover, undercuts, offcuts and weights are told for a figure that fits"
        return Survey(fit, None, None, None, None, None, None, None, tuple(gains), would_fit, lacking)
    progress("measuring the cover")
    cover, depth = stone_cover(fit), setback(fit)
    if not fit.figure.is_solid:
        lacking = "undercuts, offcuts and weights need a closed solid; this figure is good for fitting only"
        return Survey(fit, cover, depth, None, None, None, None, None, tuple(gains), None, lacking)
    if fit.block.surface is not None:
        lacking = (
            "undercuts, offcuts and weights by stage are answered in a sawn block; in a rough one, of the block as you "
            "square it. Standing is answered for the block as it is and for the finished figure"
        )
        moved, thin = handling(fit, **limits), thin_stone(fit)
        return Survey(fit, cover, depth, None, None, None, moved, thin, tuple(gains), None, lacking, pounds)
    progress("finding undercuts")
    cut = undercuts(fit, pitch=pitch, tool=tool)
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
    progress("weighing")
    weighed = weights(fit, plan, cut)
    progress("standing and moving")
    moved = handling(fit, plan, cut, **limits)
    progress("thin stone")
    thin = thin_stone(fit)
    return Survey(fit, cover, depth, cut, plan, weighed, moved, thin, tuple(gains), None, "", pounds)


def _gains(fit: Fit) -> list[tuple[str, Fit]]:
    """Return the best of wider stances: any turn, leaning, anything."""
    wider = []
    if fit.stance.turn < 180:
        wider.append(("any turn", Stance(fit.stance.tilt, 180)))
    if fit.stance.tilt < _LEAN:
        wider.append((f"leaning up to {_LEAN:g}°", Stance(_LEAN, fit.stance.turn)))
    if not fit.stance.is_free:
        wider.append(("any rotation at all", Stance.free()))
    return [(name, answer(fit.figure, fit.block, replace(_here(fit), stance=stance))) for name, stance in wider]


def _gains_section(gains: Sequence[tuple[str, Fit]], fit: Fit) -> list[str]:
    """Return one line on what other stances would gain, by what was sought."""
    if fit.ask.seek is not Seek.SETBACK or fit.verdict is not Verdict.FITS or not gains:
        return text.gains_section(gains, fit)
    parts = []
    for name, other in gains:
        more = (other.setback_mm or 0.0) - (fit.setback_mm or 0.0)
        parts.append(f"{name} gains {length(more)} of setback" if more >= 1 else f"{name} gains nothing")
    return item("Other stances", "; ".join(parts) + " (best found)")


def _here(fit: Fit) -> Ask:
    """Return what was asked, of the block as the fit stands it."""
    return replace(fit.ask, stands_on="bottom", layers="any")

"""The survey as one page that opens offline: what decides first, the stone to turn, a card for each piece and place.

Everything from the user is escaped. The page holds all it needs, asks the network for nothing, and can be read and
printed without a script. Jinja2's one home."""

import base64
import html
import importlib.util
import json
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from blockfit.errors import MissingExtraError
from blockfit.facts.systems import METRIC, US, UnitSystem
from blockfit.search.result import Fit
from blockfit.sheets.page.cards import Card, cards_of, symbols_of
from blockfit.sheets.page.markup import as_lists
from blockfit.sheets.page.scene import scene_json
from blockfit.sheets.page.stages import stages_of
from blockfit.sheets.pictures.drawings import cover_map, picture_bytes, thickness_map, view_drawing
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.undercut import Undercuts
from blockfit.waste.standing.weight import Weights
from blockfit.waste.strength.thin import ThinStone

__all__ = ["PageWords", "asset", "image_of", "page_can_be_made", "page_of", "rendered"]

_VIEWS = ("front", "left", "right", "back", "top")


@dataclass(frozen=True, slots=True)
class PageWords:
    """What the page says in one system of units: alarms, the ten lines, and titled sections, as pieces of HTML."""

    alarms: Sequence[str]
    brief: Sequence[str]
    sections: Sequence[tuple[str, Sequence[str]]]


def page_can_be_made() -> None:
    """Raise `MissingExtraError`, before an hour's work, where what the page needs is not installed."""
    missing = [name for name in ("matplotlib", "jinja2") if importlib.util.find_spec(name) is None]
    if missing:
        raise MissingExtraError(f"the page needs {' and '.join(missing)}: pip install 'blockfit[page]'")


def page_of(  # noqa: PLR0913
    fit: Fit, words: dict[str, PageWords], record: dict[str, Any], verdict: str, cautions: Sequence[str],
    *, plan: OffcutPlan | None, cut: Undercuts | None, weight: Weights | None, thin: ThinStone | None,
    units: UnitSystem = METRIC,
) -> str:  # fmt: skip
    """Return the page; ``words`` are by the name of the unit system, ``units`` what it opens with."""
    page_can_be_made()
    drawn = fit.placement is not None and len(fit.figure.faces) > 0
    stages = stages_of(fit, plan) if drawn else []
    cards = cards_of(fit, stages, plan, weight, cut) if drawn else {"pieces": [], "regions": []}
    return rendered(
        "page.html.jinja",
        title=f"{fit.figure.name} in {fit.block.name}",
        verdict=verdict,
        us_first=units is US,
        cautions=cautions,
        style=asset("page.css"),
        script=asset("viewer.js"),
        scene=scene_json(fit, stages, plan, cut) if drawn else "",
        stages=[stage.record(fit.block.stone) for stage in stages],
        symbols=symbols_of(fit) if drawn and (cards["pieces"] or cards["regions"]) else "",
        cards={kind: [_marked(card) for card in those] for kind, those in cards.items()},
        views=_views(fit, cut) if drawn else [],
        maps=_maps(fit, thin) if drawn else [],
        data=base64.b64encode(json.dumps(record).encode()).decode("ascii"),
        data_name="survey.json",
        **{name: _said(one) for name, one in words.items()},
    )


def rendered(template: str, **values: Any) -> str:
    """Return a template of the page's, filled; all values are escaped."""
    from jinja2 import Environment, StrictUndefined

    return Environment(autoescape=True, undefined=StrictUndefined).from_string(asset(template)).render(**values)


def asset(name: str) -> str:
    """Return a file of the page's, by name."""
    return files("blockfit.sheets.page").joinpath(name).read_text(encoding="utf-8")


def _marked(card: Card) -> dict[str, Any]:
    """Return a card whose words are HTML already; its title is not."""
    from markupsafe import Markup

    words = {name: Markup(getattr(card, name)) for name in ("metric", "us", "lines_metric", "lines_us")}
    return {"title": card.title, "picture": card.picture, **words}


def _said(words: PageWords) -> dict[str, Any]:
    from markupsafe import Markup

    sections = [(name, Markup(as_lists(lines))) for name, lines in words.sections]
    return {"alarms": words.alarms, "brief": Markup(as_lists(words.brief)), "sections": sections}


def _views(fit: Fit, cut: Undercuts | None) -> list[dict[str, Any]]:
    """Return the measured drawing, a picture for each view."""
    told = []
    for side in _VIEWS:
        alt = f"The figure in the block seen from the {side}, with ticks along the block's edges"
        words = f"From the {side}; ticks every 100 mm, long ones every 500 mm"
        told.append({**image_of(view_drawing(fit, side, undercut=cut)), "alt": alt, "caption": words})
    return told


def _maps(fit: Fit, thin: ThinStone | None) -> list[dict[str, Any]]:
    about = "Five views of the figure, coloured"
    told = [
        {
            "title": "Stone over the figure, map",
            "caption": "Sound stone over every place: the darker, the less.",
            "alt": f"{about} by the sound stone over it",
            **image_of(cover_map(fit), 80),
        }
    ]
    if thin is not None:
        told.append(
            {
                "title": "Thickness, map",
                "caption": "How thick the figure is: the paler, the thinner.",
                "alt": f"{about} by its thickness",
                **image_of(thickness_map(thin), 80),
            }
        )
    return told


def image_of(drawing: Any, dots_per_inch: int = 100) -> dict[str, Any]:
    """Return a drawing as what an image on the page needs: its source, width and height."""
    width, height = (round(side * dots_per_inch) for side in drawing.get_size_inches())
    data = base64.b64encode(picture_bytes(drawing, dots_per_inch=dots_per_inch)).decode("ascii")
    return {"source": f"data:image/png;base64,{html.escape(data)}", "width": width, "height": height}

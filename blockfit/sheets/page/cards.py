"""Cards for the page: each piece and each undercut place with a small picture of where it is. SVG, block frame, mm."""

import html
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from blockfit.facts.systems import METRIC, US
from blockfit.geometry.arrays import Array, Ints
from blockfit.geometry.tolerances import CLOSE, LEVEL
from blockfit.search.result import Fit
from blockfit.sheets.page.markup import PageLayout, as_lists
from blockfit.sheets.page.scene import feature_edges, lighter_surface
from blockfit.sheets.page.stages import StoneStage
from blockfit.sheets.survey.cutting import line_lines, piece_lines, region_words
from blockfit.waste.offcuts.plan import OffcutPlan
from blockfit.waste.reach.regions import Region
from blockfit.waste.reach.undercut import Undercuts
from blockfit.waste.standing.weight import Weights

__all__ = ["CARDS", "Card", "cards_of", "symbols_of"]

_FACES = 500  # of the figure in a small picture
CARDS = 8  # undercut places with a card of their own
_DOTS = 160
_STONE_TONE, _PIECE_TONE = (205, 198, 182), (235, 150, 60)
_LIGHT = np.array([-0.447, 0.496, -0.744])  # over the left shoulder
_VIEWS = {"front": -0.6, "right": 0.95, "back": 2.55, "left": -2.2}  # turned about the vertical, radians

_TIP = (
    '<marker id="tip" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="5" markerHeight="5" orient="auto">'
    '<path d="M0 0L10 5 0 10z"/></marker>'
)


@dataclass(frozen=True, slots=True)
class Card:
    """A title, a picture, the words, and the lines to snap, in both systems of units."""

    title: str
    picture: str
    metric: str
    us: str
    lines_metric: str = ""
    lines_us: str = ""


def symbols_of(fit: Fit) -> str:
    """Return the figure and the block as seen in the small pictures, drawn once and used in every card."""
    figure = fit.solid()
    light = lighter_surface(figure.vertices, figure.faces, _FACES)
    told = [_symbol(name, *light) for name in _VIEWS]
    unseen = 'width="0" height="0" aria-hidden="true" style="position:absolute"'
    return f"<svg {unseen}><defs>{_TIP}{''.join(told)}</defs></svg>"


def cards_of(
    fit: Fit, stages: Sequence[StoneStage], plan: OffcutPlan | None, weight: Weights | None, cut: Undercuts | None
) -> dict[str, list[Card]]:
    """Return the cards of the pieces and of the undercut places."""
    pieces = []
    if plan is not None and weight is not None:
        for number, piece in enumerate(plan.pieces, 1):
            said, lines = partial(piece_lines, number, piece, plan, weight), partial(line_lines, piece, plan)
            picture = _piece_picture(fit, stages, number, piece.solid.vertices, piece.solid.faces)
            pieces.append(Card(f"Piece {number}: {piece.kind}", picture, *_both(said), *_both(lines)))
    regions = cut.regions[:CARDS] if cut is not None else ()
    return {"pieces": pieces, "regions": [_region_card(fit, cut, region) for region in regions if cut is not None]}


def _both(said: partial[list[str]]) -> tuple[str, str]:
    metric, us = (as_lists(said(layout=PageLayout(units))) for units in (METRIC, US))
    return metric, us


def _region_card(fit: Fit, cut: Undercuts, region: Region) -> Card:
    listed = {r.number for r in cut.regions[:CARDS]}

    def said(layout: PageLayout) -> list[str]:
        return layout.paragraph(region_words(region, listed, layout.units))

    view = _view_towards(region.into)
    points = cut.elements.points[cut.region_of == region.number]
    points = points[:: max(1, len(points) // _DOTS)]
    flat = _flat(points, view)
    dots = "".join(f"M{x:.0f} {y:.0f}h.1" for x, y in flat.tolist())
    arrow = ""
    if region.into is not None:
        tip = region.centre_mm
        tail = tip - 0.32 * max(fit.block.size_mm) * region.into
        (ax, ay), (bx, by) = _flat(np.stack([tail, tip]), view).tolist()
        arrow = f'<path class="a" marker-end="url(#tip)" d="M{ax:.0f} {ay:.0f}L{bx:.0f} {by:.0f}"/>'
    about = f"Where place {region.number} lies on the figure, and the way a tool comes to it: {region.approach}"
    picture = _picture(fit.solid().vertices, view, f'<path class="d" d="{dots}"/>{arrow}', about)
    metric, us = (as_lists(said(PageLayout(units))) for units in (METRIC, US))
    return Card(f"Place {region.number}", picture, metric, us)


def _piece_picture(fit: Fit, stages: Sequence[StoneStage], number: int, vertices: Array, faces: Ints) -> str:
    middle = vertices.mean(axis=0) - fit.block.corners_mm.mean(axis=0)
    view = _view_towards(-np.array([middle[0], middle[1], 0.0]))
    before = stages[min(number - 1, len(stages) - 1)]
    lines = feature_edges(before.vertices, before.faces)
    ends = _flat(before.vertices, view)[lines]
    stone = "".join(f"M{a[0]:.0f} {a[1]:.0f}L{b[0]:.0f} {b[1]:.0f}" for a, b in ends.tolist())
    shape = "".join(_polygons(vertices, faces, view, tone=_PIECE_TONE))
    about = f"Piece {number} in the stone as it then stands"
    return _picture(fit.block.corners_mm, view, f'<path class="s" d="{stone}"/><g class="p">{shape}</g>', about)


def _picture(around: Array, view: str, inside: str, about: str) -> str:
    """Return a picture that shows ``around`` (n, 3) in full."""
    flat = _flat(around, view)
    low, size = flat.min(axis=0) - 20, np.ptp(flat, axis=0) + 40
    box = f"{low[0]:.0f} {low[1]:.0f} {size[0]:.0f} {size[1]:.0f}"
    line = max(1.0, float(size.max()) / 300)
    return (
        f'<svg viewBox="{box}" role="img" aria-label="{html.escape(about)}" stroke-width="{line:.1f}">'
        f'<use href="#seen-{view}"/>{inside}</svg>'
    )


def _symbol(view: str, vertices: Array, faces: Ints) -> str:
    return f'<g id="seen-{view}">{"".join(_polygons(vertices, faces, view, tone=_STONE_TONE))}</g>'


def _polygons(vertices: Array, faces: Ints, view: str, tone: tuple[int, int, int]) -> list[str]:
    """Return the faces that look at the viewer, the farthest first, shaded."""
    seen = _turned(vertices, view)
    corners = seen[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1)
    facing = np.flatnonzero((normals[:, 2] < 0) & (lengths > CLOSE))
    light = np.clip(0.35 + 0.65 * np.abs(normals[facing] / lengths[facing, None] @ _LIGHT), 0, 1)
    order = np.argsort(-corners[facing, :, 2].mean(axis=1), kind="stable")
    told = []
    for k in order.tolist():
        (ax, ay), (bx, by), (cx, cy) = corners[facing[k], :, :2].tolist()
        r, g, b = (round(c * float(light[k])) for c in tone)
        told.append(
            f'<path fill="#{r:02x}{g:02x}{b:02x}" d="M{ax:.0f} {-ay:.0f}L{bx:.0f} {-by:.0f} {cx:.0f} {-cy:.0f}z"/>'
        )
    return told


def _turned(points: Array, view: str) -> Array:
    """Return (n, 3) to the right, up and away from the viewer, who looks a little down."""
    azimuth, down = _VIEWS[view], 0.35
    ca, sa, cd, sd = np.cos(azimuth), np.sin(azimuth), np.cos(down), np.sin(down)
    axes = np.array([[ca, sa, 0.0], [-sa * sd, ca * sd, cd], [-sa * cd, ca * cd, -sd]])
    return np.asarray(points @ axes.T)


def _flat(points: Array, view: str) -> Array:
    """Return (n, 2) places in the picture, y downwards."""
    seen = _turned(points, view)
    return np.stack([seen[:, 0], -seen[:, 1]], axis=1)


def _view_towards(into: Array | None) -> str:
    """Return the view that looks most nearly along a direction (3,)."""
    if into is None or np.linalg.norm(into[:2]) < LEVEL:
        return "front"
    away = {name: _turned(np.asarray(into)[None], name)[0, 2] for name in _VIEWS}
    return max(away, key=lambda name: away[name])

"""How much stone is left, as one page that opens offline: the summary, and a map of it over the figure."""

import base64
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from blockfit.carving.left import StoneLeft
from blockfit.facts.systems import US, units_of
from blockfit.kinds import kinds_checked
from blockfit.sheets.page.document import asset, image_of, page_can_be_made, rendered
from blockfit.sheets.pictures.drawings import left_map
from blockfit.sheets.saving import as_json, write_as
from blockfit.sheets.survey.cautions import CAUTIONS

__all__ = ["save_left"]

_LABEL = 18  # columns of a summary's line before its words


@kinds_checked
def save_left(left: StoneLeft, path: str | Path, *, units: str = "metric") -> None:
    """Write how much stone is left: ``.html`` one page with a map of it, ``.txt`` as printed, ``.json`` as data.

    The file appears whole or not at all, and only in the place of an earlier output of ours. The page needs the extra
    ``page``; ``units`` are what it opens with.

    Raises `BadValueError` for another ending, other units, or a file that is no earlier output, `MissingExtraError` for
    a page without that extra, and `UnreadableFileError` where nothing can be written.

    >>> import pathlib, tempfile
    >>> import blockfit as bf
    >>> corners = [[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 600]]
    >>> figure = bf.Figure(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> fit = bf.safest(figure, bf.Block.box(600, 500, 700, stone="marble"), cover=20, stance=bf.Stance.fixed())
    >>> left = bf.stone_left(fit, bf.stage_of(fit))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     bf.save_left(left, pathlib.Path(folder) / "left.txt")
    ...     print((pathlib.Path(folder) / "left.txt").read_text(encoding="utf-8").splitlines()[0])
    HOW MUCH STONE IS LEFT: figure in 600 x 500 x 700 mm
    """
    units_of(units)
    bodies = {
        ".html": lambda: _page(left, units),
        ".txt": lambda: left.text(units),
        ".json": lambda: as_json(left.record()),
    }
    write_as(path, "stone left", bodies)


def _page(left: StoneLeft, units: str) -> str:
    page_can_be_made()
    deep = left.too_deep
    alarm = ""
    if deep:
        where = f"{deep[0].place} first" if len(deep) > 1 else str(deep[0].place)
        places = f"{len(deep)} places" if len(deep) > 1 else "one place"
        alarm = f"cut too deep at {places}: {where}; blockfit recover says where the figure still goes"
    return rendered(
        "left.html.jinja",
        title=f"Stone left over {left.figure.name} in {left.fit.block.name}",
        us_first=units_of(units) is US,
        style=asset("page.css"),
        alarm=alarm,
        metric=_rows(left.text("metric").splitlines()[1:]),
        us=_rows(left.text("us").splitlines()[1:]),
        map={
            **image_of(left_map(left), 80),
            "caption": "Stone over every place of the figure: the paler, the more. A cross is where it was surely cut "
            "too deep, with how deep in mm.",
            "alt": "Five views of the figure, coloured by the stone left over it",
        },
        caution=CAUTIONS[0],
        data=base64.b64encode(json.dumps(left.record()).encode()).decode("ascii"),
    )


def _rows(lines: Sequence[str]) -> list[tuple[str, Any]]:
    """Return lines of the summary as labels and words; what belongs to the line before has no label."""
    return [
        ("", line.strip()) if line.startswith("    ") else (line[:_LABEL].strip(), line[_LABEL:].strip())
        for line in lines
    ]

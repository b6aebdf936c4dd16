"""Rows of text in columns."""

from collections.abc import Sequence

__all__ = ["in_columns"]


def in_columns(rows: Sequence[Sequence[str]]) -> str:
    """Return rows of text in columns, numbers to the right.

    >>> from blockfit.marking.table import in_columns
    >>> print(in_columns([("name", "mm"), ("knee", "7.5"), ("hand", "112.0")]))
    name     mm
    knee    7.5
    hand  112.0
    """
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    numbers = [all(_is_number(row[k]) for row in rows[1:]) and len(rows) > 1 for k in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [c.rjust(w) if n else c.ljust(w) for c, w, n in zip(row, widths, numbers, strict=True)]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)


def _is_number(text: str) -> bool:
    return text.replace(",", "").replace(".", "").replace("/", "").replace(" ", "").lstrip("-").isdigit()

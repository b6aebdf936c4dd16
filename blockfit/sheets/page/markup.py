"""The survey's sections as HTML: the same lines as in print, laid out as lists that a phone can wrap."""

import html
from collections.abc import Container, Iterable
from dataclasses import dataclass

from blockfit.facts.phrases import Phrase
from blockfit.sheets.words import Layout

__all__ = ["PageLayout", "as_lists", "starts_with"]

_TERM, _WORDS, _DEEPER, _PARAGRAPH = "<dt>", "<dd>", '<dd class="deeper">', "<p>"


@dataclass(frozen=True, slots=True)
class PageLayout(Layout):
    """A layout whose lines are pieces of HTML; every word is escaped."""

    def item(self, name: str, words: str | Phrase) -> list[str]:
        """Return a term and what is said of it."""
        term = [f"{_TERM}{html.escape(name)}</dt>"] if name else []
        return [*term, f"{_WORDS}{self._escaped(words)}</dd>"]

    def entry(self, words: str | Phrase) -> list[str]:
        """Return one more thing that is said of the term before."""
        return [f"{_DEEPER}{self._escaped(words)}</dd>"]

    def below(self, words: str | Phrase) -> list[str]:
        """Return what belongs to the entry before."""
        return self.entry(words)

    def paragraph(self, words: str | Phrase, indent: str = "") -> list[str]:
        """Return a paragraph."""
        return [f"{_PARAGRAPH}{self._escaped(words)}</p>"]

    def point_of(self, words: str | Phrase) -> list[str]:
        """Return a paragraph of its own."""
        return self.paragraph(words)

    def _escaped(self, words: str | Phrase) -> str:
        text = words.text(self.units) if isinstance(words, Phrase) else words
        return html.escape(" ".join(text.split()))


def as_lists(lines: Iterable[str]) -> str:
    """Return the pieces of a section with its terms in lists.

    >>> from blockfit.sheets.page.markup import PageLayout, as_lists
    >>> page = PageLayout()
    >>> as_lists([*page.paragraph("Keep it."), *page.item("Cover", "20 mm & more")])
    '<p>Keep it.</p><dl><dt>Cover</dt><dd>20 mm &amp; more</dd></dl>'
    """
    told, inside = [], False
    for line in lines:
        listed = line.startswith(("<dt", "<dd")) and (inside or line.startswith("<dt"))
        if listed != inside:
            told.append("<dl>" if listed else "</dl>")
            inside = listed
        told.append(line if listed or line.startswith(_PARAGRAPH) else _as_paragraph(line))
    return "".join([*told, "</dl>"] if inside else told)


def starts_with(line: str, numbers: Container[int]) -> bool:
    """Tell whether a piece of HTML is an entry that begins with one of these numbers."""
    head = line.removeprefix(_DEEPER).split(".", 1)[0]
    return line.startswith(_DEEPER) and head.isdecimal() and int(head) in numbers


def _as_paragraph(line: str) -> str:
    return f"<p>{line[line.index('>') + 1 :].removesuffix('</dd>')}</p>"

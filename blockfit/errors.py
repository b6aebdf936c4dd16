"""What is raised when the input itself is wrong; "does not fit" is an answer, never an error."""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

__all__ = [
    "BadValueError",
    "BlockfitError",
    "Contradiction",
    "MissingExtraError",
    "OpenSurfaceError",
    "OutlinesDisagreeError",
    "UnitNeededError",
    "UnknownStoneError",
    "UnreadableFileError",
    "plain_text",
    "safe_lines",
    "shown_name",
]

_MOST = 390  # characters of a message: what is longer loses its middle, since the way out is said last
_TAIL = 150
_JOINERS = "\u200c\u200d"  # invisible, but letters of some scripts need them


def plain_text(text: str) -> str:
    r"""Return text in one line without control characters, signs that turn the writing round, or broken letters.

    >>> from blockfit.errors import plain_text
    >>> plain_text("a\x07  b\n c").encode()
    b'a\xef\xbf\xbd b c'
    """
    return " ".join(safe_lines(text).split())


def shown_name(path: str | Path) -> str:
    """Return a file's name as it can be shown: without control characters or bytes that are no text."""
    return plain_text(Path(path).name or str(path))


def safe_lines(text: str) -> str:
    """Return text of several lines with every control character but the ends of lines replaced."""
    return text if text.isascii() and text.isprintable() else "".join(map(_seen, text))


def _seen(letter: str) -> str:
    if letter in "\n\t" or letter.isprintable():
        return letter
    if letter.isspace():
        return " " if letter in "\r\x0b\x0c\x1c\x1d\x1e\x1f\x85\u2028\u2029" else letter
    unseen = unicodedata.category(letter) in ("Cc", "Cf", "Cs") and letter not in _JOINERS
    return "\N{REPLACEMENT CHARACTER}" if unseen else letter


class BlockfitError(Exception):
    """Root of every error blockfit raises on purpose; the message names the value and the way out, in one line."""

    def __str__(self) -> str:
        """Return the message without control characters, shortened in the middle where it is long."""
        text = super().__str__()
        if len(text) > 100_000:  # a cell or a name of a million letters
            text = text[:50_000] + " … " + text[-50_000:]
        plain = plain_text(text)
        return plain if len(plain) <= _MOST else f"{plain[: _MOST - _TAIL - 3]} … {plain[-_TAIL:]}"


class BadValueError(BlockfitError, ValueError):
    """A length, ratio, cover or other option that has no meaning."""


class UnitNeededError(BlockfitError, ValueError):
    """A file or a number without a unit."""


class UnknownStoneError(BlockfitError, LookupError):
    """A stone that is not in the table."""


class UnreadableFileError(BlockfitError, OSError):
    """A file that is missing, cut short, or holds no figure."""


class OpenSurfaceError(BlockfitError, ValueError):
    """A figure without an inside, so that its volume and weight mean nothing."""


class MissingExtraError(BlockfitError, ImportError):
    """A package that an extra would install is missing."""


@dataclass(frozen=True, slots=True)
class Contradiction:
    """What no solid can have: ``where`` in which two ``outlines``, by how much, and the least ``change`` that helps."""

    where: str
    outlines: tuple[str, ...]
    by_mm: float
    text: str
    change: str


class OutlinesDisagreeError(BlockfitError, ValueError):
    """Outlines that no solid can have together; ``contradictions`` holds each of them, worst first."""

    def __init__(self, contradictions: Sequence[Contradiction]) -> None:
        """Say the worst, and how many others there are."""
        self.contradictions = tuple(sorted(contradictions, key=lambda one: -one.by_mm))
        worst, others = self.contradictions[0], len(self.contradictions) - 1
        more = f"; and {others} more (see .contradictions)" if others else ""
        super().__init__(f"no solid has these outlines: {worst.text}{more}. {worst.change}; or allow more tolerance=")

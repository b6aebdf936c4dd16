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
    """Root of every error blockfit raises on purpose; the message names the value and the way out, in one line.

    It is an `Exception`, and each of its kinds is also the builtin error that fits. That a figure does not fit is an
    answer, never an error.

    >>> import blockfit as bf
    >>> try:
    ...     bf.Block.box(900, 700, -1600)
    ... except bf.BlockfitError as error:
    ...     print(type(error).__name__, "-", error)
    BadValueError - height=-1600 must be more than 0
    """

    def __str__(self) -> str:
        """Return the message without control characters, shortened in the middle where it is long."""
        text = super().__str__()
        if len(text) > 100_000:  # a cell or a name of a million letters
            text = text[:50_000] + " … " + text[-50_000:]
        plain = plain_text(text)
        return plain if len(plain) <= _MOST else f"{plain[: _MOST - _TAIL - 3]} … {plain[-_TAIL:]}"


class BadValueError(BlockfitError, ValueError):
    """A length, ratio, cover or other option that has no meaning.

    Also a `ValueError`. The message names the option, its value and what it must be.

    >>> import blockfit as bf
    >>> try:
    ...     bf.Stance.upright(turn=200)
    ... except bf.BadValueError as error:
    ...     print(error)
    turn=200 must be an angle of 0 to 180 degrees
    """


class UnitNeededError(BlockfitError, ValueError):
    """A file or a number without a unit.

    Also a `ValueError`. Numbers given from Python are mm; text, and most mesh files, must be given a unit.

    >>> import blockfit as bf
    >>> try:
    ...     bf.Block.box("900", "700 mm", "1.6 m")
    ... except bf.UnitNeededError as error:
    ...     print(error)
    width='900' has no unit; write for instance "900 mm", "0.9 m", "36 in" or "2 ft 6 in"
    """


class UnknownStoneError(BlockfitError, LookupError):
    """A stone that is not in the table.

    Also a `LookupError`. The message lists the stones of `STONES`; any other is given as a `Stone`.

    >>> import blockfit as bf
    >>> try:
    ...     bf.Block.box(900, 700, 1600, stone="pumice")
    ... except bf.UnknownStoneError as error:
    ...     print(str(error).split(";")[0])
    stone='pumice' is not in the table
    """


class UnreadableFileError(BlockfitError, OSError):
    """A file that is missing, cut short, or holds no figure.

    Also an `OSError`. It is raised as well where a file cannot be written.

    >>> import blockfit as bf
    >>> try:
    ...     bf.read_certificate("kneeling.proof")
    ... except bf.UnreadableFileError as error:
    ...     print(error)
    kneeling.proof is no file
    """


class OpenSurfaceError(BlockfitError, ValueError):
    """A figure without an inside, so that its volume and weight mean nothing.

    Also a `ValueError`. Such a figure, from points or an open surface, is good for fitting; the message says what needs
    a solid.

    >>> import blockfit as bf
    >>> points = bf.Figure.from_points([[0, 0, 0], [400, 0, 0], [0, 300, 0], [0, 0, 1200]])
    >>> try:
    ...     points.centroid_mm
    ... except bf.OpenSurfaceError as error:
    ...     print(str(error).split(",")[0])
    figure: the centre of gravity needs a closed solid
    """


class MissingExtraError(BlockfitError, ImportError):
    """A package that an extra would install is missing.

    Also an `ImportError`. The message names what to install.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> from unittest import mock
    >>> try:
    ...     with mock.patch.dict("sys.modules", flint=None):  # as where the extra is not installed
    ...         bf.verify("kneeling.proof", cube, bf.Block.box(300, 200, 250))
    ... except bf.MissingExtraError as error:
    ...     print(error)
    python-flint is needed to verify: install 'blockfit[verify]'
    """


@dataclass(frozen=True, slots=True)
class Contradiction:
    """What no solid can have: ``where`` in which two ``outlines``, by how much, and the least ``change`` that helps.

    ``by_mm`` is in mm, of the figure; ``text`` says the same in words. Each comes with an `OutlinesDisagreeError`.

    >>> import shapely
    >>> import blockfit as bf
    >>> try:
    ...     bf.figure_from_outlines(front=shapely.box(0, 0, 600, 1000), side=shapely.box(0, 0, 300, 900))
    ... except bf.OutlinesDisagreeError as error:
    ...     worst = error.contradictions[0]
    >>> worst.where, worst.outlines, round(worst.by_mm)
    ('height', ('front', 'side'), 100)
    """

    where: str
    outlines: tuple[str, ...]
    by_mm: float
    text: str
    change: str


class OutlinesDisagreeError(BlockfitError, ValueError):
    """Outlines that no solid can have together; ``contradictions`` holds each of them, worst first.

    Also a `ValueError`. The message says the worst of them, and the least change that helps.

    >>> import shapely
    >>> import blockfit as bf
    >>> try:
    ...     bf.figure_from_outlines(front=shapely.box(0, 0, 600, 1000), side=shapely.box(0, 0, 300, 900))
    ... except bf.OutlinesDisagreeError as error:
    ...     print(str(error).split(". ")[0])
    no solid has these outlines: height: front 1,000.0 mm, side 900.0 mm, 100.0 mm apart
    """

    def __init__(self, contradictions: Sequence[Contradiction]) -> None:
        """Say the worst, and how many others there are."""
        self.contradictions = tuple(sorted(contradictions, key=lambda one: -one.by_mm))
        worst, others = self.contradictions[0], len(self.contradictions) - 1
        more = f"; and {others} more (see .contradictions)" if others else ""
        super().__init__(f"no solid has these outlines: {worst.text}{more}. {worst.change}; or allow more tolerance=")

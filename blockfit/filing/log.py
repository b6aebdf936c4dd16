"""What happened to the stone, entry by entry; entries are added and never changed."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from blockfit.errors import BadValueError, plain_text

__all__ = ["Entry", "new_entry"]

_MOST_WORDS = 2000


@dataclass(frozen=True, slots=True, eq=False)
class Entry:
    """One thing that happened: ``when`` (ISO 8601, local time with its distance from UTC), ``what`` in one word,
    the ``words`` for people, and ``about``, the value it is about, such as readings, what was lost, or an earlier fit.
    """

    when: str
    what: str
    words: str
    about: Any = None

    @property
    def key(self) -> tuple[str, str, str]:
        """What tells it from other entries."""
        return self.when, self.what, self.words

    def __str__(self) -> str:
        """Return date, time and words in a line."""
        return f"{self.when[:16].replace('T', ' ')}  {self.what:<9} {self.words}"


def new_entry(what: str, words: str, about: Any = None, *, when: str | None = None) -> Entry:
    """Return an entry of now, or of ``when`` (ISO 8601). Raises `BadValueError` for a time that is none.

    >>> from blockfit.filing.log import new_entry
    >>> str(new_entry("done", "offcut 1", when="2026-03-02T09:30:00+01:00"))
    '2026-03-02 09:30  done      offcut 1'
    """
    try:
        time = datetime.now().astimezone() if when is None else datetime.fromisoformat(when)
    except (TypeError, ValueError) as error:
        raise BadValueError(f"when={when!r} is no time; write for instance 2026-03-02T09:30:00+01:00") from error
    return Entry(time.astimezone().isoformat(timespec="seconds") if when is None else when, what, _line(words), about)


def _line(words: str) -> str:
    return plain_text(words)[:_MOST_WORDS]

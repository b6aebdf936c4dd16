"""Options under headings, so that a long help can be read."""

from collections.abc import Callable
from functools import partial
from typing import Any

import click

__all__ = ["Command", "Decorator", "HeadedOption", "headed"]

_OTHERS = "Options"

Decorator = Callable[[Callable[..., None]], Callable[..., None]]


class HeadedOption(click.Option):
    """An option that knows under which heading of the help it stands."""

    def __init__(self, *names: Any, heading: str = _OTHERS, **given: Any) -> None:
        """Take what `click.Option` takes, and the heading."""
        super().__init__(*names, **given)
        self.heading = heading


def headed(heading: str) -> Callable[..., Decorator]:
    """Return what `click.option` is, for options under a heading.

    >>> from blockfit.commands.headings import headed
    >>> tool = headed("Tools")
    >>> with_tool = tool("--tool", help="Width of the tool.")
    """
    return partial(click.option, cls=HeadedOption, heading=heading)


class Command(click.Command):
    """A command whose help lists its options under their headings, in the order in which they are first given."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options, a section for each heading; those without one come last."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx) if isinstance(parameter, click.Option) else None
            if record is not None:
                sections.setdefault(getattr(parameter, "heading", _OTHERS), []).append(record)
        others = sections.pop(_OTHERS, [])
        for heading, records in [*sections.items(), (_OTHERS, others)]:
            if records:
                with formatter.section(heading):
                    formatter.write_dl(records)

"""How the command line ends: with one line, and a status that says whose fault it was."""

import io
import logging
import os
import sys
import traceback
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from difflib import get_close_matches
from pathlib import Path
from typing import Any, NoReturn

import click

from blockfit.errors import BadValueError, BlockfitError, plain_text
from blockfit.interrupts import interrupts_end_us

__all__ = ["Commands", "ended", "leave"]


class _StoppedError(Exception):
    """Ctrl-C, under a name that click does not answer by an empty line."""


class Commands(click.Group):
    """The commands; Ctrl-C in one of them is ours to answer."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Take in the words, none of which can hold the character that ends a name."""
        if any("\0" in word for word in args):
            raise BadValueError("a null character cannot be part of a name or a value")
        if not args and not ctx.resilient_parsing:  # versions of click differ in the status
            click.echo(ctx.get_help())
            sys.exit(2)
        return super().parse_args(ctx, args)

    def resolve_command(self, ctx: click.Context, args: list[str]) -> Any:
        """Find the command meant; a word that is near one says so, whatever the version of click."""
        word = args[0]
        if self.get_command(ctx, word) is None and not word.startswith("-") and not ctx.resilient_parsing:
            near = get_close_matches(word[:40], self.commands, n=2, cutoff=0.5)
            meant = f"did you mean {' or '.join(near)}?" if near else f"known: {', '.join(self.commands)}"
            raise BadValueError(f"there is no command {plain_text(word)!r}; {meant}")
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command asked for."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt as error:
            raise _StoppedError from error


@contextmanager
def ended() -> Iterator[None]:
    """Within it every error ends the process: 2 for bad input, 130 for Ctrl-C, 1 for faults of our own.

    Warnings and notes of libraries, which would precede our line, are not shown.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal that has no sign for ° or for a name's letters
    logging.getLogger("trimesh").setLevel(logging.CRITICAL)
    with warnings.catch_warnings(), interrupts_end_us():
        warnings.simplefilter("ignore")
        try:
            yield
        except BlockfitError as error:
            leave(str(error), 2)
        except click.ClickException as error:
            _leave_click(error)
        except BrokenPipeError:  # whoever reads the output has seen enough
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            sys.exit(1)
        except OSError as error:  # the terminal or the file behind it is gone or full
            leave(f"cannot write: {error.strerror or error}", 1)
        except (click.Abort, KeyboardInterrupt, _StoppedError):
            leave("stopped", 130)
        except MemoryError:
            leave("this needs more memory than there is: take a lighter figure, or a coarser --pitch", 2)
        except Exception as error:
            leave(_fault(error), 1)


def leave(message: str, code: int) -> NoReturn:
    """End the process with a line on stderr and a status."""
    click.echo(f"blockfit: {plain_text(message)}", err=True)
    sys.exit(code)


def _leave_click(error: click.ClickException) -> NoReturn:
    words = plain_text(error.format_message())
    leave(words if len(words) < 390 else words[:230] + " … " + words[-150:], 2)


def _fault(error: Exception) -> str:
    """Return what a fault of our own is reported with: what, and where in our code."""
    ours = [
        at for at in traceback.extract_tb(error.__traceback__) if Path(at.filename).parent.parent.name == "blockfit"
    ]
    place = f" in {Path(ours[-1].filename).name}, line {ours[-1].lineno}" if ours else ""
    words = plain_text(f"{type(error).__name__}: {str(error)[:120]}")
    return f"a fault in blockfit, not in what was given; please report it: {words}{place}"

"""``blockfit prove`` writes a proof down, and ``blockfit verify`` checks one in exact arithmetic."""

from pathlib import Path
from typing import Any

import click

from blockfit.certificates.checker import verify
from blockfit.commands.headings import Command, headed
from blockfit.commands.options import BLOCK, READING, block_of, figure_and, figure_of, fit_of, fitting
from blockfit.commands.terms import check_output
from blockfit.errors import safe_lines

__all__ = ["prove_command", "verify_command"]

_written = headed("What is written")


@click.command("prove", cls=Command)
@fitting
@_written("-o", "--output", type=click.Path(path_type=Path), required=True, help="File of the proof, .proof.")
def prove_command(output: Path, us: bool, **options: Any) -> None:
    """Find where FIGURE fits in one block, and write down the proof that nothing is better."""
    check_output(output, (".proof",), list(filter(None, [options["figure"]])))
    fit = fit_of(lambda step: None, options, certificate=True)
    if fit.certificate is None:
        click.echo(f"{fit.figure.name} in {fit.block.name}: no certificate of this answer can be written")
        return
    fit.certificate.save(output)
    click.echo(safe_lines(f"{fit.certificate.claim()}\n{fit.certificate.cells:,} cells, written to {output}"))


@click.command("verify", cls=Command)
@click.argument("file", type=click.Path(path_type=Path))
@figure_and(READING, BLOCK)
def verify_command(file: Path, **options: Any) -> None:
    """Check the proof in FILE about FIGURE in the block, in exact arithmetic. Needs the extra verify."""
    found = verify(file, figure_of(options), block_of(options))
    if found.valid:
        click.echo(f"VALID: {found.reason} ({found.cells:,} cells, exact arithmetic)")
    else:
        click.echo(safe_lines(f"NOT VALID: {found.reason}"))

"""``blockfit demo``: the whole of it on an invented figure."""

from dataclasses import replace
from pathlib import Path

import click

from blockfit.commands.headings import Command
from blockfit.commands.options import US, units_name
from blockfit.commands.terms import check_output, hand_over, teller
from blockfit.facts.systems import units_of
from blockfit.intake.demo import demo_blocks, demo_figure
from blockfit.overview import survey
from blockfit.search.ask import Ask, Seek, standing_cover
from blockfit.search.choice.fit import answer
from blockfit.solids.stance import Stance
from blockfit.units import rounded_down

__all__ = ["demo_command"]


@click.command("demo", cls=Command)
@US[0]
@click.option("--json", "as_json", type=click.Path(path_type=Path), help="Write the survey as JSON.")
def demo_command(as_json: Path | None, us: bool) -> None:
    """Try it on an invented figure: a lamplighter at 1:4, scanned, and a small yard of limestone."""
    check_output(as_json)
    shown = units_of(units_name(us))
    step = teller()
    step("making the maquette and its scan")
    figure = demo_figure()
    ask = Ask(cover=standing_cover(20), stance=Stance.upright(30))
    step("fitting it in the yard's blocks")
    fits = [answer(figure, block, ask) for block in demo_blocks()]
    step("")
    click.echo(
        "The lamplighter, a quarter-size maquette, in an invented yard of limestone (skin "
        f"{shown.given(15)}, cover {shown.given(20)}):\n"
    )
    wide = max(len(shown.sizes(fit.block.size_mm)) for fit in fits)
    for fit in fits:
        size = shown.sizes(fit.block.size_mm)
        enough = "full size fits" if fit.scale >= 1 else "full size does not fit"
        weight = shown.mass(fit.block.mass_kg)
        click.echo(
            f"  {fit.block.name}  {size:>{wide}}  {weight:>9}  price {fit.block.price:>5.0f}   "
            f"largest scale {rounded_down(fit.scale, 3):.3f}, {enough}"
        )
    holding = [fit for fit in fits if fit.scale >= 1]
    chosen = min(holding, key=lambda fit: fit.block.price or 0.0).block
    click.echo(f"\nThe cheapest that holds it at full size is {chosen.name}:\n")
    fit = answer(figure, chosen, replace(ask, seek=Seek.COVER))
    told = survey(fit, lift_limit_kg=300, progress=step)
    step("")
    hand_over(told, None, as_json, shown.name)

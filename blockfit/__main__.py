"""The command line; each command is a file of `blockfit.commands`."""

import click

from blockfit.commands.compare import compare_command
from blockfit.commands.demo import demo_command
from blockfit.commands.log import done_command, log_command, lost_command, recover_command
from blockfit.commands.mark import mark_command
from blockfit.commands.proof.verify import prove_command, verify_command
from blockfit.commands.stone import before_back_command, check_command, left_command, scan_command, second_command
from blockfit.commands.survey import survey_command
from blockfit.endings import Commands, ended

__all__ = ["main"]


@click.group(cls=Commands)
@click.version_option(package_name="blockfit")
def cli() -> None:
    """Does the figure fit in the block, how must it stand, and what happens to the stone."""


_COMMANDS = (
    *(survey_command, mark_command, compare_command, demo_command),  # before there is a job, or with one
    *(prove_command, verify_command),
    *(done_command, check_command, scan_command, left_command),  # with one
    *(lost_command, recover_command, before_back_command, second_command, log_command),
)
for command in _COMMANDS:
    cli.add_command(command)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line: exit 0 for any answer, 2 for bad input, 130 when stopped, 1 for our own faults."""
    with ended():
        cli.main(arguments, prog_name="blockfit", standalone_mode=False)


if __name__ == "__main__":
    main()

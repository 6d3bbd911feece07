"""`rig check`: whether today's line, and the rod, are good enough; see `rig/cli/checks/`."""

import click

from rig.cli.checks import cross, drift, repeat, rod, two_peg


@click.group()
def command() -> None:
    """Check the laser and the rod: five minutes, with the rod in hand.

    Readings are typed with the command or taken live (--serial, --typed). Exits 1 where the best
    estimate breaks the limit; the doubt is told beside. No job is needed; where there is one, the
    check is kept in it.
    """


for one in (two_peg, cross, repeat, drift, rod):
    command.add_command(one.command)

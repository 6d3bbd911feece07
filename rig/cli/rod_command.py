"""`rig rod`: the box at a rod of a site."""

import sys
from pathlib import Path
from typing import Any

import click

from rig.cli.live_options import RodWish, open_transport, picked, profile_options, read_profile
from rig.cli.options import json_option, tell
from rig.cli.site_options import run_to_the_end, site_option
from rig.errors import BadInput
from rig.language import say


@click.command()
@site_option
@click.option("--name", metavar="NAME", help="Of the rod.  [default: that of the invitation]")
@profile_options
@click.option(
    "--units",
    type=click.Choice(["in", "mm"]),
    default="mm",
    show_default=True,
    help="What amounts are shown in here.",
)
@json_option
def command(
    site_path: Path | None, name: str | None, units: str, as_json: bool, **options: Any
) -> None:
    """Be the box at a rod: send on what it says, show what it is told; ends with Ctrl-C.

    The session is elsewhere, on the same site: rig survey --site FILE. Keys and the rod's button
    act here as they do in a survey.
    """
    from rig.devices.clock import Clock
    from rig.devices.site import read_account
    from rig.session import terminal
    from rig.session.box import Box
    from rig.session.keys import HELP, keys
    from rig.session.sources import Device
    from rig.units import METRIC, Units

    if site_path is None:
        raise BadInput(say("Say which site: --site FILE, the invitation of this rod."))
    wish = picked(RodWish, options)
    if bool(wish.serial_url) == bool(wish.ble_rod):
        raise BadInput(
            say(
                "Name the rod, one of: --serial PORT, --ble NAME; rig devices --scan lists what is "
                "there."
            )
        )
    account, profile = read_account(site_path), read_profile(wish)
    transport = open_transport(wish, profile)
    assert transport is not None
    clock, shown = Clock(), METRIC if units == "mm" else Units("in", 32)
    by_keys = sys.stdin.isatty()

    async def work() -> None:
        with terminal.screen(as_json, shown, tell, HELP if by_keys else "") as screen:
            box = Box(account, name or account.name, profile, clock, [screen])
            await box.run(Device(transport, profile, clock), keys(clock))

    if not as_json:
        tell(say("The box of {rod}: {url}", rod=name or account.name, url=account.url))
    run_to_the_end(work(), lambda: None)

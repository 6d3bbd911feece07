"""`rig record`: keep a rod's messages with their times."""

import asyncio
import json
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import click

from rig.cli.live_options import RodWish, open_transport, picked, profile_options, read_profile
from rig.cli.options import SECONDS, json_option, tell
from rig.errors import BadInput
from rig.language import say, say_many


@click.command()
@click.argument("trace", type=click.Path(path_type=Path, dir_okay=False))
@profile_options
@click.option("--seconds", type=SECONDS, help="Stop after so long.  [default: on Ctrl-C]")
@json_option
def command(trace: Path, seconds: float | None, as_json: bool, **options: Any) -> None:
    """Keep a rod's messages with their times in a readable file TRACE.

    Play it back with `rig survey --replay TRACE` or `rig set --replay TRACE`.
    """
    from rig.devices.clock import Clock
    from rig.devices.trace import TraceWriter
    from rig.session.items import Act
    from rig.session.keeping import Keeper
    from rig.session.run import Stream, run
    from rig.session.sources import Device

    wish = picked(RodWish, options)
    if bool(wish.serial_url) == bool(wish.ble_rod):
        raise BadInput(
            say(
                "Name the rod, one of: --serial PORT, --ble NAME; rig devices --scan lists "
                "what is there."
            )
        )
    profile = read_profile(wish)
    clock = Clock()
    transport = open_transport(wish, profile)
    assert transport is not None

    async def stop_after() -> AsyncIterator[Act]:
        if seconds is not None:
            await asyncio.sleep(seconds)
            yield Act(*clock.now(), "quit")

    with TraceWriter(trace, profile, started_utc_s=time.time()) as writer:
        keeper = Keeper(writer)
        streams = [Device(transport, profile, clock), Stream(stop_after())]
        asyncio.run(run(keeper, streams, keeper, [], clock))
    result = {"file": str(trace.absolute()), "messages": keeper.messages, "bad": keeper.bad}
    text = say_many(
        "{count} message kept in {trace}.",
        "{count} messages kept in {trace}.",
        keeper.messages,
        trace=trace,
    )
    if keeper.bad:
        text = say_many(
            "{count} message kept in {trace}, {bad} of them unreadable.",
            "{count} messages kept in {trace}, {bad} of them unreadable.",
            keeper.messages,
            trace=trace,
            bad=keeper.bad,
        )
    tell(json.dumps(result) if as_json else text)

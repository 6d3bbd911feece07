"""`rig record`: keep a rod's messages with their times."""

import asyncio
import json
import time
from pathlib import Path
from typing import Any

import click

from rig.cli.live_options import open_transport, profile_options, read_profile
from rig.cli.options import SECONDS, json_option
from rig.errors import BadInput


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
    from rig.session.run import Act, run
    from rig.session.sources import Device

    if bool(options["serial_url"]) == bool(options["ble_rod"]):
        raise BadInput(
            "Name the rod, one of: --serial PORT, --ble NAME; rig devices --scan lists what is "
            "there."
        )
    profile = read_profile(options)
    clock = Clock()
    transport = open_transport(options, profile)
    assert transport is not None

    async def stop_after() -> Any:
        if seconds is not None:
            await asyncio.sleep(seconds)
            yield Act(*clock.now(), "quit")

    with TraceWriter(trace, profile, started_utc_s=time.time()) as writer:
        keeper = _Keeper(writer)
        asyncio.run(
            run(keeper, [Device(transport, profile, clock), stop_after()], keeper, [], clock)
        )
    result = {"file": str(trace.absolute()), "messages": keeper.messages, "bad": keeper.bad}
    text = f"{keeper.messages} messages kept in {trace}" + (
        f", {keeper.bad} of them unreadable." if keeper.bad else "."
    )
    click.echo(json.dumps(result) if as_json else text)


class _Keeper:
    """A machine that only ends, and a log that only writes the trace."""

    def __init__(self, writer: Any) -> None:
        self._writer = writer
        self.finished = False  # Ctrl-C or --seconds ends it, nothing that the rod says
        self.messages = 0
        self.bad = 0

    def start(self, time_s: float) -> tuple[()]:
        return ()

    def reading(self, reading: Any) -> tuple[()]:
        return ()

    def typed(self, value_mm: float, stderr_mm: float, time_s: float) -> tuple[()]:
        return ()

    lost = back = tick = start

    def act(self, name: str, time_s: float, argument: str | None = None) -> tuple[()]:
        return ()

    def item(self, item: Any) -> None:
        from rig.devices.reading import Back, Battery, Lost, Reading

        match item:
            case Reading():
                self._writer.write(item.time_s, item.raw)
                self.messages += 1
                self.bad += item.status == "bad"
            case Lost() | Back() | Battery():
                self._writer.link(item)

    def event(self, event: Any) -> None:
        pass

    def flush(self) -> None:
        pass

"""`rig record`: keep a rod's messages with their times."""

import asyncio
import json
import time
from pathlib import Path
from typing import Any

import click

from rig.cli.live_options import profile_options, read_profile
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
    from rig.devices.serial_port import SerialTransport
    from rig.devices.trace import TraceWriter
    from rig.live.session import Act, run
    from rig.live.sources import device

    if not options["serial_url"]:
        raise BadInput("Name the rod's port: --serial PORT; rig devices lists what is there.")
    profile = read_profile(options)
    clock = Clock()
    transport = SerialTransport(options["serial_url"], options["baud"])

    async def stop_after() -> Any:
        if seconds is not None:
            await asyncio.sleep(seconds)
            yield Act(*clock.now(), "quit")

    with TraceWriter(trace, profile, started_utc_s=time.time()) as writer:
        keeper = _Keeper(writer)
        asyncio.run(
            run(keeper, [device(transport, profile, clock), stop_after()], keeper, [], clock)
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
        from rig.devices.reading import Back, Lost, Reading

        match item:
            case Reading():
                self._writer.write(item.time_s, item.raw)
                self.messages += 1
                self.bad += item.status == "bad"
            case Lost() | Back():
                self._writer.link(item)

    def event(self, event: Any) -> None:
        pass

    def flush(self) -> None:
        pass

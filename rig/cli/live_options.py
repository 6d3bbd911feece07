"""What the live commands share: where readings come from, how still is still, how it is shown."""

import asyncio
import math
import sys
import time
from collections.abc import AsyncIterator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from rig.cli.options import SECONDS, Command, Length, Size, stack
from rig.errors import BadInput

if TYPE_CHECKING:
    from rig.devices.clock import Clock
    from rig.devices.profile import Profile
    from rig.devices.transport import Transport
    from rig.job.rows import Session
    from rig.page.scene import Shown
    from rig.page.server import Page
    from rig.session.run import Item, Machine
    from rig.survey.plausibility import Guard

_NUMBERS = {
    "survey": ("dwell_s", "walk_s", "still_mm"),
    "set": ("dwell_s", "walk_s", "still_mm", "tolerance_mm"),
}
"""Capture settings that a session's replay needs, from a file which may hold anything."""

profile_options = stack(
    click.option("--serial", "serial_url", metavar="URL", help="A port or a pyserial URL."),
    click.option("--ble", "ble_rod", metavar="NAME|ADDRESS", help="A rod over Bluetooth LE."),
    click.option("--baud", type=click.IntRange(min=1), help="[default: the profile's, else 9600]"),
    click.option(
        "--profile",
        "profile_name",
        metavar="KEY|FILE",
        help="How the rod speaks; see rig devices.  [default: sentence; gatt-rod with --ble]",
    ),
    click.option(
        "--clamp",
        type=Length(above=0.0),
        help="Height of the receiver's mark over the rod's foot, for offset profiles.",
    ),
)


def source_options(command: Command) -> Command:
    """Add the options for the source of readings and for stillness."""
    return stack(
        profile_options,
        click.option("--typed", is_flag=True, help="Type tape readings, in the job's units."),
        click.option(
            "--replay",
            type=click.Path(path_type=Path, dir_okay=False),
            metavar="FILE",
            help="A recorded trace, or another job's own log.",
        ),
        click.option(
            "--speed",
            type=click.FloatRange(min=0.0, min_open=True),
            help="Pace of a replay, 1 is as recorded, else as fast as it goes; or how much faster "
            "than life a simulated rod runs.",
        ),
        click.option(
            "--dwell", type=SECONDS, default="1", show_default=True, help="Seconds to hold still."
        ),
        click.option(
            "--walk",
            type=SECONDS,
            default="1",
            show_default=True,
            help="Seconds of moving or no beam that count as walking on.",
        ),
        click.option(
            "--still",
            type=Length(above=0.0),
            default="0.5mm",
            show_default=True,
            help="Spread of readings that still counts as still.",
        ),
    )(command)


log_limit_option = click.option(
    "--log-limit",
    type=Size(),
    metavar="SIZE",
    help="Log no more readings once the job is so large, as 200MB; shots are still kept.  "
    "[default: no limit]",
)


@dataclass(frozen=True)
class Source:
    """A chosen source: its items, how it speaks, and the clock it runs by (None in a replay)."""

    name: str
    items: "AsyncIterator[Item]"
    profile: "Profile | None"
    clock: "Clock | None"

    def utc_s(self) -> float:
        """Time of day, as the source has it."""
        return self.clock.now()[1] if self.clock else time.time()

    @property
    def resolution_mm(self) -> float:
        """One digit of the rod's display."""
        return self.profile.resolution_mm if self.profile else 0.0

    @property
    def foot_mm(self) -> float:
        """How well the rod's foot finds the floor."""
        return self.profile.foot_mm if self.profile else 0.0


def read_profile(options: dict[str, Any]) -> "Profile":
    """Load the profile that the options name, with the clamp's height where it needs one."""
    from rig.devices.profile import load_profile, with_clamp

    name = options["profile_name"] or ("gatt-rod" if options["ble_rod"] else "sentence")
    profile = load_profile(name)
    if profile.needs_clamp and options["clamp"] is None:
        raise BadInput(
            f"Profile {name} sends an offset from the receiver's mark: give "
            "the mark's height over the rod's foot, as --clamp 3ft."
        )
    if not profile.needs_clamp and options["clamp"] is not None:
        raise BadInput(f"Profile {name} sends full heights: leave --clamp out.")
    return with_clamp(profile, options["clamp"]) if profile.needs_clamp else profile


def open_transport(options: dict[str, Any], profile: "Profile") -> "Transport | None":
    """Return the way to the rod that the options name, or None where they name none."""
    if options["serial_url"]:
        from rig.devices.serial_port import SerialTransport

        return SerialTransport(options["serial_url"], options["baud"], profile)
    if options["ble_rod"]:
        if profile.serial.asking is not None:
            raise BadInput(
                f"The profile {profile.key} asks its rod over a serial line: give --serial, not "
                "--ble."
            )
        from rig.devices.ble import BleTransport

        return BleTransport(options["ble_rod"], profile)
    return None


def open_source(
    options: dict[str, Any], units: Literal["in", "mm"], clock: "Clock | None" = None
) -> Source:
    """Return the one source that the options name.

    A `clock` stands in for the usual one of a rod.

    Raises
    ------
    BadInput
        When none or several are named, or a file cannot be read.
    """
    from rig.devices.clock import Clock
    from rig.session import sources

    named = [name for name in ("serial_url", "ble_rod", "typed", "replay") if options.get(name)]
    if len(named) != 1:
        raise BadInput(
            "Say where the readings come from, one of: "
            "--serial PORT, --ble NAME, --typed, --replay FILE."
        )
    if options["serial_url"] or options["ble_rod"]:
        profile = read_profile(options)
        transport = open_transport(options, profile)
        assert transport is not None
        clock = clock or Clock(options["speed"] or 1.0)
        name = "ble" if options["ble_rod"] else "serial"
        return Source(name, sources.Device(transport, profile, clock), profile, clock)
    if options["typed"]:
        from rig.devices.typed import TypedReader

        clock = Clock()

        def complain(text: str) -> None:
            click.echo(f"rig: {text}", err=True)

        items = sources.typed(TypedReader(units), clock, complain)
        return Source("typed", items, None, clock)
    from rig.devices.trace import read_trace

    trace = read_trace(options["replay"])
    for notice in trace.notices:
        click.echo(f"rig: {notice}", err=True)
    items = sources.replayed(sources.trace_items(trace), options["speed"])
    return Source("replay", items, trace.profile, None)


def replayed_sessions(
    path: Path, kind: str, units: Literal["in", "mm"], speed: float | None
) -> "Iterator[tuple[Session, Source]]":
    """Yield the sessions of a kind that another job holds, each with its log as a source.

    Raises
    ------
    BadInput
        When it holds none.
    """
    from rig.job.store import Job
    from rig.session import sources

    with Job.open(path) as other:
        old = [session for session in other.sessions() if session.kind == kind]
        if not old:
            raise BadInput(f"{path} holds no session of rig {kind} to replay.")
        for session in old:
            with sources.as_logged(path, session.id):
                for name in _NUMBERS[kind]:
                    if not 0.0 <= session.capture[name] < math.inf:
                        raise ValueError(f"{name} is {session.capture[name]}")
                profile = sources.profile_of(session)
                typed_in = session.capture.get("units", units)
            items = sources.session_items(other, session.id, profile, typed_in)
            yield session, Source("replay", sources.replayed(items, speed), profile, None)


def is_job_replay(options: dict[str, Any], job_path: Path) -> bool:
    """Tell whether `--replay` names another job; to be asked before the job is open.

    A second descriptor on its file would drop SQLite's locks.
    """
    from rig.session.sources import is_job_file

    replay: Path | None = options["replay"]
    if replay is None or not is_job_file(replay):
        return False
    if replay.resolve() == job_path.resolve():
        raise BadInput("A job cannot replay itself: make another with the same room and grid.")
    return True


def run_live(
    machine: "Machine",
    source: Source,
    log: Any,
    *,
    as_json: bool,
    units: str,
    denominator: int,
    guard: "Guard | None" = None,
    more_sinks: Iterable[Any] = (),
    page: "Page | None" = None,
    scene: "Shown | None" = None,
) -> None:
    """Run a machine on a source with the screens that fit the output.

    With a page, `scene` is what it shows, and what it does are acts like keys.
    """
    from rig.cli.serve_options import announce
    from rig.session import terminal
    from rig.session.keys import HELP, keys
    from rig.session.run import run

    sinks_beside = list(more_sinks)
    if page is not None and scene is not None:
        announce(page, as_json)
        page.begin(scene)
        sinks_beside.append(page.hear)

    def go(sinks: Sequence[Any]) -> None:
        streams = [source.items]
        if source.clock is not None and source.name != "typed":
            streams.append(keys(source.clock))
        if page is not None and source.clock is not None:
            streams.append(page.acts(source.clock))
        asyncio.run(run(machine, streams, log, [*sinks, *sinks_beside], source.clock, guard))

    if as_json:
        go([terminal.json_lines])
    elif sys.stdout.isatty() and source.name in ("serial", "ble"):
        with terminal.BigScreen(units, denominator, HELP) as screen:
            go([screen])
    else:
        go([terminal.plain_lines(units, denominator, click.echo)])
    if not as_json and guard is not None and guard.counts.text:
        click.echo(guard.counts.text)

"""What the live commands share: where readings come from, how still is still, how it is shown."""

import asyncio
import time
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar, cast

import click

from rig.cli.jobs import boot_id
from rig.cli.options import SECONDS, Command, Length, Size, stack
from rig.errors import BadInput
from rig.record import Record
from rig.units import Units

if TYPE_CHECKING:
    from rig.devices.clock import Clock
    from rig.devices.profile import Profile
    from rig.devices.transport import Transport
    from rig.devices.typed import TypedUnit
    from rig.job.rows import Session
    from rig.job.store import Job
    from rig.page.server import Page
    from rig.session.kind import Beginning, Clocks, Kind
    from rig.session.run import Item, Log, Machine, Sink, Stream
    from rig.session.scene import Scene
    from rig.survey.plausibility import Guard

S = TypeVar("S", bound=Record)

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


typed_unit_option = click.option(
    "--unit",
    type=click.Choice(["in", "ft", "mm", "cm", "m"]),
    help="What a bare number typed is; kept in the job.  [default: the first reading settles it]",
)

log_limit_option = click.option(
    "--log-limit",
    type=Size(),
    metavar="SIZE",
    help="Log no more readings once the job is so large, as 200MB; shots are still kept.  "
    "[default: no limit]",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RodWish(Record):
    """Which rod is asked for by options, and how it speaks."""

    serial_url: str | None = None
    ble_rod: str | None = None
    baud: int | None = None
    profile_name: str | None = None
    clamp: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceWish(RodWish):
    """Where readings are to come from, by options."""

    typed: bool = False
    unit: "TypedUnit | None" = None
    replay: Path | None = None
    speed: float | None = None


def picked(kind: type[S], options: Mapping[str, Any]) -> S:
    """Make a record of the options that are its fields."""
    return kind(**{one.name: options[one.name] for one in fields(kind) if one.name in options})


@dataclass(frozen=True)
class Source:
    """A chosen source: its items, how it speaks, and the clock it runs by (None in a replay)."""

    name: str
    items: "Stream"
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


def clocks(source: Source) -> "Clocks":
    """Return the machine's start and its clocks as they are now, for a session's beginning."""
    from rig.devices.clock import steady_s

    return {"boot_id": boot_id(), "utc_s": source.utc_s(), "monotonic_s": steady_s()}


def read_profile(wish: RodWish) -> "Profile":
    """Load the profile that is asked for, with the clamp's height where it needs one."""
    from rig.devices.profile import load_profile, with_clamp

    name = wish.profile_name or ("gatt-rod" if wish.ble_rod else "sentence")
    profile = load_profile(name)
    if profile.needs_clamp and wish.clamp is None:
        raise BadInput(
            f"Profile {name} sends an offset from the receiver's mark: give "
            "the mark's height over the rod's foot, as --clamp 3ft."
        )
    if not profile.needs_clamp and wish.clamp is not None:
        raise BadInput(f"Profile {name} sends full heights: leave --clamp out.")
    return profile if wish.clamp is None else with_clamp(profile, wish.clamp)


def open_transport(wish: RodWish, profile: "Profile") -> "Transport | None":
    """Return the way to the rod that is asked for, or None where none is."""
    if wish.serial_url:
        from rig.devices.serial_port import SerialTransport

        return SerialTransport(wish.serial_url, wish.baud, profile)
    if wish.ble_rod:
        if profile.serial.asking is not None:
            raise BadInput(
                f"The profile {profile.key} asks its rod over a serial line: give --serial, not "
                "--ble."
            )
        from rig.devices.ble import BleTransport

        return BleTransport(wish.ble_rod, profile)
    return None


def open_source(
    wish: SourceWish,
    units: Literal["in", "mm"],
    clock: "Clock | None" = None,
    items: "Callable[[Clock, Callable[[str], None]], AsyncIterator[Item]] | None" = None,
) -> Source:
    """Return the one source that is asked for.

    A `clock` stands in for the usual one of a rod, `items` for what reads what is typed.

    Raises
    ------
    BadInput
        When none or several are named, or a file cannot be read.
    """
    from rig.devices.clock import Clock
    from rig.session import sources
    from rig.session.run import Stream

    named = [wish.serial_url, wish.ble_rod, wish.typed, wish.replay]
    if sum(map(bool, named)) != 1:
        raise BadInput(
            "Say where the readings come from, one of: "
            "--serial PORT, --ble NAME, --typed, --replay FILE."
        )
    if wish.typed:
        from rig.devices.typed import TypedReader

        clock = Clock()

        def complain(text: str) -> None:
            click.echo(f"rig: {text}", err=True)

        read = sources.typed(TypedReader(units, unit=units), clock, complain)
        if items is not None:
            read = items(clock, complain)
        return Source("typed", Stream(read), None, clock)
    if wish.unit is not None:
        raise BadInput("--unit is that of readings typed by hand: give it with --typed.")
    if wish.replay is None:
        profile = read_profile(wish)
        transport = open_transport(wish, profile)
        assert transport is not None
        clock = clock or Clock(wish.speed or 1.0)
        name = "ble" if wish.ble_rod else "serial"
        return Source(name, sources.Device(transport, profile, clock), profile, clock)
    from rig.devices.trace import read_trace

    trace = read_trace(wish.replay)
    for notice in trace.notices:
        click.echo(f"rig: {notice}", err=True)
    replayed = Stream(sources.replayed(sources.trace_items(trace), wish.speed))
    return Source("replay", replayed, trace.profile, None)


def typed_into(
    job: "Job", setup: str, unit: "TypedUnit | None", asks_sense: bool = False
) -> "Callable[[Clock, Callable[[str], None]], AsyncIterator[Item]]":
    """Return what reads typed lines for a job: in its unit, which is kept once it is settled."""
    from rig.devices.typed import TypedReader
    from rig.session import sources

    def keep(settled: "TypedUnit") -> None:
        job.update_settings(replace(job.settings, typed_unit=settled))

    def read(clock: "Clock", complain: "Callable[[str], None]") -> "AsyncIterator[Item]":
        if unit is not None and unit != job.settings.typed_unit:
            keep(unit)
        known = [shot.reading_mm for shot in job.shots() if shot.setup == setup]
        settled = cast("TypedUnit | None", job.settings.typed_unit)
        reader = TypedReader(job.units.system, unit=settled, known_mm=known)
        return sources.typed(reader, clock, complain, job.units, keep, asks_sense)

    return read


def replayed_sessions(
    wish: SourceWish, kind: "Kind[S]", units: Literal["in", "mm"]
) -> "Iterator[tuple[Session, S, Source]]":
    """Yield the sessions of a kind that another job holds, with settings and log as a source.

    Raises
    ------
    BadInput
        When it holds none, or one that is not as floor-rig writes it.
    """
    from rig.job.store import Job
    from rig.session import sources
    from rig.session.run import Stream

    path = wish.replay
    assert path is not None
    with Job.open(path) as other:
        old = [session for session in other.sessions() if session.kind == kind.name]
        if not old:
            raise BadInput(f"{path} holds no session of rig {kind.name} to replay.")
        for session in old:
            with sources.as_logged(path, session.id):
                settings = kind.read(session.capture)
                profile = sources.profile_of(session)
                typed_in = session.capture.get("units") or units
            items = sources.session_items(other, session.id, profile, typed_in)
            stream = Stream(sources.replayed(items, wish.speed))
            yield session, settings, Source("replay", stream, profile, None)


def is_job_replay(wish: SourceWish, job_path: Path) -> bool:
    """Tell whether `--replay` names another job; to be asked before the job is open.

    A second descriptor on its file would drop SQLite's locks.
    """
    from rig.session.sources import is_job_file

    replay = wish.replay
    if replay is None or not is_job_file(replay):
        return False
    if replay.resolve() == job_path.resolve():
        raise BadInput("A job cannot replay itself: make another with the same room and grid.")
    return True


def run_kind(
    kind: "Kind[S]",
    begun: "Beginning[S]",
    machine: "Machine",
    log: "Log",
    source: Source,
    *,
    as_json: bool,
    more_sinks: "Iterable[Sink]" = (),
    page: "Page | None" = None,
) -> None:
    """Run a session of a kind, on a page too where there is one."""
    scene = None
    if page is not None:
        scene = kind.scene(begun, kind.acts if source.clock is not None else ())
    run_live(
        machine,
        source,
        log,
        as_json=as_json,
        units=begun.units,
        guard=kind.guard(begun),
        more_sinks=more_sinks,
        page=page,
        scene=scene,
    )


def run_live(
    machine: "Machine",
    source: Source,
    log: "Log",
    *,
    as_json: bool,
    units: Units,
    guard: "Guard | None" = None,
    more_sinks: "Iterable[Sink]" = (),
    page: "Page | None" = None,
    scene: "Scene | None" = None,
) -> None:
    """Run a machine on a source with the screens that fit the output.

    With a page, `scene` is what it shows, and what it does are acts like keys.
    """
    from rig.cli.serve_options import announce
    from rig.session import terminal
    from rig.session.keys import HELP, keys
    from rig.session.run import Stream, Tell, run
    from rig.session.sources import Device

    sinks = list(more_sinks)
    if page is not None and scene is not None:
        announce(page, as_json)
        page.begin(scene)
        sinks.append(Tell(page.hear))
    by_keys = source.name in ("serial", "ble")
    shown = HELP if by_keys else ""
    with terminal.screen(as_json, units, click.echo, shown, source.name == "typed") as screen:
        streams = [source.items]
        if source.clock is not None and source.name != "typed":
            pressed = keys(source.clock)
            rod = source.items
            streams.append(Stream(rod.heeding(pressed) if isinstance(rod, Device) else pressed))
        if page is not None and source.clock is not None:
            streams.append(Stream(page.acts(source.clock)))
        asyncio.run(run(machine, streams, log, [screen, *sinks], source.clock, guard))
    if not as_json and guard is not None and guard.counts.text:
        click.echo(guard.counts.text)

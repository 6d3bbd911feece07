"""What the live commands share: where readings come from, how still is still, how it is shown."""

import asyncio
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import click

from rig.cli.options import SECONDS, Command, Length, Number, Size, stack, tell
from rig.errors import BadInput
from rig.language import say
from rig.record import Record
from rig.session.source import RodWish as RodWish
from rig.session.source import Source as Source
from rig.session.source import SourceWish as SourceWish
from rig.session.source import begin_now as begin_now
from rig.session.source import open_source as open_source
from rig.session.source import open_transport as open_transport
from rig.session.source import read_profile as read_profile
from rig.session.source import typed_into as typed_into
from rig.units import Units

if TYPE_CHECKING:
    from rig.job.rows import Session
    from rig.page.server import Page
    from rig.session.items import Log
    from rig.session.kind import Beginning, Kind
    from rig.session.run import Machine, Sink
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
            type=Number(min=0.0, min_open=True),
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


def picked(kind: type[S], options: Mapping[str, Any]) -> S:
    """Make a record of the options that are its fields."""
    return kind(**{one.name: options[one.name] for one in fields(kind) if one.name in options})


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
            raise BadInput(
                say("{path} holds no session of rig {name} to replay.", path=path, name=kind.name)
            )
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
        raise BadInput(say("A job cannot replay itself: make another with the same room and grid."))
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

    sinks = list(more_sinks)
    if page is not None and scene is not None:
        announce(page, as_json)
        page.begin(scene)
        sinks.append(Tell(page.hear))
    by_keys = source.name in ("serial", "ble")
    shown = HELP if by_keys else ""
    with terminal.screen(as_json, units, tell, shown, source.name == "typed") as screen:
        streams = [source.items]
        if source.clock is not None and source.name != "typed":
            streams.append(Stream(keys(source.clock)))
        if page is not None and source.clock is not None:
            streams.append(Stream(page.acts(source.clock)))
        asyncio.run(run(machine, streams, log, [screen, *sinks], source.clock, guard))
    if not as_json and guard is not None and guard.counts.text:
        tell(guard.counts.text)

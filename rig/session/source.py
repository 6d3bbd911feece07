"""Where a session's readings come from: a rod at a port, a tape's typed readings, a trace.

What the command line's options and a page's choice have in common.
"""

import os
import sys
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

from rig.devices.profile import Profile
from rig.errors import BadInput
from rig.language import say, shown
from rig.record import Record

if TYPE_CHECKING:
    import asyncio

    from rig.devices.clock import Clock
    from rig.devices.transport import Transport
    from rig.devices.typed import TypedUnit
    from rig.job.store import Job
    from rig.session.items import Item
    from rig.session.kind import Beginning, S
    from rig.session.run import Stream

Complain = Callable[[str], None]
Reads = Callable[["Clock", Complain], "AsyncIterator[Item]"]


def complain(text: str) -> None:
    """Say on standard error what is wrong with what comes."""
    from rig.texts import harmless

    print(f"rig: {harmless(shown(text))}", file=sys.stderr)


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


@dataclass(frozen=True)
class Source:
    """A chosen source: its items, how it speaks, and the clock it runs by (None in a replay)."""

    name: str
    items: "Stream"
    profile: Profile | None
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


def begin_now(
    job: "Job", settings: "S", setup: str, source: Source | None = None
) -> "Beginning[S]":
    """Return what a session begins with that runs from now on, by a source or by acts alone."""
    from rig.devices.clock import steady_s
    from rig.session.kind import Beginning

    return Beginning(
        job=job,
        settings=settings,
        setup=setup,
        rod=source.profile if source else None,
        boot_id=boot_id(),
        monotonic_s=steady_s(),
        utc_s=source.utc_s() if source else time.time(),
    )


def read_profile(wish: RodWish) -> "Profile":
    """Load the profile that is asked for, with the clamp's height where it needs one."""
    from rig.devices.profile import load_profile, with_clamp

    name = wish.profile_name or ("gatt-rod" if wish.ble_rod else "sentence")
    profile = load_profile(name)
    if profile.needs_clamp and wish.clamp is None:
        raise BadInput(
            say(
                "Profile {name} sends an offset from the receiver's mark: give the mark's "
                "height over the rod's foot, as --clamp 3ft.",
                name=name,
            )
        )
    if not profile.needs_clamp and wish.clamp is not None:
        raise BadInput(say("Profile {name} sends full heights: leave --clamp out.", name=name))
    return profile if wish.clamp is None else with_clamp(profile, wish.clamp)


def open_transport(wish: RodWish, profile: "Profile") -> "Transport | None":
    """Return the way to the rod that is asked for, or None where none is."""
    if wish.serial_url:
        from rig.devices.serial_port import SerialTransport

        return SerialTransport(wish.serial_url, wish.baud, profile)
    if wish.ble_rod:
        if profile.serial.asking is not None:
            raise BadInput(
                say(
                    "The profile {key} asks its rod over a serial line: give --serial, not --ble.",
                    key=profile.key,
                )
            )
        from rig.devices.ble import BleTransport

        return BleTransport(wish.ble_rod, profile)
    return None


def open_source(
    wish: SourceWish,
    units: Literal["in", "mm"],
    clock: "Clock | None" = None,
    items: "Reads | None" = None,
    complain: Complain = complain,
) -> Source:
    """Return the one source that is asked for.

    A `clock` stands in for the usual one of a rod, `items` for what reads what is typed; `complain`
    is told what is wrong with what comes.

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
            say(
                "Say where the readings come from, one of: --serial PORT, --ble NAME, --typed, "
                "--replay FILE."
            )
        )
    if wish.typed:
        from rig.devices.typed import TypedReader

        clock = Clock()

        read = sources.typed(TypedReader(units, unit=units), clock, complain)
        if items is not None:
            read = items(clock, complain)
        return Source("typed", Stream(read), None, clock)
    if wish.unit is not None:
        raise BadInput(say("--unit is that of readings typed by hand: give it with --typed."))
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
        complain(notice)
    replayed = Stream(sources.replayed(sources.trace_items(trace), wish.speed))
    return Source("replay", replayed, trace.profile, None)


def typed_into(
    job: "Job",
    setup: str,
    unit: "TypedUnit | None",
    asks_sense: bool = False,
    lines: "Callable[[], asyncio.Queue[str]] | None" = None,
    kept: "Callable[[TypedUnit], None]" = lambda unit: None,
) -> Reads:
    """Return what reads typed lines for a job: in its unit, or in the one that is given.

    The lines are those of standard input, or of a queue that is made when the session begins;
    `kept` hears of the unit, which the session's log keeps once it is settled.
    """
    from rig.devices.typed import TypedReader
    from rig.session import sources

    def read(clock: "Clock", complain: Complain) -> "AsyncIterator[Item]":
        if unit is not None and unit != job.settings.typed_unit:
            job.update_settings(replace(job.settings, typed_unit=unit))
            kept(unit)
        known = [shot.reading_mm for shot in job.shots() if shot.setup == setup]
        settled = cast("TypedUnit | None", job.settings.typed_unit)
        reader = TypedReader(job.units.system, unit=settled, known_mm=known)
        return sources.typed(reader, clock, complain, job.units, asks_sense, lines, kept)

    return read


def setup_of(job: "Job", given: str | None) -> str:
    """Return the set-up that was named, else the last one used, else the first there is."""
    return given or job.last_setup() or "1"


def boot_id() -> str:
    """Identify this start of the machine, since monotonic times are comparable only within one."""
    try:
        with open("/proc/sys/kernel/random/boot_id") as file:
            return file.read().strip()
    except OSError:
        return f"process-{os.getpid()}"

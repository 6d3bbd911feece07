"""Run one live session: items from a source go to the log, then to the machine, then to the sinks.

The machine (`rig.survey.capture.Capture` or `rig.guidance.setting.Setting`) knows no clock and no
device; this loop is the only place where they meet. Every item is logged before the machine sees
it, and every accepted shot is on disk before a sink hears of it.
"""

import asyncio
import contextlib
import signal
from collections.abc import AsyncIterator, Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from rig.devices.clock import Clock
from rig.devices.reading import Back, Battery, Lost, Notice, Reading
from rig.events import Event
from rig.survey.plausibility import Guard

TICK_S = 0.1
FLUSH_S = 1.0


@dataclass(frozen=True, slots=True)
class Act:
    """Something the installer did: a key, a button on the page, a typed word."""

    time_s: float
    utc_s: float
    name: str
    argument: str | None = None


@dataclass(frozen=True, slots=True)
class Typed:
    """A reading typed by hand; it stands for a whole still window."""

    reading: Reading
    stderr_mm: float

    @property
    def time_s(self) -> float:
        """When it was typed."""
        return self.reading.time_s


@dataclass(frozen=True, slots=True)
class End:
    """The source is exhausted; deadlines up to its time may still fire."""

    time_s: float


Item = Reading | Typed | Act | Lost | Back | Battery | Notice | End


class Machine(Protocol):
    """A state machine without I/O, fed with readings and acts."""

    @property
    def finished(self) -> bool:
        """Nothing is left to do."""

    def start(self, time_s: float) -> Sequence[Event]:
        """Say what comes first."""

    def reading(self, reading: Reading) -> Sequence[Event]:
        """Take one reading."""

    def typed(self, value_mm: float, stderr_mm: float, time_s: float) -> Sequence[Event]:
        """Take a reading made by eye."""

    def act(self, name: str, time_s: float, argument: str | None = None) -> Sequence[Event]:
        """Do what the installer asks for."""

    def lost(self, time_s: float) -> Sequence[Event]:
        """Hear that the device went away."""

    def back(self, time_s: float) -> Sequence[Event]:
        """Hear that it is there again."""

    def tick(self, time_s: float) -> Sequence[Event]:
        """Let deadlines up to now fire."""


class Log(Protocol):
    """Where items and what came of them are made durable."""

    def item(self, item: Item) -> None:
        """Keep one item as it came."""

    def event(self, event: dict[str, Any]) -> None:
        """Make durable what the machine decided."""

    def flush(self) -> None:
        """Commit what waits."""


Sink = Callable[[dict[str, Any]], None]


def step(machine: Machine, item: Item) -> Sequence[Event]:
    """Feed one item to a machine; the only dispatch from items to the machine's methods."""
    match item:
        case Reading():
            return machine.reading(item)
        case Typed(reading, stderr_mm):
            assert reading.value_mm is not None
            return machine.typed(reading.value_mm, stderr_mm, reading.time_s)
        case Act():
            return machine.act(item.name, item.time_s, item.argument)
        case Lost():
            return machine.lost(item.time_s)
        case Back():
            return machine.back(item.time_s)
        case Battery() | Notice():
            return ()
        case End():
            return machine.tick(item.time_s)


def doubts(guard: Guard, item: Item) -> Sequence[Event]:
    """Feed one item to the guard; return what it doubts."""
    match item:
        case Reading():
            return guard.reading(item)
        case Typed(reading, _):
            return guard.typed(reading.value_mm) if reading.value_mm is not None else ()
        case Battery():
            return guard.battery(item.percent)
        case Lost():
            guard.lost()
    return ()


def announcements(item: Item) -> Iterable[dict[str, Any]]:
    """What the screens are told of an item itself, whatever the machine makes of it."""
    match item:
        case Reading():
            told = {
                "event": "reading",
                "time_s": item.time_s,
                "value_mm": item.value_mm,
                "status": item.status,
            }
            if item.missed:
                told["missed"] = item.missed
            if item.problem:
                told["problem"] = item.problem
            yield told
        case Typed(reading, _):
            yield from announcements(reading)
        case Lost():
            yield {"event": "lost", "time_s": item.time_s, "reason": item.reason}
        case Back():
            yield {"event": "back", "time_s": item.time_s, "gap_s": item.gap_s}
        case Notice():
            yield {"event": "notice", "time_s": item.time_s, "text": item.text}


async def run(
    machine: Machine,
    sources: Sequence[AsyncIterator[Item]],
    log: Log,
    sinks: Sequence[Sink],
    clock: Clock | None,
    guard: Guard | None = None,
) -> None:
    """Run until the machine has finished, the first source ends, or a signal says stop.

    Parameters
    ----------
    machine : Machine
        The survey or the setting.
    sources : sequence of async iterators of Item
        The first is the device: when it ends, so does the session, and where it has an event
        `reached` the session begins only then. Others (keys, page) may end sooner or never.
    log : Log
        Made durable before `sinks` hear anything. One with a method `begin()` is told when the
        session begins; one with a method `news(last)` is asked for events that were found out
        beside the session.
    sinks : sequence of callables
        Each takes one flat event dict. One with a method `tick()` is called as time goes by too,
        one with a method `ready()` whenever all is worked off and the session waits.
    clock : Clock or None
        Gives the machine its ticks; None in a replay, where only the data's own times count.
    guard : Guard, optional
        Hears all that the machine hears and says, and doubts aloud.

    Raises
    ------
    DeviceUnavailable
        When the device cannot be opened at the start.
    JobUnusable
        When the log cannot be written; what was accepted before is safe.
    """
    queue: asyncio.Queue[Item | BaseException | asyncio.Event | None] = asyncio.Queue(
        maxsize=10_000
    )

    async def pump(source: AsyncIterator[Item], ends_session: bool) -> None:
        try:
            async for item in source:
                await queue.put(item)
        except Exception as error:
            await queue.put(error)
        if ends_session:
            await queue.put(None)

    closing: list[dict[str, Any]] = []  # `done` is the last word, whatever else there is to say

    def hear(events: Iterable[Event]) -> None:
        for event in events:
            told = event.as_json()
            log.event(told)
            if told["event"] == "done":
                closing.append(told if guard is None else {**told, **guard.counts.found})
            else:
                tell(told)
            if guard is not None:
                hear(guard.event(event))

    def tell(told: dict[str, Any]) -> None:
        for sink in sinks:
            sink(told)

    news: Callable[..., Iterable[dict[str, Any]]] = getattr(log, "news", lambda last=False: ())
    begin: Callable[[], None] = getattr(log, "begin", lambda: None)
    reached: asyncio.Event | None = getattr(sources[0], "reached", None)
    begun = False

    def begin_once_reached() -> bool:
        nonlocal begun
        if not begun and (reached is None or reached.is_set()):
            begun = True
            begin()
            hear(machine.start(clock.now()[0] if clock else 0.0))
        return begun

    async def wake(reached: asyncio.Event) -> None:
        await reached.wait()
        await queue.put(reached)

    beats = [sink.tick for sink in sinks if hasattr(sink, "tick")]
    waits = [sink.ready for sink in sinks if hasattr(sink, "ready")]
    tasks = [
        asyncio.create_task(pump(source, ends_session=n == 0)) for n, source in enumerate(sources)
    ]
    if reached is not None:
        tasks.append(asyncio.create_task(wake(reached)))
    flushed, end_s = asyncio.get_running_loop().time(), 0.0
    try:
        with _stopping_on_signals(queue):
            begin_once_reached()
            while not machine.finished:
                if begun and queue.empty():
                    for ready in waits:
                        ready()
                try:
                    item = await asyncio.wait_for(queue.get(), TICK_S if clock else None)
                except TimeoutError:
                    assert clock is not None
                    if begin_once_reached():
                        hear(machine.tick(clock.now()[0]))
                    for beat in beats:
                        beat()
                else:
                    if item is None:
                        break
                    if isinstance(item, BaseException):
                        raise item
                    if not begin_once_reached():
                        if isinstance(item, Act) and item.name == "quit":
                            break
                        continue  # nothing can be done yet
                    if isinstance(item, asyncio.Event):
                        continue  # it only woke us
                    end_s = item.time_s
                    log.item(item)
                    for told in announcements(item):
                        tell(told)
                    if guard is not None:
                        hear(doubts(guard, item))
                    hear(step(machine, item))
                    if isinstance(item, Act) and item.name == "quit":
                        break
                for told in news():
                    tell(told)
                now = asyncio.get_running_loop().time()
                if now - flushed > FLUSH_S:
                    log.flush()
                    flushed = now
        if clock and begun:
            end_s = clock.now()[0]
            log.item(End(end_s))
            hear(step(machine, End(end_s)))
        if begun and not machine.finished:
            hear(machine.act("quit", end_s))
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        log.flush()
    for told in [*news(last=True), *closing]:
        tell(told)


@contextlib.contextmanager
def _stopping_on_signals(queue: "asyncio.Queue[Any]") -> Any:
    loop = asyncio.get_running_loop()
    caught = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP]
    try:
        for number in caught:
            loop.add_signal_handler(number, queue.put_nowait, None)
    except (RuntimeError, ValueError, NotImplementedError):
        caught = []  # not the main thread (a test): the caller stops us otherwise
    try:
        yield
    finally:
        for number in caught:
            loop.remove_signal_handler(number)

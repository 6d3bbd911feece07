"""Run one live session: items from a source go to the log, then to the machine, then to the sinks.

The machine of the session's kind (`rig.session.kinds`) knows no clock and no device; this loop is
the only place where they meet. Every item is logged before the machine sees it, and every accepted
shot is on disk before a sink hears of it.
"""

import asyncio
import contextlib
import signal
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

from rig.devices.clock import Clock
from rig.devices.reading import AWAKE, CLOCK_SET, Back, Battery, Lost, Notice, Reading
from rig.events import (
    AskTyped,
    Event,
    Heard,
    LinkBack,
    LinkLost,
    Noticed,
    PourDone,
    SetDone,
    SurveyDone,
)
from rig.survey.plausibility import Guard

TICK_S = 0.1
ASLEEP_S = 15 * 60.0
"""After a gap of so long in the session itself its machine hears that it was asleep: the same
break after which a line is checked anew (common practice, no source)."""
FLUSH_S = 1.0
SLOW_S = 0.5
SLOW_SHARE = 4.0
"""A flush that took long is followed by so many times as long without one."""
MOST_WAITING = 2_000


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
class Question:
    """What typed readings leave open; it holds nothing up."""

    time_s: float
    utc_s: float
    asks: AskTyped


@dataclass(frozen=True, slots=True)
class End:
    """The source is exhausted; deadlines up to its time may still fire."""

    time_s: float


Item = Reading | Typed | Act | Lost | Back | Battery | Notice | Question | End
_Queue = asyncio.Queue[Item | BaseException | asyncio.Event | None]


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


class Log:
    """Where items and what came of them are made durable; this one keeps nothing."""

    def begin(self) -> None:
        """Hear that the session begins, its source reached."""

    def item(self, item: Item) -> None:
        """Keep one item as it came."""

    def keep(self, *events: Event) -> None:
        """Make durable what came of the last item, with it as one change; return when it is."""

    def news(self, last: bool = False) -> Iterable[Event]:
        """Return what was found out beside the session; with `last` all that still will be."""
        return ()

    def flush(self) -> None:
        """Commit what waits."""


class Sink:
    """Who is told of events: a screen, a simulator, a test."""

    def hear(self, event: Event) -> None:
        """Take one event; what it says is on the disk."""

    def tick(self) -> None:
        """Hear that time goes by."""

    def ready(self) -> None:
        """Hear that all is worked off, and that the session waits."""


class Tell(Sink):
    """A plain function as a sink."""

    def __init__(self, tell: Callable[[Event], None]) -> None:
        self._tell = tell

    def hear(self, event: Event) -> None:
        """Pass the event on."""
        self._tell(event)


class Stream:
    """Where items come from, gone through once.

    Parameters
    ----------
    items : async iterator of Item
    reached : asyncio.Event, optional
        Set when they can come at all; without it that is from the start.
    """

    def __init__(self, items: AsyncIterator[Item], reached: asyncio.Event | None = None) -> None:
        self._items, self.reached = items, reached

    def __aiter__(self) -> AsyncIterator[Item]:
        return self._items


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
        case Battery() | Notice() | Question():
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


def announcements(item: Item) -> Iterator[Event]:
    """What the screens are told of an item itself, whatever the machine makes of it."""
    match item:
        case Typed(reading, _) | (Reading() as reading):
            yield Heard(
                time_s=reading.time_s,
                value_mm=reading.value_mm,
                status=reading.status,
                missed=reading.missed or None,
                problem=reading.problem or None,
            )
        case Lost():
            yield LinkLost(time_s=item.time_s, reason=item.reason)
        case Back():
            yield LinkBack(time_s=item.time_s, gap_s=item.gap_s)
        case Notice():
            yield Noticed(time_s=item.time_s, text=item.text)
        case Question():
            yield item.asks


async def run(
    machine: Machine,
    streams: Sequence[Stream],
    log: Log,
    sinks: Sequence[Sink],
    clock: Clock | None,
    guard: Guard | None = None,
) -> None:
    """Run until the machine has finished, the first stream ends, or a signal says stop.

    Parameters
    ----------
    machine : Machine
        Of the session's kind.
    streams : sequence of Stream
        The first is the device: when it ends, so does the session, which begins only when it is
        reached. Others (keys, page) may end sooner or never.
    log : Log
        Made durable before `sinks` hear anything.
    sinks : sequence of Sink
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
    await _Run(machine, streams, log, sinks, clock, guard).go()


class _Run:
    """One session while it runs."""

    def __init__(
        self,
        machine: Machine,
        streams: Sequence[Stream],
        log: Log,
        sinks: Sequence[Sink],
        clock: Clock | None,
        guard: Guard | None,
    ) -> None:
        self._machine, self._streams, self._log = machine, streams, log
        self._sinks, self._clock, self._guard = list(sinks), clock, guard
        self._queue: _Queue = asyncio.Queue(maxsize=MOST_WAITING)
        self._closing: list[Event] = []  # `done` is the last word, whatever else there is to say
        self._reached = streams[0].reached
        self._begun = False
        self._end_s = 0.0
        self._stopped = self._slow_told = False
        self._flush_at_s = asyncio.get_running_loop().time() + FLUSH_S

    async def go(self) -> None:
        """Run it."""
        work = [self._pump(stream, n == 0) for n, stream in enumerate(self._streams)]
        if self._reached is not None:
            work.append(self._wake(self._reached))
        tasks = [asyncio.create_task(one) for one in work]
        try:
            with _on_signals(self._stop):
                self._begin_once_reached()
                while not (self._machine.finished or self._stopped) and await self._next():
                    pass
            self._end()
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            self._log.flush()
        self._tell([*self._log.news(last=True), *self._closing])

    # --- what comes in ----------------------------------------------------------------------

    async def _pump(self, stream: Stream, ends_session: bool) -> None:
        try:
            async for item in stream:
                await self._queue.put(item)
        except Exception as error:
            await self._queue.put(error)
        if ends_session:
            await self._queue.put(None)

    async def _wake(self, reached: asyncio.Event) -> None:
        await reached.wait()
        await self._queue.put(reached)

    def _begin_once_reached(self) -> bool:
        if not self._begun and (self._reached is None or self._reached.is_set()):
            self._begun = True
            self._log.begin()
            self._hear(self._machine.start(self._clock.now()[0] if self._clock else 0.0))
        return self._begun

    async def _next(self) -> bool:
        """Work off what comes next, or let time go by; return whether the session goes on."""
        if self._begun and self._queue.empty():
            for sink in self._sinks:
                sink.ready()
        try:
            item = await asyncio.wait_for(self._queue.get(), TICK_S if self._clock else None)
        except TimeoutError:
            self._look_at_clock()
            self._let_time_go_by()
        else:
            self._look_at_clock()
            if item is None:
                return False
            if isinstance(item, BaseException):
                raise item
            if not self._begin_once_reached():  # nothing can be done yet
                return not (isinstance(item, Act) and item.name == "quit")
            if isinstance(item, asyncio.Event):
                return True  # it only woke us
            self._work_off(item)
            if isinstance(item, Act) and item.name == "quit":
                return False
        self._tell(self._log.news())
        if asyncio.get_running_loop().time() > self._flush_at_s:
            self._flush()
        return True

    def _flush(self) -> None:
        """Commit what waits; a disk that is slow at it gets the rest of its time for readings."""
        loop = asyncio.get_running_loop()
        begun = loop.time()
        self._log.flush()
        took_s = loop.time() - begun
        self._flush_at_s = loop.time() + max(FLUSH_S, SLOW_SHARE * took_s)
        if took_s > SLOW_S and not self._slow_told:
            self._slow_told = True
            text = (
                f"This card is slow: it took {took_s:.1f} s to keep a second of readings. Nothing "
                "is lost, but the screen may lag; keep the job on another disk."
            )
            self._tell([Noticed(time_s=self._end_s, text=text)])

    def _stop(self) -> None:
        """End the session whatever waits in the queue; wakes it where it waits for an item."""
        self._stopped = True
        with contextlib.suppress(asyncio.QueueFull):
            self._queue.put_nowait(None)

    def _look_at_clock(self) -> None:
        """Log that the computer slept, or that its time of day was set, as acts are."""
        if self._clock is None:
            return
        gone_s, set_by_s = self._clock.look()
        if not self._begun or self._machine.finished:
            return
        if gone_s > ASLEEP_S:
            self._work_off(Act(*self._clock.now(), AWAKE))
        if set_by_s:
            self._work_off(Act(*self._clock.now(), CLOCK_SET, f"{set_by_s:.3f}"))

    def _let_time_go_by(self) -> None:
        assert self._clock is not None
        if self._begin_once_reached():
            self._hear(self._machine.tick(self._clock.now()[0]))
        for sink in self._sinks:
            sink.tick()

    def _work_off(self, item: Item) -> None:
        self._end_s = item.time_s
        self._log.item(item)
        self._tell(announcements(item))
        found = doubts(self._guard, item) if self._guard is not None else ()
        self._hear([*found, *step(self._machine, item)])

    def _end(self) -> None:
        if self._clock and self._begun:
            self._end_s = self._clock.now()[0]
            self._log.item(End(self._end_s))
            self._hear(step(self._machine, End(self._end_s)))
        if self._begun and not self._machine.finished:
            self._hear(self._machine.act("quit", self._end_s))

    # --- what goes out ----------------------------------------------------------------------

    def _hear(self, events: Iterable[Event]) -> None:
        told = [*self._with_doubts(events)]
        self._log.keep(*told)
        for event in told:
            match event:
                case SurveyDone() | SetDone() if self._guard is not None:
                    self._closing.append(self._guard.counts.told(event))
                case SurveyDone() | SetDone() | PourDone():
                    self._closing.append(event)
                case _:
                    self._tell([event])

    def _with_doubts(self, events: Iterable[Event]) -> Iterator[Event]:
        """Yield events, each with what the guard says to it behind it."""
        for event in events:
            yield event
            if self._guard is not None:
                yield from self._with_doubts(self._guard.event(event))

    def _tell(self, events: Iterable[Event]) -> None:
        for event in events:
            for sink in tuple(self._sinks):
                try:
                    sink.hear(event)
                except OSError:  # a pipe that was closed, a full disk: the session goes on unheard
                    self._sinks.remove(sink)


@contextlib.contextmanager
def _on_signals(stop: Callable[[], None]) -> Iterator[None]:
    loop = asyncio.get_running_loop()
    caught = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP]
    try:
        for number in caught:
            loop.add_signal_handler(number, stop)
    except (RuntimeError, ValueError, NotImplementedError):
        caught = []  # not the main thread (a test): the caller stops us otherwise
    try:
        yield
    finally:
        for number in caught:
            loop.remove_signal_handler(number)

"""Run one live session: items from a source go to the log, then to the machine, then to the sinks.

The machine of the session's kind (`rig.session.kinds`) knows no clock and no device; this loop is
the only place where they meet. It never waits for a disk: what is to be kept goes to the thread of
`rig.session.writer`, and every accepted shot is on disk before a sink hears of it, while prompts go
on.
"""

import asyncio
import contextlib
import signal
from collections import deque
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import takewhile
from typing import Protocol

from rig.devices.clock import Clock
from rig.devices.reading import AT_ONCE, AWAKE, CLOCK_SET, Back, Battery, Lost, Notice, Reading
from rig.events import (
    BoxClock,
    Check,
    Event,
    Gap,
    Heard,
    LinkBack,
    LinkLost,
    Noticed,
    PourDone,
    Prompt,
    SetDone,
    Standing,
    SurveyDone,
)
from rig.language import numeral, say
from rig.session.items import (
    PORT,
    Act,
    Clocked,
    End,
    FromRod,
    Item,
    Late,
    Log,
    Missing,
    Question,
    Settled,
    Typed,
)
from rig.session.writer import Writer
from rig.survey.laser.line_watch import BREAK_S
from rig.survey.plausibility import Guard

TICK_S = 0.1
FLUSH_S = 1.0
SLOW_S = 0.5
MOST_WAITING = 2_000
MOST_UNKEPT = 50_000
"""So many items may wait for a disk before the rod has to wait too."""
BEGIN_S, GRACE_S = 0.4, 0.2
"""A disk that was no slower than this is waited for, so that all is told in its order."""
OF_NOW = (Standing, Prompt)
"""What is told at once even while the disk still writes what came before it."""


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

    def take_offer(self) -> None:
        """Go on with a port that came in the place of the rod's, where one was offered."""


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
        case Lost() | Missing():
            return machine.lost(item.time_s)
        case Back():
            return machine.back(item.time_s)
        case Battery() | Notice() | Question() | Settled() | Late() | Clocked():
            return ()
        case End():
            return machine.tick(item.time_s)
        case FromRod():
            return step(machine, item.item)


def doubts(guard: Guard, item: Item) -> Sequence[Event]:
    """Feed one item to the guard; return what it doubts."""
    match item:
        case Reading():
            return guard.reading(item)
        case Typed(reading, _):
            return guard.typed(reading.value_mm) if reading.value_mm is not None else ()
        case Battery():
            return guard.battery(item.percent)
        case Lost() | Missing():
            guard.lost()
        case FromRod():
            return doubts(guard, item.item)
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
            yield Noticed(time_s=item.time_s, text=item.text, port=item.offers)
        case Question():
            yield item.asks
        case Missing():
            yield Gap(n=item.n)
        case Clocked():
            yield BoxClock(offset_s=item.offset_s, doubt_s=item.doubt_s)
        case FromRod():
            yield from (replace(event, rod=item.rod) for event in announcements(item.item))


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
    await Run(machine, streams, log, sinks, clock, guard).go()


class Run:
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
        self._woken = asyncio.Event()
        self._writer = Writer(log, self._wake)
        self._unsaid: deque[tuple[int, list[Event]]] = deque()  # until the disk has so many batches
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
            work.append(self._when_reached(self._reached))
        tasks = [asyncio.create_task(one) for one in work]
        try:
            with _on_signals(self._stop):
                await self._begin_once_reached()
                while not (self._machine.finished or self._stopped) and await self._next():
                    pass
                self._end()
                self._writer.hand_over(flushes=True)
                await self._settle()
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            await self._writer.close()
        self._tell([*self._log.news(last=True), *self._closing])

    # --- what comes in ----------------------------------------------------------------------

    async def _pump(self, stream: Stream, ends_session: bool) -> None:
        try:
            async for item in stream:
                if isinstance(item, Act) and item.name == PORT:  # of the link alone
                    for one in self._streams:
                        one.take_offer()
                else:
                    await self._queue.put(item)
        except Exception as error:
            await self._queue.put(error)
        if ends_session:
            await self._queue.put(None)

    async def _when_reached(self, reached: asyncio.Event) -> None:
        await reached.wait()
        await self._queue.put(reached)

    async def _begin_once_reached(self) -> bool:
        if not self._begun and (self._reached is None or self._reached.is_set()):
            self._begun = True
            # Taken first: items come in meanwhile, and none may be older than the start.
            start_s = self._clock.now()[0] if self._clock else 0.0
            self._writer.hand_over(begins=True)
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._writer.settled(), BEGIN_S)
            self._hear(self._machine.start(start_s))
            await self._wait_a_moment()
        return self._begun

    def _say_when_ready(self) -> None:
        if self._begun and self._queue.empty() and not self._unsaid:
            for sink in self._sinks:
                sink.ready()

    async def _next(self) -> bool:
        """Work off what comes next, or let time go by; return whether the session goes on."""
        self._say_what_is_kept()
        self._say_when_ready()
        try:
            item = await asyncio.wait_for(self._queue.get(), TICK_S if self._clock else None)
        except TimeoutError:
            self._look_at_clock()
            await self._let_time_go_by()
        else:
            self._look_at_clock()
            if item is None:
                return False
            if isinstance(item, BaseException):
                raise item
            if not await self._begin_once_reached():  # nothing can be done yet
                return not (isinstance(item, Act) and item.name == "quit")
            if isinstance(item, asyncio.Event):
                return True  # it only woke us
            told = self._work_off(item)
            if isinstance(item, Act) and item.name == "quit" and not any(map(_closes, told)):
                return False
            if isinstance(item, Typed):  # no stream of prompts stands behind a tape
                await self._settle()
        await self._heed_the_disk()
        return True

    async def _heed_the_disk(self) -> None:
        """Hand over what waits once a second, tell a slow disk, and let no more wait than fits."""
        await self._wait_a_moment()
        if not self._unsaid:
            self._tell(self._log.news())
        now_s = asyncio.get_running_loop().time()
        due = now_s > self._flush_at_s and self._writer.may_flush
        if due or self._writer.taken > MOST_WAITING:
            self._flush_at_s = now_s + FLUSH_S
            self._writer.hand_over(flushes=True)
        if self._clock and self._writer.takes_s > SLOW_S and not self._slow_told:
            self._slow_told = True
            text = say(
                "This card is slow: it takes more than {slow_s} s to keep what it is "
                "given. Nothing is lost and prompts go on, but a shot is told only once it "
                "is kept: wait for its beep. Keep the job on another disk.",
                slow_s=numeral(SLOW_S, "g"),
            )
            self._tell([Noticed(time_s=self._end_s, text=text)])
        while self._writer.waiting > MOST_UNKEPT and not self._stopped:
            await asyncio.sleep(TICK_S)

    async def _wait_a_moment(self) -> None:
        """Have all said in its order where the disk is quick; a replay always has."""
        if self._unsaid and self._clock is None:
            await self._settle()
        elif self._unsaid and max(self._writer.took_s, self._writer.takes_s) < GRACE_S:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._settle(), GRACE_S)

    async def _settle(self) -> None:
        """Wait for the disk, and say what had to wait for it."""
        await self._writer.settled()
        self._say_what_is_kept()

    def _wake(self) -> None:
        if self._queue.empty():
            self._queue.put_nowait(self._woken)

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
        if gone_s > BREAK_S:
            self._work_off(Act(*self._clock.now(), AWAKE))
        if set_by_s:
            self._work_off(Act(*self._clock.now(), CLOCK_SET, f"{set_by_s:.3f}"))

    async def _let_time_go_by(self) -> None:
        assert self._clock is not None
        if await self._begin_once_reached():
            self._hear(self._machine.tick(self._clock.now()[0]))
        for sink in self._sinks:
            sink.tick()

    def _work_off(self, item: Item) -> Sequence[Event]:
        self._end_s = item.time_s
        self._writer.item(item)
        self._tell(announcements(item))
        found = doubts(self._guard, item) if self._guard is not None else ()
        came = step(self._machine, item)
        self._hear([*found, *came], item)
        return came

    def _end(self) -> None:
        if self._clock and self._begun:
            self._end_s = self._clock.now()[0]
            self._writer.item(End(self._end_s))
            self._hear(step(self._machine, End(self._end_s)))
        if self._begun and not self._machine.finished:
            self._hear(self._machine.act("quit", self._end_s, AT_ONCE))

    # --- what goes out ----------------------------------------------------------------------

    def _hear(self, events: Iterable[Event], item: Item | None = None) -> None:
        """Have events kept; tell them once they are, or at once where nothing hangs on that."""
        came = [*self._with_doubts(events)]
        must_wait = self._writer.keep(item, came)
        told: list[Event] = []
        for event in came:
            match event:
                case SurveyDone() | SetDone() if self._guard is not None:
                    self._closing.append(self._guard.counts.told(event))
                case SurveyDone() | SetDone() | PourDone():
                    self._closing.append(event)
                case _:
                    told.append(event)
        if must_wait:
            now = [*takewhile(lambda event: isinstance(event, OF_NOW), told)]
            self._tell(now)
            self._unsaid.append((self._writer.given, told[len(now) :]))
        elif self._unsaid:  # nothing that is said overtakes what it came after
            self._tell([event for event in told if isinstance(event, OF_NOW)])
            self._unsaid[-1][1].extend(one for one in told if not isinstance(one, OF_NOW))
        else:
            self._tell(told)

    def _say_what_is_kept(self) -> None:
        self._writer.look()
        while self._unsaid and self._unsaid[0][0] <= self._writer.kept:
            self._tell(self._unsaid.popleft()[1])

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


def _closes(event: Event) -> bool:
    """Whether an event asks for the sight that a session ends with."""
    return isinstance(event, Check) and event.closing is True


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

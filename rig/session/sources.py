"""Where a session's items come from: a device, the keyboard, a trace, or a job's own log."""

import asyncio
import contextlib
import io
import sys
import threading
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from pathlib import Path
from typing import Literal

from rig.devices.clock import Clock
from rig.devices.decoder import Decoder
from rig.devices.profile import Profile, parse_profile, with_clamp
from rig.devices.reading import Back, Battery, Lost, Notice, Reading
from rig.devices.stream import supervise
from rig.devices.trace import Trace, replay
from rig.devices.transport import Transport
from rig.devices.typed import Doubted, TypedReader, TypedUnit
from rig.errors import BadInput
from rig.events import AskTyped
from rig.job.rows import Session, StoredEvent, StoredReading
from rig.job.store import Job
from rig.session.items import Act, End, Item, Question, Settled, Typed
from rig.session.run import Sink, Stream
from rig.units import METRIC, Units, pointed
from rig.words import numeral, say
from rig.words import typed as asking

CLOCK_SET_S = 2.0


class Device(Stream):
    """A supervised device's readings and what happens to its link, reached when it is opened."""

    def __init__(self, transport: Transport, profile: Profile, clock: Clock) -> None:
        reached = asyncio.Event()
        items = supervise(transport, Decoder(profile), clock, on_open=reached.set)
        super().__init__(items, reached)
        self._transport = transport

    def take_offer(self) -> None:
        """Go on with a port that came in the place of the rod's, where one was offered."""
        self._transport.take_offer()


async def typed(
    reader: TypedReader,
    clock: Clock,
    complain: Callable[[str], None],
    units: Units = METRIC,
    asks_sense: bool = False,
    typed_lines: "Callable[[], asyncio.Queue[str]] | None" = None,
    settled: Callable[[TypedUnit], None] = lambda unit: None,
) -> AsyncIterator[Item]:
    """Yield readings and words typed a line at a time, until the end of standard input or `q`.

    What is no reading is complained of and left out, and so is one that only another unit
    explains, unless the next line says that unit.

    Parameters
    ----------
    reader : TypedReader
    clock : Clock
    complain : callable
        Tells what is wrong with a line.
    units : Units
        What questions are written in.
    asks_sense : bool
        Ask once which way the tape is read.
    typed_lines : callable, optional
        Makes the queue that the lines come by, an empty one being their end; else they are those
        of standard input.
    settled : callable, optional
        Hears of the unit once it is settled.

    Raises
    ------
    BadInput
        Where the unit of the first reading stays open.
    """
    lines = (typed_lines or _typed_lines)()
    kept, pending = reader.unit, None
    if asks_sense:
        yield Question(*clock.now(), AskTyped(what="sense", text=asking.SENSE))
    while line := await lines.get():
        time_s, utc_s = clock.now()
        try:
            if typed_lines is None:
                line = pointed(line, reader.unit or reader.units, say("The reading"))
            said = None if pending is None else reader.answer(pending, line)
        except BadInput as error:
            complain(error.text)
            pending = None
            continue
        if pending is not None and pending.blocks and said is None:
            break
        pending = None
        if said is None:
            pending = reader.doubt(line)
            if pending is not None:
                text = asking.which_unit(pending, units)
                asks = AskTyped(what="unit", choices=pending.choices, text=text)
                yield Question(time_s, utc_s, asks)
                continue
        try:
            entry = _entry(reader, said or line, time_s, utc_s)
        except BadInput as error:
            complain(
                say(
                    "{error} Or u to undo, s to skip, y to accept, g LABEL to go there, q to stop.",
                    error=error,
                )
            )
            continue
        if reader.unit is not None and reader.unit != kept:
            kept = reader.unit
            settled(kept)
            yield Settled(time_s, utc_s, kept)
        yield entry
    _refuse_unsaid(pending)


def _refuse_unsaid(pending: Doubted | None) -> None:
    """Refuse an end that leaves open what the readings are in."""
    if pending is not None and pending.blocks:
        raise BadInput(asking.unit_unsaid(pending))


def _entry(reader: TypedReader, line: str, time_s: float, utc_s: float) -> Typed | Act:
    """Return the reading or the act that a line stands for."""
    word, _, label = line.strip().partition(" ")
    if word.lower() == "g" and label:
        return Act(time_s, utc_s, "goto", label.strip().upper())
    entry = reader.parse(line, time_s, utc_s)
    if isinstance(entry, Reading):
        return Typed(entry, reader.stderr_mm)
    return Act(time_s, utc_s, entry)


async def words(
    parse: Callable[[str], tuple[str, str | None] | None],
    clock: Clock,
    complain: Callable[[str], None],
) -> AsyncIterator[Item]:
    """Yield the acts typed a line at a time, until the end of standard input."""
    lines = _typed_lines()
    while line := await lines.get():
        try:
            act = parse(line)
        except BadInput as error:
            complain(error.text)
            continue
        if act is not None:
            yield Act(*clock.now(), *act)


def _typed_lines() -> "asyncio.Queue[str]":
    """Read standard input a line at a time in a thread of its own; an empty one is its end.

    Bytes that are no text come as what stands for them, and are refused like any other slip.
    """
    loop = asyncio.get_running_loop()
    lines: asyncio.Queue[str] = asyncio.Queue()
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="backslashreplace")

    def read() -> None:
        with contextlib.suppress(RuntimeError):  # the session has ended meanwhile
            with contextlib.suppress(OSError):
                for line in sys.stdin:
                    loop.call_soon_threadsafe(lines.put_nowait, line)
            loop.call_soon_threadsafe(lines.put_nowait, "")

    threading.Thread(target=read, daemon=True, name="typed").start()
    return lines


class Script(Clock, Sink):
    """Acts of a script, each at its second of a clock that waits for what they make.

    To be among a session's sinks, too: it then hears when an act is worked off.

    Parameters
    ----------
    lines : sequence of (float, str)
        Second and words of each.
    parse : callable
        Makes name and argument of an act from the words, None for none.
    speed : float
        Seconds of the script in a real one.
    """

    def __init__(
        self,
        lines: Sequence[tuple[float, str]],
        parse: Callable[[str], tuple[str, str | None] | None],
        speed: float,
    ) -> None:
        super().__init__(speed)
        self._lines, self._parse = lines, parse
        self._said = self._done = 0

    def now(self) -> tuple[float, float]:
        """Return the time, no later than the line that comes next."""
        time_s, utc_s = super().now()
        return min([time_s, *(at_s for at_s, _ in self._lines[self._done :][:1])]), utc_s

    def ready(self) -> None:
        """Hear that all is worked off that was said."""
        self._done = self._said

    async def items(self) -> AsyncIterator[Item]:
        """Yield the acts."""
        for at_s, line in self._lines:
            while (left_s := at_s - super().now()[0]) > 0.0:
                await asyncio.sleep(left_s / self.speed)
            self._said += 1
            act = self._parse(line)
            if act is not None:
                yield Act(at_s, super().now()[1], *act)


async def watched(items: AsyncIterator[Item], clock: Clock) -> AsyncIterator[Item]:
    """Yield items, and tell where the time of day was set meanwhile."""
    time_s, utc_s = clock.now()
    offset = utc_s - time_s / clock.speed  # the time of day goes as it does, at any speed
    async for item in items:
        if isinstance(item, Act):
            now = item.utc_s - item.time_s / clock.speed
            if abs(now - offset) > CLOCK_SET_S:
                by = numeral(abs(now - offset), ".0f")
                yield Notice(
                    item.time_s,
                    item.utc_s,
                    say(
                        "The clock was set back by {by} s; ages go by the machine's steady clock "
                        "and hold.",
                        by=by,
                    )
                    if now < offset
                    else say(
                        "The clock was set on by {by} s; ages go by the machine's steady clock "
                        "and hold.",
                        by=by,
                    ),
                )
                offset = now
        yield item


async def replayed(items: Iterator[Item], speed: float | None) -> AsyncIterator[Item]:
    """Yield stored items at `speed` times their own pace; None is as fast as they go."""
    loop = asyncio.get_running_loop()
    begun = loop.time()
    first: float | None = None
    for item in items:
        if speed:
            first = item.time_s if first is None else first
            await asyncio.sleep(max(0.0, begun + (item.time_s - first) / speed - loop.time()))
        yield item


def trace_items(trace: Trace) -> Iterator[Item]:
    """The readings of a recorded trace, with what happened to the link in between."""
    time_s = 0.0
    for item in replay(trace):
        time_s = item.time_s
        yield item
    yield End(time_s)


def is_job_file(path: Path) -> bool:
    """Tell a job file from a trace by its first bytes."""
    try:
        with path.open("rb") as file:
            return file.read(16) == b"SQLite format 3\0"
    except FileNotFoundError:
        raise BadInput(say("There is no file {path} to replay.", path=path)) from None
    except OSError as error:
        raise BadInput(
            say("{path} cannot be read to replay: {strerror}.", path=path, strerror=error.strerror)
        ) from None


def profile_of(session: Session) -> Profile | None:
    """Return the profile that a session was read with, None where it was typed."""
    if not session.profile_text:
        return None
    profile = parse_profile(session.profile_text, say("the job's own profile"))
    clamp_mm = session.capture.get("clamp_mm")
    return profile if clamp_mm is None else with_clamp(profile, clamp_mm)


class StoredItems:
    """Turns a session's stored messages back into the items that they were.

    Raw messages go through the decoder again, so that the same readings come out only if the
    same code and profile make them.

    Parameters
    ----------
    profile : Profile or None
        Of the session's device; None where readings were typed.
    units : {"in", "mm"}
        Of what was typed.
    """

    def __init__(self, profile: Profile | None, units: Literal["in", "mm"]) -> None:
        self._decoder = Decoder(profile) if profile else None
        self._reader = TypedReader(units)

    def item(self, stored: StoredReading | StoredEvent) -> Item | None:
        """Return the item of one message, None for what is no item."""
        time_s, utc_s = float(stored.time_s or 0.0), stored.utc_s
        if isinstance(stored, StoredReading):
            if self._decoder is not None:
                return self._decoder.decode_raw(stored.raw, time_s, utc_s)
            entry = self._reader.parse(stored.raw, time_s, utc_s)
            return Typed(entry, self._reader.stderr_mm) if isinstance(entry, Reading) else None
        match stored.kind:
            case "act":
                name, argument = stored.data["act"], stored.data["argument"]
                return Act(time_s, utc_s, str(name), None if argument is None else str(argument))
            case "lost":
                if self._decoder is not None:
                    self._decoder.reset()
                return Lost(time_s, utc_s, str(stored.data["reason"]))
            case "back":
                return Back(time_s, utc_s, float(stored.data["gap_s"]))
            case "battery":
                return Battery(time_s, utc_s, int(stored.data["percent"]))
            case "end":
                return End(time_s)
        return None


def session_items(
    job: Job, session_id: int, profile: Profile | None, units: Literal["in", "mm"]
) -> Iterator[Item]:
    """The items of a session that a job recorded, in the order in which they were logged."""
    with as_logged(job.path, session_id):
        items = StoredItems(profile, units)
        for stored in job.stored_messages(session_id):
            item = items.item(stored)
            if item is not None:
                yield item


@contextlib.contextmanager
def as_logged(path: object, session_id: int) -> Iterator[None]:
    """Refuse a session whose log is not as floor-rig writes it; a job may come from anywhere."""
    try:
        yield
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise BadInput(
            say(
                "{path}: session {session_id} cannot be replayed, for what it holds is not as "
                "floor-rig writes it ({name__}: {error}).",
                path=path,
                session_id=session_id,
                name__=type(error).__name__,
                error=str(error)[:60],
            )
        ) from error

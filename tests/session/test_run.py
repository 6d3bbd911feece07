"""The order of things: logged, decided, durable, and only then told."""

import asyncio
from collections.abc import AsyncIterator, Iterable, Sequence
from typing import Any

import pytest

from rig.devices.clock import Clock
from rig.devices.reading import Back, Lost, Reading
from rig.errors import DeviceUnavailable
from rig.events import Event
from rig.session.items import Act, End, Item, Log
from rig.session.run import Sink, Stream, Tell, run
from rig.survey.capture import Capture, Stand
from rig.survey.laser.line_watch import Known
from rig.survey.plausibility import Guard
from tests.kinds import there


class Story(Log):
    """A log and a sink that write down who was told what, in order."""

    last: Event

    def __init__(self, begun: bool = False) -> None:
        self.told: list[Any] = []
        self._tells_begin = begun

    def begin(self) -> None:
        if self._tells_begin:
            self.told.append(("begun", ""))

    def item(self, item: Any) -> None:
        self.told.append(("logged", type(item).__name__))

    def holds(self, item: Item | None, events: Iterable[Event]) -> bool:
        return bool([*events])

    def keep(self, *events: Event) -> None:
        self.told += [("kept", event.event) for event in events]

    @property
    def sink(self) -> Any:
        return Tell(self.tell)

    def tell(self, event: Any) -> None:
        self.told.append(("told", event.event))
        self.last = event


class Slow(Stream):
    """A source that is reached late, or never."""

    def __init__(self, *sequence: Reading, error: DeviceUnavailable | None = None) -> None:
        super().__init__(self._come(), asyncio.Event())
        self._sequence, self._error = sequence, error

    async def _come(self) -> AsyncIterator[Any]:
        await asyncio.sleep(0.01)
        if self._error:
            raise self._error
        there(self.reached).set()
        for item in self._sequence:
            yield item


async def items(
    sequence: Sequence[Back | Lost | Reading | Act],
) -> AsyncIterator[Back | Lost | Reading | Act]:
    for item in sequence:
        yield item


def still(start_s: float, height: float, seconds: float = 1.5) -> list[Reading]:
    return [
        Reading(start_s + n / 20, 1e9 + start_s + n / 20, "", "valid", height + 0.1 * (n % 2))
        for n in range(int(seconds * 20))
    ]


def play(
    sequence: Sequence[Back | Lost | Reading | Act], clock: Clock | None = None
) -> list[tuple[str, str]]:
    story = Story()
    machine = Capture([Stand("A1"), Stand("A2")], resolution_mm=0.1, foot_mm=0.1)
    asyncio.run(run(machine, [Stream(items(sequence))], story, [story.sink], clock))
    return story.told


def test_a_shot_is_kept_before_anybody_hears_of_it() -> None:
    told = play(still(0.0, 1200.0))
    kept, heard = told.index(("kept", "shot")), told.index(("told", "shot"))
    assert kept < heard
    assert told[:kept].count(("logged", "Reading")) >= 19


def test_lost_and_back_are_told_and_part_the_readings() -> None:
    first, second = still(0.0, 1200.0, 0.6), still(0.7, 1200.0, 0.6)
    told = play([*first, Lost(0.6, 0.0, "unplugged"), Back(0.7, 0.0, 0.1), *second])
    assert ("told", "lost") in told
    assert ("told", "back") in told
    assert ("kept", "shot") not in told


def test_quit_ends_the_session_at_once() -> None:
    told = play([Act(0.0, 0.0, "quit"), *still(0.0, 1200.0)])
    assert ("kept", "shot") not in told


def test_a_live_session_keeps_when_it_ended() -> None:
    told = play(still(0.0, 1200.0), clock=Clock())
    assert ("logged", End.__name__) in told
    assert told[-1] == ("told", "done")


def listen(source: Slow) -> Story:
    story = Story(begun=True)
    machine = Capture([Stand("A1")], resolution_mm=0.1, foot_mm=0.1)
    asyncio.run(run(machine, [source], story, [story.sink], Clock()))
    return story


def test_nothing_begins_before_the_device_is_reached() -> None:
    told = listen(Slow(*still(0.0, 1200.0))).told
    assert told[:3] == [("begun", ""), ("kept", "next"), ("kept", "armed")]
    assert told[3:5] == [("told", "next"), ("told", "armed")]
    assert told.count(("begun", "")) == 1
    assert ("kept", "shot") in told


def test_a_device_that_is_not_there_leaves_nothing_behind() -> None:
    story = Story(begun=True)
    machine = Capture([Stand("A1")])
    source = Slow(error=DeviceUnavailable("no port"))
    with pytest.raises(DeviceUnavailable):
        asyncio.run(run(machine, [source], story, [story.sink], Clock()))
    assert story.told == []


def test_the_last_word_counts_what_never_came() -> None:
    readings = still(0.0, 1200.0)
    readings[3] = readings[3]._replace(missed=4)
    readings.insert(5, readings[4]._replace(status="bad", problem="checksum"))
    story = Story()
    machine = Capture([Stand("A1")], resolution_mm=0.1, foot_mm=0.1)
    asyncio.run(run(machine, [Stream(items(readings))], story, [story.sink], None, Guard()))
    assert story.last.as_json() == {
        "event": "done",
        "shots": 1,
        "skipped": [],
        "missed": 4,
        "damaged": 1,
    }


class Paced(Sink):
    """A sink and a source at once: gives the next item only when all is worked off."""

    def __init__(self, story: Story, sequence: list[Reading]) -> None:
        self._story, self._sequence = story, sequence
        self.asked: asyncio.Queue[None] = asyncio.Queue()

    def hear(self, event: Any) -> None:
        self._story.told.append(("paced", event.event))

    def ready(self) -> None:
        self._story.told.append(("ready", ""))
        self.asked.put_nowait(None)

    async def items(self) -> AsyncIterator[Reading]:
        for item in self._sequence:
            await self.asked.get()
            yield item


def test_whoever_paces_a_session_hears_when_all_is_worked_off() -> None:
    story = Story()
    readings = still(0.0, 1200.0)
    paced = Paced(story, readings)
    machine = Capture([Stand("A1")], resolution_mm=0.1, foot_mm=0.1)
    asyncio.run(run(machine, [Stream(paced.items())], story, [paced], None))
    told = [entry for entry in story.told if entry != ("kept", "reading")]
    assert told[:3] == [("kept", "next"), ("kept", "armed"), ("paced", "next")]
    taken = story.told.index(("paced", "shot"))
    asked = story.told[:taken].count(("ready", ""))
    assert asked == story.told[:taken].count(("logged", "Reading"))
    assert ("ready", "") not in story.told[taken:]  # finished: nobody waits any more


class Sleepy(Clock):
    """A clock that sleeps for an hour before a reading, and learns the time of day."""

    def __init__(self) -> None:
        super().__init__()
        self.time_s = 0.0
        self.looks: list[tuple[float, float]] = []

    def now(self) -> tuple[float, float]:
        return self.time_s, 1e9 + self.time_s

    def look(self) -> tuple[float, float]:
        return self.looks.pop(0) if self.looks else (0.1, 0.0)


def test_a_survey_that_slept_asks_for_the_benchmark_before_it_takes_a_shot() -> None:
    clock, story = Sleepy(), Story()
    machine = Capture(
        [Stand("A1"), Stand("A2")],
        resolution_mm=0.1,
        foot_mm=0.1,
        line=Known("BM", 900.0, 0.1, 0.0),
        checks=True,
    )

    async def sleepy() -> AsyncIterator[Any]:
        for item in still(0.0, 1200.0):
            clock.time_s = item.time_s
            yield item
        await asyncio.sleep(0.05)  # worked off; now it sleeps
        clock.time_s = 3600.0
        clock.looks = [(3600.0, 1500.0)]
        for item in still(3600.0, 1300.0):
            yield item

    asyncio.run(run(machine, [Stream(sleepy())], story, [story.sink], clock))
    told = [event for what, event in story.told if what == "told" and event != "reading"]
    assert told.count("shot") == 1
    assert told.index("shot") < told.index("check")
    kept = [entry for entry in story.told if entry[0] == "logged" and entry[1] == "Act"]
    assert len(kept) == 2

"""A line that never pauses, and a disk that is slow, hold nothing up for good."""

import asyncio
import os
import signal
import socket
import threading
import time
from collections.abc import AsyncIterator, Iterable, Iterator

import pytest

from rig.devices.clock import Clock
from rig.devices.decoder import Decoder
from rig.devices.profile import load_profile
from rig.devices.reading import Notice, Reading
from rig.devices.serial_port import MOST_HELD_BYTES, SerialTransport
from rig.devices.stream import supervise
from rig.events import Event, Heard, Noticed, ShotTaken
from rig.session import run as running
from rig.session.items import Item, Log
from rig.session.run import Stream, Tell, run
from rig.survey.capture import Capture, Stand


def machine() -> Capture:
    return Capture([Stand("A1", 0.0, 0.0, "A1"), Stand("A2", 0.0, 1000.0, "A2")], kind="floor")


async def flood(seconds: float) -> AsyncIterator[Item]:
    """Readings as fast as they are taken."""
    end_s, n = time.monotonic() + seconds, 0
    while time.monotonic() < end_s:
        n += 1
        yield Reading(n / 10_000, 1e9, f"{n}", "valid", 1000.0 + n % 1000)


def test_ctrl_c_ends_a_session_whose_queue_is_full() -> None:
    async def go() -> float:
        begun = time.monotonic()
        asyncio.get_running_loop().call_later(0.3, os.kill, os.getpid(), signal.SIGINT)
        await run(machine(), [Stream(flood(20.0))], Log(), [], Clock())
        return time.monotonic() - begun

    assert asyncio.run(go()) < 3.0


class SlowDisk(Log):
    """Takes its time at every commit of readings."""

    def __init__(self, takes_s: float) -> None:
        self._takes_s = takes_s
        self.items = self.flushes = 0

    def item(self, item: Item) -> None:
        self.items += 1

    def flush(self) -> None:
        self.flushes += 1
        time.sleep(self._takes_s)


def test_a_slow_disk_is_told_once_and_gets_most_of_the_time_for_readings(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(running, "FLUSH_S", 0.05)
    monkeypatch.setattr(running, "SLOW_S", 0.1)
    disk, told = SlowDisk(0.2), list[Event]()

    async def readings() -> AsyncIterator[Item]:
        for n in range(100):
            await asyncio.sleep(0.02)
            yield Reading(n / 50, 1e9, "", "valid", 1000.0 + n)

    async def go() -> None:
        await run(machine(), [Stream(readings())], disk, [Tell(told.append)], Clock())

    asyncio.run(go())
    slow = [event for event in told if isinstance(event, Noticed)]
    assert len(slow) == 1
    assert "This card is slow" in slow[0].text
    assert disk.items == 101  # and the end
    assert 2 <= disk.flushes <= 5  # a tree that flushed after each item would come to a hundred


def test_what_waits_for_the_disk_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "MOST_WAITING", 50)
    monkeypatch.setattr(running, "MOST_UNKEPT", 200)
    disk = SlowDisk(0.01)

    async def readings() -> AsyncIterator[Item]:
        for n in range(800):
            yield Reading(n / 50, 1e9, "", "valid", 1000.0 + n)

    asyncio.run(run(machine(), [Stream(readings())], disk, [], None))
    assert disk.items == 800
    assert disk.flushes >= 4


class SlowShots(Log):
    """A disk that takes its time for each shot, and for nothing else."""

    def __init__(self, takes_s: float) -> None:
        self._takes_s = takes_s
        self.items: list[Item] = []
        self.kept_s: list[float] = []

    def item(self, item: Item) -> None:
        self.items.append(item)

    def holds(self, item: Item | None, events: Iterable[Event]) -> bool:
        return any(isinstance(event, ShotTaken) for event in events)

    def keep(self, *events: Event) -> None:
        if self.holds(None, events):
            time.sleep(self._takes_s)
            self.kept_s.append(time.monotonic())


def test_a_sync_that_takes_long_delays_the_beep_and_nothing_else(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(running, "SLOW_S", 0.2)
    disk, clock = SlowShots(1.2), Clock()
    told: list[tuple[float, Event]] = []
    sent: list[Reading] = []

    async def readings() -> AsyncIterator[Item]:
        for n in range(60):
            sent.append(Reading(*clock.now(), f"{n}", "valid", 1000.0 + 0.1 * (n % 2)))
            yield sent[-1]
            await asyncio.sleep(0.02)

    def hear(event: Event) -> None:
        told.append((time.monotonic(), event))

    async def go() -> None:
        capture = Capture([Stand("A1", 0.0, 0.0), Stand("A2", 0.0, 9.0)], dwell_s=0.3)
        asyncio.get_running_loop().call_later(1.0, os.kill, os.getpid(), signal.SIGINT)
        await run(capture, [Stream(readings())], disk, [Tell(hear)], clock)

    begun_s = time.monotonic() - clock.now()[0]
    asyncio.run(go())
    heard = [at_s - begun_s - e.time_s for at_s, e in told if isinstance(e, Heard)]
    assert len(heard) > 20
    assert max(heard) < 0.5, "a reading waited for the disk"
    assert [at_s > disk.kept_s[0] for at_s, e in told if isinstance(e, ShotTaken)] == [True]
    names = [event.event for _, event in told]
    assert names.index("shot") > names.index("notice") > names.index("reading")
    assert names[-1] == "done"
    assert [item for item in disk.items if isinstance(item, Reading)] == sent[: len(heard)]
    assert len(heard) < 60  # Ctrl-C was heard while the disk was at it


@pytest.fixture
def hose() -> Iterator[int]:
    """The port of a device that sends without a pause, as fast as it is let."""
    server = socket.create_server(("127.0.0.1", 0))
    stop = threading.Event()

    def pour() -> None:
        client, _ = server.accept()
        client.settimeout(0.1)
        line = b"1200.5\r\n" * 500
        while not stop.is_set():
            try:
                client.sendall(line)
            except TimeoutError:
                continue
            except OSError:
                return

    thread = threading.Thread(target=pour, daemon=True)
    thread.start()
    yield server.getsockname()[1]
    stop.set()
    server.close()


def test_what_floods_in_beyond_what_is_read_is_let_go_and_told(hose: int) -> None:
    async def go() -> tuple[list[str], int]:
        transport = SerialTransport(f"socket://127.0.0.1:{hose}")
        decoder = Decoder(load_profile("decimal-mm"))
        notices: list[str] = []
        most = 0
        end_s = time.monotonic() + 20.0
        items = supervise(transport, decoder, Clock(), on_open=lambda: None)
        async for item in items:
            if isinstance(item, Notice):
                notices.append(item.text)
            time.sleep(0.00002)  # whoever reads is slower than the line
            assert transport._session is not None
            most = max(most, len(transport._session._data))
            if notices or time.monotonic() > end_s:
                break
        await items.aclose()
        return notices, most

    notices, most = asyncio.run(go())
    assert any("bytes were let go" in text for text in notices)
    assert most <= MOST_HELD_BYTES

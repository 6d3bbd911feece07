import asyncio
import contextlib
import itertools
import struct
import time
from typing import Any

import pytest

from rig.devices.clock import Clock
from rig.devices.decoder import Decoder
from rig.devices.profile import Profile, load_profile
from rig.devices.reading import Battery, Notice
from rig.devices.stream import supervise
from rig.devices.transport import TransportLost
from rig.errors import DeviceUnavailable
from tests.devices.test_decoder import sentence

SENTENCE = load_profile("sentence")
GONE = TransportLost("unplugged")
HANGS = object()


class Script:
    """A transport that plays one list of bytes, errors and HANGS for each time it is opened."""

    whole_messages = False
    battery_percent: int | None = None
    offered: str | None = None
    dropped_bytes = 0
    other_device = "Look for the rod."

    def __init__(self, *openings: list[bytes | object | TransportLost] | DeviceUnavailable) -> None:
        self.openings = list(openings)
        self.opened: list[float] = []
        self.closed = 0
        self.is_open = False
        self._left: list[Any] = []
        self.told: list[list[str]] = []
        self.taken = False

    async def open(self) -> None:
        assert not self.is_open
        self.opened.append(time.monotonic())
        acts = self.openings.pop(0) if self.openings else [HANGS]
        if isinstance(acts, Exception):
            raise acts
        self._left = list(acts)
        self.is_open = True

    async def read(self) -> bytes:
        assert self.is_open
        act = self._left.pop(0) if self._left else GONE
        if act is HANGS:
            await asyncio.Event().wait()
        if isinstance(act, Exception):
            raise act
        assert isinstance(act, bytes)
        return act

    async def close(self) -> None:
        self.closed += 1
        self.is_open = False

    async def wait(self, longest_s: float) -> list[str]:
        await asyncio.sleep(longest_s)
        return self.told.pop(0) if self.told else []

    def take_offer(self) -> None:
        self.taken = True


def listen(
    transport: Any, count: int, profile: Profile = SENTENCE, decoder: Any = None, **options: Any
) -> list[Any]:
    given: dict[str, Any] = {
        "silence_s": 5.0,
        "first_delay_s": 0.001,
        "longest_delay_s": 0.004,
    } | options

    async def run() -> list[Any]:
        items = []
        stream = supervise(transport, decoder or Decoder(profile), Clock(), **given)
        async with asyncio.timeout(10), contextlib.aclosing(stream):
            async for item in stream:
                items.append(item)
                if len(items) == count:
                    break
        return items

    items = asyncio.run(run())
    assert not transport.is_open
    return items


def kinds(items: list[Any]) -> list[str]:
    return [type(item).__name__ for item in items]


def test_readings_come_as_they_are_decoded() -> None:
    items = listen(Script([sentence(1) + sentence(2), sentence(3), HANGS]), 3)
    assert [item.seq for item in items] == [1, 2, 3]
    assert items[0].time_s <= items[2].time_s


def test_a_device_that_is_not_there_at_the_start_is_an_error() -> None:
    transport = Script(DeviceUnavailable("There is no serial port."))
    with pytest.raises(DeviceUnavailable, match="no serial port"):
        listen(transport, 1)
    assert len(transport.opened) == 1


def test_a_loss_is_told_once_however_often_it_is_tried_again() -> None:
    transport = Script([sentence(1), GONE], AWAY, AWAY, [GONE], AWAY, [sentence(5), HANGS])
    items = listen(transport, 4)
    assert kinds(items) == ["Reading", "Lost", "Back", "Reading"]
    assert items[1].reason == "unplugged"
    assert items[2].gap_s == pytest.approx(items[2].time_s - items[0].time_s, abs=0.01)
    assert items[3].missed == 0
    assert len(transport.opened) == 6


@pytest.fixture
def slept(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The delays that were asked for; none is waited."""
    delays, sleep = [], asyncio.sleep

    async def record(seconds: float) -> None:
        delays.append(seconds)
        await sleep(0)

    monkeypatch.setattr(asyncio, "sleep", record)
    return delays


AWAY = DeviceUnavailable("not there")


def test_delays_double_up_to_the_longest(slept: list[Any]) -> None:
    transport = Script([sentence(1), GONE], *[AWAY] * 6, [sentence(2), HANGS])
    listen(transport, 4, first_delay_s=0.5, longest_delay_s=10.0)
    assert slept == [0.5, 1.0, 2.0, 4.0, 8.0, 10.0, 10.0]


def test_a_link_that_breaks_before_a_byte_came_counts_as_a_failed_attempt(slept: list[Any]) -> None:
    transport = Script([sentence(1), GONE], [GONE], [GONE], [sentence(2), HANGS])
    listen(transport, 4, first_delay_s=0.5, longest_delay_s=10.0)
    assert slept == [0.5, 1.0, 2.0]


def test_delays_begin_again_after_the_device_was_back(slept: list[Any]) -> None:
    transport = Script([sentence(1), GONE], AWAY, AWAY, [sentence(2), GONE], [sentence(3), HANGS])
    listen(transport, 7, first_delay_s=0.5, longest_delay_s=10.0)
    assert slept == [0.5, 1.0, 2.0, 0.5]


def test_readings_on_both_sides_of_a_gap_never_join() -> None:
    whole = sentence(7, "1234.5")
    transport = Script([sentence(6) + whole[:14], GONE], [whole[14:] + sentence(9), HANGS])
    items = listen(transport, 5)
    assert kinds(items) == ["Reading", "Lost", "Back", "Reading", "Reading"]
    assert items[3].problem == "no checksum"
    assert (items[4].seq, items[4].missed) == (9, 0)


def test_the_end_of_a_number_after_a_gap_is_no_number() -> None:
    transport = Script([b"1234.5\n12", GONE], [b"34.5\n1234.5\n", HANGS])
    items = listen(transport, 3, load_profile("decimal-mm"))
    # Even at the start: the first line may have begun before the port was opened.
    assert kinds(items) == ["Lost", "Back", "Reading"]
    assert items[2].value_mm == 1234.5


def test_a_silent_device_is_told_once_and_opened_again_at_once() -> None:
    transport = Script([sentence(1), HANGS], [HANGS], [HANGS], [sentence(2), HANGS])
    items = listen(transport, 5, silence_s=0.03, first_delay_s=5.0, longest_delay_s=5.0)
    assert kinds(items) == ["Reading", "Notice", "Lost", "Back", "Reading"]
    assert "silent" in items[1].text
    assert items[2].reason == "nothing came for 0.03 s"
    waits = [b - a for a, b in itertools.pairwise(transport.opened)]
    # It is listened to for longer each time rather than left closed.
    assert waits[2] >= 0.06


def test_a_device_that_never_says_anything_is_told() -> None:
    assert kinds(listen(Script([HANGS]), 2, silence_s=0.02)) == ["Notice", "Lost"]


def test_silence_may_be_allowed() -> None:
    async def run() -> Script:
        transport = Script([HANGS])
        stream = supervise(transport, Decoder(SENTENCE), Clock(), silence_s=None)
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.05):
                await anext(stream)
        return transport

    assert not asyncio.run(run()).is_open


def test_noise_at_the_wrong_speed_is_told_once() -> None:
    noise = [b"\x80\x00\xf8" * 20] * 60
    items = listen(Script([*noise, HANGS], [HANGS]), 3, silence_s=0.05)
    assert kinds(items) == ["Reading", "Notice", "Notice"]
    assert items[0].problem == "too long"
    assert items[1].text.startswith("Bytes arrive but none make sense")
    assert "--baud" in items[1].text
    assert "without a whole message" in items[2].text


def test_noise_without_a_message_is_silence() -> None:
    drip = [b"\x80"] * 400
    transport = Script([sentence(1), *drip, HANGS], [*drip, HANGS], [sentence(2), HANGS])
    items = listen(transport, 5, silence_s=0.03)
    assert kinds(items) == ["Reading", "Notice", "Lost", "Back", "Reading"]
    assert "--baud" in items[1].text
    assert items[2].reason == "no whole message came for 0.03 s"
    assert items[4].seq == 2


def test_empty_lines_are_a_sign_of_the_device() -> None:
    class Dripping(Script):
        async def read(self) -> bytes:
            await asyncio.sleep(0.05)
            return await super().read()

    transport = Dripping([sentence(1), *[b"\r\n"] * 12, sentence(2), HANGS])
    assert kinds(listen(transport, 2, silence_s=0.3)) == ["Reading", "Reading"]


def test_the_wrong_profile_is_told_with_what_is_wrong() -> None:
    items = listen(Script([b"12.5\n"] * 21 + [HANGS]), 22)
    assert kinds(items) == ["Reading"] * 21 + ["Notice"]
    assert "(no checksum)" in items[-1].text


@pytest.mark.parametrize(
    ("data", "readings"),
    [
        (b"\r\n" * 600 + sentence(1), 1),
        (sentence(1) * 40, 40),
        (b"\x80" * 400 + b"\n" + sentence(1) + b"\xff" * 600 + b"\n", 3),
    ],
)
def test_what_makes_any_sense_is_not_complained_about(data: bytes, readings: int) -> None:
    items = listen(Script([data, GONE], [HANGS]), readings + 1)
    assert kinds(items) == ["Reading"] * readings + ["Lost"]


def test_cancelling_closes_the_device() -> None:
    async def run() -> Script:
        transport = Script([sentence(1), HANGS])

        async def consume() -> None:
            async for _ in supervise(transport, Decoder(SENTENCE), Clock()):
                pass

        task = asyncio.create_task(consume())
        await asyncio.sleep(0.02)
        assert transport.is_open
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        return transport

    assert not asyncio.run(run()).is_open


class Notified(Script):
    """A transport whose every read is one whole message, beside a battery's level."""

    whole_messages = True

    def __init__(
        self, *openings: list[bytes | object], battery: list[int] | tuple[Any, ...] = ()
    ) -> None:
        super().__init__(*openings)
        self._battery = list(battery)

    async def read(self) -> bytes:
        data = await super().read()
        if self._battery:
            self.battery_percent = self._battery.pop(0)
        return data


GATT = load_profile("gatt-rod")


def packet(seq: int, um: int = 57_000) -> bytes:
    return struct.pack("<HBBiI", seq, 0, 0, um, 0)


def test_one_notification_is_one_packet_whatever_came_before() -> None:
    transport = Notified([packet(1)[:-1], packet(2), packet(3) + b"\0", packet(4), HANGS])
    items = listen(transport, 4, GATT)
    assert [item.problem for item in items] == [
        "11 bytes where 12 make a packet",
        None,
        "13 bytes where 12 make a packet",
        None,
    ]
    assert [item.seq for item in items] == [None, 2, None, 4]


def test_a_line_may_come_in_several_notifications() -> None:
    whole = sentence(1)
    items = listen(Notified([whole[:9], whole[9:], HANGS]), 1)
    assert items[0].seq == 1


def test_the_batterys_level_is_told_when_it_changes() -> None:
    transport = Notified([packet(n) for n in range(4)] + [HANGS], battery=[76, 76, 75, 75])
    items = listen(transport, 6, GATT)
    assert kinds(items) == ["Reading", "Battery", "Reading", "Reading", "Battery", "Reading"]
    assert [item.percent for item in items if isinstance(item, Battery)] == [76, 75]


def test_another_device_in_the_rods_place_is_told_and_is_not_the_rod_back() -> None:
    transport = Script(
        [sentence(1), GONE],
        [b"$GPGGA,1*00\r\n"] * 25 + [HANGS],
        [sentence(7), HANGS],
    )
    items = listen(transport, 30, silence_s=0.05)
    assert kinds(items) == [
        *["Reading", "Lost"],
        *["Reading"] * 21,
        "Notice",
        *["Reading"] * 4,
        *["Back", "Reading"],
    ]
    (notice,) = [item for item in items if isinstance(item, Notice)]
    assert notice.text == (
        "What is there now does not speak as the rod did (checksum): is it another device? "
        "Look for the rod."
    )
    assert items[-1].seq == 7


def test_what_the_transport_has_noticed_while_it_waited_is_told() -> None:
    transport = Script([sentence(1), GONE], AWAY, [sentence(2), HANGS])
    transport.told = [[], ["Another port came."]]
    items = listen(transport, 5)
    assert kinds(items) == ["Reading", "Lost", "Notice", "Back", "Reading"]
    assert items[2].text == "Another port came."

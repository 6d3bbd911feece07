"""A device's readings as one stream that outlives the loss of the link."""

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Callable
from typing import NamedTuple

from rig.devices.clock import Clock
from rig.devices.decoder import DUPLICATE, OUT_OF_ORDER, Decoder
from rig.devices.reading import Back, Battery, Lost, Notice, Reading
from rig.devices.transport import Transport, TransportLost
from rig.errors import DeviceUnavailable
from rig.language import numeral, say

# Noise that makes no sense for so long is told to the user.
SENSELESS_MESSAGES = 20
SENSELESS_BYTES = 512


async def supervise(
    transport: Transport,
    decoder: Decoder,
    clock: Clock,
    *,
    silence_s: float | None = 3.0,
    first_delay_s: float = 0.5,
    longest_delay_s: float = 10.0,
    on_open: Callable[[], None] = lambda: None,
) -> AsyncGenerator[Reading | Lost | Back | Battery | Notice, None]:
    """Open a device and yield what it says, for ever, opening it again whenever it is lost.

    Parameters
    ----------
    transport, decoder, clock
        Where bytes come from, what makes readings of them, and their time.
    silence_s : float or None
        After so many real seconds without a message the user is told and the device opened again,
        for noise alone is no sign of it; None for a device that speaks only when asked.
    first_delay_s, longest_delay_s : float
        How long to wait before opening again: first, and at most. The wait doubles in between.
    on_open : callable
        Called once, when the device was opened for the first time.

    Yields
    ------
    Reading, Notice
    Lost
        Once for each loss, however many attempts it takes.
    Battery
        What the device tells of it beside its readings, whenever that changes.
    Back
        When messages come again, with the time since the last ones.

    Raises
    ------
    DeviceUnavailable
        It cannot be opened at the start.

    Notes
    -----
    Close the generator (`contextlib.aclosing`) or cancel the task that runs it: the transport is
    then closed.
    """
    sense = _Sense()
    percent: int | None = None
    flood = 1
    ears = _Ears(transport, decoder, clock)
    try:
        await transport.open()
        ears.begin()
        last_s, _ = ears.time
        on_open()
        while True:
            reason = None
            watchdog = asyncio.timeout(ears.left_s(silence_s))
            try:
                async with watchdog:
                    data, readings = await ears.hear()
            except (TransportLost, OSError) as error:
                reason = str(error)
            time_s, utc_s = clock.now()
            if reason is not None:
                silent = watchdog.expired()
                if silent:
                    reason, text = _silence(silence_s, ears.noise)
                    yield Notice(time_s, utc_s, text)
                yield Lost(time_s, utc_s, reason)
                again = _reach_again(
                    transport,
                    ears,
                    silence_s,
                    first_delay_s,
                    longest_delay_s,
                    at_once=silent,
                )
                async with contextlib.aclosing(again):
                    async for heard in again:
                        if isinstance(heard, Heard):
                            data, readings = heard
                        else:
                            yield (
                                heard
                                if isinstance(heard, Reading)
                                else Notice(*clock.now(), heard, transport.offered)
                            )
                time_s, utc_s = ears.time
                yield Back(time_s, utc_s, time_s - last_s)
            last_s = time_s
            for reading in readings:
                yield reading
            warning = None if sense.settled else sense.judge(data, readings)
            if warning is not None:
                yield Notice(time_s, utc_s, warning)
            if transport.dropped_bytes >= flood:
                flood = 10 * transport.dropped_bytes
                text = say(
                    "The rod sends faster than anybody can read: {dropped_bytes} bytes "
                    "were let go so far. Is this the rod, at its own speed (--baud)?",
                    dropped_bytes=transport.dropped_bytes,
                )
                yield Notice(time_s, utc_s, text)
            if transport.battery_percent not in (None, percent):
                percent = transport.battery_percent
                assert percent is not None
                yield Battery(time_s, utc_s, percent)
    finally:
        await transport.close()


class Heard(NamedTuple):
    """Bytes, and the messages that they complete."""

    data: bytes
    readings: list[Reading]


class _Ears:
    """Hears a transport's bytes as messages, and knows how long ago the last one was."""

    def __init__(self, transport: Transport, decoder: Decoder, clock: Clock) -> None:
        self.noise = False  # bytes came, but no message since
        self.time = (0.0, 0.0)  # of the last bytes
        self._transport, self._decoder, self._clock = transport, decoder, clock
        self._heard_s = 0.0
        # A notification is a packet as it was sent; lines may come in pieces, whatever carries
        # them.
        self._whole = transport.whole_messages and decoder.profile.framing != "line"

    def begin(self) -> None:
        """Start over with a link that was just opened."""
        self.time = self._clock.now()
        self._decoder.reset(self.time[0])
        self._message()

    def left_s(self, silence_s: float | None) -> float | None:
        """How much of so long a silence is left."""
        if silence_s is None:
            return None
        left_s = self._heard_s + silence_s - asyncio.get_running_loop().time()
        return max(left_s, silence_s / 10.0)  # what waited while nobody asked is heard first

    async def hear(self) -> Heard:
        """Wait for bytes; return them with what they complete."""
        data = await self._transport.read()
        time_s, utc_s = self.time = self._clock.now()
        if self._whole:
            readings = [self._decoder.message(data, time_s, utc_s)]
        else:
            readings = self._decoder.feed(data, time_s, utc_s)
        # An empty line is a sign too: some displays send nothing else while they have no beam.
        if readings or self._decoder.ends_line(data):
            self._message()
        else:
            self.noise = True
        return Heard(data, readings)

    def _message(self) -> None:
        self._heard_s = asyncio.get_running_loop().time()
        self.noise = False


def _silence(silence_s: float | None, noise: bool) -> tuple[str, str]:
    """Return the reason for a loss by silence, and what to tell the user."""
    if noise:
        return say("no whole message came for {silence} s", silence=numeral(silence_s, "g")), (
            say(
                "The rod is connected, but bytes without a whole message arrive: check the "
                "cable, --baud and --profile. Opening it again."
            )
        )
    return say("nothing came for {silence} s", silence=numeral(silence_s, "g")), (
        say("The rod is connected but silent; opening it again. Is it switched on and set to send?")
    )


async def _reach_again(
    transport: Transport,
    ears: _Ears,
    silence_s: float | None,
    first_delay_s: float,
    longest_delay_s: float,
    *,
    at_once: bool,
) -> AsyncGenerator[Heard | Reading | str, None]:
    """Open until a message comes that makes sense; yield it last, with its bytes.

    Before it come the messages that make none, and sentences for the user. A port that opens and
    stays silent is listened to for longer each time, not left closed for longer: what the device
    says meanwhile would be lost.
    """
    delay_s = 0.0 if at_once else first_delay_s
    listen_s = silence_s
    sense = _Sense()
    while True:
        await transport.close()
        for text in await transport.wait(delay_s):
            yield text
        watchdog = asyncio.timeout(None)
        try:
            await transport.open()
            ears.begin()
            end_s = None if listen_s is None else asyncio.get_running_loop().time() + listen_s
            while True:
                watchdog = asyncio.timeout_at(end_s)
                async with watchdog:  # never round a yield: it would cut off who listens to us
                    heard = await ears.hear()
                if ears.noise and not heard.readings:
                    continue
                if _is_the_rod(heard):
                    yield heard
                    return
                for reading in heard.readings:
                    yield reading
                if sense.finds_another(heard):
                    yield (
                        say(
                            "What is there now does not speak as the rod did{problem}: is it "
                            "another device? {other_device}",
                            problem=sense.problem,
                            other_device=transport.other_device,
                        )
                    )
        except (DeviceUnavailable, OSError):
            if listen_s is not None and watchdog.expired():
                delay_s = 0.0
                listen_s = min(2 * listen_s, max(longest_delay_s, listen_s))
            else:
                delay_s = min(max(2 * delay_s, first_delay_s), longest_delay_s)


def _is_the_rod(heard: Heard) -> bool:
    return not heard.readings or any(_makes_sense(one) for one in heard.readings)


def _makes_sense(reading: Reading) -> bool:
    return reading.problem in (None, DUPLICATE, OUT_OF_ORDER)


class _Sense:
    """Finds out once whether what arrives makes any sense in this profile."""

    def __init__(self) -> None:
        self.settled = False
        self.problem = ""  # of the last message that made none
        self._bytes = 0
        self._messages = 0

    def finds_another(self, heard: Heard) -> bool:
        """Whether this settles that what is there makes no sense; said once."""
        return not self.settled and self.judge(*heard) is not None

    def judge(self, data: bytes, readings: list[Reading]) -> str | None:
        # Line ends alone are no noise: some displays send empty lines while they have no beam.
        self._bytes += len(data) - data.count(b"\r") - data.count(b"\n")
        self._messages += len(readings)
        for reading in readings:
            if _makes_sense(reading):
                self.settled = True
                return None
            self.problem = f" ({reading.problem})"
        if self._messages <= SENSELESS_MESSAGES and self._bytes <= SENSELESS_BYTES:
            return None
        self.settled = True
        return say(
            "Bytes arrive but none make sense{problem}: check --baud and --profile.",
            problem=self.problem,
        )

"""A device's readings as one stream that outlives the loss of the link."""

import asyncio
from collections.abc import AsyncGenerator, Callable

from rig.devices.clock import Clock
from rig.devices.decoder import DUPLICATE, OUT_OF_ORDER, Decoder
from rig.devices.reading import Back, Battery, Lost, Notice, Reading
from rig.devices.transport import Transport, TransportLost
from rig.errors import DeviceUnavailable

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
                data, readings = await _reach_again(
                    transport,
                    ears,
                    silence_s,
                    first_delay_s,
                    longest_delay_s,
                    at_once=silent,
                )
                time_s, utc_s = ears.time
                yield Back(time_s, utc_s, time_s - last_s)
            last_s = time_s
            for reading in readings:
                yield reading
            warning = None if sense.settled else sense.judge(data, readings)
            if warning is not None:
                yield Notice(time_s, utc_s, warning)
            if transport.battery_percent not in (None, percent):
                percent = transport.battery_percent
                assert percent is not None
                yield Battery(time_s, utc_s, percent)
    finally:
        await transport.close()


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

    async def hear(self) -> tuple[bytes, list[Reading]]:
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
        return data, readings

    def _message(self) -> None:
        self._heard_s = asyncio.get_running_loop().time()
        self.noise = False


def _silence(silence_s: float | None, noise: bool) -> tuple[str, str]:
    """Return the reason for a loss by silence, and what to tell the user."""
    if noise:
        return f"no whole message came for {silence_s:g} s", (
            "The rod is connected, but bytes without a whole message arrive: check the cable, "
            "--baud and --profile. Opening it again."
        )
    return f"nothing came for {silence_s:g} s", (
        "The rod is connected but silent; opening it again. Is it switched on and set to send?"
    )


async def _reach_again(
    transport: Transport,
    ears: _Ears,
    silence_s: float | None,
    first_delay_s: float,
    longest_delay_s: float,
    *,
    at_once: bool,
) -> tuple[bytes, list[Reading]]:
    """Open until a message comes, and return it with its bytes.

    A port that opens and stays silent is listened to for longer each time, not left closed for
    longer: what the device says meanwhile would be lost.
    """
    delay_s = 0.0 if at_once else first_delay_s
    listen_s = silence_s
    while True:
        await transport.close()
        await transport.wait(delay_s)
        watchdog = asyncio.timeout(listen_s)
        try:
            await transport.open()
            ears.begin()
            async with watchdog:
                while True:
                    data, readings = await ears.hear()
                    if not ears.noise:
                        return data, readings
        except (DeviceUnavailable, OSError):
            if listen_s is not None and watchdog.expired():
                delay_s = 0.0
                listen_s = min(2 * listen_s, max(longest_delay_s, listen_s))
            else:
                delay_s = min(max(2 * delay_s, first_delay_s), longest_delay_s)


class _Sense:
    """Finds out once whether what arrives makes any sense in this profile."""

    def __init__(self) -> None:
        self.settled = False
        self._bytes = 0
        self._messages = 0
        self._problem = ""

    def judge(self, data: bytes, readings: list[Reading]) -> str | None:
        # Line ends alone are no noise: some displays send empty lines while they have no beam.
        self._bytes += len(data) - data.count(b"\r") - data.count(b"\n")
        self._messages += len(readings)
        for reading in readings:
            if reading.problem in (None, DUPLICATE, OUT_OF_ORDER):
                self.settled = True
                return None
            self._problem = f" ({reading.problem})"
        if self._messages <= SENSELESS_MESSAGES and self._bytes <= SENSELESS_BYTES:
            return None
        self.settled = True
        return f"Bytes arrive but none make sense{self._problem}: check --baud and --profile."

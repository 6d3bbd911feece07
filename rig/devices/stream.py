"""A device's readings as one stream that outlives the loss of the link."""

import asyncio
from collections.abc import AsyncIterator

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
) -> AsyncIterator[Reading | Lost | Back | Battery | Notice]:
    """Open a device and yield what it says, for ever, opening it again whenever it is lost.

    Parameters
    ----------
    transport, decoder, clock
        Where bytes come from, what makes readings of them, and their time.
    silence_s : float or None
        After so many real seconds without a byte the user is told and the device opened again;
        None for a device that speaks only when asked.
    first_delay_s, longest_delay_s : float
        How long to wait before opening again: first, and at most. The wait doubles in between.

    Yields
    ------
    Reading, Notice
    Lost
        Once for each loss, however many attempts it takes.
    Battery
        What the device tells of it beside its readings, whenever that changes.
    Back
        When bytes come again, with the time since the last ones.

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
    # A notification is a packet as it was sent; lines may come in pieces, whatever carries them.
    whole = transport.whole_messages and decoder.profile.framing == "packet"
    try:
        await transport.open()
        last_s, _ = clock.now()
        decoder.reset(last_s)
        while True:
            watchdog = asyncio.timeout(silence_s)
            reason = None
            try:
                async with watchdog:
                    data = await transport.read()
            except (TransportLost, OSError) as error:
                reason = str(error)
            time_s, utc_s = clock.now()
            if reason is not None:
                silent = watchdog.expired()
                if silent:
                    reason = f"nothing came for {silence_s:g} s"
                    text = "The rod is connected but silent; opening it again."
                    yield Notice(time_s, utc_s, text + " Is it switched on and set to send?")
                yield Lost(time_s, utc_s, reason)
                data = await _reach_again(
                    transport,
                    decoder,
                    clock,
                    silence_s,
                    first_delay_s,
                    longest_delay_s,
                    at_once=silent,
                )
                time_s, utc_s = clock.now()
                yield Back(time_s, utc_s, time_s - last_s)
            last_s = time_s
            if whole:
                readings = [decoder.message(data, time_s, utc_s)]
            else:
                readings = decoder.feed(data, time_s, utc_s)
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


async def _reach_again(
    transport: Transport,
    decoder: Decoder,
    clock: Clock,
    silence_s: float | None,
    first_delay_s: float,
    longest_delay_s: float,
    *,
    at_once: bool,
) -> bytes:
    """Open until bytes come, and return them.

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
            decoder.reset(clock.now()[0])
            async with watchdog:
                return await transport.read()
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

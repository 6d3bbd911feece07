"""A serial port, or what `serial.serial_for_url` opens as one, such as ``socket://host:port``.

One thread owns the port from opening to closing, because a port can block in each of them; it
posts what it reads to the event loop. pyserial is imported when a port is opened or looked for.
"""

import asyncio
import contextlib
import errno
import os
import socket
import stat
import threading
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from rig.devices.asking import Asker, SerialLine
from rig.devices.decoder import Decoder
from rig.devices.ports import Adapter, adapter_at, lasting_name, list_ports
from rig.devices.profile import Profile
from rig.devices.transport import TransportLost
from rig.errors import BadInput, DeviceUnavailable
from rig.language import join, say

if TYPE_CHECKING:
    from serial import Serial

# How soon the thread looks whether it should stop, on ports whose read cannot be called off.
_LOOK_UP_S = 0.1
_MOST_BYTES = 4096
# So much waits for the session at the most, about a second of a line that never pauses: what a
# flood brings beyond it would only be told too late.
MOST_HELD_BYTES = 65_536
# How often it looks whether a polled rod is to be asked, and how long a question may take to send.
_ASK_UP_S = 0.01
_SENDING_S = 1.0
USUAL_BAUD = 9600

# How often it looks for other ports while its own is gone, how long one that came is listened to,
# and how many readings make it the rod, how many that are none another device.
_LOOK_AROUND_S = 1.0
_LISTEN_S = 3.0
_ENOUGH_READINGS = 3
_ENOUGH_NONSENSE = 20


class SerialTransport:
    """A device at a serial port.

    Parameters
    ----------
    url : str
        A device (``/dev/ttyUSB0``, ``COM3``, a pseudo-terminal) or a URL of pyserial.
    baud : int, optional
        Its speed, where it is not the line's; sockets and pseudo-terminals take any.
    profile : Profile, optional
        Of the rod, for how its line is run and how it is asked; else by itself, with 8 data bits,
        no parity and 1 stop bit.

    Raises
    ------
    BadInput
        The URL or the speed cannot be right.
    """

    whole_messages = False
    other_device = say(
        "Plug the rod in there again, or stop and name its port by the name that stays its "
        "own: rig devices shows it, in /dev/serial/by-id."
    )

    def __init__(self, url: str, baud: int | None = None, profile: Profile | None = None) -> None:
        line = profile.serial if profile else SerialLine()
        baud = line.baud or USUAL_BAUD if baud is None else baud
        if baud <= 0:
            raise BadInput(
                say(
                    "A speed of {baud} baud is not possible; common are 9600 and 115200.", baud=baud
                )
            )
        if not url.strip():
            raise BadInput(say("No serial port is named; give one such as /dev/ttyUSB0."))
        if "://" in url:
            _check_url(url)
        self.url = url
        self.baud = baud
        self._line = line
        self._profile = profile
        self._answer_size = profile.answer_size if profile else None
        self._seen: set[str] = set()  # ports that are known not to be the rod's new one
        self._adapter: Adapter | None = None
        self.offered: str | None = None
        self._hurry = False
        self.battery_percent: int | None = None  # no port tells it beside the readings
        self._session: _Session | None = None

    async def open(self) -> None:
        """Open the port.

        Raises
        ------
        DeviceUnavailable
            It is not there, busy, or not allowed; in words that say what to do.
        BadInput
            The port cannot be run at this speed.
        """
        await self.close()
        session = self._session = _Session(self.url, self.baud, self._line, self._answer_size)
        try:
            await session.opened
        except BaseException:
            await self.close()
            raise
        self.offered = None
        if "://" not in self.url:
            self._remember()

    @property
    def dropped_bytes(self) -> int:
        """What came faster than it could be taken since the port was opened."""
        return self._session.dropped if self._session is not None else 0

    async def read(self) -> bytes:
        """Wait for bytes and return all that are there; raise `TransportLost` when it is gone."""
        if self._session is None:
            raise TransportLost(say("{url} is not open", url=self.url))
        return await self._session.read()

    async def close(self) -> None:
        """Close the port and wait until it is closed."""
        session, self._session = self._session, None
        if session is not None:
            session.stop()
            # Connecting cannot be called off; its thread then closes by itself.
            if not session.opening:
                await session.closed
                session.thread.join()  # it has nothing left to do

    async def wait(self, longest_s: float) -> Sequence[str]:
        """Wait before the next attempt, at most so long; less where the port is there again.

        Returns what the user should know: that another device is plugged in under the port's name,
        or that one that speaks as the rod does came under another.
        """
        loop = asyncio.get_running_loop()
        end = loop.time() + longest_s
        if "://" in self.url:
            await asyncio.sleep(longest_s)
            return ()
        if os.path.exists(self.url) and not self._hurry:
            await asyncio.sleep(longest_s)
        self._hurry = False
        look_s = loop.time()
        while loop.time() < end and not os.path.exists(self.url):
            if loop.time() >= look_s:
                told = await self._look_around()
                if told:
                    return told
                look_s = loop.time() + _LOOK_AROUND_S
            await asyncio.sleep(max(0.0, min(_LOOK_UP_S, end - loop.time())))
        return self._compare()

    def take_offer(self) -> None:
        """Go on with the port that was offered, if one was."""
        if self.offered is not None:
            self.url, self.offered = self.offered, None
            self._adapter = None
            self._hurry = True

    def _remember(self) -> None:
        # A few milliseconds, and only when the port is opened, as looking is while it is gone.
        self._seen = {port.url for port in list_ports()}
        self._adapter = adapter_at(self.url)

    def _compare(self) -> Sequence[str]:
        """Tell, once, where the port is there again with something else behind it."""
        if self._adapter is None or not os.path.exists(self.url):
            return ()
        before, now = self._adapter, adapter_at(self.url)
        if now is None or now == before:
            return ()
        self._adapter = now
        return (
            say(
                "Another device is plugged in at {url} now. {other_device}",
                url=self.url,
                other_device=self.other_device,
            ),
        )

    async def _look_around(self) -> Sequence[str]:
        """Listen to ports that came since the rod was heard; offer one that speaks as it does."""
        if self._profile is None or self.offered is not None:
            return ()
        ports = {port.url for port in list_ports()}
        self._seen &= ports  # what is pulled and plugged in again is looked at again
        for url in sorted(ports - self._seen):
            self._seen.add(url)
            if await self._speaks(url, self._profile):
                self.offered = url
                return (self._offer(url),)
        return ()

    async def _speaks(self, url: str, profile: Profile) -> bool:
        decoder = Decoder(profile)
        loop = asyncio.get_running_loop()
        session = _Session(url, self.baud, self._line, self._answer_size)
        good = 0
        try:
            async with asyncio.timeout(_LISTEN_S):
                await session.opened
                decoder.reset(loop.time())
                while good < _ENOUGH_READINGS and decoder.bad < _ENOUGH_NONSENSE:
                    now_s = loop.time()
                    readings = decoder.feed(await session.read(), now_s, now_s)
                    good += sum(reading.status != "bad" for reading in readings)
        except TimeoutError:
            return False
        except (DeviceUnavailable, BadInput):
            self._seen.discard(url)  # the system may not have given it to us yet
            return False
        finally:
            session.stop()
            if not session.opening:
                await session.closed
        return good >= _ENOUGH_READINGS and decoder.bad <= good

    def _offer(self, url: str) -> str:
        name = lasting_name(url) or url
        if name == url:
            return say(
                "{url} is gone, and {other} came, which speaks as the rod does: press p to go on "
                "with it. Or plug the rod in where it was.",
                url=self.url,
                other=url,
            )
        return say(
            "{url} is gone, and {other} came, which speaks as the rod does: press p to go on with "
            "it, or stop and start it with --serial {name}. Or plug the rod in where it was.",
            url=self.url,
            other=url,
            name=name,
        )


class _Session:
    """One opening of a port, with the thread that owns it."""

    def __init__(self, url: str, baud: int, line: SerialLine, answer_size: int | None) -> None:
        self._url = url
        self._baud = baud
        self._line = line
        asking = line.asking
        self._asker = Asker(asking, answer_size, line.line_end) if asking else None
        self._loop = asyncio.get_running_loop()
        self._stop = threading.Event()
        # Held so that a read is never called off on a port that is being closed.
        self._lock = threading.Lock()
        self._cancel_read: Callable[[], object] | None = None
        self.opening = True
        self._data = bytearray()
        self._held = 0
        self.dropped = 0
        self._lost: str | None = None
        self._news = asyncio.Event()
        self.opened: asyncio.Future[None] = self._loop.create_future()
        self.closed: asyncio.Future[None] = self._loop.create_future()
        self.thread = threading.Thread(target=self._run, name=f"serial {url}", daemon=True)
        self.thread.start()

    async def read(self) -> bytes:
        """Wait for bytes, as `SerialTransport.read` does."""
        while not self._data:
            if self._lost is not None:
                raise TransportLost(self._lost)
            self._news.clear()
            await self._news.wait()
        data = bytes(self._data)
        self._data.clear()
        with self._lock:
            self._held -= len(data)
        return data

    def stop(self) -> None:
        """Ask the thread to close the port and end."""
        self._stop.set()
        with self._lock:
            if self._cancel_read is not None:
                self._cancel_read()

    def _run(self) -> None:
        try:
            port = _open_port(self._url, self._baud, self._line)
        except Exception as error:
            self._post(self._fail, error)
        else:
            try:
                self._cancel_read = getattr(port, "cancel_read", None)
                self._post(self._succeed)
                self._read_on(port)
            # pyserial lets several kinds through when a device goes; to us each means it is gone.
            except Exception as error:
                self._post(self._lose, _reason_lost(self._url, error))
            finally:
                with self._lock:
                    self._cancel_read = None
                with contextlib.suppress(Exception):
                    port.close()
        self._post(self._finish)

    def _read_on(self, port: "Serial") -> None:
        asker = self._asker
        while not self._stop.is_set():
            if asker is not None and (request := asker.due(time.monotonic())):
                port.write(request)
            data = port.read(1)
            if not data:
                continue
            try:
                while len(data) < _MOST_BYTES and (waiting := port.in_waiting):
                    data += port.read(min(waiting, _MOST_BYTES))
            finally:
                if asker is not None:
                    data = asker.take(data)
                with self._lock:
                    full = self._held + len(data) > MOST_HELD_BYTES
                    if full:
                        self.dropped += len(data)
                    else:
                        self._held += len(data)
                if not full:
                    self._post(self._take, data)

    def _post(self, call: Callable[..., object], *arguments: object) -> None:
        # The loop may be gone at the end of the program; then nobody listens any more.
        with contextlib.suppress(RuntimeError):
            self._loop.call_soon_threadsafe(call, *arguments)

    def _take(self, data: bytes) -> None:
        self._data += data
        if data:
            self._news.set()

    def _lose(self, reason: str) -> None:
        self._lost = reason
        self._news.set()

    def _succeed(self) -> None:
        self.opening = False
        if not self.opened.done():
            self.opened.set_result(None)

    def _fail(self, error: Exception) -> None:
        self.opening = False
        if not self.opened.done():
            self.opened.set_exception(error)

    def _finish(self) -> None:
        if not self.closed.done():
            self.closed.set_result(None)


def _check_url(url: str) -> None:
    try:
        parts = urlsplit(url)
        whole = parts.scheme != "socket" or (parts.hostname and parts.port is not None)
    except ValueError:
        whole = False
    if not whole:
        raise BadInput(say("{url} is not complete; write it as socket://host:port.", url=url))


def _open_port(url: str, baud: int, line: SerialLine) -> "Serial":
    import serial

    parity = {name: sign for sign, name in serial.PARITY_NAMES.items()}[line.parity.capitalize()]
    try:
        port = serial.serial_for_url(
            url,
            do_not_open=True,
            baudrate=baud,
            bytesize=line.data_bits,
            parity=parity,
            stopbits=line.stop_bits,
            timeout=_ASK_UP_S if line.asking else _LOOK_UP_S,
            write_timeout=_SENDING_S,
            exclusive=True,
        )
        if line.dtr is not None:
            port.dtr = line.dtr
        if line.rts is not None:
            port.rts = line.rts
    except (ValueError, OSError) as error:
        raise BadInput(
            say("{url} cannot be used as a serial port: {error}.", url=url, error=error)
        ) from None
    try:
        port.open()
    except ValueError as error:
        raise BadInput(
            say("{url} cannot run at {baud} baud: {error}.", url=url, baud=baud, error=error)
        ) from None
    except Exception as error:
        raise DeviceUnavailable(_why_not(url, error)) from None
    return port


def _why_not(url: str, error: Exception) -> str:
    """Say in plain words why a port did not open, and what to do."""
    cause = error.__context__
    if url.startswith("socket://"):
        place = url.removeprefix("socket://")
        if isinstance(cause, ConnectionRefusedError):
            return say("Nothing answers at {place}. Start what serves the rod there.", place=place)
        if isinstance(cause, TimeoutError):
            return say(
                "No answer from {place}. Check the address, and that it is in this network.",
                place=place,
            )
        if isinstance(cause, socket.gaierror):
            return say(
                "There is no computer with the name of {place}. Check the address.", place=place
            )
        return say("{place} cannot be reached: {plain}.", place=place, plain=_plain(error))
    code = getattr(error, "errno", None)
    if code in (errno.ENOENT, errno.ENODEV, errno.ENXIO) or not os.path.exists(url):
        there = join(", ", (port.url for port in list_ports())) or "none"
        return say(
            "There is no serial port {url} here; there are: {there}. Plug the rod in, or "
            "name its port with --serial; a name in /dev/serial/by-id stays the same "
            "wherever it is plugged in.",
            url=url,
            there=there,
        )
    if code in (errno.EACCES, errno.EPERM):
        return say(
            "You are not allowed to open {url}. It belongs to the group {group}: run `sudo "
            "usermod -aG {group} $USER`, then sign out and in again.",
            url=url,
            group=_group(url),
        )
    if code in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK):
        return say("{url} is busy: another program has it open. Close that first.", url=url)
    if not _is_character_device(url):
        return say("{url} is not a serial port. Name the rod's port with --serial.", url=url)
    return say("{url} cannot be opened: {plain}.", url=url, plain=_plain(error))


def _reason_lost(url: str, error: Exception) -> str:
    if url.startswith("socket://"):
        return say("{url} closed the connection", url=url)
    if not os.path.exists(url):
        return say("{url} is gone: unplugged?", url=url)
    return say("{url} does not answer any more", url=url)


def _plain(error: Exception) -> str:
    cause = error.__context__
    text = getattr(cause, "strerror", None) or getattr(error, "strerror", None) or str(error)
    return str(text).rstrip(".")


def _group(path: str) -> str:
    try:
        import grp

        return grp.getgrgid(os.stat(path).st_gid).gr_name
    except (ImportError, OSError, KeyError):
        return "dialout"


def _is_character_device(path: str) -> bool:
    try:
        return stat.S_ISCHR(os.stat(path).st_mode)
    except OSError:
        return True

"""A serial rod on a pseudo-terminal: the invented world served in step with the wall clock.

The port behaves as a serial port with a real rod on it does: it sends whether or not anybody
reads, loses the oldest bytes when nobody does, and lets readers come and go.
"""

import contextlib
import ctypes
import fcntl
import json
import os
import pty
import select
import shutil
import signal
import struct
import sys
import tempfile
import termios
import tty
from collections.abc import Iterator
from pathlib import Path

from simulated_devices import Refused
from simulated_devices.pace import Pace, pace_of
from simulated_devices.points_walk import PointsWalk
from simulated_devices.steered import Steered
from simulated_devices.truth import TruthFile
from simulated_devices.walker import Walker
from simulated_devices.world import World

SHORTEST_SLEEP_S = 0.002  # messages that are due within it go out together
LONGEST_SLEEP_S = 0.5
KEPT_UNREAD = 1024  # bytes kept for a reader who is not there
KEPT_FOR_READER = 1_000_000  # bytes kept for one who is held up
TORN = 512  # bytes lost at a time

IN_CLOSE, IN_OPEN, IN_NONBLOCK, IN_CLOEXEC = 0x18, 0x20, 0o4000, 0o2000000  # from <sys/inotify.h>


class Readers:
    """Tells whether somebody has a file open, by Linux's inotify."""

    def __init__(self, path: str) -> None:
        libc = ctypes.CDLL(None, use_errno=True)
        self._descriptor = libc.inotify_init1(IN_NONBLOCK | IN_CLOEXEC)
        watch = libc.inotify_add_watch(self._descriptor, os.fsencode(path), IN_OPEN | IN_CLOSE)
        if self._descriptor < 0 or watch < 0:
            raise Refused(f"{path} cannot be watched: {os.strerror(ctypes.get_errno())}.")
        self._open = 0

    def any(self) -> bool:
        with contextlib.suppress(BlockingIOError):
            seen = os.read(self._descriptor, 65536)
            for _, mask, _, length in struct.iter_unpack("iIII", seen):
                assert length == 0  # a watched file's events carry no name
                self._open = max(0, self._open + (1 if mask & IN_OPEN else -1))
        return self._open > 0

    def close(self) -> None:
        os.close(self._descriptor)


class Port:
    """A pseudo-terminal in raw mode, reached under a link's name where one is given."""

    def __init__(self, link: Path | None) -> None:
        self._link = link
        self._master = self._slave = -1
        self._readers: Readers | None = None
        self.read_from = False  # somebody has opened it
        self.open()

    @property
    def is_open(self) -> bool:
        return self._master >= 0

    @property
    def path(self) -> str:
        return str(self._link or self._name)

    @property
    def master(self) -> int:
        return self._master

    def open(self) -> None:
        try:
            # The slave stays open here, so that the line stays up while readers come and go.
            self._master, self._slave = pty.openpty()
        except OSError as error:
            raise Refused(f"No pseudo-terminal can be opened: {error.strerror}.") from None
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        os.set_blocking(self._slave, False)
        self._name = os.ttyname(self._slave)
        self._waiting = bytearray()  # for a reader who is held up
        self._readers = Readers(self._name)
        if self._link is not None:
            _point(self._link, self._name)

    def close(self) -> None:
        """Pull the plug: readers see the port vanish."""
        if self._link is not None and self._link.is_symlink():
            self._link.unlink()
        for descriptor in (self._master, self._slave):
            if descriptor >= 0:
                os.close(descriptor)
        if self._readers is not None:
            self._readers.close()
            self._readers = None
        self._master = self._slave = -1

    def write(self, data: bytes) -> None:
        """Send, never waiting; where nobody reads, what does not fit pushes out what is oldest."""
        reader = self.has_reader()
        unread = self._unread() + len(self._waiting) + len(data)
        self._lose(unread - (KEPT_FOR_READER if reader else KEPT_UNREAD))
        self._waiting += data
        for _ in range(16):
            try:
                sent = os.write(self._master, self._waiting)
            except BlockingIOError:
                if reader:  # held up, and soon back: fast simulated time must not cost him a line
                    break
                self._lose(TORN)
                continue
            del self._waiting[:sent]
            if not self._waiting:
                break

    def has_reader(self) -> bool:
        """Whether somebody has the port open now."""
        reader = self._readers is not None and self._readers.any()
        self.read_from |= reader
        return reader

    def drain(self) -> None:
        """Take and forget what a reader sends to the rod; it has no ears."""
        with contextlib.suppress(OSError):
            os.read(self._master, 4096)

    def _unread(self) -> int:
        (count,) = struct.unpack("i", fcntl.ioctl(self._slave, termios.FIONREAD, b"\0" * 4))
        return int(count)

    def _lose(self, count: int) -> None:
        if count <= 0:
            return
        with contextlib.suppress(BlockingIOError):
            os.read(self._slave, count)


def serve(
    world: World,
    *,
    speed: float = 1.0,
    link: Path | None = None,
    truth: Path | None = None,
) -> None:
    """Print the port's path and serve until a signal, or until the tool that is followed has gone.

    Parameters
    ----------
    world : World
        Where its mover is a `Walker`, the tool's events are read from standard input, one JSON
        object a line, and the end of input ends the serving.
    speed : float
        Simulated seconds a second of the wall clock.
    link : Path, optional
        A name under which the port is to be found, also after the link was lost.
    truth : Path, optional
        Where the truth file is kept.

    Raises
    ------
    Refused
        When the port, the link or the truth file cannot be made.
    """
    with contextlib.ExitStack() as stack:
        if link is None and "drop" in world.chosen:
            # It must come back under the same name, and a pseudo-terminal's number may change.
            folder = tempfile.mkdtemp(prefix="simulated-rod-")
            stack.callback(shutil.rmtree, folder, ignore_errors=True)
            link = Path(folder) / "rod"
        stopped = stack.enter_context(stop_signals())
        file = TruthFile(truth, world) if truth else None
        port = Port(link)
        stack.callback(port.close)
        print(port.path, flush=True)
        _loop(world, port, file, speed, stopped)
        if file:
            file.update(at_end=True)


def _loop(world: World, port: Port, file: TruthFile | None, speed: float, stopped: int) -> None:
    world.heard_s, world.listening = None, False
    walker = world.mover if isinstance(world.mover, Walker | Steered) else None
    stdin = sys.stdin.fileno() if walker else -1
    heard = b""
    pace = pace_of(world, speed)

    def catch_up() -> None:
        data = b"".join(sent.data for sent in pace.sent())
        if port.is_open and data:
            port.write(data)

    while True:
        catch_up()
        if port.is_open != world.link_up():
            port.close() if port.is_open else port.open()
        port.has_reader()
        if port.read_from:
            world.listen()
            world.listening = True
            if isinstance(world.mover, PointsWalk):
                world.mover.begin(world.time_s)
        if walker:
            for notice in walker.notices:
                print(f"simulated_devices: {notice}", file=sys.stderr)
            walker.notices.clear()
        if file:
            file.update()

        sources = [stopped, *([port.master] if port.is_open else []), *([stdin] if walker else [])]
        sleep = min(max(pace.due_s(), SHORTEST_SLEEP_S), LONGEST_SLEEP_S)
        ready, _, _ = select.select(sources, [], [], sleep)
        if stopped in ready:
            return
        if port.is_open and port.master in ready:
            port.drain()
        if walker and stdin in ready:
            more = os.read(stdin, 65536)
            if not more:
                return
            catch_up()  # what is heard is heard now, not when the last message went out
            *lines, heard = (heard + more).split(b"\n")
            for line in lines:
                hear(world, pace, line)


def hear(world: World, pace: Pace, line: bytes) -> None:
    """Pass one line of the tool's events on to the world; complain of what is none."""
    if not line.strip():
        return
    try:
        told = json.loads(line)
    except ValueError:
        told = None
    if told == {"do": "go"}:
        pace.go()
    elif isinstance(told, dict):
        world.event(told)
    else:
        shown = line[:60].decode("utf-8", "replace")
        print(f"simulated_devices: this is no event: {shown}", file=sys.stderr)


def _point(link: Path, target: str) -> None:
    """Let a link point at a terminal; a file that is no link is left alone."""
    if link.exists() and not link.is_symlink():
        raise Refused(f"{link} is there already and is no link; give another name to --link.")
    beside = link.with_name(f".{link.name}.{os.getpid()}")
    try:
        beside.symlink_to(target)
        beside.replace(link)
    except OSError as error:
        raise Refused(f"The link {link} cannot be made: {error.strerror}.") from None


@contextlib.contextmanager
def stop_signals() -> Iterator[int]:
    """Yield a descriptor that becomes readable when a signal asks to stop."""
    reader, writer = os.pipe()
    os.set_blocking(writer, False)

    def stop(number: int, frame: object) -> None:
        with contextlib.suppress(BlockingIOError):
            os.write(writer, b"x")

    caught = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
    before = {number: signal.signal(number, stop) for number in caught}
    try:
        yield reader
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        os.close(reader)
        os.close(writer)

"""Keys in the terminal become acts: accept, undo, skip, go to a label, stop.

Keys work from a terminal or a pipe; where standard input is neither, there simply are none.
"""

import asyncio
import contextlib
import os
import signal
import sys
from collections.abc import AsyncIterator, Iterator
from typing import Protocol

from rig.devices.clock import Clock
from rig.language import say
from rig.session.items import Act

KEYS = {" ": "accept", "u": "undo", "s": "skip", "p": "port", "q": "quit"}
HELP = say("space accept · u undo · s skip · g LABEL Enter go to · q stop")


class KeyParser:
    """Turn typed characters into (act, argument) pairs; a state machine without I/O."""

    def __init__(self) -> None:
        self._label: str | None = None

    def feed(self, text: str) -> list[tuple[str, str | None]]:
        """Return the acts that these characters complete."""
        acts: list[tuple[str, str | None]] = []
        for key in text:
            if self._label is not None:
                if key in "\r\n":
                    if self._label:
                        acts.append(("goto", self._label.upper()))
                    self._label = None
                elif key in "\x7f\b":
                    self._label = self._label[:-1]
                elif key.isalnum():
                    self._label += key
                else:
                    self._label = None
            elif key.lower() == "g":
                self._label = ""
            elif key.lower() in KEYS:
                acts.append((KEYS[key.lower()], None))
        return acts


class Parser(Protocol):
    """What makes acts of characters."""

    def feed(self, text: str) -> list[tuple[str, str | None]]:
        """Return the acts that these characters complete."""


async def keys(clock: Clock, parser: Parser | None = None) -> AsyncIterator[Act]:
    """Yield an act for each key until standard input ends; the survey's keys unless said."""
    parser = parser or KeyParser()
    try:
        descriptor = sys.stdin.fileno()
    except (ValueError, OSError, AttributeError):
        return
    if os.isatty(descriptor) and os.tcgetpgrp(descriptor) != os.getpgrp():
        return  # in the background the terminal is not ours to read or set
    loop = asyncio.get_running_loop()
    arrived: asyncio.Queue[bytes] = asyncio.Queue()

    def ready() -> None:
        try:
            data = os.read(descriptor, 1024)
        except OSError:
            data = b""
        if not data:
            loop.remove_reader(descriptor)
        arrived.put_nowait(data)

    with _unbuffered(descriptor, loop):
        try:
            loop.add_reader(descriptor, ready)
        except (OSError, ValueError):
            return  # /dev/null or a plain file: no keys
        try:
            while data := await arrived.get():
                for name, argument in parser.feed(data.decode("utf-8", "ignore")):
                    yield Act(*clock.now(), name, argument)
        finally:
            loop.remove_reader(descriptor)


@contextlib.contextmanager
def _unbuffered(descriptor: int, loop: asyncio.AbstractEventLoop) -> Iterator[None]:
    """Single keys without Enter and without echo, undone at the end; nothing to do for a pipe.

    Who was stopped (Ctrl-Z) finds the terminal as the shell left it: it is set again then.
    """
    if not os.isatty(descriptor):
        yield
        return
    import termios
    import tty

    before = termios.tcgetattr(descriptor)
    tty.setcbreak(descriptor)
    with contextlib.suppress(RuntimeError, ValueError, NotImplementedError):
        loop.add_signal_handler(signal.SIGCONT, tty.setcbreak, descriptor)
    try:
        yield
    finally:
        with contextlib.suppress(RuntimeError, ValueError, NotImplementedError):
            loop.remove_signal_handler(signal.SIGCONT)
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)

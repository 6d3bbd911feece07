"""How a serial line is run, and when a rod that speaks only when asked is asked again.

It reads, writes and waits for nothing: the port's thread tells it what came and sends what is due.
"""

from dataclasses import dataclass
from typing import Literal

Parity = Literal["none", "even", "odd", "mark", "space"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """What is sent to a polled rod, how often, and how long its answer may take.

    Attributes
    ----------
    request : bytes
        What makes it answer.
    every_s, within_s : float
        From one question to the next, and how long an answer is waited for.
    """

    request: bytes
    every_s: float
    within_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SerialLine:
    """How a serial line is run; what a profile leaves out is as most rods have it.

    Attributes
    ----------
    baud : int or None
        Its speed, where the profile says one.
    dtr, rts : bool or None
        How the two lines are held while the port is open; None leaves them to the system.
    line_end : bytes or None
        What ends a line; None takes CR, LF and CRLF.
    asking : Asking or None
        None for a rod that speaks by itself.
    """

    baud: int | None = None
    data_bits: int = 8
    parity: Parity = "none"
    stop_bits: float = 1
    dtr: bool | None = None
    rts: bool | None = None
    line_end: bytes | None = None
    asking: Asking | None = None


class Asker:
    """Asks a polled rod in step with its answers; a state machine without I/O and clock.

    Parameters
    ----------
    asking : Asking
    size : int or None
        Bytes in an answer; None where an answer is a line.
    line_end : bytes or None
        What ends a line, as in `SerialLine`.
    """

    def __init__(self, asking: Asking, size: int | None, line_end: bytes | None) -> None:
        self._asking = asking
        self._size = size
        self._ends = (b"\r", b"\n") if line_end is None else (line_end,)
        self._asked_s: float | None = None
        self._answered = False
        self._count = 0
        self._half = b""

    def due(self, time_s: float) -> bytes:
        """Return what is to be sent now, empty while the last answer may still come."""
        asking = self._asking
        if self._asked_s is not None:
            wait_s = asking.every_s if self._answered else max(asking.within_s, asking.every_s)
            if time_s - self._asked_s < wait_s:
                return b""
        self._asked_s = time_s
        self._answered = False
        self._count = 0
        # The rest of an answer that broke off would pass for the beginning of the next.
        self._half = b""
        return asking.request

    def take(self, data: bytes) -> bytes:
        """Take what came; return what of it can be handed on: of lines, whole ones."""
        if self._size is not None:
            self._count += len(data)
            self._answered |= self._count >= self._size
            return data
        data = self._half + data
        end = max(data.rfind(mark) + len(mark) if mark in data else 0 for mark in self._ends)
        self._answered |= end > 0
        self._half = data[end:]
        return data[:end]

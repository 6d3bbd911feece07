"""Cuts a stream of bytes into messages: lines, or packets of one size.

Neither class reads, waits or knows the time: bytes go in, whole messages come out, the same
however the bytes were cut on their way, and memory stays bounded whatever comes.
"""

import re
from collections.abc import Callable

LONGEST_MESSAGE = 512

_LINE_END = re.compile(rb"[\r\n]")


class LineFramer:
    r"""Lines that end with CR, LF or CRLF, or with an end of their own; empty ones are passed over.

    Parameters
    ----------
    max_length : int
        A line that reaches this many bytes without ending is given up: its first `max_length`
        bytes come out as one message, and the rest is dropped up to the next line end.
    end : bytes, optional
        What ends a line instead of CR, LF and CRLF.

    Attributes
    ----------
    overlong : int
        How many lines were given up.
    """

    def __init__(self, max_length: int = LONGEST_MESSAGE, end: bytes | None = None) -> None:
        self.max_length = max_length
        self.overlong = 0
        self._end = end
        self._search = re.compile(re.escape(end)).search if end else _LINE_END.search
        self._half_end = len(end) - 1 if end else 0
        self._rest = b""
        self._skipping = False

    def feed(self, data: bytes) -> list[bytes]:
        """Take the next bytes; return the lines that they complete, without line ends."""
        if self._rest:
            data = self._rest + data
        if self._skipping:
            end = self._search(data)
            if end is None:
                self._rest = self._tail(data)
                return []
            data = data[end.start() :]
            self._skipping = False
            self._rest = b""
        if not data:
            return []
        if self._end is None:
            lines = data.splitlines()
            last = data[-1]
            rest = b"" if last == 10 or last == 13 else lines.pop()
        else:
            *lines, rest = data.split(self._end)
        if len(data) < self.max_length:
            self._rest = rest
            return lines if b"" not in lines else [line for line in lines if line]
        return self._limited(lines, rest)

    def _limited(self, lines: list[bytes], rest: bytes) -> list[bytes]:
        """Return the lines, with what is told in the place of those that are too long."""
        limit = self.max_length
        whole = [line if len(line) < limit else self._give_up(line) for line in lines if line]
        if len(rest) >= limit:
            whole.append(self._give_up(rest))
            self._skipping = True
            rest = self._tail(rest)
        self._rest = rest
        return whole

    def ends_in(self, data: bytes) -> bool:
        """Whether a line ends in these bytes."""
        return self._search(data) is not None

    def skip_to_line_end(self) -> None:
        """Drop what comes next, up to a line end: the stream is joined in the middle of a line."""
        self._rest = b""
        self._skipping = True

    def reset(self) -> None:
        """Forget half a line."""
        self._rest = b""
        self._skipping = False

    def _tail(self, data: bytes) -> bytes:
        """Return the last bytes, which may be the first of a line end."""
        return data[-self._half_end :] if self._half_end else b""

    def _give_up(self, line: bytes) -> bytes:
        self.overlong += 1
        return line[: self.max_length]


class PacketFramer:
    """Packets of a fixed size, found again after noise by what makes one valid.

    Parameters
    ----------
    size : int
        Bytes in a packet, checksum included.
    is_valid : callable, optional
        Tells whether `size` bytes are a packet. Where they are not, one byte is given up and the
        next place is tried. Bytes given up come out too, in pieces of at most `size` bytes that
        are never valid, so that nothing is lost to the log.
    """

    def __init__(self, size: int, is_valid: Callable[[bytes], bool] | None = None) -> None:
        self.size = size
        self._is_valid = is_valid
        self._rest = b""
        self._junk = b""

    def feed(self, data: bytes) -> list[bytes]:
        """Take the next bytes; return the packets, and pieces of junk, that they complete."""
        buffer = self._rest + data
        size, is_valid = self.size, self._is_valid
        found = []
        start, end = 0, len(buffer) - size
        while start <= end:
            packet = buffer[start : start + size]
            if is_valid is None or is_valid(packet):
                if self._junk:
                    found.append(self._junk)
                    self._junk = b""
                found.append(packet)
                start += size
            else:
                self._junk += buffer[start : start + 1]
                start += 1
                if len(self._junk) == size:
                    found.append(self._junk)
                    self._junk = b""
        self._rest = buffer[start:]
        return found

    def flush(self) -> list[bytes]:
        """Give up half a packet: nothing more of it will come. Return it as junk."""
        left = self._junk + self._rest
        self.reset()
        return [left[i : i + self.size] for i in range(0, len(left), self.size)]

    def reset(self) -> None:
        """Forget half a packet."""
        self._rest = b""
        self._junk = b""

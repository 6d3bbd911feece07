"""Lets so many connections in and no more, and none that dawdles: strangers cost nothing.

What a phone has not asked for within a few seconds it never gets; a live socket may stay. The
descriptors that are left are for the rod and the job.
"""

import asyncio
import resource
from collections import Counter
from collections.abc import Callable

MOST_OF_ONE = 48
"""Twice as many as phones may watch: a page and its socket each."""
MOST_IN_ALL = 96
SHARE_OF_DESCRIPTORS = 4
DEADLINE_S = 30.0

Factory = Callable[[], asyncio.Protocol]


class Gate:
    """Makes protocols for a server's connections, and counts who holds them.

    Parameters
    ----------
    factory : callable
        Makes the protocol that serves one connection.
    deadline_s : float
        A connection that nobody has called live ends after so long.
    """

    def __init__(self, factory: Factory, deadline_s: float = DEADLINE_S) -> None:
        self._factory = factory
        self.deadline_s = deadline_s
        self.held: Counter[str] = Counter()
        self._live: set[asyncio.BaseTransport] = set()
        descriptors, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
        self.most = min(MOST_IN_ALL, max(descriptors // SHARE_OF_DESCRIPTORS, 8))

    def __call__(self) -> "_Visitor":
        """Make the protocol of one connection."""
        return _Visitor(self, self._factory)

    def live(self, transport: asyncio.BaseTransport | None) -> None:
        """Let a connection stay: it is somebody's live socket."""
        if transport is not None:
            self._live.add(transport)

    def is_live(self, transport: asyncio.BaseTransport) -> bool:
        """Whether a connection may stay."""
        return transport in self._live

    def gone(self, transport: asyncio.BaseTransport, address: str) -> None:
        """Count a connection off."""
        self._live.discard(transport)
        self.held[address] -= 1
        if self.held[address] <= 0:
            del self.held[address]


class _Visitor(asyncio.Protocol):
    """One connection: handed on once it is let in, cut off at its deadline."""

    def __init__(self, gate: Gate, factory: Factory) -> None:
        self._gate, self._factory = gate, factory
        self._served: asyncio.Protocol | None = None
        self._address = ""
        self._transport: asyncio.Transport | None = None
        self._timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        gate, peer = self._gate, transport.get_extra_info("peername")
        address = str(peer[0]) if peer else ""
        if gate.held[address] >= MOST_OF_ONE or gate.held.total() >= gate.most:
            transport.abort()
            return
        gate.held[address] += 1
        self._address, self._transport = address, transport
        self._served = self._factory()
        self._served.connection_made(transport)
        self._timer = asyncio.get_running_loop().call_later(gate.deadline_s, self._too_late)

    def data_received(self, data: bytes) -> None:
        if self._served is not None:
            self._served.data_received(data)

    def eof_received(self) -> bool | None:
        return self._served.eof_received() if self._served is not None else None

    def pause_writing(self) -> None:
        if self._served is not None:
            self._served.pause_writing()

    def resume_writing(self) -> None:
        if self._served is not None:
            self._served.resume_writing()

    def connection_lost(self, exc: Exception | None) -> None:
        if self._timer is not None:
            self._timer.cancel()
        if self._served is not None and self._transport is not None:
            self._gate.gone(self._transport, self._address)
            self._served.connection_lost(exc)

    def _too_late(self) -> None:
        if self._transport is not None and not self._gate.is_live(self._transport):
            self._transport.abort()

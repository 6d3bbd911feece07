"""The demo's time: the simulated world goes on only when a session has worked off what it said.

So one seed gives the same numbers on every run, every machine and every link.
"""

import asyncio
from collections.abc import Callable

from rig.devices.clock import Clock
from rig.events import Event, Heard
from rig.session.run import Sink

PATIENCE_S = 3.0
"""A message that does not come within so many real seconds is not waited for any longer."""


class Lockstep(Sink):
    """A sink that lets the world send its next message, and knows what time it then is.

    Parameters
    ----------
    go : callable
        Tells the simulated rod to send one message more.
    rate_hz : float
        Messages in a simulated second.
    speed : float
        How many simulated seconds may go by in a real one.
    utc_s : float
        Time of day when the world begins.
    """

    def __init__(self, go: Callable[[], None], rate_hz: float, speed: float, utc_s: float) -> None:
        self._go, self._rate_hz, self.speed, self._utc_s = go, rate_hz, speed, utc_s
        self._sent = 0
        self._heard = True
        self._last_s = 0.0

    def now(self) -> tuple[float, float]:
        """Return the world's seconds since its beginning, and its time of day."""
        time_s = self._sent / self._rate_hz
        return time_s, self._utc_s + time_s

    def clock(self) -> Clock:
        """Return the clock of a session that begins now."""
        return _SessionClock(self)

    def hear(self, event: Event) -> None:
        """Hear an event: a reading is a message that has come."""
        self._heard |= isinstance(event, Heard)

    def ready(self) -> None:
        """Hear that the session waits; ask for the next message, no sooner than the speed says."""
        loop = asyncio.get_running_loop()
        late = loop.time() - self._last_s > PATIENCE_S
        if self._heard or late:
            self._heard = False
            due_s = self._last_s + 1.0 / (self._rate_hz * self.speed)
            self._last_s = max(due_s, loop.time())
            loop.call_at(due_s, self._ask) if due_s > loop.time() else self._ask()

    def _ask(self) -> None:
        self._sent += 1
        self._go()


class _SessionClock(Clock):
    """Seconds of the simulated world since the session's clock was made."""

    def __init__(self, world: Lockstep) -> None:
        super().__init__(world.speed)
        self._world = world
        self._began_s, _ = world.now()

    def now(self) -> tuple[float, float]:
        time_s, utc_s = self._world.now()
        return round(time_s - self._began_s, 6), round(utc_s, 6)

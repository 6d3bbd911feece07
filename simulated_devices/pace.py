"""How an invented world's time goes by: with the wall clock, or a message at a time as it is told.

In lockstep with whoever listens nothing depends on how quick the machine or the link is, so that
one seed gives the same numbers on every run and over every link.
"""

import math
import time
from typing import Protocol

from simulated_devices.world import Sent, World


class Pace(Protocol):
    """Moves a world's time on."""

    def go(self) -> None:
        """Hear that the listener is ready for another message."""

    def sent(self) -> list[Sent]:
        """Let the world come up to now; return what it has sent since the last call."""

    def due_s(self) -> float:
        """How many real seconds from now something is due."""


class WallClock:
    """So many simulated seconds a second, whatever the listener does."""

    def __init__(self, world: World, speed: float) -> None:
        self._world, self._speed = world, speed
        self._begun = time.monotonic()

    def go(self) -> None:
        """Do nothing: time goes by anyway."""

    def sent(self) -> list[Sent]:
        """Let the world come up to the clock."""
        return self._world.advance((time.monotonic() - self._begun) * self._speed)

    def due_s(self) -> float:
        """Until the next message or movement."""
        return self._begun + self._world.next_time() / self._speed - time.monotonic()


class Lockstep:
    """One regular message for each word, and time stands still in between."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._granted = 0

    def go(self) -> None:
        """Grant one more message."""
        self._granted += 1

    def sent(self) -> list[Sent]:
        """Send what was granted."""
        granted, self._granted = self._granted, 0
        return [sent for _ in range(granted) for sent in self._world.beat()]

    def due_s(self) -> float:
        """Never by itself."""
        return math.inf


def pace_of(world: World, speed: float) -> Pace:
    """Return the pace that a world was made for."""
    return Lockstep(world) if world.lockstep else WallClock(world, speed)

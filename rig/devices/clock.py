"""The time that readings are stamped with, by a clock that runs while the computer sleeps."""

import math
import sys
import time

from rig.errors import BadInput
from rig.language import numeral, say

SET_S = 2.0
"""A time of day that steps by more was set; what corrects a clock by and by stays under it."""

if hasattr(time, "CLOCK_BOOTTIME"):
    _CLOCK: int | None = time.CLOCK_BOOTTIME
elif sys.platform == "darwin":
    # Python's own monotonic clock stands still in sleep there, this one does not (from memory).
    _CLOCK = time.CLOCK_MONOTONIC
else:
    _CLOCK = None

RUNS_IN_SLEEP = _CLOCK is not None or sys.platform == "win32"
"""Whether `steady_s` is known to go on while the computer sleeps."""


def steady_s() -> float:
    """Return seconds since some instant, by a clock that nobody sets."""
    return time.monotonic() if _CLOCK is None else time.clock_gettime(_CLOCK)


class Clock:
    """Seconds since it was made, and the time of day.

    Parameters
    ----------
    speed : float
        How many seconds of the session go by in one real second.
    """

    def __init__(self, speed: float = 1.0) -> None:
        if not (math.isfinite(speed) and speed > 0):
            raise BadInput(
                say(
                    "A speed of {speed} is not possible; give one above 0, such as 10.",
                    speed=numeral(speed, "g"),
                )
            )
        self.speed = speed
        self._start = self._looked = steady_s()
        self._day = time.time() - self._start

    def now(self) -> tuple[float, float]:
        """Return ``(time_s, utc_s)``, both to the microsecond.

        Whole microseconds, so that a trace written with six decimals plays back the same times.
        """
        return round((steady_s() - self._start) * self.speed, 6), round(time.time(), 6)

    def look(self) -> tuple[float, float]:
        """Return what befell since the last look: real seconds gone by, and seconds set by.

        The second is 0 unless the time of day was set by more than `SET_S`.
        """
        now_s = steady_s()
        gone_s, self._looked = now_s - self._looked, now_s
        set_by_s = time.time() - now_s - self._day
        if abs(set_by_s) <= SET_S:
            return gone_s, 0.0
        self._day += set_by_s
        return gone_s, set_by_s

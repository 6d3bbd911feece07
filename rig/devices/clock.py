"""The time that readings are stamped with."""

import math
import time

from rig.errors import BadInput


class Clock:
    """Seconds since it was made, and the time of day.

    Parameters
    ----------
    speed : float
        How many seconds of the session go by in one real second.
    """

    def __init__(self, speed: float = 1.0) -> None:
        if not (math.isfinite(speed) and speed > 0):
            raise BadInput(f"A speed of {speed:g} is not possible; give one above 0, such as 10.")
        self.speed = speed
        self._start = time.monotonic()

    def now(self) -> tuple[float, float]:
        """Return ``(time_s, utc_s)``, both to the microsecond.

        Whole microseconds, so that a trace written with six decimals plays back the same times.
        """
        return round((time.monotonic() - self._start) * self.speed, 6), round(time.time(), 6)

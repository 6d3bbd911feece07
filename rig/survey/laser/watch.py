"""Watches a rod that stands on a fixed place: the live half of the drift check.

A state machine without I/O or clock.
"""

from collections.abc import Sequence

from rig.devices.reading import Reading
from rig.events import Event, Watched
from rig.language import numeral, say
from rig.units import METRIC, Units

TELL_S = 10.0
LOOK_S = 30.0


class Watch:
    """Collects readings for so long.

    Attributes
    ----------
    times_s, readings_mm : list of float
        What has been read so far.
    """

    def __init__(self, seconds: float, units: Units = METRIC) -> None:
        self._units = units
        self.finished = False
        self.times_s: list[float] = []
        self.readings_mm: list[float] = []
        self._seconds = seconds
        self._told_s: float | None = None

    def start(self, time_s: float) -> Sequence[Event]:
        """Nothing comes first."""
        return ()

    def reading(self, reading: Reading) -> Sequence[Event]:
        """Take one reading."""
        if reading.value_mm is None or reading.status in ("bad", "no_beam"):
            return self.tick(reading.time_s)
        return self._take(reading.time_s, reading.value_mm)

    def typed(self, value_mm: float, stderr_mm: float, time_s: float) -> Sequence[Event]:
        """Take a reading made by eye."""
        return self._take(time_s, value_mm)

    def act(self, name: str, time_s: float, argument: str | None = None) -> Sequence[Event]:
        """End at will; nothing else is asked for."""
        self.finished = self.finished or name == "quit"
        return ()

    def lost(self, time_s: float) -> Sequence[Event]:
        """A gap in the watch does no harm."""
        return ()

    back = lost

    def tick(self, time_s: float) -> Sequence[Event]:
        """End when the time is over, whether or not the rod still reads."""
        if self.times_s and time_s - self.times_s[0] >= self._seconds:
            self.finished = True
        return ()

    def _take(self, time_s: float, value_mm: float) -> Sequence[Event]:
        if self.finished:
            return ()
        self.times_s.append(time_s)
        self.readings_mm.append(value_mm)
        begun_s = self.times_s[0]
        self.finished = time_s - begun_s >= self._seconds
        if self._told_s is None:
            self._told_s = begun_s
        if time_s - self._told_s < TELL_S:
            return ()
        self._told_s = time_s
        first = self._mean(begun_s, begun_s + LOOK_S)
        now = self._mean(time_s - LOOK_S, time_s)
        seconds = time_s - begun_s
        moved = self._units.fine(now - first, signed=True)
        text = say(
            "{seconds} min: the line moved {moved}",
            seconds=numeral(seconds / 60, ".1f"),
            moved=moved,
        )
        told = Watched(
            time_s=time_s, seconds=seconds, reading_mm=now, change_mm=now - first, text=text
        )
        return (told,)

    def _mean(self, from_s: float, to_s: float) -> float:
        near = [
            v for t, v in zip(self.times_s, self.readings_mm, strict=True) if from_s <= t <= to_s
        ]
        return sum(near) / len(near)

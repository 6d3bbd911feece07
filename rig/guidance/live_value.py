"""The rod's reading as a prompt should show it: at once where it moves, calm where it rests."""

import math
from collections import deque
from statistics import median

AVERAGED_S = 0.5
LEARNT_FROM = 30  # readings
LAG_SD = 1.5  # calm enough, and the sign is right wherever the truth is four sd beyond tolerance


class LiveValue:
    """A running mean that never lags a step and does not flicker.

    The mean of the last half second is kept within `LAG_SD` of the latest reading, and
    begins afresh as soon as a reading is out of its noise: so a step shows on the very reading
    that brings it. What is shown follows the mean with a little play, so that a height on the
    border between two shown amounts does not jump to and fro.

    Parameters
    ----------
    resolution_mm : float
        One digit of the rod's display: a step of less is noise until a noise is known.
    play_mm : float
        Most play between the mean and what is shown; less where the rod is quieter than that.
    """

    def __init__(self, resolution_mm: float, play_mm: float) -> None:
        self.noise_mm = 0.0
        """Sd of one reading of the resting rod, as far as it is known."""
        self._resolution_mm = resolution_mm
        self._play_mm = play_mm
        self._recent: deque[tuple[float, float]] = deque()
        self._history: deque[float] = deque(maxlen=LEARNT_FROM)
        self._shown: float | None = None

    def clear(self) -> None:
        """Forget the readings; the noise stays known."""
        self._recent.clear()
        self._history.clear()
        self._shown = None

    def rests(self, spread_mm: float) -> None:
        """Learn the noise of a rod at rest whose readings spread by so much.

        A slow turn of the screw may pass for rest and widens the spread; second differences do
        not see it (their sd is √6 that of independent readings).
        """
        values = list(self._history)
        bends = [
            abs(a - 2.0 * b + c) for a, b, c in zip(values, values[1:], values[2:], strict=False)
        ]
        if bends:
            spread_mm = min(spread_mm, 1.4826 * median(bends) / math.sqrt(6.0))
        self.noise_mm = spread_mm

    def add(self, time_s: float, value_mm: float) -> float:
        """Take a reading and return the height to show."""
        recent = self._recent
        while recent and recent[0][0] <= time_s - AVERAGED_S:
            recent.popleft()
        step = max(3.0 * self.noise_mm, self._resolution_mm) + 1e-9
        if recent and abs(value_mm - _mean(recent)) > step:
            recent.clear()
        if not recent:
            self._shown = None
        recent.append((time_s, value_mm))
        self._history.append(value_mm)
        mean = _mean(recent)
        play = min(self._play_mm, self.noise_mm)
        shown = mean if self._shown is None else _within(self._shown, mean, play)
        lag = max(LAG_SD * self.noise_mm, self._resolution_mm)
        self._shown = _within(shown, value_mm, lag)
        return self._shown


def _mean(readings: deque[tuple[float, float]]) -> float:
    return math.fsum(value for _, value in readings) / len(readings)


def _within(value: float, middle: float, either_side: float) -> float:
    return min(max(value, middle - either_side), middle + either_side)

"""Judges from the last second or so of readings whether the rod stands still, and at what height.

Plain floats and `math.fsum` only, so that the same readings give the same shot, bit for bit, on
every machine. The window knows nothing of points, beams or buttons.
"""

import math
from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from statistics import median, median_low
from typing import Literal

State = Literal["not enough", "moving", "trending", "noisy", "still"]

MIN_SAMPLES = 5
GAP_S = 2.0  # readings further apart than this say nothing about the time between
MAX_SAMPLES = 2000
MAX_HISTORY = 1000
MAD_TO_SD = 1.4826  # of a normal distribution
MOST_OUTLIERS = 0.1
COARSEST_DIGIT_MM = 2.0  # 1/16 in is 1.6 mm; steps beyond this are the rod moving
DIGIT_CHANGES = 10
REMEMBERED_RESTS = 99


class StillWindow:
    """The readings of the last `dwell_s` (at least five), as long as nothing interrupts them.

    Parameters
    ----------
    dwell_s : float
        How long the rod must have been still.
    still_mm : float
        Robust standard deviation below which it is still.
    resolution_mm, foot_mm : float
        One digit of the rod's display, and how well its foot finds the floor (one sd).
    """

    def __init__(
        self, dwell_s: float, still_mm: float, resolution_mm: float, foot_mm: float
    ) -> None:
        self.dwell_s = dwell_s
        self.still_mm = still_mm
        self.foot_mm = foot_mm
        self._resolution_mm = resolution_mm
        self._samples: deque[tuple[float, float]] = deque()
        self._history: deque[float] = deque(maxlen=MAX_HISTORY)
        self._rests: deque[float] = deque(maxlen=REMEMBERED_RESTS)
        self._last_value: float | None = None
        self._smallest_step = math.inf
        self._changes = 0
        self._spread: float | None = None
        self._state: State | None = None

    def add(self, time_s: float, value_mm: float) -> None:
        """Take a reading; one that comes more than two seconds after the last starts afresh."""
        self._learn_digit(value_mm)
        samples = self._samples
        if samples:
            since = time_s - samples[-1][0]
            if since > GAP_S:
                samples.clear()
                self._history.clear()
            elif len(samples) >= MAX_SAMPLES and since < self.dwell_s / MAX_SAMPLES:
                return
        samples.append((time_s, value_mm))
        self._history.append(value_mm)
        while len(samples) > MIN_SAMPLES and samples[0][0] < time_s - self.dwell_s:
            samples.popleft()
        self._spread = self._state = None

    def clear(self) -> None:
        """Forget the readings, keep what was learnt about the rod."""
        self._samples.clear()
        self._history.clear()
        self._last_value = None
        self._spread = self._state = None

    def learn(self, spread_mm: float) -> None:
        """Remember the spread of a window that gave a shot as that of a resting rod.

        It may be another window by now: a press counts where it was made.
        """
        self._rests.append(spread_mm)
        self._state = None

    @property
    def resolution_mm(self) -> float:
        """One digit: as the profile says, or coarser where the readings only come in such steps."""
        if self._changes >= DIGIT_CHANGES and self._smallest_step <= COARSEST_DIGIT_MM:
            return max(self._resolution_mm, self._smallest_step)
        return self._resolution_mm

    @property
    def limit_mm(self) -> float:
        """Largest spread that counts as still."""
        # The lower median: one loose window early on must not widen the gate for the next.
        resting = 4.0 * median_low(self._rests) if self._rests else 0.0
        return max(self.still_mm, resting, self.resolution_mm)

    @property
    def spread_mm(self) -> float:
        """Robust standard deviation of the window; 0 without readings."""
        if self._spread is None:
            self._spread = _spread([v for _, v in self._samples], self.resolution_mm)
        return self._spread

    @property
    def share(self) -> float:
        """How much of the dwell the readings cover, up to 1."""
        n = len(self._samples)
        if n < MIN_SAMPLES or self.dwell_s <= 0.0:
            return float(n >= MIN_SAMPLES)
        return min(1.0, (self._samples[-1][0] - self._samples[0][0]) * n / (n - 1) / self.dwell_s)

    @property
    def span_s(self) -> float:
        """From the first reading to the latest; only with readings."""
        return self._samples[-1][0] - self._samples[0][0]

    @property
    def last_time_s(self) -> float:
        """When the latest reading came; only with readings."""
        return self._samples[-1][0]

    def state(self) -> State:
        """Say how the rod stands."""
        if self._state is None:
            self._state = self._judge()
        return self._state

    def value(self) -> tuple[float, float, int]:
        """Return the height, its standard error and the number of readings in it.

        The mean of the readings within three robust sd of the median. Its variance is
        s²/n · (1 + ρ)/(1 − ρ) for readings with lag-1 correlation ρ, plus a uniform digit's
        resolution²/12 (JCGM 100:2008, F.2.2.1), plus foot².
        """
        kept = self._kept()
        noise = _standard_error(kept)
        variance = noise**2 + self.resolution_mm**2 / 12.0 + self.foot_mm**2
        return _mean(kept), math.sqrt(variance), len(kept)

    def holds(self, value_mm: float) -> bool:
        """Say whether a reading is one of those that make the height, not a stray one."""
        return value_mm in self._kept()

    def kept(self) -> list[tuple[float, float]]:
        """Return the readings that make the height, each with its time."""
        values = set(self._kept())
        return [sample for sample in self._samples if sample[1] in values]

    def _kept(self) -> list[float]:
        values = [v for _, v in self._samples]
        middle = median(values)
        # One digit either side always belongs: a coarse rod dithers between neighbours.
        reach = max(3.0 * self.spread_mm, 1.5 * self.resolution_mm)
        return [v for v in values if abs(v - middle) <= reach]

    def _learn_digit(self, value_mm: float) -> None:
        if self._last_value is not None:
            step = abs(value_mm - self._last_value)
            if step > 1e-6:
                self._changes += 1
                self._smallest_step = min(self._smallest_step, step)
        self._last_value = value_mm

    def _judge(self) -> State:
        samples = self._samples
        n = len(samples)
        if n < MIN_SAMPLES:
            return "not enough"
        span = samples[-1][0] - samples[0][0]
        if span * n / (n - 1) < self.dwell_s - 1e-9:
            return "not enough"
        limit = self.limit_mm
        if self.spread_mm > limit:
            steps = [abs(b - a) for (_, a), (_, b) in pairwise(samples)]
            # Of independent readings the median step is 0.954 sd, of a smooth move far less.
            return "noisy" if median(steps) > 0.6 * self.spread_mm else "moving"
        kept = self._kept()
        if n - len(kept) > max(1, n // 10):
            return "moving"  # a settling rod, not a stray reading
        restless = _standard_error(kept) > limit / 3.0
        if restless or self._trends(kept, limit) or self._settles(kept):
            return "trending"
        return "noisy" if self._was_lucky(median(kept), limit) else "still"

    def _was_lucky(self, middle: float, limit: float) -> bool:
        """Say whether the readings before, at the same height, were too noisy to believe this one.

        Whoever waits long enough gets a window that looks still. Successive differences of
        readings near this height show the noise and hardly see how the rod came to it.
        """
        n = len(self._samples)
        history = list(self._history)[-5 * n :]
        steps = [
            abs(b - a)
            for a, b in pairwise(history)
            if max(abs(a - middle), abs(b - middle)) <= 6.0 * limit
        ]
        return len(steps) >= 1.5 * n and median(steps) / 0.954 > 1.25 * limit

    def _settles(self, values: Sequence[float]) -> bool:
        """Say whether the first quarter still shows how the foot came down.

        Each such reading is too near the rest to be an outlier, and all lie on one side.
        """
        late, early = values[-(len(values) // 2) :], values[: max(len(values) // 4, 2)]
        apart = abs(_mean(early) - _mean(late))
        error = _standard_error(late) * math.sqrt(1.0 + len(late) / len(early))
        return apart > max(3.0 * error, self.resolution_mm)

    def _trends(self, values: Sequence[float], limit: float) -> bool:
        half = len(values) // 2
        climb = abs(_mean(values[-half:]) - _mean(values[:half]))
        if climb > max(limit / 2.0, self.resolution_mm):
            return True
        if climb <= max(limit / 4.0, self.resolution_mm):
            return False
        # About a straight line, so that the trend itself does not hide in its own error.
        # Three standard errors, and more where few readings tell the error itself badly.
        errors = 3.0 * (1.0 + 4.0 / len(values))
        return climb > errors * 2.0 * math.sqrt(_variance_of_mean(_line_residuals(values)))


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _spread(values: Sequence[float], resolution: float) -> float:
    """Return the standard deviation without outliers, which are few by definition.

    The MAD says what is an outlier. Alone it would not do: of ten readings it is so uncertain that
    a noisy rod soon seems still for once, and of two digits it is one digit or nothing.
    """
    if len(values) < 2:
        return 0.0
    middle = median(values)
    robust = MAD_TO_SD * median(abs(v - middle) for v in values)
    near = [v for v in values if abs(v - middle) <= 3.0 * max(robust, resolution)]
    if len(near) < (1.0 - MOST_OUTLIERS) * len(values):
        near = list(values)
    mean = _mean(near)
    return math.sqrt(math.fsum((v - mean) ** 2 for v in near) / (len(near) - 1))


def _standard_error(values: Sequence[float]) -> float:
    mean = _mean(values)
    return math.sqrt(_variance_of_mean([v - mean for v in values]))


def _variance_of_mean(residuals: Sequence[float]) -> float:
    n = len(residuals)
    if n < 2:
        return 0.0
    total = math.fsum(r * r for r in residuals)
    if total == 0.0:
        return 0.0
    lagged = math.fsum(a * b for a, b in pairwise(residuals))
    rho = min(max(lagged / total, 0.0), 0.95)
    return total / (n - 1) / n * (1.0 + rho) / (1.0 - rho)


def _line_residuals(values: Sequence[float]) -> list[float]:
    n = len(values)
    centre = (n - 1) / 2.0
    mean = _mean(values)
    slope = math.fsum((i - centre) * v for i, v in enumerate(values)) / (n * (n * n - 1) / 12.0)
    return [v - mean - slope * (i - centre) for i, v in enumerate(values)]

"""Finds a rod's height while it is waved through plumb, where the reading is smallest.

A rod of height h tilted by θ reads h/cos θ, so each swing through plumb draws a valley. The lowest
reading of a valley is low by the noise of a lucky sample; the vertex of a parabola through its
central part is not. Same questions and answers as `stillness.StillWindow`.
"""

import math
from collections import deque
from collections.abc import Sequence
from statistics import median, median_low

from rig.survey.stillness import GAP_S, REMEMBERED_RESTS, State

MIN_SWINGS = 3
MAX_SWINGS = 6
MAX_SWING_SAMPLES = 4000
# Up to a quarter of a sinusoidal swing's depth the parabola's vertex is high by 0.2 % of it.
CENTRAL_SHARE = 0.25
MIN_CENTRAL = 5
NOISE_SAMPLES = 100
NOISE_EVERY = 16

Sample = tuple[float, float]


class RockWindow:
    """The valleys of the swings since the rod was last interrupted.

    Parameters
    ----------
    still_mm : float
        How well the vertices of three swings must agree (standard deviation).
    resolution_mm, foot_mm : float
        One digit of the rod's display, and how well its foot finds the floor (one sd).
    """

    def __init__(self, still_mm: float, resolution_mm: float, foot_mm: float) -> None:
        self.still_mm = still_mm
        self.foot_mm = foot_mm
        self.resolution_mm = resolution_mm
        self._rests: deque[float] = deque(maxlen=REMEMBERED_RESTS)
        self.clear()

    def clear(self) -> None:
        """Forget the readings, keep what was learnt about the rod."""
        self._recent: deque[float] = deque(maxlen=NOISE_SAMPLES)
        self._seen = 0
        self._noise = 0.0
        self._swing: list[Sample] = []
        self._rising = False
        self._peak: int | None = None  # where in _swing its left edge is, once one was seen
        self._extreme = 0
        self._vertices: deque[tuple[float, float, int]] = deque(maxlen=MAX_SWINGS)
        self.sag_mm = 0.0

    def add(self, time_s: float, value_mm: float) -> None:
        """Take a reading; a turn at the top of a swing closes the valley before it."""
        if self._swing and (
            time_s - self._swing[-1][0] > GAP_S or len(self._swing) >= MAX_SWING_SAMPLES
        ):
            self.clear()
        self._hear_noise(value_mm)
        swing = self._swing
        swing.append((time_s, value_mm))
        here, extreme = len(swing) - 1, swing[self._extreme][1]
        turn = max(8.0 * self._noise, 4.0 * self.resolution_mm, 0.2)
        if self._seen < NOISE_EVERY:
            turn = math.inf  # the noise is not known yet
        if self._rising:
            if value_mm > extreme:
                self._extreme = here
            elif value_mm < extreme - turn:
                self._top()
        elif value_mm < extreme:
            self._extreme = here
        elif value_mm > extreme + turn:
            self._rising, self._extreme = True, here

    def learn(self, spread_mm: float) -> None:
        """Remember how well the swings agreed that gave a shot."""
        self._rests.append(spread_mm)

    @property
    def swings(self) -> int:
        """How many valleys were seen."""
        return len(self._vertices)

    @property
    def share(self) -> float:
        """How many of the swings that it takes were seen, up to 1."""
        return min(1.0, len(self._vertices) / MIN_SWINGS)

    @property
    def limit_mm(self) -> float:
        """Largest spread of vertices that counts as agreement."""
        resting = 4.0 * median_low(self._rests) if self._rests else 0.0
        return max(self.still_mm, resting, self.resolution_mm)

    @property
    def spread_mm(self) -> float:
        """Standard deviation of the last vertices; 0 with fewer than two."""
        heights = [h for h, _, _ in self._agreeing()]
        if len(heights) < 2:
            return 0.0
        mean = math.fsum(heights) / len(heights)
        return math.sqrt(math.fsum((h - mean) ** 2 for h in heights) / (len(heights) - 1))

    @property
    def last_time_s(self) -> float:
        """When the latest reading came; only with readings."""
        return self._swing[-1][0]

    def state(self) -> State:
        """Say whether enough swings agree."""
        if len(self._vertices) < MIN_SWINGS:
            return "not enough"
        return "still" if self.spread_mm <= self.limit_mm else "noisy"

    def value(self) -> tuple[float, float, int]:
        """Return the mean vertex, its standard error and the number of readings in the fits."""
        found = self._agreeing()
        k = len(found)
        mean = math.fsum(h for h, _, _ in found) / k
        between = self.spread_mm**2 / k
        within = math.fsum(v for _, v, _ in found) / k**2
        variance = max(between, within) + self.resolution_mm**2 / 12.0 + self.foot_mm**2
        return mean, math.sqrt(variance), sum(n for _, _, n in found)

    def _agreeing(self) -> list[tuple[float, float, int]]:
        """Return the last three: what the rod says now, not what it said at another spot."""
        return list(self._vertices)[-MIN_SWINGS:]

    def _hear_noise(self, value_mm: float) -> None:
        self._recent.append(value_mm)
        self._seen += 1
        if self._seen % NOISE_EVERY == 0:
            v = list(self._recent)
            # Second differences hardly see a swing; for white noise their sd is √6 times its own.
            bends = [abs(a - 2.0 * b + c) for a, b, c in zip(v, v[1:], v[2:], strict=False)]
            self._noise = 1.4826 * median(bends) / math.sqrt(6.0)

    def _top(self) -> None:
        """Take what lies between the top just passed and the one before: a whole valley."""
        top = self._extreme
        if self._peak is not None:
            valley = self._swing[self._peak : top + 1]
            found = vertex(valley, self._noise)
            if found is not None:
                self._vertices.append(found)
                lowest = found[0]
                self.sag_mm = max(self.sag_mm, max(v for _, v in valley) - lowest)
        self._swing = self._swing[top:]
        self._peak = 0
        self._rising = False
        self._extreme = min(range(len(self._swing)), key=lambda i: self._swing[i][1])


def vertex(valley: Sequence[Sample], noise_mm: float) -> tuple[float, float, int] | None:
    """Fit a robust parabola to the central part of a valley and return its lowest value.

    Parameters
    ----------
    valley : sequence of (time_s, value_mm)
        From one top to the next.
    noise_mm : float
        Standard deviation of one reading, as far as known; a floor for the weights.

    Returns
    -------
    (value_mm, variance_mm2, n) or None
        None where the readings are too few or draw no valley.
    """
    depth = min(valley[0][1], valley[-1][1]) - min(v for _, v in valley)
    low = min(v for _, v in valley)
    rough = [s for s in valley if s[1] <= low + 0.5 * depth]
    fit = _parabola(rough, noise_mm)
    for _ in range(3):
        if fit is None:
            return None
        centre_s, bottom, bend, _ = fit
        # By time, not by value: choosing low readings would choose lucky ones.
        top = min(valley[0][1], valley[-1][1])
        half_s = math.sqrt(CENTRAL_SHARE * max(top - bottom, 0.0) / bend)
        inside = [s for s in valley if abs(s[0] - centre_s) <= half_s]
        if len(inside) < MIN_CENTRAL or not inside[0][0] < centre_s < inside[-1][0]:
            return None
        fit = _parabola(inside, noise_mm)
    if fit is None:
        return None
    return fit[1], fit[3], len(inside)


def _parabola(
    samples: Sequence[Sample], noise_mm: float
) -> tuple[float, float, float, float] | None:
    """Least squares with Huber weights: (time of vertex, vertex, bend, variance of the vertex)."""
    if len(samples) < MIN_CENTRAL:
        return None
    origin = math.fsum(t for t, _ in samples) / len(samples)
    scale = max(abs(t - origin) for t, _ in samples)
    base = samples[0][1]
    if scale <= 0.0:
        return None
    x = [(t - origin) / scale for t, _ in samples]
    y = [v - base for _, v in samples]
    fit = _huber(x, y, noise_mm)
    if fit is None:
        return None
    (a, b, c), inverse, s2 = fit
    if c <= 0.0:
        return None
    u = -b / (2.0 * c)
    bottom = base + a + b * u + c * u * u
    gradient = (1.0, u, u * u)
    variance = s2 * math.fsum(
        gradient[i] * inverse[i][j] * gradient[j] for i in range(3) for j in range(3)
    )
    return origin + scale * u, bottom, c / scale**2, variance


def _huber(
    x: Sequence[float], y: Sequence[float], noise_mm: float
) -> tuple[tuple[float, float, float], list[list[float]], float] | None:
    """Fit y = a + b·x + c·x²: coefficients, inverse of the normal matrix, weighted variance."""
    weights = [1.0] * len(x)
    for _ in range(4):
        solved = _solve(x, y, weights)
        if solved is None:
            return None
        (a, b, c), inverse = solved
        residuals = [v - a - b * u - c * u * u for u, v in zip(x, y, strict=True)]
        sd = max(1.4826 * median(abs(r) for r in residuals), noise_mm, 1e-9)
        weights = [min(1.0, 1.5 * sd / abs(r)) if r else 1.0 for r in residuals]
    free = max(len(x) - 3, 1)
    s2 = math.fsum(w * r * r for w, r in zip(weights, residuals, strict=True)) / free
    return (a, b, c), inverse, s2


def _solve(
    x: Sequence[float], y: Sequence[float], weights: Sequence[float]
) -> tuple[tuple[float, float, float], list[list[float]]] | None:
    """Weighted normal equations of a parabola by the adjugate; None where singular."""
    m = [math.fsum(w * u**k for w, u in zip(weights, x, strict=True)) for k in range(5)]
    r = [math.fsum(w * v * u**k for w, u, v in zip(weights, x, y, strict=True)) for k in range(3)]
    cofactors = [
        [m[2] * m[4] - m[3] * m[3], m[2] * m[3] - m[1] * m[4], m[1] * m[3] - m[2] * m[2]],
        [m[2] * m[3] - m[1] * m[4], m[0] * m[4] - m[2] * m[2], m[1] * m[2] - m[0] * m[3]],
        [m[1] * m[3] - m[2] * m[2], m[1] * m[2] - m[0] * m[3], m[0] * m[2] - m[1] * m[1]],
    ]
    determinant = m[0] * cofactors[0][0] + m[1] * cofactors[0][1] + m[2] * cofactors[0][2]
    if determinant <= 1e-12 * m[0] ** 3:
        return None
    inverse = [[entry / determinant for entry in row] for row in cofactors]
    a, b, c = (math.fsum(inverse[i][j] * r[j] for j in range(3)) for i in range(3))
    return (a, b, c), inverse

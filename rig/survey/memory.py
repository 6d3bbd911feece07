r"""Learns how long a rod's noise remembers itself, and what that leaves open of a height.

Readings at rest are the height plus noise of standard deviation :math:`\sigma`, a share w of whose
variance is slow: it forgets itself over a time :math:`\tau` (an Ornstein-Uhlenbeck process), the
rest is new with each reading. A window of a second cannot tell slow noise from height; a session
can. For each of a few pairs of w and :math:`\tau` a Kalman filter gives the likelihood of all rests
so far, the height of each rest being unknown and the scale shared by all (generalised least squares
by de Jong's augmented filter, Annals of Statistics 19 (1991), from memory), and so the odds of the
pair and the height's error under it.
"""

import math
from copy import copy
from dataclasses import dataclass

SHARES = (0.3, 0.7, 0.97)
MEMORIES_S = {0.3: 8.0, 1.0: 4.0, 3.0: 2.0, 10.0: 1.0}
"""Seconds that slow noise remembers, with their odds to one another: a long memory shows only in
long rests, so that short ones would never refute it (our own figures, no source)."""
ODDS_SLOW = 0.4
"""That a rod's noise is slow at all, before anything was read (our own figure, no source)."""
MARK_S = 0.5
LEAST_MM, COUNTS_AS = 0.03, 4.0
"""A noise of which nothing is known yet, and how many readings that counts as (no source)."""


@dataclass(slots=True)
class _Filter:
    """One pair of share and memory: its rest that goes on, and the rests before."""

    share: float
    tau_s: float
    log_odds: float
    squares: float = 0.0
    log_kept: float = 0.0
    # Of the rest that goes on: filtered noise of the readings and of a height of 1, its variance.
    reads: float = 0.0
    ones: float = 0.0
    variance: float = 0.0
    xx: float = 0.0
    xy: float = 0.0
    yy: float = 0.0
    log_f: float = 0.0

    def begin(self) -> None:
        self.reads = self.ones = self.xx = self.xy = self.yy = self.log_f = 0.0
        self.variance = self.share

    def see(self, since_s: float, value: float) -> None:
        if self.share and since_s < math.inf:
            kept = math.exp(-since_s / self.tau_s)
            self.reads *= kept
            self.ones *= kept
            self.variance = kept * kept * self.variance + self.share * (1.0 - kept * kept)
        whole = self.variance + 1.0 - self.share
        off, one = value - self.reads, 1.0 - self.ones
        gain = self.variance / whole
        self.reads += gain * off
        self.ones += gain * one
        self.variance *= 1.0 - gain
        self.xx += one * one / whole
        self.xy += one * off / whole
        self.yy += off * off / whole
        self.log_f += math.log(whole)

    @property
    def left(self) -> float:
        """Squares that the height does not explain."""
        return max(0.0, self.yy - self.xy * self.xy / self.xx) if self.xx else 0.0

    def keep(self) -> None:
        self.squares += self.left
        self.log_kept += self._log_rest()
        self.begin()

    def _log_rest(self) -> float:
        return -0.5 * (self.log_f + math.log(self.xx)) if self.xx else 0.0

    def log_likelihood(self, squares: float, count: float) -> float:
        return self.log_odds + self.log_kept + self._log_rest() - 0.5 * count * math.log(squares)

    def share_of_mean(self, n: int, span_s: float) -> float:
        """Variance of the mean of a window against that of one reading."""
        x = span_s / self.tau_s if self.share else 0.0
        slow = 2.0 / x * (1.0 - (1.0 - math.exp(-x)) / x) if x > 1e-6 else 1.0
        return (1.0 - self.share) / n + self.share * slow


@dataclass(frozen=True, slots=True)
class Belief:
    """A height under one pair: its odds, mean, standard error, and the sd of one reading."""

    odds: float
    mean_mm: float
    stderr_mm: float
    noise_mm: float
    window_mm: float


class NoiseMemory:
    """What a session has learnt of a rod's noise, and the rest that goes on.

    Parameters
    ----------
    resolution_mm : float
        One digit of the display.
    """

    def __init__(self, resolution_mm: float) -> None:
        least = max(LEAST_MM, resolution_mm / math.sqrt(12.0))
        self._least2 = COUNTS_AS * least**2
        each = ODDS_SLOW / len(SHARES) / math.fsum(MEMORIES_S.values())
        self._filters = [
            _Filter(0.0, 1.0, math.log(1.0 - ODDS_SLOW)),
            *(
                _Filter(share, tau_s, math.log(each * odds))
                for tau_s, odds in MEMORIES_S.items()
                for share in SHARES
            ),
        ]
        self._count = COUNTS_AS
        self._n = 0
        self._base_mm = 0.0
        self._first_s = self._last_s = -math.inf
        self._marks: list[tuple[float, int, list[_Filter]]] = []

    @property
    def n(self) -> int:
        """Readings of the rest that goes on."""
        return self._n

    @property
    def span_s(self) -> float:
        """How long the rest has gone on."""
        return self._last_s - self._first_s if self._n else 0.0

    def forget_rest(self) -> None:
        """Begin another rest, of another height; nothing is learnt from the one before."""
        for one in self._filters:
            one.begin()
        self._n = 0
        self._last_s = -math.inf
        self._marks.clear()

    def keep_rest(self, but_last_s: float = 0.0) -> None:
        """Learn from the rest that goes on, but for about its last seconds, and begin another."""
        if but_last_s:
            early = [mark for mark in self._marks if mark[0] <= self._last_s - but_last_s]
            if not early:
                return self.forget_rest()
            _, self._n, self._filters = early[-1]
        if self._n > 1:
            self._count += self._n - 1
            for one in self._filters:
                one.keep()
        self.forget_rest()

    def see(self, time_s: float, value_mm: float) -> None:
        """Take a reading of the rest that goes on."""
        if not self._n:
            self.forget_rest()
            self._base_mm, self._first_s = value_mm, time_s
        for one in self._filters:
            one.see(time_s - self._last_s, value_mm - self._base_mm)
        if time_s - (self._marks[-1][0] if self._marks else self._first_s) >= MARK_S:
            self._marks = [
                *self._marks[-2:],
                (time_s, self._n + 1, [copy(f) for f in self._filters]),
            ]
        self._last_s = time_s
        self._n += 1

    def beliefs(self, n: int = 1, span_s: float = 0.0) -> list[Belief]:
        """Return what is believed of the height, and of the mean of n readings over a span."""
        count = self._count + max(0, self._n - 1)
        squares = [self._least2 + one.squares + one.left for one in self._filters]
        logs = [
            one.log_likelihood(square, count)
            for one, square in zip(self._filters, squares, strict=True)
        ]
        top = max(logs)
        odds = [math.exp(log - top) if log > top - 14.0 else 0.0 for log in logs]
        whole = math.fsum(odds)
        return [
            Belief(
                odd / whole,
                self._base_mm + (one.xy / one.xx if one.xx else 0.0),
                math.sqrt(square / count / one.xx) if one.xx else math.inf,
                math.sqrt(square / count),
                math.sqrt(square / count * one.share_of_mean(n, span_s)),
            )
            for one, odd, square in zip(self._filters, odds, squares, strict=True)
            if odd
        ]

r"""How fast a crew is against the figures that a plan goes by, and how well that is known.

What hands do takes :math:`h` times as long as planned, timed mixing :math:`g` times. Before a pour
both are lognormal round 1. A pour that was logged tells its interval from batch to batch; what it
would have been at each pair of h and g is simulated with the batches, roles and buckets of that
pour, as a pour that is planned is. Where mixing rules, hands hardly show in the interval: they then
stay as doubtful as the posterior says, and that doubt goes into every simulated pour.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.pour.crew import Roles, Steps
from rig.pour.simulation import Drawn, simulate

Floats = NDArray[np.float64]

HANDS_DOUBT, MIXING_DOUBT = 0.25, 0.03
"""Standard deviations of log h and log g before the first pour (our own figures, no source): mixing
goes by a timer, and what it seems to lack is mostly the hands that feed it."""
TIMED_DOUBT = 0.1
"""Of log h, where the crew's steps were timed and given (our own figure, no source)."""
DAY_DOUBT = 0.05
"""Of log h from one day to another of the same crew (our own figure, no source)."""
MOST_DOUBT = 0.25
"""Of log h: a pour that leaves it more in doubt, where mixing rules, says next to nothing of hands
(our own figure, no source)."""
PAUSE = 5.0
"""So many times the usual gap is a pause and no gap (our own figure, no source)."""
_HANDS = np.exp(np.linspace(math.log(0.4), math.log(4.0), 10))
_MIXING = np.exp(MIXING_DOUBT * np.array([-2.5, 0.0, 2.5]))
_NO_PACE = 3.0
"""So many standard deviations off every pace, an interval tells of none."""
_FREEDOM = 4.0
"""Degrees of freedom of Student's distribution: an interval that no pace explains says little, and
a crew that is far from the figures is believed after a few pours."""


@dataclass(frozen=True)
class Pace:
    """What hands and mixing take against the plan's figures: medians, and doubts of their logs.

    Attributes
    ----------
    hands, mixing : float
    hands_sd, mixing_sd : float
    correlation : float
    """

    hands: float = 1.0
    mixing: float = 1.0
    hands_sd: float = 0.0
    mixing_sd: float = 0.0
    correlation: float = 0.0

    def drawn(self, runs: int, seed: int) -> tuple[Floats, Floats]:
        """Draw h and g of so many pours."""
        luck = np.random.default_rng([seed, 1]).standard_normal((2, runs))
        across = math.sqrt(max(0.0, 1.0 - self.correlation**2))
        mixing = self.correlation * luck[0] + across * luck[1]
        hands: Floats = self.hands * np.exp(self.hands_sd * luck[0])
        return hands, self.mixing * np.exp(self.mixing_sd * mixing)


AS_PLANNED = Pace()
UNKNOWN = Pace(hands_sd=math.hypot(HANDS_DOUBT, DAY_DOUBT), mixing_sd=MIXING_DOUBT)

TIMED = Pace(hands_sd=math.hypot(TIMED_DOUBT, DAY_DOUBT), mixing_sd=MIXING_DOUBT)


@dataclass(frozen=True, eq=False)
class Past:
    """A pour that was logged.

    Attributes
    ----------
    drawn : Steps of (batches, runs) arrays
        Of the batches that were poured, by the figures that the next plan goes by.
    roles : Roles
    buckets : int
    interval_s : float
        From batch to batch, as `interval_s` tells it.
    """

    drawn: Drawn
    roles: Roles
    buckets: int
    interval_s: float


def interval_s(poured_s: Floats) -> Floats:
    """Return the mean time from batch to batch of each run, pauses left out.

    Parameters
    ----------
    poured_s : (batches, runs) array
        Two batches or more.
    """
    gaps = np.sort(np.diff(np.sort(poured_s, axis=0), axis=0), axis=0)
    usual = gaps[: len(gaps) - len(gaps) // 10].mean(axis=0)
    kept = gaps <= PAUSE * usual
    mean: Floats = (gaps * kept).sum(axis=0) / kept.sum(axis=0)
    return mean


def at_pace(drawn: Drawn, hands: Floats | float, mixing: Floats | float) -> Drawn:
    """Return drawn times as a crew of that pace takes them; slaking goes by the sheet."""
    return drawn._replace(
        water=drawn.water * hands,
        powder=drawn.powder * hands,
        mix=drawn.mix * mixing,
        carry=drawn.carry * hands,
        pour=drawn.pour * hands,
        spread=drawn.spread * hands,
        deair=drawn.deair * hands,
        back=drawn.back * hands,
    )


def learn(pours: Sequence[Past], before: Pace = UNKNOWN) -> Pace:
    """Return the pace that pours of a crew tell, each a day of its own.

    Parameters
    ----------
    pours : sequence of Past
    before : Pace
        What is known without them.
    """
    if not pours:
        return before
    log_h = np.linspace(math.log(_HANDS[0]), math.log(_HANDS[-1]), 181)
    log_g = np.linspace(math.log(_MIXING[0]), math.log(_MIXING[-1]), 21)
    off_h = (log_h - math.log(before.hands)) / before.hands_sd
    off_g = (log_g - math.log(before.mixing)) / before.mixing_sd
    known = -0.5 * (_FREEDOM + 1.0) * np.log1p(off_h**2 / _FREEDOM)
    log_odds = known[:, None] - 0.5 * off_g[None, :] ** 2
    for pour in pours:
        log_odds = log_odds + _log_likelihood(pour, log_h, log_g)
    odds = np.exp(log_odds - log_odds.max())
    odds /= odds.sum()
    h, g = float(odds.sum(axis=1) @ log_h), float(odds.sum(axis=0) @ log_g)
    h_sd = math.sqrt(float(odds.sum(axis=1) @ (log_h - h) ** 2))
    g_sd = math.sqrt(float(odds.sum(axis=0) @ (log_g - g) ** 2))
    together = float((log_h - h) @ odds @ (log_g - g))
    day_sd = math.hypot(h_sd, DAY_DOUBT)
    return Pace(math.exp(h), math.exp(g), day_sd, g_sd, together / max(day_sd * g_sd, 1e-12))


@dataclass(frozen=True, slots=True)
class HandsSeen:
    """What one pour tells of the hands' pace that day.

    Attributes
    ----------
    log_hands : float
        Log h.
    sd : float
        Its standard deviation by this pour's luck.
    mixing_sd : float
        By what timed mixing may be off, in every pour of this crew alike.
    """

    log_hands: float
    sd: float
    mixing_sd: float


def hands_seen(pour: Past) -> HandsSeen | None:
    """Return what one pour tells of the hands' pace by itself, None where it tells next to nothing.

    So it is too where no pace explains its interval: times from a log that was typed afterwards.
    All paces are simulated at once, by the same luck. An interval is as many times longer as all
    that goes into it, so what hands do not rule mixing does.
    """
    runs = pour.drawn.mix.shape[1]
    every: Drawn = Steps(*(np.tile(one, len(_HANDS)) for one in pour.drawn))
    run = simulate(at_pace(every, np.repeat(_HANDS, runs), 1.0), pour.roles, pour.buckets)
    logs = np.log(np.maximum(interval_s(run.poured_s), 1e-3)).reshape(len(_HANDS), runs)
    log_h, known_h = np.linspace(math.log(_HANDS[0]), math.log(_HANDS[-1]), 181), np.log(_HANDS)
    mean, luck = (np.interp(log_h, known_h, one) for one in (logs.mean(axis=1), logs.std(axis=1)))
    seen = math.log(max(pour.interval_s, 1e-3))
    at = int(np.argmin(np.abs(mean - seen)))
    of_hands = min(max(float(np.gradient(mean, log_h)[at]), 1e-3), 1.0)
    rest, of_mixing = seen - float(mean[at]), MIXING_DOUBT * (1.0 - of_hands)
    sd, mixing_sd = float(luck[at]) / of_hands, of_mixing / of_hands
    off = math.hypot(sd, mixing_sd)
    if off > MOST_DOUBT or abs(rest) > _NO_PACE * off * of_hands:
        return None
    return HandsSeen(float(log_h[at]) + rest / of_hands, sd, mixing_sd)


def _log_likelihood(pour: Past, log_h: Floats, log_g: Floats) -> Floats:
    """Log-likelihood of a pour's interval over the grid of log h and log g."""
    seen = np.empty((2, len(_HANDS), len(_MIXING)))
    for i, hands in enumerate(_HANDS):
        for j, mixing in enumerate(_MIXING):
            run = simulate(at_pace(pour.drawn, hands, mixing), pour.roles, pour.buckets)
            logs = np.log(np.maximum(interval_s(run.poured_s), 1e-3))
            seen[:, i, j] = logs.mean(), logs.std()
    mean, luck = (_between(one, log_h, log_g) for one in seen)
    of_day = DAY_DOUBT * np.gradient(mean, log_h, axis=0)
    scale2 = luck**2 + of_day**2 + 1e-6
    off2 = (math.log(max(pour.interval_s, 1e-3)) - mean) ** 2 / scale2
    told: Floats = -0.5 * np.log(scale2) - 0.5 * (_FREEDOM + 1.0) * np.log1p(off2 / _FREEDOM)
    return told


def _between(known: Floats, log_h: Floats, log_g: Floats) -> Floats:
    """Fill the fine grid between the paces that were simulated, linear in the logs."""
    along_h = np.array([np.interp(log_h, np.log(_HANDS), column) for column in known.T])
    return np.array([np.interp(log_g, np.log(_MIXING), row) for row in along_h.T])

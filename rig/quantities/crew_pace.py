r"""What a company's pours teach of a crew's next one: partial pooling of the hands' pace.

.. math::

    y_{ik} = \mu + c_i + m_i + d_{ik} + e_{ik}

is the log of the pace that pour k of crew i tells, with what the pour's luck leaves in doubt,
:math:`e`, and what the crew's timed mixing does, :math:`m`, known; crews :math:`c` and days
:math:`d` are normal. This is the random-effects model of
meta-analysis (Hedges and Olkin, Statistical Methods for Meta-Analysis, 1985, ch. 9) with one more
level. Before any pour :math:`\mu` is 0 give or take what is believed of a crew that nobody knows;
both standard deviations have flat priors (Gelman, Bayesian Analysis 1 (2006) 515-534), and what is
foretold is mixed over them.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from rig.quantities.expected import PaceExpected, PaceSpread

Floats = NDArray[np.float64]

_CREW_SD = np.concatenate([np.linspace(0.0, 0.3, 11), np.linspace(0.36, 0.6, 5)])
_DAY_SD = np.array([0.0, 0.015, 0.03, 0.045, 0.06, 0.08, 0.1, 0.13, 0.17, 0.22, 0.3])


@dataclass(frozen=True, slots=True)
class Seen:
    """What a pour told: whose it was, the log of the hands' pace, and how well it tells it.

    `sd` is of this pour alone, `mixing_sd` of all pours of this crew alike.
    """

    crew: str | None
    log_hands: float
    sd: float
    mixing_sd: float = 0.0


@dataclass(frozen=True)
class Given:
    """What is foretold at given standard deviations: the log of the odds, and by crew.

    `means` and `variances` (crews,) are those of the next pour; the last is of a crew that nobody
    knows.
    """

    log_odds: float
    means: Floats
    variances: Floats


class PaceHistory:
    """The fit of a company's pours.

    Parameters
    ----------
    seen : sequence of Seen
        At least one.
    mean_sd : float
        Of the mean of all crews before any pour.
    """

    def __init__(self, seen: Sequence[Seen], mean_sd: float) -> None:
        self._crews = sorted({one.crew or "" for one in seen})
        number = {crew: n for n, crew in enumerate(self._crews)}
        self._of = np.array([number[one.crew or ""] for one in seen])
        self._y = np.array([one.log_hands for one in seen])
        self._variance = np.array([one.sd for one in seen]) ** 2
        mixing = np.array([one.mixing_sd for one in seen]) ** 2
        self._mixing = np.bincount(self._of, mixing) / np.bincount(self._of)
        self._mean_sd = mean_sd
        found = [
            (self.given(float(crew_sd), float(day_sd)), float(crew_sd), float(day_sd), wide * long)
            for crew_sd, wide in zip(_CREW_SD, np.gradient(_CREW_SD), strict=True)
            for day_sd, long in zip(_DAY_SD, np.gradient(_DAY_SD), strict=True)
        ]
        most = max(one.log_odds for one, *_ in found)
        weight = np.array([width * math.exp(one.log_odds - most) for one, *_, width in found])
        self._weight = weight / weight.sum()
        self._given = [one for one, *_ in found]
        crew_sds, day_sds = (np.array([one[n] for one in found]) for n in (1, 2))
        self.sd = PaceSpread(crew=float(self._weight @ crew_sds), day=float(self._weight @ day_sds))

    def given(self, crew_sd: float, day_sd: float) -> Given:
        """Solve it for given standard deviations between crews and from day to day."""
        of, y, crews = self._of, self._y, len(self._crews)
        scale2 = self._variance + day_sd**2 + 1e-12
        weight = np.bincount(of, 1.0 / scale2, crews)
        level = np.bincount(of, y / scale2, crews) / weight
        within = float(((y - level[of]) ** 2 / scale2).sum() + np.log(scale2).sum())
        spread2 = 1.0 / weight + self._mixing + crew_sd**2
        before = 0.0 if math.isinf(self._mean_sd) else 1.0 / self._mean_sd**2
        precision = float((1.0 / spread2).sum()) + before
        mean = float((level / spread2).sum()) / precision
        between = float(((level - mean) ** 2 / spread2).sum()) + before * mean**2
        loss = (
            within + between + float((np.log(spread2) + np.log(weight)).sum()) + math.log(precision)
        )
        # A crew's own pours count by `share`, what is known of all crews by the rest.
        share = crew_sd**2 / spread2
        means = np.append(share * level + (1.0 - share) * mean, mean)
        own = crew_sd**2 * np.append(1.0 - share, 1.0)
        rest = np.append(1.0 - share, 1.0) ** 2 / precision
        return Given(-0.5 * loss, means, own + rest + day_sd**2)

    def expect(self, crew: str | None) -> PaceExpected:
        """Tell the hands' pace in a crew's next pour; an unknown one has all crews' spread."""
        known = crew is not None and crew in self._crews
        at = self._crews.index(crew) if known and crew is not None else -1
        means = np.array([one.means[at] for one in self._given])
        sds = np.sqrt([one.variances[at] for one in self._given])
        middle = float(self._weight @ means)
        doubt = math.sqrt(float(self._weight @ (sds**2 + (means - middle) ** 2)))
        low, p50, high = (
            math.exp(_quantile(share, self._weight, means, sds)) for share in (0.025, 0.5, 0.975)
        )
        pours = int((self._of == at).sum()) if known else 0
        return PaceExpected(
            p50=p50,
            low=low,
            high=high,
            doubt=doubt,
            pours=pours,
            others=len(self._y) - pours,
            sd=self.sd,
        )


def _quantile(share: float, weight: Floats, means: Floats, sds: Floats) -> float:
    """Return a quantile of normal distributions, mixed."""

    def over(x: float) -> float:
        return float(weight @ ndtr((x - means) / np.maximum(sds, 1e-9))) - share

    reach = 10.0 * float(sds.max()) + 1e-6
    return float(brentq(over, float(means.min()) - reach, float(means.max()) + reach, xtol=1e-10))

r"""Re-estimates need and yield while the pour runs.

The need r, in bags for the whole floor, is normal before the first bag: the plan's volume over the
sheet's yield, both with their doubt. A front that has covered the share s of the volume after n
bags says

.. math:: n_k = r\,s_k + r_0\,b_k + e_k,

with e the error of placing the front, half a strip either way (rectangular, GUM 4.3.7), b that
of the shares themselves: what the surface's doubt puts into one part of the floor and not into
another is a Brownian bridge, 0 at both ends. All is linear and normal, so the posterior is exact.
How a need that differs divides into yield and volume follows from how doubtful each was before.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

YIELD_DOUBT = 0.15
"""Standard deviation of a crew's yield against the sheet's, as a share (our own figure, no source:
water, spillage and what stays in the buckets); wide, so that a yield 10 % off is soon believed."""
ONE_SIDED_95 = 1.6448536269514722


@dataclass(frozen=True)
class Prior:
    """What is known before the first bag.

    Attributes
    ----------
    volume_l, volume_sd_l : float
        Of the floor up to the finished plane.
    yield_l : float
        What a bag puts on the floor, waste taken off.
    yield_doubt : float
        Its standard deviation as a share.
    """

    volume_l: float
    volume_sd_l: float
    yield_l: float
    yield_doubt: float = YIELD_DOUBT

    @property
    def need(self) -> float:
        """Bags for the whole floor."""
        return self.volume_l / self.yield_l

    @property
    def volume_doubt(self) -> float:
        """Standard deviation of the volume as a share."""
        return self.volume_sd_l / self.volume_l


@dataclass(frozen=True)
class Front:
    """A front that was told: bags used, share of the volume covered, half the error's width."""

    bags: float
    share: float
    half_share: float


@dataclass(frozen=True)
class Need:
    """What the whole floor takes, as it looks now.

    Attributes
    ----------
    bags, sd_bags : float
    yield_l, yield_sd_l : float
        Of a bag on the floor.
    volume_l : float
    """

    bags: float
    sd_bags: float
    yield_l: float
    yield_sd_l: float
    volume_l: float

    @property
    def p95(self) -> float:
        """Bags that are enough 95 times in 100."""
        return self.bags + ONE_SIDED_95 * self.sd_bags

    def chance_enough(self, bags: float) -> float:
        """Probability that so many bags are enough."""
        return 0.5 * math.erfc((self.bags - bags) / (self.sd_bags * math.sqrt(2.0)))


def yield_known(yield_l: float, yield_sd_l: float) -> bool:
    """Tell whether a yield's doubt, twice its standard deviation, leaves half of it or more.

    A figure that may be half or twice as much is none to print beside the bag's sheet.
    """
    return 2.0 * yield_sd_l < 0.5 * yield_l


def estimate(prior: Prior, fronts: Sequence[Front]) -> Need:
    """Estimate need and yield from the fronts told so far.

    Parameters
    ----------
    prior : Prior
    fronts : sequence of Front
        In their order; those at share 0 say nothing.
    """
    r0 = prior.need
    rel2 = prior.yield_doubt**2 + prior.volume_doubt**2
    told = [front for front in fronts if front.share > 0.0]
    mean, var = r0, rel2 * r0**2
    if told:
        rows = [
            [
                r0**2 * prior.volume_doubt**2
                * min(a.share, b.share) * max(0.0, 1.0 - max(a.share, b.share))
                + ((r0 * a.half_share) ** 2 / 3.0 + 1e-9 * r0**2 if i == j else 0.0)
                for j, b in enumerate(told)
            ]
            for i, a in enumerate(told)
        ]  # fmt: skip
        shares = [front.share for front in told]
        weights = _solve(rows, shares)
        information = math.fsum(w * s for w, s in zip(weights, shares, strict=True))
        score = math.fsum(w * front.bags for w, front in zip(weights, told, strict=True))
        precision = 1.0 / var + information
        mean, var = (r0 / var + score) / precision, 1.0 / precision
    shift = math.log(max(mean, 1e-6) / r0)
    of_yield = prior.yield_doubt**2 / rel2
    yield_l = prior.yield_l * math.exp(-of_yield * shift)
    # The part of log r that is yield is known as log r is; the rest stays as doubtful as it was.
    known2 = var / mean**2 * of_yield**2
    left2 = prior.yield_doubt**2 * (1.0 - of_yield)
    return Need(
        mean,
        math.sqrt(var),
        yield_l,
        yield_l * math.sqrt(known2 + left2),
        prior.volume_l * math.exp((1.0 - of_yield) * shift),
    )


def _solve(matrix: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    """Solve a small positive definite system by Cholesky's method; fronts are a few dozen."""
    size = len(right)
    low = [[0.0] * size for _ in range(size)]
    for i in range(size):
        for j in range(i + 1):
            rest = matrix[i][j] - math.fsum(low[i][k] * low[j][k] for k in range(j))
            low[i][j] = math.sqrt(rest) if i == j else rest / low[j][j]
    half: list[float] = []
    for i in range(size):
        half.append((right[i] - math.fsum(low[i][k] * half[k] for k in range(i))) / low[i][i])
    solved = [0.0] * size
    for i in reversed(range(size)):
        rest = half[i] - math.fsum(low[k][i] * solved[k] for k in range(i + 1, size))
        solved[i] = rest / low[i][i]
    return solved

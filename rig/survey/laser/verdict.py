"""Says whether an error that is known with a doubt keeps within a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from rig.errors import BadInput
from rig.language import numeral, say

CONFIDENCE = 0.95
SIGMAS = 3.0
"""What differs by more than this many standard errors is no noise: 0.27 % false alarms (normal)."""

USUAL_LIMIT_MM_PER_M = 0.1
"""A rotating laser's usual figure, some 1/16 in at 50 ft (common practice, no source)."""
NEED_MM = 1.0
"""What the line may be off at the farthest place of a job: the usual tolerance of a marker."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """Where an error stands against its limit.

    Attributes
    ----------
    ok : bool
        The best estimate keeps the limit: the risk is shared (simple acceptance, JCGM 106:2012,
        8.2), so `chance_in` says how sure that is.
    chance_in : float
        Probability that the true error keeps the limit.
    word : 'in', 'out' or 'unsure'
        With 95 % confidence, as guard bands give it (JCGM 106:2012, 8.3).
    """

    ok: bool
    chance_in: float
    word: Literal["in", "out", "unsure"]


def judge(value: float, stderr: float, limit: float, freedom: float = math.inf) -> Verdict:
    """Judge one error, either way from nothing, whose doubt is normal (or Student's t)."""
    from scipy.stats import norm, t

    if stderr <= 0.0:
        chance = float(abs(value) <= limit)
    else:
        law = norm if math.isinf(freedom) else t(freedom)
        chance = float(law.cdf((limit - value) / stderr) - law.cdf((-limit - value) / stderr))
    return _verdict(abs(value) <= limit, chance)


def judge_tilt(x: float, y: float, stderr: float, limit: float) -> Verdict:
    """Judge the steepest slope of a tilt whose parts along x and y have the same doubt."""
    from scipy.stats import ncx2

    steepest = math.hypot(x, y)
    if stderr <= 0.0:
        chance = float(steepest <= limit)
    else:
        # The square of two normal parts over their variance: non-central chi-square.
        chance = float(ncx2.cdf((limit / stderr) ** 2, 2, (steepest / stderr) ** 2))
    return _verdict(steepest <= limit, chance)


def judge_spread(spread: float, freedom: int, limit: float) -> Verdict:
    """Judge an experimental standard deviation against the one allowed (chi-square)."""
    from scipy.stats import chi2

    # Flat in the logarithm of the true spread: what chi-square intervals mean.
    chance = float(chi2.sf(freedom * (spread / limit) ** 2, freedom))
    return _verdict(spread <= limit, chance)


def checked_limit(limit: float) -> float:
    """Return a limit, or refuse one that is not more than nothing."""
    if not (math.isfinite(limit) and limit > 0):
        raise BadInput(
            say("The limit must be more than nothing, not {limit}.", limit=numeral(limit, "g"))
        )
    return limit


def _verdict(ok: bool, chance: float) -> Verdict:
    if chance >= CONFIDENCE:
        return Verdict(ok, chance, "in")
    return Verdict(ok, chance, "out" if chance <= 1.0 - CONFIDENCE else "unsure")

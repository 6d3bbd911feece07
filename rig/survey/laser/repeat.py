"""Repeatability: how far readings of one place scatter, after the manner of ISO 17123-6.

The standard's own numeric examples are not at hand; the statistics are the textbook ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rig.errors import BadInput
from rig.language import say
from rig.survey.laser.verdict import CONFIDENCE

FEW = 10
"""Fewer readings than this tell a spread badly: the text says so."""


@dataclass(frozen=True, slots=True)
class Repeat:
    """Experimental standard deviation of one reading, and the interval that holds the true one.

    `sd_low_mm` to `sd_high_mm` is the central 95 % by chi-square.
    """

    n: int
    mean_mm: float
    stderr_mm: float
    sd_mm: float
    sd_low_mm: float
    sd_high_mm: float


def repeat(readings_mm: Sequence[float]) -> Repeat:
    """Tell the repeatability of readings of one place, the rod stood anew for each.

    Raises
    ------
    BadInput
        Fewer than two readings, or one that is not finite.
    """
    from scipy.stats import chi2

    n = len(readings_mm)
    if n < 2:
        raise BadInput(say("Repeatability needs two readings of one place at least, better ten."))
    if not all(map(math.isfinite, readings_mm)):
        raise BadInput(say("A reading is not finite."))
    mean = math.fsum(readings_mm) / n
    square = math.fsum((r - mean) ** 2 for r in readings_mm)
    tail = (1.0 - CONFIDENCE) / 2.0
    return Repeat(
        n,
        mean,
        math.sqrt(square / (n - 1) / n),
        math.sqrt(square / (n - 1)),
        math.sqrt(square / float(chi2.isf(tail, n - 1))),
        math.sqrt(square / float(chi2.ppf(tail, n - 1))),
    )

"""Judges a floor against a rule under doubt: in, out, or too close to tell (after JCGM 106).

The doubt is that of the whole surface at once: joint draws of the floor are each held against
the rule everywhere, and the share of draws that conform is the probability of conformity.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from rig.flatness.straightedge import Placement
from rig.words import flatness as words

if TYPE_CHECKING:
    from rig.flatness.f_numbers import FNumbers
    from rig.flatness.field import Floats
    from rig.flatness.rule import Rule

Word = Literal["in", "out", "unsure"]

LINE_DRAWS = 200
JUDGE_SEED = 18202


@dataclass(frozen=True, slots=True)
class Alone:
    """Word and 90 % intervals (of F-numbers or the worst), as if readings shared no error."""

    word: Word
    ff_ci90: tuple[float, float] | None = None
    fl_ci90: tuple[float, float] | None = None
    worst_range_mm: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class Verdict:
    """What a floor is against a rule.

    Attributes
    ----------
    chance : float
        Probability that the floor conforms everywhere.
    worst : Placement or None
        Of the best estimate of the surface, a gap of 0 where there is none; None for F-numbers.
    worst_range_mm : (float, float) or None
        Central 90 % of the largest gap (scaled to the limit of `worst`) over the draws.
    share_in : float or None
        Share of all placements within the limit, on the best estimate.
    numbers : FNumbers or None
    next_shots : tuple of (x_mm, y_mm)
        Places whose shots would most settle the verdict, where it is unsure.
    line : str or None
        The line that `worst` lies on, for a table of lines.
    alone : Alone or None
        Of F-numbers and levelness, what it would be without errors that all readings share; None
        without such.
    """

    rule: Rule
    word: Word
    chance: float
    confidence: float
    warnings: tuple[str, ...]
    worst: Placement | None = None
    worst_range_mm: tuple[float, float] | None = None
    share_in: float | None = None
    numbers: FNumbers | None = None
    next_shots: tuple[tuple[float, float], ...] = ()
    line: str | None = None
    alone: Alone | None = None


def word_for(chance: float, confidence: float) -> Word:
    """In, out or unsure, for a probability of conformity.

    Acceptance and rejection each with a guard band: in from the confidence up, out from 1 less
    the confidence down (JCGM 106:2012, 8.3, with the probability in place of the band's width).
    """
    if chance >= confidence:
        return "in"
    return "out" if chance <= 1.0 - confidence + 1e-12 else "unsure"


def guarded(
    chance: float, confidence: float, worst_share: float, of: words.Of, blind: bool = False
) -> tuple[Word, tuple[str, ...]]:
    """Word for a probability, held back where the best estimate or the spacing speaks against it.

    A maximum over draws lies above that of the best estimate, for each draw adds its own ups and
    downs: nothing is called out that at its best estimate is in. Nor is it called in by what
    stands too wide apart to see.

    Parameters
    ----------
    chance, confidence : float
    worst_share : float
        Of the limit, what the worst of the best estimate takes up.
    of : {'shots', 'readings'}
        What the doubt is of.
    blind : bool
        Whether they stand too wide apart for the rule.

    Returns
    -------
    word : Word
    why : tuple of str
        What made it unsure, if not the probability.
    """
    word = word_for(chance, confidence)
    if word == "in" and blind:
        return "unsure", (words.too_wide_apart(of),)
    if word == "out" and worst_share <= 1.0:
        return "unsure", (words.ONLY_DOUBT[of],)
    return word, ()


@dataclass(frozen=True)
class Held:
    """How draws of a floor are against a rule: probability, word and why, range of the worst."""

    chance: float
    word: Word
    why: tuple[str, ...]
    range_mm: tuple[float, float]


def held(
    drawn: Floats, worst: Placement, confidence: float, of: words.Of, blind: bool = False
) -> Held:
    """Hold the worst shares of the limit that draws have, (draws,), against 1."""
    # Of a few hundred draws none is no proof of never: half of one is left on either side.
    chance = (float(np.sum(drawn <= 1.0)) + 0.5) / (len(drawn) + 1.0)
    word, why = guarded(chance, confidence, worst.share, of, blind)
    low, high = np.quantile(drawn, [0.05, 0.95]) * worst.limit_mm
    return Held(chance, word, why, (float(low), float(high)))

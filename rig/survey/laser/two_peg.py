"""Two-peg test: how far the line climbs with distance, from sights of two pegs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rig.errors import BadInput
from rig.language import say

LEAST_LEVERAGE_M = 0.1
"""Sights must differ by this much in balance: the error shows in nothing else."""


@dataclass(frozen=True, slots=True)
class PegSight:
    """Readings on pegs A and B from one place of the laser, and how far it stood from each."""

    a_mm: float
    b_mm: float
    dist_a_mm: float
    dist_b_mm: float
    stderr_mm: float
    """Of each of the two readings."""

    @property
    def drop_mm(self) -> float:
        """Reading on A less that on B: the rise of B over A, and the error of the distances."""
        return self.a_mm - self.b_mm

    @property
    def balance_m(self) -> float:
        """How much farther off A is than B."""
        return (self.dist_a_mm - self.dist_b_mm) / 1000.0


@dataclass(frozen=True, eq=False, slots=True)
class TwoPeg:
    """What the test found.

    Attributes
    ----------
    error_mm_per_m, stderr_mm_per_m : float
        Positive where the line climbs with the distance from the laser.
    rise_mm : float
        Of B over A, free of that error.
    residuals_mm : (n,) array
        Of each sight's difference.
    redundancy : int
        Sights beyond what is needed.
    agree : float or None
        Chance that sights as good as stated disagree as much as these; None without redundancy.
    """

    error_mm_per_m: float
    stderr_mm_per_m: float
    rise_mm: float
    residuals_mm: npt.NDArray[np.float64]
    redundancy: int
    agree: float | None


def two_peg(
    sights: Sequence[PegSight], rise_mm: float | None = None, weighted: bool = False
) -> TwoPeg:
    r"""Find the radial error of a line.

    For each sight :math:`A - B = \Delta h + e\,(d_A - d_B)`, by least squares.

    Parameters
    ----------
    sights : sequence of PegSight
        Two or more, or one where the rise is known.
    rise_mm : float, optional
        Known height of B over A, taken as exact.
    weighted : bool
        Weigh sights by their own errors; else they weigh the same, and their errors only tell the
        doubt. Where more sights than needed disagree beyond it, the doubt grows with them.

    Raises
    ------
    BadInput
        Numbers that are no sight, or sights whose balance is all the same.
    """
    from scipy.stats import chi2

    for sight in sights:
        _refuse_odd(sight)
    needed = 2 if rise_mm is None else 1
    if len(sights) < needed:
        raise BadInput(
            say(
                "The two-peg test needs two sights of both pegs, from different places, or one "
                "and the known rise of B over A (--rise)."
            )
        )
    balance = np.array([sight.balance_m for sight in sights])
    leverage = np.ptp(balance) if rise_mm is None else np.max(np.abs(balance))
    if leverage < LEAST_LEVERAGE_M:
        raise BadInput(
            say(
                "The distances leave the error invisible: each sight is balanced alike. Move the "
                "laser, as from the middle to beside one peg."
                if rise_mm is None
                else "The distances leave the error invisible: with a known rise the laser must "
                "stand nearer to one peg than to the other."
            )
        )
    drop = np.array([sight.drop_mm for sight in sights])
    variance = np.array([2.0 * sight.stderr_mm**2 for sight in sights])
    if rise_mm is None:
        design = np.column_stack([balance, np.ones(len(sights))])
    else:
        design, drop = balance[:, None], drop - rise_mm
    weights = 1.0 / variance if weighted else np.ones(len(sights))
    inverse = np.linalg.inv(design.T @ (design * weights[:, None]))
    gain = inverse @ design.T * weights
    found = gain @ drop
    residuals = drop - design @ found
    doubt = math.sqrt(float(gain[0] ** 2 @ variance))
    redundancy, agree = len(sights) - needed, None
    if redundancy:
        square = float(np.sum(residuals**2 / variance))
        agree = float(chi2.sf(square, redundancy))
        doubt *= max(1.0, math.sqrt(square / redundancy))
    return TwoPeg(
        float(found[0]),
        doubt,
        rise_mm if rise_mm is not None else float(found[1]),
        residuals,
        redundancy,
        agree,
    )


def _refuse_odd(sight: PegSight) -> None:
    numbers = (sight.a_mm, sight.b_mm, sight.dist_a_mm, sight.dist_b_mm, sight.stderr_mm)
    if not all(map(math.isfinite, numbers)):
        raise BadInput(
            say("A sight needs four finite numbers: readings on A and B, distances to them.")
        )
    if min(sight.dist_a_mm, sight.dist_b_mm) < 0:
        raise BadInput(say("A distance is negative; give how far the laser stood from each peg."))
    if sight.stderr_mm <= 0:
        raise BadInput(say("The doubt of a sight's readings must be more than nothing."))

r"""Finds where a floor's highest and lowest places probably are, and how high and low.

Not the highest shot: joint draws of the surface over a raster give the distribution of the
maximum, roughness of the floor included, and the next shots that would settle it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from rig.errors import BadInput
from rig.surface.covariance import Floats
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.places import checked_places, checked_values

DRAWS = 2_000
# One rough spot is taken to be as wide as a rod's foot (common practice, no source).
ROUGH_SPOT_MM = 50.0
# A next shot that narrows the doubt by less than this is not worth the walk.
_LEAST_GAIN_MM = 0.02


@dataclass(frozen=True)
class Extreme:
    """Highest or lowest place of a floor.

    `x_mm`, `y_mm`, `z_mm` are the best estimate (of the smooth floor); the true extreme, any
    rough spot included, lies below `upper_mm` with the confidence, and above `lower_mm` too.
    """

    x_mm: float
    y_mm: float
    z_mm: float
    lower_mm: float
    upper_mm: float


@dataclass(frozen=True, eq=False)
class Extremes:
    """High and low of a floor over a raster of m cells.

    `highest_mm`, `lowest_mm` (n, m) are joint draws of the highest and lowest spot of each cell;
    `chance_high` (m,) is the probability that the floor's highest spot lies in a cell.
    """

    x_mm: Floats
    y_mm: Floats
    high: Extreme
    low: Extreme
    confidence: float
    chance_high: Floats
    highest_mm: Floats
    lowest_mm: Floats

    @property
    def range_mm(self) -> float:
        """Best estimate of how far the high point stands over the low point."""
        return self.high.z_mm - self.low.z_mm


@dataclass(frozen=True)
class NextShot:
    """Where to shoot next: `doubt_mm` of the likely high places before, `left_mm` after it."""

    x_mm: float
    y_mm: float
    doubt_mm: float
    left_mm: float


def find_extremes(
    model: GaussianProcess,
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    area_mm2: ArrayLike,
    rng: np.random.Generator,
    confidence: float = 0.95,
    draws: int = DRAWS,
) -> Extremes:
    r"""High and low point of a fitted surface over a raster.

    Parameters
    ----------
    model : GaussianProcess
        Fitted.
    x_mm, y_mm : arrays, shape (m,)
        Cell centres; up to some 1 500.
    area_mm2 : array, shape (m,), or float
        Covered area of each cell.
    rng : numpy.random.Generator
    confidence : float
        Of `upper_mm` and `lower_mm`, each one-sided.
    draws : int

    Notes
    -----
    A cell holds :math:`k` = area / (50 mm)² rough spots. The highest of :math:`k` independent
    roughnesses is drawn as :math:`\tau\,\Phi^{-1}(U^{1/k})`, so that the maximum over the floor
    does not depend on how coarse the raster is. Spots that were shot are treated like others.
    Within a cell the floor climbs from the centre to the highest corner as the best estimate
    does: on a floor that rises to a wall, the highest place is at the wall, not half a cell off.
    """
    x, y = checked_places(x_mm, y_mm)
    area = checked_values(area_mm2, x, "area")
    if len(x) == 0 or not np.all(area > 0):
        raise BadInput("A raster needs at least one cell, and every cell an area above 0.")
    if not 0.5 <= confidence < 1.0:
        raise BadInput(f"Confidence {confidence:g} is out of range: give 0.5 to below 1.")
    mean, _ = model.predict(x, y)
    smooth = model.sample(x, y, draws, rng, nugget=False)
    rise, fall = _within_cells(model, x, y, area, mean)
    highest = smooth + rise + _highest_of(area, smooth.shape, model.nugget_mm2, rng)
    lowest = smooth - fall - _highest_of(area, smooth.shape, model.nugget_mm2, rng)
    chance = np.bincount(np.argmax(highest, axis=1), minlength=len(x)) / draws
    tails = [1.0 - confidence, confidence]
    return Extremes(
        x,
        y,
        _extreme(x, y, mean, int(np.argmax(mean)), np.quantile(highest.max(axis=1), tails)),
        _extreme(x, y, mean, int(np.argmin(mean)), np.quantile(lowest.min(axis=1), tails)),
        confidence,
        chance,
        highest,
        lowest,
    )


def suggest_shots(
    model: GaussianProcess, extremes: Extremes, n: int, stderr_mm: float
) -> list[NextShot]:
    r"""Places whose shots would most settle the high point, best first; at most n.

    Each is the raster cell :math:`c` that most lowers the doubt of the smooth floor where the
    maximum may lie: with posterior covariance :math:`C` and the chance :math:`p_i` that the
    maximum is in cell :math:`i`, a shot at :math:`c` leaves

    .. math:: \sum_i p_i \left(C_{ii} - \frac{C_{ic}^2}{C_{cc} + \tau^2 + s^2}\right).

    Places already shot gain little and are not named again. Chances are not updated between
    picks, and a gain below 0.02 mm ends the list: what is left is roughness.

    Parameters
    ----------
    model : GaussianProcess
    extremes : Extremes
        Of that model.
    n : int
    stderr_mm : float
        Error that a next shot will have.
    """
    chance = extremes.chance_high
    left = model.covariance(extremes.x_mm, extremes.y_mm)
    noise = model.nugget_mm2 + stderr_mm**2
    doubt = float(chance @ np.diag(left))
    found: list[NextShot] = []
    for _ in range(n):
        own = np.diag(left) + noise
        gain = np.divide(chance @ left**2, own, out=np.zeros(len(own)), where=own > 0)
        best = int(np.argmax(gain))
        after = max(doubt - float(gain[best]), 0.0)
        if np.sqrt(doubt) - np.sqrt(after) < _LEAST_GAIN_MM:
            break
        found.append(
            NextShot(
                float(extremes.x_mm[best]),
                float(extremes.y_mm[best]),
                float(np.sqrt(doubt)),
                float(np.sqrt(after)),
            )
        )
        left = left - np.outer(left[:, best], left[best] / own[best])
        doubt = after
    return found


def _within_cells(
    model: GaussianProcess, x: Floats, y: Floats, area: Floats, mean: Floats
) -> tuple[Floats, Floats]:
    """How far the best estimate rises and falls from each cell's centre to its corners."""
    half = np.sqrt(area) / 2.0
    corners = np.stack(
        [model.predict(x + i * half, y + j * half)[0] for i in (-1, 1) for j in (-1, 1)]
    )
    rise: Floats = np.maximum(corners.max(axis=0) - mean, 0.0)
    fall: Floats = np.maximum(mean - corners.min(axis=0), 0.0)
    return rise, fall


def _highest_of(
    area: Floats, shape: tuple[int, ...], nugget_mm2: float, rng: np.random.Generator
) -> Floats:
    """Height of the highest of the rough spots that each cell holds, above the smooth floor."""
    uniform = rng.random(shape)
    np.maximum(uniform, np.finfo(np.float64).tiny, out=uniform)
    # log and expm1 keep the upper tail exact where the root comes close to 1.
    above = -np.expm1(np.log(uniform) * (ROUGH_SPOT_MM**2 / area))
    result: Floats = -np.sqrt(nugget_mm2) * ndtri(above)
    return result


def _extreme(x: Floats, y: Floats, mean: Floats, index: int, tails: Floats) -> Extreme:
    return Extreme(
        float(x[index]), float(y[index]), float(mean[index]), float(tails[0]), float(tails[1])
    )

r"""Finds where a floor's highest and lowest places probably are, and how high and low.

Not the highest shot: joint draws of the surface over a raster give the distribution of the
maximum, roughness of the floor included. Which shots would settle it: `rig.surface.next_shots`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from rig.errors import BadInput
from rig.language import numeral, say
from rig.surface.covariance import Floats
from rig.surface.draws import Singles, conditional_draws
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.humps import unseen_humps
from rig.surface.looked import Looked
from rig.surface.places import checked_places, checked_values

DRAWS = 1_000
# One rough spot is taken to be as wide as a rod's foot (common practice, no source).
ROUGH_SPOT_MM = 50.0
# A cell that holds hardly more than one spot is as rough as one spot.
_ONE_SPOT = 1.1


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

    `smooth_mm` (n, m) are joint draws of the smooth floor and `highest_mm` (n, m) of the highest
    spot of each cell; `lowest_mm` (n,) is the floor's lowest spot in each draw, `evens_mm` (n,) its
    highest were there no hump that no shot has seen; `chance_high` (m,)
    is the probability that the floor's highest spot lies in a cell; `even_mm` is what
    `high.upper_mm` would be were there no hump that no shot has seen.
    """

    x_mm: Floats
    y_mm: Floats
    high: Extreme
    low: Extreme
    confidence: float
    even_mm: float
    chance_high: Floats
    smooth_mm: Singles
    highest_mm: Singles
    lowest_mm: Singles
    evens_mm: Singles

    def at(self, confidence: float) -> Extremes:
        """Return the same draws, told with another confidence."""
        if confidence == self.confidence:
            return self
        tails = [1.0 - confidence, confidence]
        highs, lows = np.quantile(self.highest_mm.max(axis=1), tails), self.lowest_mm
        return replace(
            self,
            high=_between(self.high, highs),
            low=_between(self.low, np.quantile(lows, tails)),
            confidence=confidence,
            even_mm=float(np.quantile(self.evens_mm, confidence)),
        )

    @property
    def range_mm(self) -> float:
        """Best estimate of how far the high point stands over the low point."""
        return self.high.z_mm - self.low.z_mm


def find_extremes(
    model: GaussianProcess,
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    area_mm2: ArrayLike,
    rng: np.random.Generator,
    confidence: float = 0.95,
    draws: int = DRAWS,
    looks: Sequence[Looked] = (),
) -> Extremes:
    r"""High and low point of a fitted surface over a raster.

    Parameters
    ----------
    model : GaussianProcess
        Fitted.
    x_mm, y_mm : arrays, shape (m,)
        A place in each cell of a square raster; some 10 000 cells are a matter of a second.
    area_mm2 : array, shape (m,), or float
        Covered area of each cell.
    rng : numpy.random.Generator
    confidence : float
        Of `upper_mm` and `lower_mm`, each one-sided.
    draws : int
    looks : sequence of Looked
        What a straightedge found between the shots.

    Notes
    -----
    A cell holds :math:`k` = area / (50 mm)² rough spots. The highest of :math:`k` independent
    roughnesses is drawn as :math:`\tau\,\Phi^{-1}(U^{1/k})`, so that the maximum over the floor
    does not depend on how coarse the raster is. Spots that were shot are treated like others.
    Within a cell the floor climbs from the centre to the highest corner as the best estimate
    does: on a floor that rises to a wall, the highest place is at the wall, not half a cell off.
    Humps and dips that no shot has seen are in the extremes (`rig.surface.humps`).
    """
    x, y = checked_places(x_mm, y_mm)
    area = checked_values(area_mm2, x, "area")
    if len(x) == 0 or not np.all(area > 0):
        raise BadInput(say("A raster needs at least one cell, and every cell an area above 0."))
    if not 0.5 <= confidence < 1.0:
        raise BadInput(
            say(
                "Confidence {confidence} is out of range: give 0.5 to below 1.",
                confidence=numeral(confidence, "g"),
            )
        )
    mean, _ = model.predict(x, y, quick=True)
    smooth = conditional_draws(model, x, y, float(np.sqrt(area.max())), draws, rng)
    rise, fall = _within_cells(model, x, y, area, mean)
    lowest = _highest_of(area, smooth.shape, model.nugget_mm2, rng)
    np.subtract(smooth, lowest, out=lowest)
    lowest -= fall.astype(np.float32)
    draw, cell, dip = unseen_humps(model, x, y, area, draws, rng, looks, dips=True)
    lowest[draw, cell] -= dip
    lowest = lowest.min(axis=1)
    highest = _highest_of(area, smooth.shape, model.nugget_mm2, rng)
    highest += smooth
    highest += rise.astype(np.float32)
    evens = highest.max(axis=1)
    draw, cell, hump = unseen_humps(model, x, y, area, draws, rng, looks)
    highest[draw, cell] += hump
    chance = np.bincount(np.argmax(highest, axis=1), minlength=len(x)) / draws
    tails = [1.0 - confidence, confidence]
    return Extremes(
        x,
        y,
        _extreme(x, y, mean, int(np.argmax(mean)), np.quantile(highest.max(axis=1), tails)),
        _extreme(x, y, mean, int(np.argmin(mean)), np.quantile(lowest, tails)),
        confidence,
        float(np.quantile(evens, confidence)),
        chance,
        smooth,
        highest,
        lowest,
        evens,
    )


def _between(one: Extreme, tails: Floats) -> Extreme:
    return replace(one, lower_mm=float(tails[0]), upper_mm=float(tails[1]))


def _within_cells(
    model: GaussianProcess, x: Floats, y: Floats, area: Floats, mean: Floats
) -> tuple[Floats, Floats]:
    """How far the best estimate rises and falls from each cell's centre to its corners."""
    half = np.sqrt(area) / 2.0
    corners = np.stack(
        [model.predict(x + i * half, y + j * half, quick=True)[0] for i in (-1, 1) for j in (-1, 1)]
    )
    rise: Floats = np.maximum(corners.max(axis=0) - mean, 0.0)
    fall: Floats = np.maximum(mean - corners.min(axis=0), 0.0)
    return rise, fall


def _highest_of(
    area: Floats, shape: tuple[int, ...], nugget_mm2: float, rng: np.random.Generator
) -> Singles:
    """Height of the highest of the rough spots that each cell holds, above the smooth floor."""
    if area.max() <= _ONE_SPOT * ROUGH_SPOT_MM**2:
        result = rng.standard_normal(shape, dtype=np.float32)
    else:
        uniform = rng.random(shape, dtype=np.float32)
        np.maximum(uniform, np.finfo(np.float32).tiny, out=uniform)
        # log and expm1 keep the upper tail exact where the root comes close to 1.
        np.log(uniform, out=uniform)
        uniform *= (ROUGH_SPOT_MM**2 / area).astype(np.float32)
        np.expm1(uniform, out=uniform)
        np.negative(uniform, out=uniform)
        # A single float near 1 is off by a unit of its last digit; none may be all of it.
        np.clip(uniform, 1e-12, 1.0 - 1e-7, out=uniform)
        result = -ndtri(uniform)
    result *= np.float32(np.sqrt(nugget_mm2))
    return result


def _extreme(x: Floats, y: Floats, mean: Floats, index: int, tails: Floats) -> Extreme:
    return Extreme(
        float(x[index]), float(y[index]), float(mean[index]), float(tails[0]), float(tails[1])
    )

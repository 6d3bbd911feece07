r"""From five readings of a floor that nobody has surveyed: how thick the compound will lie on it.

The mean cover is the minimum cover and what the floor's highest place stands over its mean. By how
many standard deviations of five readings that is, is taken from made-up floors: tilted planes under
Gaussian fields of several ranges (R. J. Adler, The Geometry of Random Fields, 1981), read in the
corners and the middle. The ratio does not depend on the floor's scale, so that its distribution
serves every floor (a flat prior of the logarithm of the scale). The mix of floors is our own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import ndtri

from rig.errors import BadInput
from rig.language import say
from rig.target.level import Floats

FEWEST, MOST = 5, 100
READ_MM = 1.0
"""Standard deviation of one reading of a quick look (our own figure, no source)."""
GUESS_SD = 0.3
"""Standard deviation of the logarithm of a depth that was guessed by eye (our own, no source)."""
_CELLS, _FLOORS = 11, 400
_RANGES_M = (1.0, 1.6, 2.5, 4.0)
_TILTS = (0.0, 0.5, 1.0)
_INSET = 0.08


@dataclass(frozen=True)
class Depth:
    """Mean thickness of the compound over a floor, in mm: 5, 50 and 95 times in 100 less."""

    low_mm: float
    likely_mm: float
    high_mm: float


def guessed(depth_mm: float) -> Depth:
    """Return what a mean depth that was guessed by eye may turn out to be."""
    wide = float(np.exp(ndtri(0.95) * GUESS_SD))
    return Depth(depth_mm / wide, depth_mm, depth_mm * wide)


def looked(readings_mm: Sequence[float], area_m2: float, min_cover_mm: float) -> Depth:
    """Return what a level pour will lie over a floor, from readings of its corners and middle.

    Parameters
    ----------
    readings_mm : sequence of float
        Of a rod, spread over the floor; more than five are taken as five are.
    area_m2 : float
    min_cover_mm : float

    Raises
    ------
    BadInput
        Fewer than five, or a floor that none is.
    """
    if not FEWEST <= len(readings_mm) <= MOST:
        raise BadInput(
            say(
                "A quick look takes {fewest} readings, in the corners and the middle; there "
                "are {readings}.",
                fewest=FEWEST,
                readings=len(readings_mm),
            )
        )
    spread = float(np.std(readings_mm, ddof=1))
    # Readings that agree by chance say no less than what a reading is good for.
    spread = float(np.hypot(spread, READ_MM))
    ratios = _ratios(round(max(area_m2, 1.0) ** 0.5))
    low, likely, high = (min_cover_mm + spread * float(q) for q in ratios)
    return Depth(low, likely, high)


@cache
def _ratios(side_m: int) -> tuple[float, float, float]:
    """Quantiles of what the top stands over the mean, in standard deviations of five readings."""
    rng = np.random.default_rng(20)
    axis = (np.arange(_CELLS) + 0.5) / _CELLS
    x, y = (one.ravel() for one in np.meshgrid(axis * 0.8 * side_m, axis * 1.25 * side_m))
    far = 1.0 - _INSET
    corners = [[_INSET, _INSET], [far, _INSET], [_INSET, far], [far, far], [0.5, 0.5]]
    ends = np.array(corners) * (0.8 * side_m, 1.25 * side_m)
    px, py = np.concatenate([x, ends[:, 0]]), np.concatenate([y, ends[:, 1]])
    apart = np.hypot(px[:, None] - px, py[:, None] - py)
    found: list[Floats] = []
    for range_m in _RANGES_M:
        cover = np.exp(-0.5 * (apart / range_m) ** 2) + 1e-8 * np.eye(len(px))
        fields = rng.standard_normal((_FLOORS, len(px))) @ np.linalg.cholesky(cover).T
        for tilt in _TILTS:
            slope = rng.standard_normal((_FLOORS, 2)) * tilt * 2.0 / side_m
            floors = fields + slope[:, :1] * px + slope[:, 1:] * py
            inside, read = floors[:, : len(x)], floors[:, len(x) :]
            spread = np.std(read, axis=1, ddof=1)
            top = floors.max(axis=1)
            found.append((top - inside.mean(axis=1)) / np.maximum(spread, 1e-3))
    low, likely, high = np.quantile(np.concatenate(found), (0.05, 0.5, 0.95))
    return float(low), float(likely), float(high)

r"""Names the shots that would lower the finished plane most: value of information before the walk.

A shot is worth what it is expected to save: the plane lies over the highest place that the doubt
allows, so a shot that narrows the doubt there lowers the plane, whatever it reads on average.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.surface.covariance import Floats
from rig.surface.draws import Singles
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.high_point import Extremes

# Places tried; draws looked at; and what a reading may turn out to be (Gauss-Hermite).
_CANDIDATES = 20
_SCREENED = 400
_DRAWS = 500
_OUTCOMES = 5
_MOST_LIKELY = 1_200
_APART_MM = 300.0


@dataclass(frozen=True)
class NextShot:
    """Where to shoot next and what it is expected to bring, those named before it taken too.

    `doubt_mm` is the doubt of the likely high places before, `left_mm` after it. `plane_mm` is by
    how much the bound over the high point, and a level plane with it, is expected to come down;
    `mean_sd_mm` what doubt of the floor's mean height is left.
    """

    x_mm: float
    y_mm: float
    doubt_mm: float
    left_mm: float
    plane_mm: float
    mean_sd_mm: float


def suggest_shots(
    model: GaussianProcess,
    extremes: Extremes,
    n: int,
    stderr_mm: float,
    least_mm: float = 0.02,
) -> list[NextShot]:
    r"""Places whose shots are expected to lower the high point's bound most, best first.

    Parameters
    ----------
    model : GaussianProcess
    extremes : Extremes
        Of that model.
    n : int
        At most so many.
    stderr_mm : float
        Error that a next shot will have.
    least_mm : float
        A shot expected to lower the bound by less ends the list: it is not worth the walk.

    Notes
    -----
    For a shot at :math:`c` each joint draw :math:`h` of the floor, with an error :math:`e` of its
    own, becomes a draw given the reading :math:`y`,

    .. math:: h + \frac{C_{\cdot c}}{C_{cc} + \tau^2 + s^2}\,(y - h_c - e),

    and the bound is the quantile of its maxima; its mean over :math:`y` is taken by five-point
    Gauss-Hermite quadrature. Places are screened by how much variance they take from where the
    maximum may lie. A second shot is weighed as if the first had read what is expected of it.
    """
    chosen = _screened_cells(extremes)
    noise = model.nugget_mm2 + stderr_mm**2
    weight = extremes.chance_high
    x, y = extremes.x_mm, extremes.y_mm
    everywhere = np.arange(0, len(x), max(1, len(x) // _SCREENED))
    # Columns: candidates; rows: candidates, likely high cells, a thinned raster for the mean.
    likely = _likely_high(extremes)
    rows = np.concatenate([chosen, likely, everywhere])
    joint = model.cross_covariance(x[rows], y[rows], x[chosen], y[chosen])
    prior_weight = weight[likely]
    at = slice(0, len(chosen))
    high = slice(len(chosen), len(chosen) + len(likely))
    spread = slice(len(chosen) + len(likely), None)
    sd = model.predict(x[likely], y[likely])[1]
    doubt2 = float(prior_weight @ sd**2)
    mean_sd = _mean_sd(model, x[everywhere], y[everywhere])

    rng = np.random.default_rng(len(x))
    draws = extremes.highest_mm[:_DRAWS][:, likely].astype(np.float32)
    values = extremes.smooth_mm[:_DRAWS][:, chosen].astype(np.float64)
    error = np.sqrt(noise) * rng.standard_normal((len(draws), n))
    bound = _bound(draws, extremes.confidence)
    found: list[NextShot] = []
    for step in range(n):
        own = np.maximum(np.diag(joint[at]), 0.0) + noise
        gain = prior_weight @ joint[high] ** 2 / own
        best, best_bound = -1, bound
        for shot in found:  # one spot twice is no second place
            gain[np.hypot(x[chosen] - shot.x_mm, y[chosen] - shot.y_mm) < _APART_MM] = -np.inf
        for c in np.argsort(gain)[::-1][:_CANDIDATES]:
            if not np.isfinite(gain[c]):
                break
            seen = values[:, c] + error[:, step]
            expected = _expected_bound(draws, joint[high, c] / own[c], seen, extremes.confidence)
            if best < 0 or expected < best_bound:
                best, best_bound = int(c), expected
        if best < 0 or bound - best_bound < least_mm:
            break
        reach = joint[:, best] / own[best]
        left2 = max(doubt2 - float(gain[best]), 0.0)
        mean_left2 = max(mean_sd**2 - float(np.mean(joint[spread, best])) ** 2 / own[best], 0.0)
        found.append(
            NextShot(
                float(x[chosen[best]]),
                float(y[chosen[best]]),
                float(np.sqrt(doubt2)),
                float(np.sqrt(left2)),
                float(bound - best_bound),
                float(np.sqrt(mean_left2)),
            )
        )
        seen = values[:, best] + error[:, step]
        surprise = seen.mean() - seen
        draws = draws + np.outer(surprise, reach[high]).astype(np.float32)
        values = values + np.outer(surprise, reach[at])
        joint = joint - np.outer(reach, joint[best])
        # Expected, not as if read: what surprises on average costs the bound nothing twice.
        bound = _bound(draws, extremes.confidence)
        doubt2, mean_sd = left2, float(np.sqrt(mean_left2))
    return found


def _expected_bound(draws: Singles, reach: Floats, seen: Floats, confidence: float) -> float:
    """Mean over what a shot may read of the bound that would then hold."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(_OUTCOMES)
    middle, spread = float(seen.mean()), float(seen.std())
    expected = 0.0
    single = reach.astype(np.float32)
    for node, weight in zip(nodes, weights / weights.sum(), strict=True):
        surprise = (middle + spread * node - seen).astype(np.float32)
        expected += float(weight) * _bound(draws + surprise[:, None] * single, confidence)
    return expected


def _bound(draws: Singles, confidence: float) -> float:
    return float(np.quantile(draws.max(axis=1), confidence))


def _likely_high(extremes: Extremes) -> NDArray[np.intp]:
    """Cells that hold the maximum in some draw, or come close to it."""
    highest = extremes.highest_mm[:_DRAWS]
    lowest_maximum = np.quantile(highest.max(axis=1), 0.02)
    cells = np.flatnonzero(highest.max(axis=0) >= lowest_maximum)
    if len(cells) > _MOST_LIKELY:
        reach = highest[:, cells].mean(axis=0) + 2.0 * highest[:, cells].std(axis=0)
        cells = cells[np.argsort(reach)[-_MOST_LIKELY:]]
    return np.union1d(cells, np.flatnonzero(extremes.chance_high))


def _screened_cells(extremes: Extremes) -> NDArray[np.intp]:
    """Cells where a shot may be tried: those likely high, and some spread over the floor."""
    count = len(extremes.x_mm)
    spread = np.arange(0, count, max(1, count // (_SCREENED // 2)))
    likely = np.argsort(extremes.chance_high)[::-1][: _SCREENED // 2]
    return np.unique(np.concatenate([spread, likely[extremes.chance_high[likely] > 0]]))


def _mean_sd(model: GaussianProcess, x: Floats, y: Floats) -> float:
    return model.integral(x, y, np.full(len(x), 1.0 / len(x)), nugget=False)[1]

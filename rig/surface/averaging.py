r"""Averages what the shots leave open of a floor's unevenness, instead of taking the likeliest.

A few rows of shots hardly tell whether lines along a wall add 0.2 or 0.8 mm. The likeliest value
is near the lower end of what is possible, and a floor taken for that is doubted too little. The
mean of the variance over all values, each as likely as the shots and the belief make it, is what
the doubt of a height comes from (that of the posterior variance is at most the posterior variance
of the mean: it is concave in the covariance).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.linalg import solve_triangular

from rig.surface.covariance import NARROW, Floats, Smoothness, correlation
from rig.surface.reml import Priors, Shots, lower_cholesky

# Values tried of a standard deviation: of lines in spreads of the belief about its median, of the
# undulation as a share of the likeliest.
_LINES = np.linspace(-2.2, 2.6, 25)
_UNDULATION = np.linspace(-0.8, 1.2, 21)


def mean_sds(
    parts: Sequence[Shots], smoothness: Smoothness, priors: Priors, likeliest: Floats
) -> Floats:
    """Roots of the mean variances of undulation and of lines in mm, the wide ones as they are.

    Parameters
    ----------
    parts : sequence of Shots
    smoothness : 1.5 or 2.5
    priors : Priors
    likeliest : array, shape (p,)
        Length, undulation, nugget and lines' sds as `rig.surface.reml.find` gives them; while one
        is averaged the others stay so.

    Returns
    -------
    array, shape (p - 2,)
        Undulation first. What wide lines add the shots tell well enough.
    """
    numbers = [1, *range(3, 3 + NARROW)]
    believed = priors.as_list(len(likeliest) - 3)
    tried = []
    for number in numbers:
        prior = believed[number]
        logs = (
            np.log(likeliest[number]) + _UNDULATION
            if number == 1
            else np.log(prior.median) + prior.spread * _LINES
        )
        tried.append(np.clip(logs, np.log(prior.lowest), np.log(prior.highest)))
    worth = [
        -0.5 * ((logs - np.log(believed[number].median)) / believed[number].spread) ** 2
        for number, logs in zip(numbers, tried, strict=True)
    ]
    for part in parts:
        for n, more in enumerate(_evidence(part, smoothness, likeliest, tried)):
            worth[n] = worth[n] + more
    means = []
    for logs, log_weight in zip(tried, worth, strict=True):
        weight = np.exp(log_weight - log_weight.max())
        means.append(np.sqrt(np.sum(weight * np.exp(2.0 * logs)) / np.sum(weight)))
    return np.array([*means, *likeliest[3 + NARROW :]])


def _evidence(
    shots: Shots, smoothness: Smoothness, likeliest: Floats, tried: Sequence[Floats]
) -> list[Floats]:
    r"""Log likelihood of the contrasts of the shots for values tried of one variance at a time.

    With the covariance :math:`C` of the contrasts at the likeliest values and a part :math:`M` of
    it, :math:`C + t M` is diagonal in the eigenvectors of :math:`L^{-1} M L^{-T}` for every t.
    """
    length, sd, nugget_sd, *line_sds = likeliest
    terms = [correlation(shots.distance_mm, length, smoothness), *shots.lines]
    sds = [sd, *line_sds]
    matrix = sum(s**2 * term for s, term in zip(sds, terms, strict=True))
    matrix = matrix + np.diag(shots.noise_mm2 + nugget_sd**2 * shots.roughness)
    basis, precision = shots.basis, shots.precision
    if len(precision):
        believed = precision > 0
        matrix = matrix + (basis[:, believed] / precision[believed]) @ basis[:, believed].T
        basis = basis[:, ~believed]
    contrasts = np.linalg.qr(basis, mode="complete")[0][:, basis.shape[1] :]
    lower = lower_cholesky(contrasts.T @ matrix @ contrasts)
    white = solve_triangular(lower, contrasts.T, lower=True, check_finite=False)
    heights = white @ shots.z_mm
    found = []
    for s, term, logs in zip(sds, terms, tried, strict=False):
        sizes, ways = np.linalg.eigh(white @ term @ white.T)
        grown = 1.0 + np.outer(np.exp(2.0 * logs) - s**2, np.maximum(sizes, 0.0))
        grown = np.maximum(grown, 1e-12)
        found.append(-0.5 * np.sum(np.log(grown) + (ways.T @ heights) ** 2 / grown, axis=1))
    return found

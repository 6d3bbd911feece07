r"""Finds how far, how much and how roughly a floor undulates: restricted maximum likelihood.

The likelihood of the shots after the trend is taken out, times weak priors that suit rooms, is
maximised over the logarithms of length, undulation and roughness with analytic gradients.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, lapack, solve_triangular

from rig.surface.covariance import (
    LINES,
    Floats,
    Smoothness,
    correlation_and_slope,
    distances,
)

# More shots than this are judged in parts of at most so many.
_PART_SHOTS = 120


@dataclass(frozen=True)
class Prior:
    """Log-normal belief about one parameter: median, spread of its logarithm, hard limits."""

    median: float
    spread: float
    lowest: float
    highest: float


@dataclass(frozen=True)
class Priors:
    """What is believed of any room's floor before a shot is taken (common practice, no source).

    `sd_mm` is the undulation about the plane, `nugget_sd_mm` the roughness a rod's foot finds
    from one spot to the next. Its median was set by calibration on made-up floors
    (`tests/surface/calibration.py`): 0.3 mm kept the high point under its bound too seldom.
    `lines` are the sds of what each of `rig.surface.covariance.LINES` adds; most floors have next
    to nothing, some 2 mm. They were chosen with floors of seed 11 of `tests/surface/worlds.py`:
    judge the table on others.
    """

    length_mm: Prior = Prior(1500.0, 0.8, 300.0, 10_000.0)
    sd_mm: Prior = Prior(3.0, 1.0, 0.1, 60.0)
    nugget_sd_mm: Prior = Prior(0.4, 0.7, 0.01, 6.0)
    lines: tuple[Prior, ...] = (Prior(0.2, 1.2, 0.01, 6.0),) * 2 + (
        Prior(0.3, 1.2, 0.01, 10.0),
    ) * 2

    def as_list(self, lines: int = 0) -> list[Prior]:
        """In the order of the parameters: length, undulation, roughness, so many lines."""
        return [self.length_mm, self.sd_mm, self.nugget_sd_mm, *self.lines[:lines]]

    def flat(self) -> Priors:
        """Return the same limits without any belief."""
        length, sd, nugget, *lines = (
            Prior(p.median, np.inf, p.lowest, p.highest) for p in self.as_list(len(self.lines))
        )
        return Priors(length, sd, nugget, tuple(lines))


@dataclass(frozen=True)
class Shots:
    """What the likelihood needs of the shots.

    `distance_mm` (n, n), `basis` (n, p) of the trend (p may be 0), `z_mm` (n,), `noise_mm2` (n,):
    the known variance of each shot; `precision` (p,): what is believed of each coefficient, 1/sd²,
    0 where nothing is (all, where left out); `roughness` (n,): the share of the nugget that each
    shot has, 1 unless it is the mean of several; `lines`: correlations (n, n) of what lines along
    the walls add, none where there are none.
    """

    distance_mm: Floats
    basis: Floats
    z_mm: Floats
    noise_mm2: Floats
    precision: Floats = field(default_factory=lambda: np.zeros(0))
    roughness: Floats = field(default_factory=lambda: np.ones(1))
    lines: tuple[Floats, ...] = ()


def lower_cholesky(matrix: Floats) -> Floats:
    """Lower Cholesky factor, with as little added to the diagonal as makes it possible."""
    jitter, size = 0.0, 0.0
    while True:
        loaded = matrix if jitter == 0.0 else matrix + jitter * np.eye(len(matrix))
        factor, failed = lapack.dpotrf(loaded, lower=1, clean=1)
        if not failed:
            lower: Floats = factor
            return lower
        size = float(np.mean(np.diag(matrix)))
        jitter = max(10.0 * jitter, 1e-12 * size)
        if not jitter < size:  # not a number ends here too
            raise LinAlgError("The covariance of the shots is not positive definite.")


def inverse_from_cholesky(lower: Floats) -> Floats:
    """Inverse of the matrix whose lower Cholesky factor is given, shape (n, n)."""
    inverse, _ = lapack.dpotri(lower, lower=1)
    full: Floats = inverse + inverse.T
    full.flat[:: len(full) + 1] *= 0.5
    return full


def penalty(
    logs: Floats, shots: Shots, smoothness: Smoothness, priors: Priors
) -> tuple[float, Floats]:
    r"""Negative log of restricted likelihood times priors, and its gradient.

    .. math::

        \tfrac12\left(\log|K| + \log|H^T K^{-1} H| + z^T P z\right)
        + \tfrac12 \sum_j \left(\frac{\theta_j - \mu_j}{s_j}\right)^2,
        \quad P = K^{-1} - K^{-1} H (H^T K^{-1} H)^{-1} H^T K^{-1}

    after Patterson and Thompson, Biometrika 58 (1971) 545–554 (with beliefs of coefficients their
    precision is added to :math:`H^T K^{-1} H`); the derivative with respect to a
    parameter is half of :math:`tr(P K') - z^T P K' P z`.

    Parameters
    ----------
    logs : array, shape (p,)
        Natural logs of length (mm), undulation (mm), nugget's sd (mm) and the sd of each of the
        shots' lines (mm).
    shots : Shots
    smoothness : 1.5 or 2.5
    priors : Priors

    Returns
    -------
    value : float
        Up to a constant.
    gradient : array, shape (p,)
    """
    length, variance, nugget = np.exp(logs[0]), np.exp(2 * logs[1]), np.exp(2 * logs[2])
    alike, slope = correlation_and_slope(shots.distance_mm, length, smoothness)
    alike *= variance
    slope *= variance
    lines = [np.exp(2 * log) * line for log, line in zip(logs[3:], shots.lines, strict=True)]
    matrix = alike + sum(lines) if lines else alike.copy()
    matrix.flat[:: len(matrix) + 1] += shots.noise_mm2 + nugget * shots.roughness
    lower = lower_cholesky(matrix)
    projector = inverse_from_cholesky(lower)
    value = float(np.sum(np.log(np.diag(lower))))
    if shots.basis.shape[1]:
        weighted = projector @ shots.basis
        normal = shots.basis.T @ weighted
        if len(shots.precision):
            normal.flat[:: len(normal) + 1] += shots.precision
        trend = lower_cholesky(normal)
        value += float(np.sum(np.log(np.diag(trend))))
        thin = solve_triangular(trend, weighted.T, lower=True, check_finite=False)
        projector -= thin.T @ thin
    alpha = projector @ shots.z_mm
    value += 0.5 * float(shots.z_mm @ alpha)
    gradient = 0.5 * np.array(
        [
            np.vdot(projector, slope) - alpha @ slope @ alpha,
            2.0 * (np.vdot(projector, alike) - alpha @ alike @ alpha),
            2.0 * nugget * float(np.sum(shots.roughness * (np.diag(projector) - alpha**2))),
            *(2.0 * (np.vdot(projector, line) - alpha @ line @ alpha) for line in lines),
        ]
    )
    for index, prior in enumerate(priors.as_list(len(lines))):
        away = (logs[index] - np.log(prior.median)) / prior.spread
        value += 0.5 * float(away**2)
        gradient[index] += away / prior.spread
    return value, gradient


def find(
    parts: Sequence[Shots],
    smoothness: Smoothness,
    priors: Priors,
    fixed: Sequence[float | None] = (None, None, None),
) -> Floats:
    """Most plausible length (mm), undulation, nugget and lines' sds (mm), shape (p,).

    Parameters
    ----------
    parts : sequence of Shots
        All shots, or parts of many (see `parts_of`) whose likelihoods are multiplied as if
        independent: a composite likelihood.
    smoothness : 1.5 or 2.5
    priors : Priors
    fixed : p floats or None
        Those given are kept as they are: three, and one more for each kind of lines of the shots.

    Notes
    -----
    A few shots leave more than one likely answer, so two starts are tried (short and long
    undulation); many shots do with one.
    """
    from scipy.optimize import minimize

    believed = priors.as_list(len(parts[0].lines))
    free = [index for index, value in enumerate(fixed) if value is None]
    base = np.array([prior.median for prior in believed])
    for index, value in enumerate(fixed):
        if value is not None:
            base[index] = max(value, 1e-9)
    logs = np.log(base)
    if not free:
        return _parameters(logs)
    limits = [(np.log(believed[i].lowest), np.log(believed[i].highest)) for i in free]
    spread = float(np.std(np.concatenate([part.z_mm for part in parts])))
    if fixed[1] is None:
        logs[1] = np.log(np.clip(spread, believed[1].lowest, believed[1].highest))
    flat = priors.flat()

    def of_free(values: Floats) -> tuple[float, Floats]:
        whole = logs.copy()
        whole[free] = values
        value, gradient = penalty(whole, parts[0], smoothness, priors)
        for part in parts[1:]:
            more, steeper = penalty(whole, part, smoothness, flat)
            value, gradient = value + more, gradient + steeper
        return value, gradient[free]

    starts = [logs[free].copy()]
    if len(parts) == 1 and 0 in free:
        short = starts[0].copy()
        short[free.index(0)] = np.log(0.4 * base[0])
        starts.append(short)
    settings = {"ftol": 1e-5, "gtol": 1e-2}  # of no weight against the doubt of the answer
    found = [
        minimize(of_free, s, method="L-BFGS-B", jac=True, bounds=limits, options=settings)
        for s in starts
    ]
    logs[free] = min(found, key=lambda result: float(result.fun)).x
    return _parameters(logs)


def shots_in_parts(
    x_mm: Floats,
    y_mm: Floats,
    basis: Floats,
    z_mm: Floats,
    noise_mm2: Floats,
    precision: Floats,
    roughness: Floats,
    lines: bool,
    whole: bool = False,
) -> list[Shots]:
    """All shots, or parts of many, as the likelihood needs them; with lines where asked for."""
    return [
        Shots(
            distances(x_mm[part], y_mm[part], x_mm[part], y_mm[part]),
            basis[part],
            z_mm[part],
            noise_mm2[part],
            precision,
            roughness[part],
            _lines(x_mm[part], y_mm[part]) if lines else (),
        )
        for part in ([np.arange(len(x_mm))] if whole else parts_of(x_mm, y_mm))
    ]


def _lines(x_mm: Floats, y_mm: Floats) -> tuple[Floats, ...]:
    places = x_mm, y_mm
    return tuple(line.alike(places[line.axis], places[line.axis]) for line in LINES)


def parts_of(x_mm: Floats, y_mm: Floats) -> list[NDArray[np.intp]]:
    """Numbers of the shots to judge together: all, or of many one wide part and two close ones.

    The wide part is spread over the floor and tells the length; the close ones, around two places
    far from each other, tell undulation and roughness between neighbours.
    """
    count = len(x_mm)
    if count <= _PART_SHOTS:
        return [np.arange(count)]
    # Strips of about equal count, walked to and fro: every k-th shot is then spread evenly.
    strips = max(1, round(np.sqrt(count / 2)))
    strip = np.argsort(np.argsort(x_mm, kind="stable")) * strips // count
    walk = np.lexsort((np.where(strip % 2, -y_mm, y_mm), strip))
    wide = walk[np.unique(np.linspace(0, count - 1, _PART_SHOTS).astype(np.intp))]
    parts = [wide]
    for place in (walk[count // 4], walk[(3 * count) // 4]):
        away = np.hypot(x_mm - x_mm[place], y_mm - y_mm[place])
        parts.append(np.argsort(away, kind="stable")[: _PART_SHOTS // 2])
    return parts


def left_out(
    lower: Floats, whitened: Floats, trend_lower: Floats, z_mm: Floats
) -> tuple[Floats, Floats]:
    r"""Each shot against the fit of all others: residual and its sd, shape (n,), mm.

    Closed form, trend included: :math:`(Pz)_i / P_{ii}` and :math:`P_{ii}^{-1/2}` (Dubrule,
    Mathematical Geology 15 (1983) 687–699); NaN and infinity where it is undetermined.

    Parameters
    ----------
    lower : array, shape (n, n)
        Lower Cholesky factor of the shots' covariance.
    whitened : array, shape (n, p)
        The trend's basis, solved by it.
    trend_lower : array, shape (p, p)
        Lower Cholesky factor of what the shots tell of the trend.
    z_mm : array, shape (n,)
    """
    projector = inverse_from_cholesky(lower)
    size = np.diag(projector).copy()
    if whitened.shape[1]:
        weighted = solve_triangular(lower, whitened, lower=True, trans=1)
        thin = solve_triangular(trend_lower, weighted.T, lower=True)
        projector -= thin.T @ thin
    own = np.diag(projector)
    sound = own > 1e-9 * size
    residual, sd = np.full(len(own), np.nan), np.full(len(own), np.inf)
    residual[sound] = (projector @ z_mm)[sound] / own[sound]
    sd[sound] = 1.0 / np.sqrt(own[sound])
    return residual, sd


def _parameters(logs: Floats) -> Floats:
    values: Floats = np.exp(logs)
    return values

r"""Turns shots into a floor surface with its doubt: universal kriging of heights.

A height is a trend (a plane with unknown coefficients), a smooth undulation (Matérn), a roughness
from spot to spot (the nugget) and the known error of the shot. Only the last is not floor.
"""

from __future__ import annotations

from typing import Literal, Self

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import cho_solve, solve_triangular

from rig.errors import BadInput
from rig.surface.covariance import Floats, Smoothness, correlation, distances
from rig.surface.places import checked_places, checked_values, refuse_poor_layout
from rig.surface.reml import Priors, Shots, find, inverse_from_cholesky, lower_cholesky

Trend = Literal["plane", "constant", "none"]

MOST_SHOTS = 3_000
MOST_JOINT_PLACES = 3_000
_BLOCK = 1_024


class GaussianProcess:
    r"""Surface from shots by universal kriging.

    .. math::

        z(s) = h(s)^T \beta + f(s) + r(s) + e, \qquad f \sim GP(0, \sigma^2 \rho),
        \quad r \sim N(0, \tau^2), \quad e_i \sim N(0, \text{stderr}_i^2)

    with an improper flat prior on :math:`\beta`, whose doubt is in every standard deviation
    (Rasmussen and Williams 2006, section 2.7). Roughness :math:`r` is independent from spot to
    spot, and from one shot to the next at the same spot: a rod's foot never finds it twice.

    Parameters
    ----------
    smoothness : 1.5 or 2.5
        Of the Matérn correlation.
    trend : 'plane', 'constant' or 'none'
    variance_mm2, length_mm, nugget_mm2 : float, optional
        Fixed where given, else found by restricted maximum likelihood under `priors`.
    priors : Priors, optional

    Attributes
    ----------
    variance_mm2, length_mm, nugget_mm2 : float
        After `fit`: undulation about the trend, its length, roughness.
    trend_mm : tuple of floats
        After `fit`: (a, b, c) of the trend plane z = a + b·x + c·y; unused ones are 0.
    """

    def __init__(
        self,
        smoothness: Smoothness = 1.5,
        trend: Trend = "plane",
        variance_mm2: float | None = None,
        length_mm: float | None = None,
        nugget_mm2: float | None = None,
        priors: Priors | None = None,
    ) -> None:
        if smoothness not in (1.5, 2.5):
            raise BadInput(f"Smoothness {smoothness} is not known: use 1.5 or 2.5.")
        if trend not in ("plane", "constant", "none"):
            raise BadInput(f"Trend {trend!r} is not known: use plane, constant or none.")
        self.smoothness: Smoothness = smoothness
        self.trend: Trend = trend
        self.priors = priors or Priors()
        self._fixed = (
            length_mm,
            None if variance_mm2 is None else float(np.sqrt(variance_mm2)),
            None if nugget_mm2 is None else float(np.sqrt(nugget_mm2)),
        )
        self.length_mm = length_mm or 0.0
        self.variance_mm2 = variance_mm2 or 0.0
        self.nugget_mm2 = nugget_mm2 or 0.0
        self.trend_mm = (0.0, 0.0, 0.0)

    def fit(self, x_mm: ArrayLike, y_mm: ArrayLike, z_mm: ArrayLike, stderr_mm: ArrayLike) -> Self:
        """Take in the shots; find what was not fixed.

        Parameters
        ----------
        x_mm, y_mm, z_mm : arrays, shape (n,)
            Places and heights (up-positive).
        stderr_mm : array, shape (n,), or float
            Known standard error of each shot; may be 0.

        Raises
        ------
        CannotAnswer
            Fewer than four places, or (with a plane trend) all on one line.
        BadInput
            Something that is not a number, arrays of different length, or too many shots.
        """
        x, y = checked_places(x_mm, y_mm)
        z = checked_values(z_mm, x, "height")
        error = checked_values(stderr_mm, x, "standard error")
        if np.any(error < 0):
            raise BadInput("A shot's standard error is negative; give 0 or more.")
        if len(x) > MOST_SHOTS:
            raise BadInput(f"{len(x)} shots are more than {MOST_SHOTS}; thin them to a grid.")
        refuse_poor_layout(x, y, line_is_enough=self.trend != "plane")
        self._x, self._y = x, y
        # Coordinates of the trend are centred and scaled so that its normal matrix is tame.
        self._middle = (float(x.mean()), float(y.mean()))
        self._scale = max(float(np.ptp(x)), float(np.ptp(y)), 1.0)
        basis = self._basis(x, y)
        coarse = np.linalg.lstsq(basis, z, rcond=None)[0] if basis.shape[1] else np.empty(0)
        z = z - basis @ coarse
        shots = Shots(distances(x, y, x, y), basis, z, error**2)
        length, sd, nugget_sd = find(shots, self.smoothness, self.priors, self._fixed)
        if self._fixed[0] is None:
            self.length_mm = float(length)
        if self._fixed[1] is None:
            self.variance_mm2 = float(sd**2)
        if self._fixed[2] is None:
            self.nugget_mm2 = float(nugget_sd**2)

        matrix = self.variance_mm2 * correlation(shots.distance_mm, self.length_mm, self.smoothness)
        matrix[np.diag_indices_from(matrix)] += shots.noise_mm2 + self.nugget_mm2
        self._lower = lower_cholesky(matrix)
        self._whitened = self._solve(basis)
        self._trend_lower = lower_cholesky(self._whitened.T @ self._whitened)
        white_z = self._solve(z)
        fine = cho_solve((self._trend_lower, True), self._whitened.T @ white_z)
        self._beta = coarse + fine
        self._white_residual = white_z - self._whitened @ fine
        self._z = z
        self.trend_mm = self._plane_of(self._beta)
        return self

    def predict(
        self, x_mm: ArrayLike, y_mm: ArrayLike, nugget: bool = False
    ) -> tuple[Floats, Floats]:
        """Height and its standard deviation at places, each shape (m,), in mm.

        The deviation is that of the smooth floor; with `nugget`, that of the floor itself, with
        the roughness that one spot has. A shot's own error is never in it.
        """
        x, y = checked_places(x_mm, y_mm)
        mean, variance = np.empty(len(x)), np.empty(len(x))
        for start in range(0, len(x), _BLOCK):
            part = slice(start, start + _BLOCK)
            white, trend = self._reach(x[part], y[part])
            mean[part] = self._mean(x[part], y[part], white)
            variance[part] = self.variance_mm2 - np.sum(white**2, axis=0) + np.sum(trend**2, axis=0)
        extra = self.nugget_mm2 if nugget else 0.0
        return mean, np.sqrt(np.maximum(variance, 0.0) + extra)

    def covariance(self, x_mm: ArrayLike, y_mm: ArrayLike) -> Floats:
        """Posterior covariance of the smooth floor at places in mm², shape (m, m)."""
        x, y = checked_places(x_mm, y_mm)
        if len(x) > MOST_JOINT_PLACES:
            raise BadInput(
                f"{len(x)} places are too many for a joint answer (at most {MOST_JOINT_PLACES}); "
                "use a coarser raster."
            )
        white, trend = self._reach(x, y)
        prior = self.variance_mm2 * correlation(
            distances(x, y, x, y), self.length_mm, self.smoothness
        )
        result: Floats = prior - white.T @ white + trend.T @ trend
        return result

    def integral(
        self, x_mm: ArrayLike, y_mm: ArrayLike, weights: ArrayLike, nugget: bool = True
    ) -> tuple[float, float]:
        r"""Mean and standard deviation of :math:`\sum_i w_i z_i`.

        With cell areas as weights this is the volume under the floor; its doubt comes from the
        joint posterior of all places, worked off in blocks.

        Parameters
        ----------
        x_mm, y_mm, weights : arrays, shape (m,)
        nugget : bool
            Count the roughness, independent from place to place: adds
            :math:`\tau^2 \sum_i w_i^2`. A cell larger than a rough spot averages several of
            them, so for an area this errs on the side of doubt; it is small there anyway.
        """
        x, y = checked_places(x_mm, y_mm)
        w = checked_values(weights, x, "weight")
        mean = variance = 0.0
        white, trend = np.zeros(len(self._x)), np.zeros(self._basis(x[:0], y[:0]).shape[1])
        for start in range(0, len(x), _BLOCK):
            part = slice(start, start + _BLOCK)
            here_white, here_trend = self._reach(x[part], y[part])
            mean += float(w[part] @ self._mean(x[part], y[part], here_white))
            white += here_white @ w[part]
            trend += here_trend @ w[part]
            for other in range(start, len(x), _BLOCK):
                rest = slice(other, other + _BLOCK)
                apart = distances(x[part], y[part], x[rest], y[rest])
                alike = correlation(apart, self.length_mm, self.smoothness)
                twice = 1.0 if other == start else 2.0
                variance += twice * self.variance_mm2 * float(w[part] @ alike @ w[rest])
        variance += float(trend @ trend - white @ white)
        if nugget:
            variance += self.nugget_mm2 * float(w @ w)
        return mean, float(np.sqrt(max(variance, 0.0)))

    def sample(
        self,
        x_mm: ArrayLike,
        y_mm: ArrayLike,
        n: int,
        rng: np.random.Generator,
        nugget: bool = True,
    ) -> Floats:
        """Joint draws of the floor at places, shape (n, m), in mm.

        Meant for up to some 1 500 places. With `nugget` each place has a roughness of its own
        in each draw.
        """
        x, y = checked_places(x_mm, y_mm)
        mean, _ = self.predict(x, y)
        lower = lower_cholesky(self.covariance(x, y))
        draws: Floats = mean + rng.standard_normal((n, len(x))) @ lower.T
        if nugget:
            draws += np.sqrt(self.nugget_mm2) * rng.standard_normal(draws.shape)
        return draws

    def loo(self) -> tuple[Floats, Floats]:
        r"""Each shot against the surface from all others: residual and its sd, shape (n,), mm.

        Closed form, trend included: :math:`(Pz)_i / P_{ii}` and :math:`P_{ii}^{-1/2}` (Dubrule,
        Mathematical Geology 15 (1983) 687–699). The sd holds the shot's own error and roughness.
        A shot without which the trend is undetermined has residual NaN and sd infinity.
        """
        projector = inverse_from_cholesky(self._lower)
        size = np.diag(projector).copy()
        if self._whitened.shape[1]:
            weighted = solve_triangular(self._lower, self._whitened, lower=True, trans=1)
            thin = solve_triangular(self._trend_lower, weighted.T, lower=True)
            projector -= thin.T @ thin
        own = np.diag(projector)
        sound = own > 1e-9 * size
        residual, sd = np.full(len(own), np.nan), np.full(len(own), np.inf)
        residual[sound] = (projector @ self._z)[sound] / own[sound]
        sd[sound] = 1.0 / np.sqrt(own[sound])
        return residual, sd

    def _basis(self, x: Floats, y: Floats) -> Floats:
        """Trend functions at places, shape (m, p)."""
        if self.trend == "none":
            return np.empty((len(x), 0))
        if self.trend == "constant":
            return np.ones((len(x), 1))
        right = (x - self._middle[0]) / self._scale
        up = (y - self._middle[1]) / self._scale
        return np.column_stack([np.ones(len(x)), right, up])

    def _solve(self, right: Floats) -> Floats:
        solved: Floats = solve_triangular(self._lower, right, lower=True, check_finite=False)
        return solved

    def _reach(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Whiten what the shots explain at places (n, m) and what the trend leaves open (p, m)."""
        alike = correlation(distances(self._x, self._y, x, y), self.length_mm, self.smoothness)
        white = self._solve(self.variance_mm2 * alike)
        gap = self._basis(x, y).T - self._whitened.T @ white
        return white, solve_triangular(self._trend_lower, gap, lower=True, check_finite=False)

    def _mean(self, x: Floats, y: Floats, white: Floats) -> Floats:
        mean: Floats = self._basis(x, y) @ self._beta + white.T @ self._white_residual
        return mean

    def _plane_of(self, beta: Floats) -> tuple[float, float, float]:
        if self.trend == "none":
            return 0.0, 0.0, 0.0
        if self.trend == "constant":
            return float(beta[0]), 0.0, 0.0
        b, c = float(beta[1]) / self._scale, float(beta[2]) / self._scale
        return float(beta[0]) - b * self._middle[0] - c * self._middle[1], b, c

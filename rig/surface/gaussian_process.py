r"""Turns shots into a floor surface with its doubt: universal kriging of heights.

A height is a trend (a plane with unknown coefficients), a smooth undulation (Matérn), a roughness
from spot to spot (the nugget) and the known error of the shot. Only the last is not floor.
"""

from __future__ import annotations

from copy import copy
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RectBivariateSpline
from scipy.linalg import cho_solve, solve_triangular

from rig.errors import BadInput
from rig.language import say
from rig.surface.averaging import mean_sds
from rig.surface.binning import MOST_EXACT, binned, lattice_for, lumped
from rig.surface.covariance import (
    LINES,
    NARROW,
    NO_LINES,
    Floats,
    Smoothness,
    correlation,
    distances,
    floor_covariance,
    lines_alike,
    variance_of_sum,
)
from rig.surface.new_shot import NewShot
from rig.surface.places import checked_places, checked_values, refuse_poor_layout
from rig.surface.raster import Lattice, raster_of, square
from rig.surface.reml import Priors, Shots, find, left_out, lower_cholesky, shots_in_parts
from rig.surface.trend import Bells, Trend, TrendKind

MOST_SHOTS = 100_000
MOST_JOINT_PLACES = 3_000
_BLOCK, _JOINT_BLOCK = 1_024, 128


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
    bowl_mm : float
        With a plane trend: how far a bend of the whole floor (crown, dish, saddle) is believed to
        depart from the plane at the outermost shots, as a standard deviation; 0 for none. A
        stationary undulation expects the floor beyond the shots to level off, and so doubts the
        corners of a dish too little.
    lines_mm2 : floats, or None
        Variances of what lines along the walls add (`rig.surface.covariance.LINES`); None to find
        them, and then they and the undulation are averages over what the shots leave open.

    Attributes
    ----------
    variance_mm2, length_mm, nugget_mm2 : float
        After `fit`: undulation about the trend, its length, roughness. `lines_mm2` likewise.
    under : Trend
    trend_mm : tuple of floats
        After `fit`: (a, b, c) of z = a + b·x + c·y; unused ones are 0. `bells` are set before.
    """

    _x: Floats
    _y: Floats
    _z: Floats
    _z_mm: Floats
    _noise_mm2: Floats
    _roughness: Floats
    under: Trend
    bells: Bells = ()
    _coarse: Floats
    _lower: Floats
    _whitened: Floats
    _white_z: Floats

    def __init__(
        self,
        smoothness: Smoothness = 1.5,
        trend: TrendKind = "plane",
        variance_mm2: float | None = None,
        length_mm: float | None = None,
        nugget_mm2: float | None = None,
        priors: Priors | None = None,
        bowl_mm: float = 0.0,
        lines_mm2: tuple[float, ...] | None = NO_LINES,
    ) -> None:
        if smoothness not in (1.5, 2.5):
            raise BadInput(
                say("Smoothness {smoothness} is not known: use 1.5 or 2.5.", smoothness=smoothness)
            )
        if trend not in ("plane", "constant", "none"):
            raise BadInput(
                say("Trend {trend!r} is not known: use plane, constant or none.", trend=trend)
            )
        self.smoothness: Smoothness = smoothness
        self.trend: TrendKind = trend
        self.priors = priors or Priors()
        self.bowl_mm = bowl_mm if trend == "plane" else 0.0
        sds = [None if v is None else float(np.sqrt(v)) for v in (variance_mm2, nugget_mm2)]
        self._fixed = length_mm, sds[0], sds[1]
        self.length_mm = length_mm or 0.0
        self.variance_mm2 = variance_mm2 or 0.0
        self.nugget_mm2 = nugget_mm2 or 0.0
        self._find_lines = lines_mm2 is None
        self.lines_mm2 = lines_mm2 or NO_LINES
        self.trend_mm = (0.0, 0.0, 0.0)

    def fit(
        self,
        x_mm: ArrayLike,
        y_mm: ArrayLike,
        z_mm: ArrayLike,
        stderr_mm: ArrayLike,
        *,
        most: int = MOST_EXACT,
    ) -> Self:
        """Take in the shots; find what was not fixed.

        Parameters
        ----------
        x_mm, y_mm, z_mm : arrays, shape (n,)
            Places and heights (up-positive).
        stderr_mm : array, shape (n,), or float
            Known standard error of each shot; may be 0.
        most : int
            More shots than so many are drawn together to means of neighbours.

        Raises
        ------
        CannotAnswer
            Fewer than four places, or (with a plane trend) all on one line.
        BadInput
            Something that is not a number, arrays of different length, or too many shots.
        """
        x, y = checked_places(x_mm, y_mm)
        z = checked_values(z_mm, x, "height")
        error = checked_values(stderr_mm, x, say("standard error"))
        if np.any(error < 0):
            raise BadInput(say("A shot's standard error is negative; give 0 or more."))
        if len(x) > MOST_SHOTS:
            raise BadInput(
                say(
                    "{x} shots are more than {most_shots}; thin them to a grid.",
                    x=len(x),
                    most_shots=MOST_SHOTS,
                )
            )
        refuse_poor_layout(x, y, line_is_enough=self.trend != "plane")
        self.shots = len(x)
        self._take(*binned(x, y, z, error**2, most))
        parts = self.parts()
        wide = None if len(parts) == 1 else 0.0  # many shots tell such waves without
        open_lines = (None,) * NARROW + (wide,) * (len(LINES) - NARROW)
        lines_sd = open_lines if self._find_lines else tuple(np.sqrt(self.lines_mm2))
        fixed = (*self._fixed, *lines_sd)[: 3 + len(parts[0].lines)]
        found = find(parts, self.smoothness, self.priors, fixed)
        sd, *lines = found[1:2]
        if self._find_lines:
            sd, *lines = mean_sds(parts, self.smoothness, self.priors, found)
        length, variance, nugget = self._fixed
        self.length_mm = float(found[0]) if length is None else length
        self.variance_mm2 = float(sd**2) if variance is None else self.variance_mm2
        self.nugget_mm2 = float(found[2] ** 2) if nugget is None else self.nugget_mm2
        if self._find_lines:
            self.lines_mm2 = tuple(float(np.round(one**2, 12)) for one in lines)
        self._factor()
        return self

    def like(self) -> GaussianProcess:
        """Make a model of the same kind and beliefs, not fitted yet."""
        return copy(self)  # `fit` takes nothing from the fit before

    def add(self, x_mm: float, y_mm: float, z_mm: float, stderr_mm: float) -> NewShot:
        """Take in one more shot with the parameters as they are, in place.

        Equals `fit` with all shots at these parameters, at a small part of its cost: the Cholesky
        factor grows by a row.

        Returns
        -------
        NewShot
            What a running picture needs to follow.
        """
        x, y = checked_places([x_mm], [y_mm])
        z = checked_values([z_mm], x, "height")
        error = checked_values([stderr_mm], x, say("standard error"))
        row = self._solve(self.alike(self._x, self._y, x, y))[:, 0]
        own = self.floor_mm2 + float(error[0]) ** 2 + self.nugget_mm2 - float(row @ row)
        pivot = float(np.sqrt(max(own, 1e-12 * self.variance_mm2)))
        n = len(self._x)
        grown = np.zeros((n + 1, n + 1), order="F")
        grown[:n, :n], grown[n, :n], grown[n, n] = self._lower, row, pivot
        basis = self.under.at(x, y)
        height = float(z[0] - (basis @ self._coarse)[0])
        trend = (basis[0] - row @ self._whitened) / pivot
        self._lower = grown
        self._white_z = np.append(self._white_z, (height - row @ self._white_z) / pivot)
        self._whitened = np.vstack([self._whitened, trend])
        self._x, self._y = np.append(self._x, x), np.append(self._y, y)
        self._z, self._z_mm = np.append(self._z, height), np.append(self._z_mm, z)
        self._noise_mm2 = np.append(self._noise_mm2, error**2)
        self._roughness = np.append(self._roughness, 1.0)
        self.shots += 1
        self._solve_trend()
        return NewShot(float(x[0]), float(y[0]), row, pivot, trend)

    def _take(self, x: Floats, y: Floats, z: Floats, noise_mm2: Floats, count: Floats) -> None:
        """Keep the shots, and the plane that their heights are counted from."""
        self._x, self._y, self._z_mm, self._noise_mm2 = x, y, z, noise_mm2
        self._roughness = 1.0 / count
        self.under = Trend.under(self.trend, self.bowl_mm, x, y, self.bells)
        basis = self.under.at(x, y)
        known = self.under.precision == 0
        self._coarse = np.zeros(len(known))
        if known.any():
            self._coarse[known] = np.linalg.lstsq(basis[:, known], z, rcond=None)[0]

    def parts(self, whole: bool = False) -> list[Shots]:
        """What the likelihood needs of the shots, of many in parts unless asked for whole."""
        basis = self.under.at(self._x, self._y)
        known = self._z_mm - basis @ self._coarse, self._noise_mm2, self.under.precision
        lines = self._find_lines or any(self.lines_mm2)
        return shots_in_parts(self._x, self._y, basis, *known, self._roughness, lines, whole)

    def _factor(self) -> None:
        """Solve for the surface with the parameters as they are."""
        x, y = self._x, self._y
        basis = self.under.at(x, y)
        alike = self.alike(x, y, x, y)
        alike.flat[:: len(alike) + 1] += self._noise_mm2 + self.nugget_mm2 * self._roughness
        self._lower = lower_cholesky(alike)
        self._whitened = self._solve(basis)
        self._z = self._z_mm - basis @ self._coarse
        self._white_z = self._solve(self._z)
        self._solve_trend()

    def _solve_trend(self) -> None:
        normal = self._whitened.T @ self._whitened
        normal.flat[:: len(normal) + 1] += self.under.precision
        self._trend_lower = lower_cholesky(normal)
        fine = cho_solve((self._trend_lower, True), self._whitened.T @ self._white_z)
        self._beta = self._coarse + fine
        self._white_residual = self._white_z - self._whitened @ fine
        self.trend_mm = self.under.plane_of(self._beta)

    def predict(
        self, x_mm: ArrayLike, y_mm: ArrayLike, nugget: bool = False, quick: bool = False
    ) -> tuple[Floats, Floats]:
        """Height and its standard deviation at places, each shape (m,), in mm.

        The deviation is that of the smooth floor; with `nugget`, that of the floor itself, with
        the roughness that one spot has. A shot's own error is never in it.

        With `quick`, where many places lie close to each other for the floor's length, both are
        found on a lattice of a small part of that length and interpolated by cubic splines (where
        there are lines, of places on a raster: see `rig.surface.raster`); that is off by some
        0.02 mm at most (a test holds it).
        """
        x, y = checked_places(x_mm, y_mm)
        extra = self.nugget_mm2 if nugget else 0.0
        if quick and any(self.lines_mm2):
            mean, variance = self._over(x, y)
            return mean, np.sqrt(np.maximum(variance, 0.0) + extra)
        finest = self.under.finest_mm(self.length_mm)
        lattice = lattice_for(x, y, finest, self.smoothness) if quick else None
        if lattice is not None:
            columns, rows = lattice
            at = np.meshgrid(columns, rows, indexing="ij")
            surfaces = self.predict(at[0].ravel(), at[1].ravel())
            mean, sd = (
                RectBivariateSpline(columns, rows, part.reshape(at[0].shape)).ev(x, y)
                for part in surfaces
            )
            return mean, np.sqrt(np.maximum(sd, 0.0) ** 2 + extra)
        mean, variance = self._one_by_one(x, y)
        return mean, np.sqrt(np.maximum(variance, 0.0) + extra)

    def _one_by_one(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Height and its variance at places, each on its own."""
        mean, variance = np.empty(len(x)), np.empty(len(x))
        for start in range(0, len(x), _BLOCK):
            part = slice(start, start + _BLOCK)
            white, trend = self._reach(x[part], y[part])
            mean[part] = self.mean_from(x[part], y[part], white)
            variance[part] = self.floor_mm2 - np.sum(white**2, axis=0) + np.sum(trend**2, axis=0)
        return mean, variance

    def _over(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Height and its variance at places, those on a raster together."""
        raster = raster_of(x, y)
        if raster is None:
            return self._one_by_one(x, y)
        lattice = Lattice.under(raster, self.under.finest_mm(self.length_mm), self.smoothness)
        at = lattice.places()
        undulation = correlation(distances(self._x, self._y, *at), self.length_mm, self.smoothness)
        white = [
            self._solve(self.variance_mm2 * undulation),
            self._solve(lines_alike(0, self._x, raster.columns, self.lines_mm2)),
            self._solve(lines_alike(1, self._y, raster.rows, self.lines_mm2)),
        ]
        gaps = [-self._whitened.T @ part for part in white]
        gaps[0] += self.under.at(*at).T
        trend = [solve_triangular(self._trend_lower, gap, lower=True) for gap in gaps]
        sums = [part.T @ self._white_residual for part in white]
        mean, variance = np.empty(len(x)), np.empty(len(x))
        where = raster.column, raster.row
        smooth = lattice.spread(sums[0] + self.under.at(*at) @ self._beta)
        mean[raster.inside] = (smooth + sums[1][:, None] + sums[2])[where]
        told = square(lattice, *white) - square(lattice, *trend)
        variance[raster.inside] = (self.floor_mm2 - told)[where]
        rest = raster.outside
        mean[rest], variance[rest] = self._one_by_one(x[rest], y[rest])
        return mean, variance

    def covariance(self, x_mm: ArrayLike, y_mm: ArrayLike) -> Floats:
        """Posterior covariance of the smooth floor at places in mm², shape (m, m)."""
        x, y = checked_places(x_mm, y_mm)
        if len(x) > MOST_JOINT_PLACES:
            raise BadInput(
                say(
                    "{x} places are too many for a joint answer (at most {most_joint_places}); "
                    "use a coarser raster.",
                    x=len(x),
                    most_joint_places=MOST_JOINT_PLACES,
                )
            )
        white, trend = self._reach(x, y)
        result: Floats = np.empty((len(x), len(x)))
        for start in range(0, len(x), _JOINT_BLOCK):  # what is worked with on the way stays small
            part = slice(start, start + _JOINT_BLOCK)
            result[part] = self.alike(x[part], y[part], x, y)
            result[part] -= white[:, part].T @ white
            result[part] += trend[:, part].T @ trend
        return result

    def cross_covariance(
        self, x_mm: ArrayLike, y_mm: ArrayLike, other_x_mm: ArrayLike, other_y_mm: ArrayLike
    ) -> Floats:
        """Posterior covariance of the smooth floor between two lists of places in mm², (m, k)."""
        x, y = checked_places(x_mm, y_mm)
        other_x, other_y = checked_places(other_x_mm, other_y_mm)
        white, trend = self._reach(x, y)
        other_white, other_trend = self._reach(other_x, other_y)
        alike = self.alike(x, y, other_x, other_y)
        return np.asarray(alike - white.T @ other_white + trend.T @ other_trend)

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
        mean = float(w @ self.predict(x, y, quick=True)[0])
        rough = self.nugget_mm2 * float(w @ w) if nugget else 0.0
        x, y, w = lumped(x, y, w)
        white, trend = np.zeros(len(self._x)), np.zeros(len(self._coarse))
        for start in range(0, len(x), _BLOCK):
            part = slice(start, start + _BLOCK)
            here_white, here_trend = self._reach(x[part], y[part])
            white += here_white @ w[part]
            trend += here_trend @ w[part]
        undulation = self.variance_mm2, self.length_mm, self.smoothness
        variance = variance_of_sum(x, y, w, *undulation, self.lines_mm2)
        variance += float(trend @ trend - white @ white)
        return mean, float(np.sqrt(max(variance, 0.0) + rough))

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

    @property
    def x_mm(self) -> Floats:
        """Where the shots are (of a dense scan, the means that stand for it), shape (k,)."""
        return self._x

    @property
    def y_mm(self) -> Floats:
        """See `x_mm`."""
        return self._y

    @property
    def binned(self) -> bool:
        """Whether means of neighbours stand for a dense scan."""
        return self.shots > len(self._x)

    @property
    def shot_variance_mm2(self) -> Floats:
        """Known error and roughness of each shot together, as a variance, shape (k,)."""
        return np.asarray(self._noise_mm2 + self.nugget_mm2 * self._roughness)

    @property
    def floor_mm2(self) -> float:
        """Variance of the smooth floor about its trend: undulation and lines."""
        return self.variance_mm2 + sum(self.lines_mm2)

    def alike(self, x_mm: Floats, y_mm: Floats, other_x_mm: Floats, other_y_mm: Floats) -> Floats:
        """Covariance of the smooth floor before any shot, in mm², shape (n, m)."""
        undulation = self.variance_mm2, self.length_mm, self.smoothness
        return floor_covariance(x_mm, y_mm, other_x_mm, other_y_mm, *undulation, self.lines_mm2)

    def respond(self, x_mm: Floats, y_mm: Floats, heights_mm: Floats) -> NDArray[np.float32]:
        """Surfaces at places had the shots been of other heights, shape (d, m), in mm.

        Parameters
        ----------
        x_mm, y_mm : arrays, shape (m,)
        heights_mm : array, shape (k, d)
            One column for each surface.
        """
        white = self._solve(heights_mm)
        slopes = cho_solve((self._trend_lower, True), self._whitened.T @ white)
        rest = white - self._whitened @ slopes
        weights = solve_triangular(self._lower, rest, lower=True, trans=1, check_finite=False)
        single = weights.T.astype(np.float32)
        surfaces = np.empty((heights_mm.shape[1], len(x_mm)), dtype=np.float32)
        for start in range(0, len(x_mm), _BLOCK):
            part = slice(start, start + _BLOCK)
            alike = self.alike(self._x, self._y, x_mm[part], y_mm[part])
            surfaces[:, part] = single @ alike.astype(np.float32)
            surfaces[:, part] += (self.under.at(x_mm[part], y_mm[part]) @ slopes).T
        return surfaces

    def loo(self) -> tuple[Floats, Floats]:
        """Each shot against the surface from all others: residual and its sd, shape (n,), mm.

        The sd holds the shot's own error and roughness. A shot without which the trend is
        undetermined has residual NaN and sd infinity. See `rig.surface.reml.left_out`.
        """
        return left_out(self._lower, self._whitened, self._trend_lower, self._z)

    def _solve(self, right: Floats) -> Floats:
        solved: Floats = solve_triangular(self._lower, right, lower=True, check_finite=False)
        return solved

    def reach(self, x_mm: Floats, y_mm: Floats) -> tuple[Floats, Floats]:
        """What the shots explain at places, whitened (k, m), and what the trend must (p, m)."""
        white = self._solve(self.alike(self._x, self._y, x_mm, y_mm))
        return white, self.under.at(x_mm, y_mm).T - self._whitened.T @ white

    @property
    def trend_lower(self) -> Floats:
        """Lower Cholesky factor of what the shots tell of the trend, shape (p, p)."""
        return self._trend_lower

    def mean_from(self, x_mm: Floats, y_mm: Floats, white: Floats) -> Floats:
        """Height at places whose whitened reach is known, shape (m,)."""
        mean: Floats = self.under.at(x_mm, y_mm) @ self._beta + white.T @ self._white_residual
        return mean

    def _reach(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        white, gap = self.reach(x, y)
        return white, solve_triangular(self._trend_lower, gap, lower=True, check_finite=False)
